"""What the number of voices, the rooms and noises, and the network's size are worth: one course each.

    python -m models.recipe.curve --work WORK [--steps 2000] [--begin MODEL --rate 0.3] [NAME...]

Every course begins with the donor, or with a finished model.

The speech in WORK/speech must be spoken. Every course is a model in WORK/curve/NAME, to be measured as
`python tests/measure_hearing.py --engine vosk --vosk-model WORK/curve/NAME` does; a graph comes with it from models/numbers.
"""

# Chance need not be hard to guess.
# ruff: noqa: S311

import argparse
import json
import random
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
import numpy.typing as npt
import torch
from torch import Tensor

from assistant.data import folder
from models.recipe import network, nnet3, phones, places, stages, voices
from models.recipe import train as training
from models.recipe.sounds import Sound

NARROW = 256
"""Numbers in the middle of a layer that is laid on top; the donor's have 64."""
SPREAD = 0.002
"""Standard deviation of the weights such a layer begins with: it changes next to nothing, but can learn."""


@dataclass(frozen=True, slots=True)
class Course:
    """What differs from everything: a share of the synthetic voices, of the sounds a share that is heard in rooms and noise, layers.

    `layers` is how many of the donor's are kept, `more` how many are laid on top. Another `seed` draws other sounds and another output.
    """

    voices: float = 1.0
    rooms: float = 1.0
    layers: int = len(network.LAYERS)
    more: int = 0
    seed: int = stages.SEED


COURSES: Mapping[str, Course] = {
    "all": Course(),
    "all-again": Course(seed=stages.SEED + 1),
    "voices-4th": Course(voices=1 / 4),
    "voices-16th": Course(voices=1 / 16),
    "voices-64th": Course(voices=1 / 64),
    "half-in-rooms": Course(rooms=0.5),
    "no-rooms": Course(rooms=0.0),
    "layers-8": Course(layers=8),
    "layers-11": Course(layers=11),
    "layers-18": Course(more=4),
}


def deeper(components: Mapping[str, nnet3.Component], more: int, seed: int) -> dict[str, nnet3.Component]:
    """The components with `more` layers on top of the donor's last, each of one frame, which give nearly what they are given.

    Such a layer hands on BYPASS of its input, so what reads the last one is made larger by as much.
    """
    chance, made = np.random.default_rng(seed), dict(components)
    width = components["prefinal-l"]["Params"].shape[1]
    last = network.LAYERS[-1]
    for layer in range(last + 1, last + 1 + more):
        narrow = {"TimeOffsets": (0,), "LinearParams": chance.normal(0, width**-0.5, (NARROW, width))}
        wide = {
            "TimeOffsets": (0,),
            "LinearParams": chance.normal(0, SPREAD, (width, NARROW)),
            "BiasParams": np.zeros(width),
        }
        made[f"tdnnf{layer}.linear"], made[f"tdnnf{layer}.affine"] = narrow, wide
        made[f"tdnnf{layer}.batchnorm"] = {"StatsMean": np.zeros(width), "StatsVar": np.ones(width)}
    made["prefinal-l"] = {
        **components["prefinal-l"],
        "Params": components["prefinal-l"]["Params"] / network.BYPASS**more,
    }
    return made


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


def plain(samples: Tensor, sounds: Sequence[Sound]) -> Tensor:
    """The sounds as they were spoken, at a peak of 0.5."""
    clean, _ = places.played(samples, sounds)
    return clean * (0.5 / clean.abs().amax(1, keepdim=True).clamp_min(1e-6))


def partly(
    share: float,
    samples: Tensor,
    crowd: Sequence[tuple[int, int]],
    sounds: Sequence[Sound],
    chance: np.random.Generator,
) -> Tensor:
    """That share of the sounds, by chance, as microphones may give them; the others as they were spoken."""
    heard = places.heard(samples, crowd, sounds, chance)
    there = torch.tensor(chance.random(len(sounds)) < share, device=samples.device)[:, None]
    return torch.where(there, heard, plain(samples, sounds))


def begun(course: Course, model: Path | None = None) -> network.Network:
    """The network that a course begins with: that of a finished model, or the donor's with a new output."""
    torch.manual_seed(course.seed)
    components = dict(nnet3.read(model / "am" / "final.mdl").components) if model else stages.donor()
    numbers = (*network.LAYERS[: course.layers], *range(network.LAYERS[-1] + 1, network.LAYERS[-1] + 1 + course.more))
    return network.Network(deeper(components, course.more, course.seed), phones.PDFS, numbers)


def only_as_begun(path: Path, how: Mapping[str, object]) -> None:
    """Keeps how a course is learned. Raises ValueError when it was begun in another way, for it goes on where it was left."""
    if path.exists() and json.loads(path.read_text(encoding="utf-8")) != how:
        raise ValueError(
            f"{path}: begun with {path.read_text(encoding='utf-8')}; go on with that, or remove its folder"
        )
    path.write_text(json.dumps(how), encoding="utf-8")


def run(course: Course, work: Path, place: Path, plan: training.Plan, model: Path | None) -> None:
    """One course, and the folder of its model."""
    made = begun(course, model)
    place.mkdir(parents=True, exist_ok=True)
    only_as_begun(
        place / "course.json",
        {"begin": str(model), "seconds": plan.seconds, "rate": plan.rate, "minutes": plan.minutes},
    )
    if not (place / "speech").exists():
        (place / "speech").symlink_to(work / "speech")
    plan = replace(plan, seed=course.seed)
    mean = training.train(made, place, plan, partial(few, course.voices), partial(partly, course.rooms))
    shutil.copytree(folder("models") / "numbers", place, dirs_exist_ok=True)
    nnet3.write(place / "am" / "final.mdl", network.written(mean, phones.chain()))


def main() -> None:
    """The courses named, or all."""
    parser = argparse.ArgumentParser(description="Courses of learning, each with less or more of something.")
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"any of {', '.join(COURSES)}")
    parser.add_argument("--work", type=Path, required=True, help="the folder whose speech is learned from")
    parser.add_argument("--steps", type=int, default=2000, help="steps of learning")
    parser.add_argument("--begin", type=Path, help="folder of a finished model to begin with; else the donor")
    parser.add_argument("--rate", type=float, default=1, help="times the greatest learning rates")
    parser.add_argument("--minutes", type=float, default=600, help="time for a course, if it is over before the steps")
    parser.add_argument("--seconds", type=float, default=400, help="seconds of sound in a step")
    parser.add_argument("--workers", type=int, default=2, help="processes that get steps ready")
    options = parser.parse_args()
    unknown = sorted(set(options.names) - set(COURSES))
    if unknown:
        parser.error(f"no course {', '.join(unknown)}; expected any of {', '.join(COURSES)}")
    plan = training.Plan(options.steps, options.minutes, options.seconds, stages.SEED, options.workers, options.rate)
    work = options.work.resolve()
    try:
        for name in options.names or COURSES:
            run(COURSES[name], work, work / "curve" / name, plan, options.begin)
    except (OSError, RuntimeError, ValueError) as error:
        parser.exit(2, f"{parser.prog}: {error}\n")


if __name__ == "__main__":
    main()
