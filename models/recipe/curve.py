"""What the number of voices, the rooms and noises, and the network's size are worth: one short course each, from the donor.

    python -m models.recipe.curve --work WORK [--steps 250] [NAME...]

The speech in WORK/speech must be spoken. Every course is a model in WORK/curve/NAME, to be measured as
`python tests/measure_hearing.py --engine vosk --vosk-model WORK/curve/NAME` does; a graph comes with it from models/numbers.
"""

# Chance need not be hard to guess.
# ruff: noqa: S311

import argparse
import random
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import numpy.typing as npt
from torch import Tensor

from assistant.data import folder
from models.recipe import network, nnet3, phones, places, stages, voices
from models.recipe import train as training
from models.recipe.sounds import Sound


@dataclass(frozen=True, slots=True)
class Course:
    """What is left of everything: a share of the synthetic voices, of the donor's layers, and rooms and noises or none."""

    voices: float = 1.0
    layers: int = len(network.LAYERS)
    rooms: bool = True


COURSES: Mapping[str, Course] = {
    "all": Course(),
    "voices-4th": Course(voices=1 / 4),
    "voices-16th": Course(voices=1 / 16),
    "no-rooms": Course(rooms=False),
    "layers-8": Course(layers=8),
}


def few(share: float, work: Path) -> tuple[list[voices.Spoken], list[npt.NDArray[np.int16]]]:
    """The kept speech of all people, of all voices held out, and of a share of each engine's other voices."""
    spoken, sounds = voices.read(work)
    names: dict[str, set[str]] = {}
    for each in spoken:
        if not each.held and each.engine != "real":
            names.setdefault(each.engine, set()).add(each.voice)
    chosen = {
        (engine, name)
        for engine, found in names.items()
        for name in random.Random(7).sample(sorted(found), max(1, round(len(found) * share)))
    }
    kept = [
        index
        for index, each in enumerate(spoken)
        if each.held or each.engine == "real" or (each.engine, each.voice) in chosen
    ]
    return [spoken[index] for index in kept], [sounds[index] for index in kept]


def plain(
    samples: Tensor, _crowd: Sequence[tuple[int, int]], sounds: Sequence[Sound], _chance: np.random.Generator
) -> Tensor:
    """The sounds as they were spoken, at a peak of 0.5."""
    clean, _ = places.played(samples, sounds)
    return clean * (0.5 / clean.abs().amax(1, keepdim=True).clamp_min(1e-6))


def run(course: Course, work: Path, place: Path, plan: training.Plan) -> None:
    """One course from the donor, and the folder of its model."""
    made = network.Network(stages.donor(), phones.PDFS, network.LAYERS[: course.layers])
    place.mkdir(parents=True, exist_ok=True)
    if not (place / "speech").exists():
        (place / "speech").symlink_to(work / "speech")
    heard = places.heard if course.rooms else plain
    mean = training.train(made, place, plan, partial(few, course.voices), heard)
    shutil.copytree(folder("models") / "numbers", place, dirs_exist_ok=True)
    nnet3.write(place / "am" / "final.mdl", network.written(mean, phones.chain()))


def main() -> None:
    """The courses named, or all."""
    parser = argparse.ArgumentParser(description="Short courses of learning, each with less of something.")
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"any of {', '.join(COURSES)}")
    parser.add_argument("--work", type=Path, required=True, help="the folder whose speech is learned from")
    parser.add_argument("--steps", type=int, default=250, help="steps of 400 s of sound")
    parser.add_argument("--workers", type=int, default=2, help="processes that get steps ready")
    options = parser.parse_args()
    plan = training.Plan(options.steps, 600, 400, stages.SEED, options.workers)
    for name in options.names or COURSES:
        run(COURSES[name], options.work.resolve(), options.work.resolve() / "curve" / name, plan)


if __name__ == "__main__":
    main()
