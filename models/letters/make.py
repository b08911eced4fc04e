"""Makes letters.npz, the weights that spell what was said: `python models/letters/make.py --speech DIR --voices FILE --work DIR`.

A small network reads the output of the built-in recogniser's encoder and gives, fifty times a second, the chance of every
letter. It keeps step with the sound, so it notices a digit that a decoder dropped or said twice. It was trained on

    real people        Speech Commands v0.02, Pete Warden, CC BY 4.0: single words, alone and joined
    Kokoro-82M         Apache License 2.0, which leaves its output free: its voices and blends of two of them
    espeak-ng          GPL-3.0 for the program; what it speaks is free: accents and variants of its English
    flite              its own free licence (BSD style): the voices kal and kal16

and on nothing else. The texts are the grammar's, numbers made here, and words.toml. What it needs:

    pip install -e '.[recordings]'; pip install torch==2.13.0; npm pack kokoro-js@1.2.1; apt-get install espeak-ng flite
    --speech   a folder with train.tsv (file, words, speaker) and the folder train/ of its 16 kHz files

There are two kinds of speech. The list (`items`) is what the grammar knows, each text by another voice. A session is one
voice that speaks some words alone, of which many strings of digits are then joined, closely, and heard as over a telephone.

Stages: `features` speaks and encodes, taken up again where it was left (run it twice at once with --share 0/2 and 1/2);
`train` makes letters.npz in two courses, the first from the list, the second from both (course-0.npz in the work folder
is the first's result and is kept); `judge` prints the figures for held-out people and voices in CARD.md; `measure`, only
when named, those for manifest.tsv, which nothing is learned from. The program takes letters.npz only with the hash in
models/MANIFEST.toml: write the new one there. Seeds are fixed: every item has its own.
Speaking ends after --minutes; what was not spoken by then is not part of the training, so counts differ by machine.
"""  # noqa: INP001  a script beside its data, no package

# Shares of chance read best where they are used, and chance need not be hard to guess.
# ruff: noqa: PLR2004, S311

import argparse
import csv
import importlib.util
import io
import json
import random
import re
import subprocess
import sys
import tarfile
import time
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soundfile
import soxr

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1]))

from assistant.data import texts  # noqa: E402  found beside this script, installed or not
from assistant.devices.endpoint import FRAME, speech_probability  # noqa: E402
from assistant.devices.letters import (  # noqa: E402
    DILATIONS,
    STATES,
    SYMBOLS,
    TAPS,
    Letters,
    codes,
    greedy,
    scores,
)
from assistant.devices.network import Network, spoken_part  # noqa: E402  the very path of the program
from assistant.devices.ports import RATE_HZ  # noqa: E402
from assistant.language.lexicon import Lexicon, load_lexicon  # noqa: E402
from assistant.language.meaning import Expectation  # noqa: E402

Samples = npt.NDArray[np.float32]

SEED = 20_250
SPOKEN = {"espeak": 2600, "flite": 240, "kokoro": 3000}
SINGLE_AGAIN = {"digit": 5, "answer": 2}
JOINED = 2000
"""How many times a digit, and yes, no or stop, is taken alone; how many sequences are joined from clips of real people."""
HELD_SHARE = 0.15
HELD_VOICES = frozenset({"af_bella", "am_michael", "bm_george", "am_onyx", "bf_lily", "+m5", "+f3", "+croak"})
"""The first three speak the recordings of the demonstration, which thus stay unheard."""
ITEMS_PER_PART = 60
STRINGS = 66
"""How many digit strings a session joins unless it says otherwise; a sixth as many readings."""
VERSIONS = 2
BLENDS = 200
LONGEST_S = 9.0
WIDTH = 176
BATCH_FRAMES = 5000

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
TEENS = (
    "ten",
    "eleven",
    "twelve",
    *(f"{word}teen" for word in ("thir", "four", "fif", "six", "seven", "eigh", "nine")),
)
TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_TEEN_OR_TEN = {
    f"{stem}teen": ten
    for stem, ten in zip(("thir", "four", "fif", "six", "seven", "eigh", "nine"), TENS[1:], strict=True)
}
_TEEN_OR_TEN |= {ten: teen for teen, ten in _TEEN_OR_TEN.items()}
ANSWERS = ("yes", "no", "stop")
NOUGHTS = ("zero", "zero", "zero", "oh", "oh", "nought")
RARELY = ("point", "ohms", "kilo", "k", "yes", "no", "stop", "hundred", "meg", "milli", "r", "half", "ohm", "thousand")
"""Words that are spoken alone in a session beside the digits, the first four always."""
UNITS = (
    *(
        "kilo ohms",
        "ohms",
        "k",
        "ohms",
        "kilo ohms",
        "k",
        "kilo ohm",
        "ohm",
        "k ohms",
        "kilos",
        "megs",
        "meg",
        "meg ohms",
    ),
    *("mega ohms", "thousand ohms", "milli ohms", "r", "kay", "kilohms", "megohms", "degrees", "", "", "", ""),
)
ACCENTS = (
    "en-us",
    "en-us",
    "en-gb",
    "en-gb",
    "en-gb-scotland",
    "en-gb-x-rp",
    "en-029",
    "en-gb-x-gbclan",
    "en-gb-x-gbcwmd",
)
VARIANTS = (
    *("", *(f"+m{number}" for number in range(1, 8)), *(f"+f{number}" for number in range(1, 6)), "+croak"),
    *("+Andy", "+Annie", "+Linda", "+Michael", "+steph", "+Tweaky", "+Alex", "+Andrea", "+grandma", "+grandpa", "+max"),
)


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to be spoken: `voice` is a voice of the engine, or the files of real people with | between them."""

    engine: str
    voice: str
    text: str
    held: bool
    apart: bool = False
    """True when every word is spoken alone and the words are joined with short gaps, as a meter is read digit by digit."""
    again: bool = False
    """True in `sessions`: words and phrases are kept, changed by `personal` each time, and heard `over_a_line`."""


# --- what is said


def digit_string(chance: random.Random) -> str:
    """Three to six digits; a tenth of them doubled in speech."""
    said = []
    for _ in range(chance.choice((3, 3, 3, 4, 4, 5, 6))):
        digit = chance.choice(DIGITS)
        word = chance.choice(NOUGHTS) if digit == "zero" else digit
        said += ["double", word] if chance.random() < 0.08 else [word, word] if chance.random() < 0.06 else [word]
    return " ".join(said)


def whole(chance: random.Random) -> str:
    """A whole number below ten thousand as people say it; teens and tens equally often."""
    digit = chance.choice(DIGITS[1:])
    tens = chance.choice(TENS)
    below_100 = chance.choice((digit, digit, chance.choice(TEENS), chance.choice(TEENS), tens, f"{tens} {digit}"))
    kind = chance.random()
    if kind < 0.7:
        return below_100
    rest = chance.choice(("", f" and {below_100}", f" {below_100}"))
    hundreds = f"{chance.choice((*DIGITS[1:], 'a'))} hundred{rest}"
    return (
        hundreds if kind < 0.9 else f"{chance.choice(DIGITS[1:])} thousand{chance.choice(('', f' {hundreds}', rest))}"
    )


def reading(chance: random.Random) -> str:
    """A number with a unit, as the grammar reads it."""
    unit = chance.choice(UNITS)
    kind = chance.random()
    if kind < 0.5:
        before = chance.choice((chance.choice(NOUGHTS), "", whole(chance), whole(chance), chance.choice(DIGITS)))
        after = " ".join(
            chance.choice((chance.choice(DIGITS), chance.choice(NOUGHTS)))
            if chance.random() < 0.3
            else chance.choice(DIGITS)
            for _ in range(chance.choice((1, 1, 2, 2, 3)))
        )
        number = f"{before} point {after}"
    elif kind < 0.85:
        number = whole(chance)
    elif kind < 0.93:
        return f"{whole(chance)} {chance.choice(('k', 'k', 'kay', 'r', 'meg'))} {chance.choice(DIGITS[1:])}"
    else:
        number = f"{whole(chance)} and {chance.choice(('a half', 'a quarter', 'three quarters'))}"
    return f"{number} {unit}".strip()


def said_texts(lexicon: Lexicon, chance: random.Random) -> Iterator[str]:
    """Without end: a third digit strings, a third readings, the rest phrases of the grammar, sentences and words."""
    extra = tomllib.loads((HERE / "words.toml").read_text(encoding="utf-8"))
    phrases = {" ".join(phrase) for name in lexicon.expectations for phrase in lexicon.phrases(Expectation(name))}
    known = sorted(text for text in phrases | set(lexicon.vocabulary) if codes(text) is not None)
    chance.shuffle(known)
    position = 0
    while True:
        kind = chance.random()
        if kind < 0.33:
            yield digit_string(chance)
        elif kind < 0.64:
            yield reading(chance)
        elif kind < 0.86:
            yield known[position % len(known)]
            position += 1
        elif kind < 0.92:
            yield chance.choice(extra["sentences"])
        elif kind < 0.96:
            yield f"the {chance.choice(extra['nouns'])} is {chance.choice(('', 'not ', 'very '))}{chance.choice(extra['adjectives'])}"
        else:
            yield " ".join(
                chance.sample(extra["words"] + extra["nouns"] + list(DIGITS) + list(ANSWERS), chance.choice((1, 2, 3)))
            )


def items(lexicon: Lexicon, clips: list[dict[str, str]], voices: list[str]) -> list[Item]:
    """Everything to be spoken, always the same list; the slow engine comes last."""
    chance = random.Random(SEED)
    made = [*_real(clips, chance)]
    said = said_texts(lexicon, chance)
    for engine, count in SPOKEN.items():
        for _ in range(count):
            if engine == "espeak":
                variant = chance.choice(VARIANTS)
                voice = f"{chance.choice(ACCENTS)}{variant} {chance.randint(25, 75)} {chance.randint(120, 210)}"
                held = variant in HELD_VOICES
            elif engine == "flite":
                voice, held = chance.choice(("kal", "kal16")), False
            else:
                voice = chance.choice(voices)
                held = voice in HELD_VOICES
            text = next(said)
            digits = set(text.split()) <= {*DIGITS, *NOUGHTS}
            made.append(Item(engine, voice, text, held, apart=digits and chance.random() < 0.55))
    return made


def unheard_people(clips: list[dict[str, str]], chance: random.Random | None = None) -> set[str]:
    """The speakers who are held out of training, always the same when `chance` is new."""
    speakers = sorted({clip["speaker"] for clip in clips})
    (chance or random.Random(SEED)).shuffle(speakers)
    return set(speakers[: round(len(speakers) * HELD_SHARE)])


def _real(clips: list[dict[str, str]], chance: random.Random) -> Iterator[Item]:
    """Clips of real people, alone and joined; speakers held out for validation are never joined with others."""
    unheard = unheard_people(clips, chance)
    for clip in clips:
        held = clip["speaker"] in unheard
        kind = "digit" if clip["words"] in DIGITS else "answer" if clip["words"] in ANSWERS else ""
        for _ in range(1 if held else SINGLE_AGAIN.get(kind, 1)):
            yield Item("real", clip["file"], clip["words"], held)
    for number in range(JOINED):
        held = number < JOINED * HELD_SHARE / 2
        pool = [clip for clip in clips if (clip["speaker"] in unheard) == held]
        digits = [clip for clip in pool if clip["words"] in DIGITS]
        answers = [clip for clip in pool if clip["words"] in ANSWERS]
        chosen = [
            chance.choice(digits if kind < 0.6 else answers if kind < 0.75 else pool)
            for kind in (chance.random() * chance.choice((0.6, 1)) for _ in range(chance.choice((2, 3, 3, 4, 4, 5, 6))))
        ]
        yield Item("real", "|".join(clip["file"] for clip in chosen), " ".join(clip["words"] for clip in chosen), held)


def sessions(clips: list[dict[str, str]], voices: list[str]) -> Iterator[list[Item]]:
    """One voice after another, always the same: many strings of the few words that it spoke, so that an hour makes thousands.

    Held-out voices and people come first; then a voice of Kokoro, one of espeak-ng, real people, now and then flite, in turns;
    Kokoro's own voices before blends.
    """
    chance = random.Random(SEED + 1)
    said = said_texts(load_lexicon(texts("grammar")), random.Random(SEED + 2))
    unheard = unheard_people(clips)
    english = [name for name in dict.fromkeys(voices) if name not in HELD_VOICES and re.match("[ab][fm]_", name)]
    chance.shuffle(english)
    held_kokoro = sorted(set(voices) & HELD_VOICES)
    held_variants = sorted(name for name in HELD_VOICES if name.startswith("+"))

    def espeak(variant: str) -> str:
        return f"{chance.choice(ACCENTS)}{variant} {chance.randint(25, 75)} {chance.randint(120, 210)}"

    for voice in held_kokoro:
        yield list(_session("kokoro", voice, held=True, chance=chance, said=said))
    for variant in held_variants:
        yield list(_session("espeak", espeak(variant), held=True, chance=chance, said=said))
    for held, count in ((True, 3), (False, 3)):
        pool = [clip for clip in clips if (clip["speaker"] in unheard) == held]
        for _ in range(count):
            yield list(_people(pool, held=held, chance=chance))
    others = [clip for clip in clips if clip["speaker"] not in unheard]
    heard_variants = [variant for variant in VARIANTS if variant not in HELD_VOICES]
    english.sort(key=lambda name: "-" in name)
    for turn, voice in enumerate(english):
        # Kokoro takes its time, so what it spoke is used more often.
        yield list(_session("kokoro", voice, held=False, chance=chance, said=said, strings=100, phrases=(2, 1)))
        yield list(_session("espeak", espeak(chance.choice(heard_variants)), held=False, chance=chance, said=said))
        yield list(_people(others, held=False, chance=chance))
        if turn % 5 == 0:
            yield list(_session("flite", ("kal", "kal16")[turn % 2], held=False, chance=chance, said=said))


def _session(  # noqa: PLR0913  all are named
    engine: str,
    voice: str,
    *,
    held: bool,
    chance: random.Random,
    said: Iterator[str],
    strings: int = STRINGS,
    phrases: tuple[int, int] = (5, 2),
) -> Iterator[Item]:
    """What one voice says: every word it speaks alone, digits joined, readings joined, and phrases as a whole.

    `phrases` tells how many readings and how many other texts are spoken as a whole.
    """
    known = [*DIGITS, "oh", *RARELY[:4], *chance.sample((*TEENS, *TENS, *RARELY[4:]), 3)]
    whole_texts = [reading(chance) for _ in range(phrases[0])] + [next(said) for _ in range(phrases[1])]
    for word in known * 2:
        yield Item(engine, voice, word, held, again=True)
    for _ in range(strings):
        string = digit_string(chance).replace("nought", "oh").replace("double ", "")
        yield Item(engine, voice, string, held, apart=True, again=True)
    found = 0
    while found < strings // 6:
        text = reading(chance)
        if {*text.split()} <= {*known} and " " in text:
            found += 1
            yield Item(engine, voice, text, held, apart=True, again=True)
    for phrase in whole_texts * 3:
        yield Item(engine, voice, phrase, held, again=True)


def _people(pool: list[dict[str, str]], *, held: bool, chance: random.Random) -> Iterator[Item]:
    """What real people say: digits joined, half the time of one person who said several; digits and answers alone."""
    digits = [clip for clip in pool if clip["words"] in DIGITS]
    answers = [clip for clip in pool if clip["words"] in ANSWERS]
    of = {clip["speaker"]: [other for other in digits if other["speaker"] == clip["speaker"]] for clip in digits}
    several = [own for own in of.values() if len({clip["words"] for clip in own}) > 1]
    for _ in range(STRINGS):
        own = chance.choice(several) if chance.random() < 0.5 else digits
        chosen = [chance.choice(own) for _ in range(chance.choice((3, 3, 4, 4, 5, 6)))]
        text = " ".join(clip["words"] for clip in chosen)
        yield Item("real", "|".join(clip["file"] for clip in chosen), text, held, apart=True, again=True)
    for clip in (*digits, *chance.sample(answers, min(len(answers), 30)), *chance.sample(pool, 15)):
        yield Item("real", clip["file"], clip["words"], held, again=True)


# --- how it is spoken


class Studio:
    """All engines. Words spoken alone are kept, since every string of a voice needs the same ten."""

    def __init__(self, speech: Path, voices: Path) -> None:
        spec = importlib.util.spec_from_file_location("recordings_make", HERE.parents[1] / "recordings" / "make.py")
        if spec is None or spec.loader is None:
            raise FileNotFoundError("recordings/make.py")
        self._recordings = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(self._recordings)
        self._kokoro: Any = None
        self._voices = voices
        self._clips = cache(self._clip)
        self._words = cache(self._word)
        self._speech = speech

    def spoken(self, item: Item, chance: np.random.Generator) -> Samples:
        """The item at RATE_HZ."""
        if item.again:
            parts = item.text.split() if item.apart else [item.text]
            real = item.engine == "real"
            kept = [
                self._clips(file) if real else self._words(item.engine, item.voice, part)
                for file, part in zip(item.voice.split("|") if real else parts, parts, strict=True)
            ]
            return personal(kept, chance)
        if item.engine == "real":
            return joined([self._clips(file) for file in item.voice.split("|")], chance, (0.05, 0.3))
        if item.apart:
            return joined(
                [self._words(item.engine, item.voice, word) for word in item.text.split()], chance, (0.05, 0.2)
            )
        text = item.text
        if set(text.split()) <= {*DIGITS, *NOUGHTS} and chance.random() < 0.4:
            text = text.replace(" ", ", ")
        return self._say(item.engine, item.voice, text, float(chance.uniform(0.85, 1.25)))

    def _clip(self, file: str) -> Samples:
        sound, _ = soundfile.read(self._speech / "train" / file, dtype="float32")
        frames = np.flatnonzero(speech_probability(sound) > 0.2)
        if not len(frames):
            return np.asarray(sound, dtype=np.float32)
        margin = RATE_HZ // 10
        part = sound[max(0, int(frames[0]) * FRAME - margin) : (int(frames[-1]) + 1) * FRAME + margin]
        return np.asarray(part * (0.5 / max(np.abs(part).max(), 1e-4)), dtype=np.float32)

    def _word(self, engine: str, voice: str, word: str) -> Samples:
        sound = self._say(engine, voice, word, 0.9 + sum(map(ord, voice + word)) % 30 / 100)
        loud = np.flatnonzero(np.abs(sound) > np.abs(sound).max() / 40)
        return sound[max(int(loud[0]) - RATE_HZ // 50, 0) : int(loud[-1]) + RATE_HZ // 30]

    def _say(self, engine: str, voice: str, text: str, pace: float) -> Samples:
        if engine == "kokoro":
            if self._kokoro is None:
                self._kokoro = self._recordings.Speech(self._voices)
            sound: Samples = self._recordings.at_file_rate(self._kokoro.say(text, voice, pace))
            return sound
        if engine == "espeak":
            name, pitch, rate = voice.split(" ")
            command = ["espeak-ng", "-v", name, "-p", pitch, "-s", str(round(int(rate) * pace)), "--stdout", text]
        else:
            command = [
                "flite",
                "-voice",
                voice,
                "--setf",
                f"duration_stretch={1 / pace:.2f}",
                "-t",
                text,
                "-o",
                "/dev/stdout",
            ]
        output = subprocess.run(command, check=True, capture_output=True).stdout  # noqa: S603  our own words
        return _wave(output)


def _wave(output: bytes) -> Samples:
    """A WAV stream whose length was not known when its header was written, at RATE_HZ."""
    rate = int.from_bytes(output[24:28], "little")
    start = output.index(b"data") + 8
    raw = output[start : start + (len(output) - start) // 2 * 2]
    sound = np.frombuffer(raw, dtype="<i2").astype(np.float32) / np.float32(32_768)
    return np.asarray(soxr.resample(sound, rate, RATE_HZ), dtype=np.float32)


def blended(voices: Path, path: Path) -> list[str]:
    """Writes an archive of the voices of `voices` and of BLENDS means of two; gives the names to choose from, English ones more often."""
    styles: dict[str, Samples] = {}
    with tarfile.open(voices) as archive:
        for entry in archive.getmembers():
            file = archive.extractfile(entry) if entry.name.endswith(".bin") else None
            if file is not None:
                styles[Path(entry.name).stem] = np.frombuffer(file.read(), dtype="<f4")
    chance = random.Random(SEED)
    heard = sorted(set(styles) - HELD_VOICES)
    english = [name for name in heard if re.match("[ab][fm]_", name)]
    names = english * 3 + [name for name in heard if name not in english] + sorted(set(styles) & HELD_VOICES) * 3
    for _ in range(BLENDS):
        first, second = chance.choice(english), chance.choice(chance.choice((english, heard)))
        name = f"{first}-{second}"
        if first != second:
            styles[name] = ((styles[first] + styles[second]) / 2).astype("<f4")
            names.append(name)
    if not path.exists():
        with tarfile.open(path.with_suffix(".part"), "w") as archive:
            for name, style in styles.items():
                entry = tarfile.TarInfo(f"package/voices/{name}.bin")
                entry.size = style.nbytes
                archive.addfile(entry, io.BytesIO(style.tobytes()))
        path.with_suffix(".part").replace(path)
    return names


def joined(parts: list[Samples], chance: np.random.Generator, gap_s: tuple[float, float]) -> Samples:
    """The parts one after another with gaps, each a little louder or softer."""
    pieces: list[Samples] = []
    for part in parts:
        pieces += [part * np.float32(10 ** (chance.uniform(-4, 4) / 20))]
        pieces += [np.zeros(round(chance.uniform(*gap_s) * RATE_HZ), dtype=np.float32)]
    return np.concatenate(pieces[:-1])


def personal(parts: list[Samples], chance: np.random.Generator) -> Samples:
    """The parts as one other person might say them, cut as closely as they come, one soon after another.

    Playing them slower or faster moves pitch and formants together, as a longer or shorter throat does.
    """
    throat = chance.uniform(0.85, 1.18)
    edge = chance.uniform(0.01, 0.07)
    longest_gap = chance.choice((0.06, 0.15, 0.25))
    pieces: list[Samples] = []
    for part in parts:
        loud = np.flatnonzero(np.abs(part) > np.abs(part).max() * edge)
        own = part[max(int(loud[0]) - RATE_HZ // 100, 0) : int(loud[-1]) + RATE_HZ // 50]
        pace = throat * chance.uniform(0.95, 1.05)
        own = np.interp(np.arange(round(len(own) / pace)) * pace, np.arange(len(own)), own).astype(np.float32)
        own *= np.float32(10 ** (chance.uniform(-5, 5) / 20)) / max(np.abs(own).max(), 1e-4)
        pieces += [own, np.zeros(round(chance.uniform(0, longest_gap) * RATE_HZ), dtype=np.float32)]
    return np.concatenate(pieces[:-1])


# --- where it is heard


def _noise(size: int, chance: np.random.Generator, babble: Callable[[int], Samples]) -> npt.NDArray[np.float64]:
    """White, pink or brown noise, hum, or other people, of any level."""
    kind = chance.choice(("white", "pink", "brown", "hum", "babble"))
    if kind == "babble":
        return np.asarray(sum(babble(size) for _ in range(4)), dtype=np.float64)
    if kind == "hum":
        at = np.arange(size) / RATE_HZ * 2 * np.pi * chance.choice((50, 60)) * chance.uniform(1, 2)
        return np.asarray(
            sum(np.sin(at * order + order) / order for order in range(1, 9)) + chance.normal(0, 0.1, size)
        )
    hz = np.maximum(np.fft.rfftfreq(size, 1 / RATE_HZ), 40)
    return np.fft.irfft(np.fft.rfft(chance.normal(size=size)) / hz ** {"white": 0, "pink": 0.5, "brown": 1}[kind], size)


def _in_room(mixed: npt.NDArray[np.float64], chance: np.random.Generator) -> npt.NDArray[np.float64]:
    """With the decaying echo of a small or large room."""
    length = round(chance.uniform(0.1, 0.35) * RATE_HZ)
    room = chance.normal(size=length) * np.exp(-6.9 * np.arange(length) / length) * chance.uniform(0.02, 0.12)
    room[0] = 1
    size = len(mixed) + length
    return np.fft.irfft(np.fft.rfft(mixed, size) * np.fft.rfft(room, size), size)[: len(mixed)]


def over_a_line(sound: Samples, chance: np.random.Generator, babble: Callable[[int], Samples]) -> Samples:
    """The sound as it comes over a line or from a close microphone: mostly nothing above 4 kHz, often 8 bits, little noise."""
    silence = np.zeros(round(chance.uniform(0.2, 0.5) * RATE_HZ))
    mixed = np.concatenate([silence, sound / max(np.abs(sound).max(), 1e-4) * 0.5, silence])
    if chance.random() < 0.2:
        mixed = _in_room(mixed, chance)
    if chance.random() < 0.85:
        noise = _noise(len(mixed), chance, babble)
        level = np.sqrt(np.mean(mixed**2) / max(float(np.mean(noise**2)), 1e-12))
        mixed = mixed + noise * level * 10 ** (-chance.triangular(8, 32, 50) / 20)
    if chance.random() < 0.75:
        narrow = soxr.resample(mixed, RATE_HZ, RATE_HZ // 2)
        if chance.random() < 0.3:
            bent = np.sign(narrow) * np.log1p(255 * np.minimum(np.abs(narrow), 1)) / np.log(256)
            bent = np.round(bent * 127) / 127
            narrow = np.sign(bent) * np.expm1(np.abs(bent) * np.log(256)) / 255
        mixed = soxr.resample(narrow, RATE_HZ // 2, RATE_HZ)
    return np.asarray(mixed * 10 ** (chance.uniform(-12, 0) / 20), dtype=np.float32)


def heard(sound: Samples, chance: np.random.Generator, babble: Callable[[int], Samples]) -> Samples:
    """The sound as a microphone may give it: another pace, a room, noise, half the time no more than a telephone's band."""
    if chance.random() < 0.6:
        pace = chance.uniform(0.9, 1.1)
        sound = np.interp(np.arange(round(len(sound) / pace)) * pace, np.arange(len(sound)), sound).astype(np.float32)
    silence = np.zeros(round(chance.uniform(0.25, 0.5) * RATE_HZ))
    mixed = np.concatenate([silence, sound / max(np.abs(sound).max(), 1e-4) * 0.5, silence])
    if chance.random() < 0.3:
        mixed = _in_room(mixed, chance)
    if chance.random() < 0.75:
        noise = _noise(len(mixed), chance, babble)
        level = np.sqrt(np.mean(mixed**2) / max(float(np.mean(noise**2)), 1e-12))
        mixed = mixed + noise * level * 10 ** (-chance.triangular(5, 28, 40) / 20)
    if chance.random() < 0.1:
        mixed = np.clip(mixed, -0.5 * chance.uniform(0.3, 0.8), 0.5 * chance.uniform(0.3, 0.8))
    if chance.random() < 0.5:
        mixed = soxr.resample(soxr.resample(mixed, RATE_HZ, RATE_HZ // 2), RATE_HZ // 2, RATE_HZ)
    return np.asarray(mixed * 10 ** (chance.uniform(-12, 0) / 20), dtype=np.float32)


def features(options: argparse.Namespace) -> None:
    """Speak, hear and encode this share of the items, file after file, until the time is over: sessions, then `items`."""
    until = time.monotonic() + options.minutes * 60
    lexicon = load_lexicon(texts("grammar"))
    encoder = Network(threads=1)
    clips = training_clips(options.speech)
    voices = blended(options.voices, options.work / "voices.tar")
    every = items(lexicon, clips, voices)
    parts = [(f"session-{number:04}", SEED + 1 + number, made) for number, made in enumerate(sessions(clips, voices))]
    parts += [
        (f"part-{first // ITEMS_PER_PART:04}", first, every[first : first + ITEMS_PER_PART])
        for first in range(0, len(every), ITEMS_PER_PART)
    ]
    studio = Studio(options.speech, options.work / "voices.tar")
    sounds = {clip["file"]: _file(options.speech / "train" / clip["file"]) for clip in clips}
    unheard = unheard_people(clips)
    crowds = {
        False: list(sounds.values()),
        True: [sounds[clip["file"]] for clip in clips if clip["speaker"] not in unheard],
    }
    share, shares = map(int, options.share.split("/"))
    for turn, (name, seed, chosen) in enumerate(parts):
        path = options.work / f"{name}.npz"
        if turn % shares != share or path.exists():
            continue
        states, rows = [], []
        for place, item in enumerate(chosen):
            if time.monotonic() > until:
                return
            # An item of the list has the seed of its place in it; one of a session, of its session and its place there.
            chance = np.random.default_rng([seed, place] if item.again else [SEED, seed + place])
            crowd = crowds[item.again]

            def babble(size: int, chance: np.random.Generator = chance, crowd: list[Samples] = crowd) -> Samples:
                return np.resize(np.roll(crowd[chance.integers(len(crowd))], chance.integers(RATE_HZ)), size)

            sound = studio.spoken(item, chance)
            for _ in range(1 if item.again else VERSIONS):
                speech = spoken_part((over_a_line if item.again else heard)(sound, chance, babble))
                if RATE_HZ // 5 < len(speech) < LONGEST_S * RATE_HZ:
                    states.append(encoder.states(speech)[0].astype(np.float16))
                    rows.append([place, item.engine, item.voice, item.text, item.held, len(states[-1])])
        with path.with_suffix(".tmp").open("wb") as file:
            np.savez(file, states=np.concatenate(states), rows=np.array(json.dumps(rows)))
        path.with_suffix(".tmp").replace(path)
        sys.stderr.write(f"{path.name} {chosen[0].engine} {chosen[0].voice}\n")


def _file(path: Path) -> Samples:
    sound, _ = soundfile.read(path, dtype="float32")
    return np.asarray(sound, dtype=np.float32)


def training_clips(speech: Path) -> list[dict[str, str]]:
    """The rows of train.tsv."""
    with (speech / "train.tsv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, delimiter="\t"))


# --- how it is learned


@dataclass(frozen=True, slots=True)
class Row:
    """One version of one item: where its frames begin among all, and how many they are."""

    item: Item
    first: int
    frames: int


def encoded(work: Path) -> tuple[npt.NDArray[np.float16], list[Row]]:
    """All that was spoken: the list, then the sessions, each in its order."""
    states, rows, first = [], [], 0
    for path in (*sorted(work.glob("part-*.npz")), *sorted(work.glob("session-*.npz"))):
        again = path.name.startswith("session")
        with np.load(path) as file:
            states.append(file["states"])
            for _, engine, voice, text, held, frames in json.loads(str(file["rows"])):
                rows.append(Row(Item(engine, voice, text, held, again=again), first, frames))
                first += frames
    return np.concatenate(states), rows


def network(width: int, drop: float) -> Any:  # noqa: ANN401  torch is imported by whoever trains
    """What `letters.Letters` computes, in a form that learns. Frames beyond an utterance's end stay 0 in every layer."""
    import torch  # noqa: PLC0415
    from torch import nn  # noqa: PLC0415

    class Network(nn.Module):
        def __init__(self) -> None:
            super().__init__()
            self.norm0 = nn.LayerNorm(STATES)
            for layer, (taps, dilation) in enumerate(zip(TAPS, DILATIONS, strict=True), 1):
                reach = taps // 2 * dilation
                convolution = nn.Conv1d(STATES if layer == 1 else width, width, taps, padding=reach, dilation=dilation)
                setattr(self, f"conv{layer}", convolution)
                setattr(self, f"norm{layer}", nn.LayerNorm(width))
            self.out = nn.Linear(width, len(SYMBOLS))
            self.drop = nn.Dropout(drop)

        def forward(self, states: Any, mask: Any) -> Any:  # noqa: ANN401
            hidden, kept = self.norm0(states) * mask, torch.zeros(())
            for layer in range(1, len(DILATIONS) + 1):
                made = getattr(self, f"conv{layer}")(self.drop(hidden).transpose(1, 2)).transpose(1, 2)
                kept = kept + torch.relu(made)
                hidden = getattr(self, f"norm{layer}")(kept) * mask
            return self.out(hidden).log_softmax(-1)

    return Network()


def batches(rows: list[Row], chance: np.random.Generator) -> list[list[Row]]:
    """Rows of like length together, up to BATCH_FRAMES frames with the padding, in random order."""
    ordered = sorted(rows, key=lambda row: row.frames + chance.uniform(0, 20))
    found: list[list[Row]] = [[]]
    for row in ordered:
        if (len(found[-1]) + 1) * max([row.frames, *(other.frames for other in found[-1])]) > BATCH_FRAMES:
            found.append([])
        found[-1].append(row)
    return [found[place] for place in chance.permutation(len(found))]


@dataclass(frozen=True, slots=True)
class Course:
    """One course of learning: its rounds, the pace it rises to, the share of the list that each round takes, the sessions or not.

    `noise` is added to every state (standard deviation). In every sound `frames_gone` stretches of up to 4 frames and
    `numbers_gone` stretches of up to 47 of a frame's 384 numbers are put to 0; `drop` of what enters a layer is, too.
    """

    rounds: int
    pace: float
    listed: float
    noise: float
    frames_gone: int
    numbers_gone: int
    drop: float
    sessions: bool


COURSES = (
    Course(rounds=7, pace=2e-3, listed=1, noise=0.15, frames_gone=2, numbers_gone=0, drop=0.1, sessions=False),
    Course(rounds=8, pace=1.2e-3, listed=0.3, noise=0.2, frames_gone=3, numbers_gone=1, drop=0.15, sessions=True),
)
"""The first learns from the list alone, the second goes on with a part of it anew in every round, and the sessions."""


def train(options: argparse.Namespace) -> None:
    """Both courses, each with a mean of the weights of its later steps; writes letters.npz, and the first's beside the work."""
    import torch  # noqa: PLC0415

    states, rows = encoded(options.work)
    learned = [row for row in rows if not row.item.held and len(row.item.text) * 1.2 < row.frames]
    start: Path | None = None
    for number, course in enumerate(COURSES):
        last = number == len(COURSES) - 1
        path = options.weights if last else options.work / f"course-{number}.npz"
        if last or not path.exists():
            torch.manual_seed(SEED + number)
            chosen = [row for row in learned if course.sessions or not row.item.again]
            _course(course, states, chosen, start, path)
        start = path


def _course(course: Course, states: npt.NDArray[np.float16], rows: list[Row], start: Path | None, path: Path) -> None:
    import torch  # noqa: PLC0415

    chance = np.random.default_rng(SEED)
    net = network(WIDTH, course.drop)
    if start is not None:
        with np.load(start) as file:
            net.load_state_dict({name: torch.from_numpy(file[name].astype(np.float32)) for name in file.files})
    mean = torch.optim.swa_utils.AveragedModel(net, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.998))

    def some() -> list[Row]:
        return [row for row in rows if row.item.again or course.listed == 1 or chance.random() < course.listed]

    # A round may take a few batches more than another; the 10 are for those, so the pace ends a little above 0.
    steps = course.rounds * (len(batches(some(), chance)) + 10)
    optimiser = torch.optim.AdamW(net.parameters(), lr=course.pace, weight_decay=0.02)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, course.pace, total_steps=steps, pct_start=0.15)
    loss_of = torch.nn.CTCLoss(zero_infinity=True)
    began = time.monotonic()
    for number in range(1, course.rounds + 1):
        net.train()
        losses = []
        for batch in batches(some(), chance):
            padded, mask = _hidden(states, batch, course, chance)
            given = torch.from_numpy(padded)
            given = given + torch.randn_like(given) * course.noise
            output = net(given, torch.from_numpy(mask)).transpose(0, 1)
            wanted = [codes(row.item.text) or [] for row in batch]
            loss = loss_of(
                output,
                torch.tensor([code for each in wanted for code in each]),
                torch.tensor([row.frames for row in batch]),
                torch.tensor([len(each) for each in wanted]),
            )
            optimiser.zero_grad()
            loss.backward()
            torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
            optimiser.step()
            schedule.step()
            mean.update_parameters(net)
            losses.append(float(loss.detach()))
        sys.stderr.write(f"{path.name}, round {number}: loss {np.mean(losses):.3f}, {time.monotonic() - began:.0f} s\n")
        arrays = {name: value.numpy().astype(np.float16) for name, value in mean.module.state_dict().items()}
        np.savez_compressed(path, **arrays)


def _hidden(
    states: npt.NDArray[np.float16], batch: list[Row], course: Course, chance: np.random.Generator
) -> tuple[Samples, Samples]:
    """The batch, padded, with some of it gone, and its mask."""
    longest = max(row.frames for row in batch)
    padded = np.zeros((len(batch), longest, STATES), dtype=np.float32)
    mask = np.zeros((len(batch), longest, 1), dtype=np.float32)
    for place, row in enumerate(batch):
        padded[place, : row.frames] = states[row.first : row.first + row.frames]
        mask[place, : row.frames] = 1
        for _ in range(course.frames_gone):
            gone = chance.integers(row.frames)
            padded[place, gone : gone + chance.integers(5)] = 0
        for _ in range(course.numbers_gone):
            gone = chance.integers(STATES)
            padded[place, :, gone : gone + chance.integers(STATES // 8)] = 0
    return padded, mask


# --- how well it judges


def rivals(text: str) -> list[str]:
    """Every text with one digit word replaced by another digit, left out or said twice, and one teen for its ten or back.

    The names of nought are never taken for each other: they are the same digit.
    """
    words = text.split()
    found = set()
    for place, word in enumerate(words):
        others = []
        if word in {*DIGITS, *NOUGHTS}:
            others = [other for other in DIGITS if other != word and not (other == "zero" and word in NOUGHTS)]
            others += ["", f"{word} {word}"]
        elif word in {*TEENS, *TENS} and word not in {"ten", "eleven", "twelve", "twenty"}:
            others = [_TEEN_OR_TEN[word]]
        found |= {" ".join(" ".join([*words[:place], other, *words[place + 1 :]]).split()) for other in others}
    return sorted(found - {text, ""})


def judged(letters: Letters, cases: list[tuple[str, str, Samples]]) -> Iterator[str]:
    """One line for each group: how often the greedy reading is the truth, and how often the truth fits best of its rivals."""
    figures: dict[str, list[tuple[bool, bool]]] = {}
    for group, text, states in cases:
        chances = letters.log_probabilities(states)
        words = [*DIGITS, "oh", *ANSWERS]
        others = [word for word in words if word != text] if text in words else rivals(text)
        if others:
            fits = scores(chances, [text, *others])
            figures.setdefault(group, []).append((greedy(chances) == text, fits[0] > max(fits[1:])))
    for group, results in sorted(figures.items()):
        spelled, first = (sum(result[column] for result in results) for column in (0, 1))
        yield f"{group:32} n {len(results):5}   spelled right {spelled:5}   truth fits best {first:5} ({first / len(results):.1%})"


def judge(options: argparse.Namespace) -> None:
    """Figures on the people and voices that were held out of training: the list's, then the sessions'."""
    states, rows = encoded(options.work)
    cases = []
    for row in rows:
        if row.item.held:
            words = row.item.text.split()
            kind = (
                "single words" if len(words) == 1 else "digit strings" if {*words} <= {*DIGITS, *NOUGHTS} else "other"
            )
            found = states[row.first : row.first + row.frames].astype(np.float32)
            series = "session" if row.item.again else "list"
            cases.append((f"{series}, {row.item.engine}, {kind}", row.item.text, found))
    for again in (False, True):
        for engine in ("real", *SPOKEN):
            held = [row.item.held for row in rows if row.item.engine == engine and row.item.again == again]
            series = "sessions" if again else "list"
            sys.stdout.write(f"{series}, {engine}: {len(held) - sum(held)} sounds learned from, {sum(held)} held out\n")
    for line in judged(Letters(options.weights), cases):
        sys.stdout.write(f"{line}\n")


def measure(options: argparse.Namespace) -> None:
    """Figures on the rows of manifest.tsv, which nothing was learned from or chosen by."""
    encoder = Network()
    with (options.speech / "manifest.tsv").open(encoding="utf-8", newline="") as file:
        rows = [
            row for row in csv.DictReader(file, delimiter="\t") if row["kind"] in {"digit", "digit string", "command"}
        ]
    cases = []
    for row in rows:
        sound, _ = soundfile.read(options.speech / "audio" / row["file"], dtype="float32")
        speech = spoken_part(sound)
        if len(speech):
            cases.append((f"measured, {row['kind']}", row["words"], encoder.states(speech)[0]))
        else:
            sys.stdout.write(f"{row['file']}: no speech found\n")
    for line in judged(Letters(options.weights), cases):
        sys.stdout.write(f"{line}\n")


def main() -> None:
    """Run one stage, or all after another."""
    stages = {"features": features, "train": train, "judge": judge}
    parser = argparse.ArgumentParser(description="Makes letters.npz.")
    parser.add_argument("stages", nargs="*", help=f"any of {', '.join(stages)}; all when none is named")
    parser.add_argument("--speech", type=Path, required=True, help="folder with train.tsv and train/")
    parser.add_argument(
        "--voices", type=Path, required=True, help="the archive that `npm pack kokoro-js@1.2.1` fetches"
    )
    parser.add_argument("--work", type=Path, required=True, help="folder for what is made on the way")
    parser.add_argument("--share", default="0/1", help="which part of the speaking: 0/2 and 1/2 for two processes")
    parser.add_argument("--minutes", type=float, default=15, help="time for speaking")
    parser.add_argument("--weights", type=Path, default=HERE / "letters.npz", help="where they are written")
    options = parser.parse_args()
    options.work.mkdir(parents=True, exist_ok=True)
    every = {**stages, "measure": measure}
    for name in options.stages or stages:
        every[name](options)


if __name__ == "__main__":
    main()
