"""Who speaks in training: synthetic voices and clips of real people, and the files their speech is kept in.

real people   Speech Commands v0.02, Pete Warden, CC BY 4.0: single words
Kokoro-82M    Apache License 2.0: its voices and blends of them
espeak-ng     GPL-3.0 for the program; what it speaks is free: accents and variants of its English, and its voices of other
              languages, which read English from respelled.toml
flite         its own free licence (BSD style): the voices kal and kal16
"""

# Shares of chance read best where they are used, and chance need not be hard to guess; the programs started are named here.
# ruff: noqa: PLR2004, S311, S603

import csv
import importlib.util
import io
import json
import random
import re
import subprocess
import tarfile
import time
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soundfile
import soxr

from assistant.devices.ports import RATE_HZ
from models.recipe import accents
from models.recipe.said import ALONE, Texts

Samples = npt.NDArray[np.float32]

HELD_VOICES = frozenset({"af_bella", "am_michael", "bm_george", "am_onyx", "bf_lily", "+m5", "+f3", "+croak"})
"""Never trained on: Kokoro voices and espeak-ng variants. The first three speak the recordings of the demonstration."""
HELD_PEOPLE = 0.15
PER_PART = 30
"""Things spoken that are kept in one file: a voice of Kokoro."""
RESPELLED = Path(__file__).resolve().parent / "respelled.toml"
ACCENTED = 0.7
"""Share of the blends of Kokoro's voices that speak with an accent."""
PHRASES_PER_VOICE = {"kokoro": 13, "espeak": 14, "foreign": 26, "flite": 150}
VOICES = {"kokoro": 900, "espeak": 450, "foreign": 130, "flite": 2}
ACCENTS = ("en-us", "en-us", "en-us", "en-gb", "en-gb", "en-gb-scotland", "en-gb-x-rp", "en-029", "en-gb-x-gbcwmd")
VARIANTS = (
    *("", *(f"+m{number}" for number in range(1, 9)), *(f"+f{number}" for number in range(1, 6)), "+croak"),
    *("+Andy", "+Annie", "+Linda", "+Michael", "+steph", "+Alex", "+Andrea", "+Denis", "+Gene", "+Jacky", "+max"),
)


@dataclass(frozen=True, slots=True)
class Spoken:
    """One thing that was spoken: by whom, what, and whether this speaker is held out of training."""

    engine: str
    voice: str
    text: str
    held: bool


def listed(engine: str, texts: Texts, chance: random.Random, archive: Path) -> list[Spoken]:
    """All that the voices of an engine speak, voice after voice, so that a list cut short still holds whole voices."""
    found = []
    for voice in _voices(engine, chance, archive):
        held = bool(HELD_VOICES & {voice, *re.findall(r"\+\w+", voice)})
        said = [*ALONE, *(_text(engine, texts) for _ in range(PHRASES_PER_VOICE[engine]))]
        found += [Spoken(engine, voice, text, held) for text in said]
    return found


def _text(engine: str, texts: Texts) -> str:
    """The next text; for voices of other languages the next that is respelled, word for word."""
    text = texts.next()
    known = next(iter(respelled().values())).keys()  # every language has them all
    while engine == "foreign" and not set(text.split()) <= known:
        text = texts.next()
    return text


@cache
def respelled() -> dict[str, dict[str, str]]:
    """By the voice of espeak-ng: English words as they are written for it."""
    table = {name: words.split() for name, words in tomllib.loads(RESPELLED.read_text(encoding="utf-8")).items()}
    english = table.pop("english")
    return {name: dict(zip(english, words, strict=True)) for name, words in table.items()}


def _voices(engine: str, chance: random.Random, archive: Path) -> list[str]:
    if engine == "flite":
        return ["kal", "kal16"]
    if engine in {"espeak", "foreign"}:
        names = ACCENTS if engine == "espeak" else tuple(respelled())
        return [
            f"{chance.choice(names)}{chance.choice(VARIANTS)} {chance.randint(20, 80)} {chance.randint(125, 205)}"
            for _ in range(VOICES[engine])
        ]
    with tarfile.open(archive) as names:
        every = sorted(Path(name).stem for name in names.getnames() if name.endswith(".bin"))
    open_voices = [name for name in every if name not in HELD_VOICES]
    english = [name for name in open_voices if re.match("[ab][fm]_", name)]
    chance.shuffle(english)
    blends = []
    for _ in range(VOICES[engine]):
        voice = "*".join((chance.choice(english), chance.choice(chance.choice((english, open_voices)))))
        accent = f"/{chance.choice(sorted(accents.ACCENTS))} {chance.uniform(0.4, 1):.2f}"
        blends.append(voice + (accent if chance.random() < ACCENTED else ""))
    held = [name for name in every if name in HELD_VOICES]
    # held voices early, so that a list cut short can be judged
    return [*english[:8], *held, *english[8:], *blends]


class Studio:
    """Speaks with every engine."""

    def __init__(self, archive: Path) -> None:
        """`archive` is what `npm pack kokoro-js@1.2.1` fetches."""
        self._archive = archive
        self._kokoro: Any = None

    def say(self, spoken: Spoken, pace: float) -> Samples:
        """The sound at RATE_HZ without silence around it. A pace of 1 is the voice's own; espeak-ng and flite have theirs."""
        if spoken.engine == "kokoro":
            self._kokoro = self._kokoro or _kokoro(self._archive)
            sound = soxr.resample(self._kokoro.say(spoken.text, spoken.voice, pace), 24_000, RATE_HZ)
        else:
            sound = _by_program(spoken)
        return trimmed(np.asarray(sound, dtype=np.float32))


def _kokoro(archive: Path) -> Any:  # noqa: ANN401  the class is loaded from a script
    """The speech model of recordings/make.py, which can also blend, `a*b` is half of each voice, and speak with an accent.

    An accent and its strength stand behind the voice: `a*b/french 0.80`.
    """
    path = Path(__file__).resolve().parents[2] / "recordings" / "make.py"
    spec = importlib.util.spec_from_file_location("recordings_make", path)
    if spec is None or spec.loader is None:
        raise FileNotFoundError(path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)

    class Blending(module.Speech):  # type: ignore[misc, name-defined]
        @cache  # noqa: B019  one studio in a process, and reading the archive takes longer than speaking
        def style(self, voice: str) -> Samples:
            names = voice.partition("/")[0].split("*")
            return np.asarray(np.mean([super(Blending, self).style(name) for name in names], axis=0))

        def phonemes(self, words: str, voice: str) -> str:
            found, accent = super().phonemes(words, voice), voice.partition("/")[2]
            return accents.accented(found, accent.split(" ")[0], float(accent.split(" ")[1])) if accent else found

    return Blending(archive)


def _by_program(spoken: Spoken) -> Samples:
    if spoken.engine == "flite":
        command = ["flite", "-voice", spoken.voice, "-t", spoken.text, "-o", "/dev/stdout"]
    else:
        name, pitch, rate = spoken.voice.split(" ")
        text = spoken.text
        if spoken.engine == "foreign":
            spelling = respelled()[name.partition("+")[0]]
            text = " ".join(spelling[word] for word in text.split())
        command = ["espeak-ng", "-v", name, "-p", pitch, "-s", rate, "--stdout", text]
    done = subprocess.run(command, capture_output=True, check=True)
    # A program that writes to a pipe cannot know the length, and leaves a false one in the header.
    rate_hz = int.from_bytes(done.stdout[24:28], "little")
    samples = np.frombuffer(done.stdout[44 : 44 + (len(done.stdout) - 44) // 2 * 2], dtype="<i2")
    return np.asarray(soxr.resample(samples.astype(np.float32) / 32768, rate_hz, RATE_HZ), dtype=np.float32)


def trimmed(sound: Samples, below: float = 1 / 60) -> Samples:
    """The sound at a peak of 0.5 without what lies before and after its loud part, but for a short margin."""
    peak = float(np.abs(sound).max(initial=0.0))
    loud = np.flatnonzero(np.abs(sound) > peak * below)
    if peak < 1e-4 or not len(loud):
        return sound[:0]
    return sound[max(int(loud[0]) - RATE_HZ // 40, 0) : int(loud[-1]) + RATE_HZ // 20] * np.float32(0.5 / peak)


# --- real people


def people(folder: Path) -> tuple[list[Spoken], list[Samples]]:
    """The clips of train.tsv in `folder`, trimmed; a share of the speakers is held out."""
    with (folder / "train.tsv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file, delimiter="\t"))
    speakers = sorted({row["speaker"] for row in rows})
    random.Random(7).shuffle(speakers)
    held = set(speakers[: round(len(speakers) * HELD_PEOPLE)])
    spoken, sounds = [], []
    for row in rows:
        sound, _ = soundfile.read(folder / "train" / row["file"], dtype="float32")
        spoken.append(Spoken("real", row["speaker"], row["words"], row["speaker"] in held))
        sounds.append(_speech_of_clip(np.asarray(sound, dtype=np.float32)))
    return spoken, sounds


def _speech_of_clip(sound: Samples) -> Samples:
    """The loud part of a noisy clip with a tenth of a second around it, at a peak of 0.5."""
    frame = RATE_HZ // 100
    power = (sound[: len(sound) // frame * frame].reshape(-1, frame) ** 2).mean(axis=1)
    smooth = np.convolve(power, np.ones(5) / 5, "same")
    floor = float(np.quantile(smooth, 0.1))
    loud = np.flatnonzero(smooth > max(floor * 4, float(smooth.max()) / 400))
    first, last = (int(loud[0]), int(loud[-1])) if len(loud) else (0, len(power))
    part = sound[max(first - 10, 0) * frame : (last + 11) * frame]
    return part * np.float32(0.5 / max(float(np.abs(part).max(initial=0.0)), 1e-4))


# --- kept speech


def speak(listing: Sequence[Spoken], studio: Studio, work: Path, seed: int, until: float) -> Iterator[Path]:
    """Speaks the list in parts, each a file; what is there already is left as it is. Ends at `until` (monotonic, s).

    Several processes may work on one list: a part that another one has begun is left to it.
    """
    for first in range(0, len(listing), PER_PART):
        path = work / f"{listing[first].engine}-{first:05}.npz"
        try:
            path.with_suffix(".begun").touch(exist_ok=False)
        except FileExistsError:
            continue
        kept, sounds = [], []
        for number, spoken in enumerate(listing[first : first + PER_PART], first):
            if time.monotonic() > until:
                path.with_suffix(".begun").unlink()
                return
            sound = studio.say(spoken, float(np.random.default_rng([seed, number]).uniform(0.85, 1.25)))
            if RATE_HZ // 10 < len(sound) < 8 * RATE_HZ:
                kept.append(spoken)
                sounds.append(sound)
        write(path, kept, sounds)
        yield path


def write(path: Path, spoken: Sequence[Spoken], sounds: Sequence[Samples]) -> None:
    """A file of speech, whole or not at all."""
    buffer = io.BytesIO()
    samples = [(np.clip(sound, -1, 1) * 32767).astype(np.int16) for sound in sounds]
    rows = json.dumps([{**asdict(each), "samples": len(sound)} for each, sound in zip(spoken, sounds, strict=True)])
    np.savez(buffer, samples=np.concatenate(samples or [np.zeros(0, np.int16)]), rows=np.array(rows))
    path.with_suffix(".part").write_bytes(buffer.getvalue())
    path.with_suffix(".part").replace(path)


def read(work: Path) -> tuple[list[Spoken], list[npt.NDArray[np.int16]]]:
    """All speech that is kept in a folder, in the order of the file names; 16-bit samples at RATE_HZ."""
    spoken, sounds = [], []
    for path in sorted(work.glob("*-*.npz")):
        with np.load(path) as file:
            samples, first = file["samples"], 0
            for row in json.loads(str(file["rows"])):
                size = row.pop("samples")
                spoken.append(Spoken(**row))
                sounds.append(samples[first : first + size])
                first += size
    return spoken, sounds
