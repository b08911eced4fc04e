"""The learning: all layers, on sounds that are put together as they are needed, with the criterion of `mmi.py`."""

# Shares of chance read best where they are used.
# ruff: noqa: PLR2004

import copy
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np
import numpy.typing as npt
import torch
from torch import Tensor, nn
from torch.nn import functional
from torch.utils.data import DataLoader, Dataset

from assistant.devices.ports import RATE_HZ
from models.recipe import mmi, places, pronounce, voices
from models.recipe.network import SUBSAMPLING, Cepstra, Network
from models.recipe.phones import PDFS, SILENCE, unit
from models.recipe.pronounce import Phones
from models.recipe.sounds import Bank, Sound

PACE, HEAD_PACE = 5e-4, 2e-3
"""Greatest learning rates: of the layers that the donor had, and of those that begin with nothing."""
WARM_SHARE = 0.04
DECAY = 0.02
MEAN_OVER = 0.998
CROSS_ENTROPY = 0.1
SMALL_SCORES = 5e-5
DROP = 0.08
GARBAGE_SHARE = {"real": 0.35}
GARBAGE_SHARE_ELSE = 0.5
"""How often a word that is not the model's is a garbage phone; else it teaches its phones."""
ROUND = 500
"""Steps after which speech that has been spoken meanwhile is taken in."""
CHECK_EVERY = 250
HELD_SOUNDS = 96
Item = TypeVar("Item")
Read = Callable[[Path], tuple[list[voices.Spoken], list[npt.NDArray[np.int16]]]]
Heard = Callable[[Tensor, Sequence[tuple[int, int]], Sequence[Sound], np.random.Generator], Tensor]


class Words:
    """Words to pronunciations, for training."""

    def __init__(self) -> None:
        self.known: Mapping[str, list[Phones]] = pronounce.known()
        self._dictionary = pronounce.dictionary()

    def pronounced(self, sound: Sound, chance: np.random.Generator) -> list[list[Phones]]:
        """The pronunciations of every word of a sound, one of them garbage where it is not the model's."""
        garbage = chance.random() < GARBAGE_SHARE.get(sound.engine, GARBAGE_SHARE_ELSE)
        found = []
        for word in sound.text.split():
            other = self._dictionary.get(word)
            found.append(self.known.get(word) or (mmi.garbage() if garbage or not other else list(other)))
        return found


@dataclass(frozen=True, slots=True)
class Step:
    """What one step is made from: sounds not yet made, and their spellings."""

    number: int
    sounds: list[Sound]
    spelled: mmi.Batch


class Steps(Dataset[Step]):
    """Every step by its number: the same number, the same step."""

    def __init__(self, bank: Bank, words: Words, seed: int, seconds: float) -> None:
        self._bank, self._words, self._seed, self._seconds = bank, words, seed, seconds

    def __getitem__(self, number: int) -> Step:
        chance = np.random.default_rng([self._seed, number])
        sounds = self._bank.step(chance, self._seconds)
        return Step(number, sounds, spelled(sounds, self._words, chance))


class Draws(Dataset[tuple[int, list[Sound]]]):
    """The sounds alone of every step by its number."""

    def __init__(self, bank: Bank, seed: int, seconds: float) -> None:
        self._bank, self._seed, self._seconds = bank, seed, seconds

    def __getitem__(self, number: int) -> tuple[int, list[Sound]]:
        return number, self._bank.step(np.random.default_rng([self._seed, number]), self._seconds)


def in_order(found: Dataset[Item], first: int, end: int, workers: int) -> Iterator[Item]:
    """The items of those numbers one after another, got ready by so many processes."""
    loader = DataLoader(
        found,
        batch_size=None,
        sampler=range(first, end),
        num_workers=workers,
        prefetch_factor=4 if workers else None,
        collate_fn=_as_it_is,
    )
    return iter(loader)


def _as_it_is(item: Item) -> Item:
    return item


def spelled(sounds: Sequence[Sound], words: Words, chance: np.random.Generator) -> mmi.Batch:
    """The spellings of all sounds side by side."""
    return mmi.batch([mmi.spelling(words.pronounced(sound, chance)) for sound in sounds])


def spoken_language(bank: Bank, words: Words, seed: int) -> mmi.Language:
    """The phone language of the training's texts, with silence where it may be."""
    chance = np.random.default_rng(seed)
    strings = []
    for _ in range(4000):
        string = [SILENCE]
        for pronunciations in words.pronounced(bank.sound(chance), chance):
            string += [unit(phone) for phone in pronunciations[chance.integers(len(pronunciations))]]
            if chance.random() < 0.5:
                string.append(SILENCE)
        strings.append(string)
    return mmi.language(strings)


class Learner(nn.Module):
    """The network with a second output that learns the posteriors directly, which steadies the first."""

    def __init__(self, network: Network) -> None:
        super().__init__()
        self.network = network
        self.direct = nn.Linear(64, PDFS)
        self.cepstra = Cepstra()

    def loss(self, heard: Tensor, lengths: Tensor, spelled: mmi.Batch, spoken: mmi.Language) -> tuple[Tensor, Tensor]:
        """Loss for each row, with the parts that steady it, and the criterion alone.

        `heard` is sound (sounds, samples) at a peak of at most 1, `lengths` the rows that count.
        """
        hidden = self.network.hidden(self.cepstra(heard * 32767))
        scores = self.network.out(hidden)
        live = torch.arange(scores.shape[1], device=scores.device)[None] < lengths[:, None]
        rows = lengths.sum()
        loss, posterior = mmi.Criterion.apply(scores, lengths, spelled, spoken)
        direct = -(posterior * functional.log_softmax(self.direct(hidden), -1)).sum()
        small = 0.5 * (scores.pow(2) * live[..., None]).sum()
        total: Tensor = (loss + CROSS_ENTROPY * direct + SMALL_SCORES * small) / rows
        return total, loss.detach() / rows


def rows_of(sounds: Sequence[Sound]) -> Tensor:
    """How many rows of the network's output each sound has: one for every third whole window of 25 ms."""
    frames = torch.tensor([(sound.length - 400) // (RATE_HZ // 100) + 1 for sound in sounds])
    return torch.div(frames + SUBSAMPLING - 1, SUBSAMPLING, rounding_mode="floor")


def pace(share: float) -> float:
    """The learning rate after that share of the steps, as a share of the greatest: up for a short while, then down to nothing."""
    return (
        share / WARM_SHARE
        if share < WARM_SHARE
        else 0.5 + 0.5 * float(np.cos(np.pi * (min(share, 1.0) - WARM_SHARE) / (1 - WARM_SHARE)))
    )


@dataclass(frozen=True, slots=True)
class Plan:
    """How long to learn: so many steps of so many seconds of sound, or minutes, whichever is over first."""

    steps: int
    minutes: float
    seconds: float
    seed: int
    workers: int
    rate: float = 1.0
    """Times the greatest learning rates: less than 1 for weights that have learned already."""


def train(
    network: Network, work: Path, plan: Plan, read: Read = voices.read, heard_in: Heard = places.heard
) -> Network:
    """Learns as planned, with a running mean of the weights, which is what is returned. Goes on where it was left.

    `read` gives the speech that is kept, `heard_in` the sounds as they are heard. Speech that is spoken meanwhile is taken in
    every ROUND steps. Uses an accelerator when PyTorch sees one.
    """
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(plan.seed)
    words = Words()
    learner = Learner(network).to(device)
    network.drop = DROP
    mean = copy.deepcopy(network)
    optimiser = _optimiser(learner)
    parts: dict[str, nn.Module | torch.optim.Optimizer] = {"learner": learner, "mean": mean, "optimiser": optimiser}
    kept, done, spent = work / "learner.pt", 0, 0.0
    if kept.exists():
        state = torch.load(kept, map_location=device)
        for name, part in parts.items():
            part.load_state_dict(state[name])
        done, spent = state["done"], state["spent"]
    began, losses = time.monotonic() - spent, list[Tensor]()

    def share() -> float:
        return max(done / plan.steps, (time.monotonic() - began) / 60 / plan.minutes)

    spoken: mmi.Language | None = None
    while share() < 1:
        speech = read(work / "speech")
        bank, held = (Bank(*speech, held=held) for held in (False, True))
        spoken = spoken or spoken_language(bank, words, plan.seed).to(device)
        samples = torch.from_numpy(bank.samples).to(device)
        learner.train()
        for step in in_order(Steps(bank, words, plan.seed, plan.seconds), done, done + ROUND, plan.workers):
            now = share()
            if now >= 1:
                break
            chance = np.random.default_rng([plan.seed, step.number, 1])
            heard = heard_in(samples, bank.crowd, step.sounds, chance)
            loss, bare = learner.loss(heard, rows_of(step.sounds).to(device), step.spelled.to(device), spoken)
            for group in optimiser.param_groups:
                group["lr"] = group["most"] * plan.rate * pace(now)
            optimiser.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(learner.parameters(), 1.0)
            optimiser.step()
            losses.append(bare)
            done += 1
            move(mean, network, done)
            if done % CHECK_EVERY == 0:
                spent = time.monotonic() - began
                figures = f"step {done}: loss {float(torch.stack(losses).mean()):.4f}, {spent:.0f} s"
                sys.stderr.write(f"{figures}, held {checked(mean, held, words, spoken, plan.seed)}\n")
                losses.clear()
                keep(kept, parts, done, spent)
        sys.stderr.write(
            f"{len(speech[0])} things spoken, {len(bank.samples) / RATE_HZ / 3600:.2f} hours to learn from\n"
        )
    keep(kept, parts, done, time.monotonic() - began)
    return mean


def _optimiser(learner: Learner) -> torch.optim.Optimizer:
    head = [*learner.network.out.parameters(), *learner.direct.parameters()]
    known = {id(parameter) for parameter in head}
    body = [parameter for parameter in learner.parameters() if id(parameter) not in known]
    groups = [{"params": body, "most": PACE}, {"params": head, "most": HEAD_PACE}]
    return torch.optim.AdamW(groups, PACE, weight_decay=DECAY)


def move(mean: nn.Module, network: nn.Module, done: int) -> None:
    """Moves the running mean towards the weights after that many steps; early ones count less long."""
    share = 1 - min(MEAN_OVER, done / (done + 10))
    with torch.no_grad():
        torch._foreach_lerp_(list(mean.parameters()), list(network.parameters()), share)


def keep(path: Path, parts: Mapping[str, nn.Module | torch.optim.Optimizer], done: int, spent: float) -> None:
    """What the learning goes on from, whole or not at all."""
    state = {name: part.state_dict() for name, part in parts.items()}
    torch.save({**state, "done": done, "spent": spent}, path.with_suffix(".part"))
    path.with_suffix(".part").replace(path)


def checked(network: Network, bank: Bank, words: Words, spoken: mmi.Language, seed: int) -> str:
    """The criterion on sounds of people and voices that were held out, for each engine; the same sounds every time."""
    device = spoken.first.device
    learner = Learner(network).to(device).eval()
    chance = np.random.default_rng(seed)
    drawn = [bank.sound(chance) for _ in range(8 * HELD_SOUNDS)]
    samples = torch.from_numpy(bank.samples).to(device)
    found = []
    for engine in sorted({sound.engine for sound in drawn} - {"none"}):
        sounds = [sound for sound in drawn if sound.engine == engine][:HELD_SOUNDS]
        with torch.no_grad():
            heard = places.heard(samples, bank.crowd, sounds, np.random.default_rng(seed))
            spellings = spelled(sounds, words, np.random.default_rng(seed)).to(device)
            found.append(f"{engine} {float(learner.loss(heard, rows_of(sounds).to(device), spellings, spoken)[1]):.3f}")
    return ", ".join(found)
