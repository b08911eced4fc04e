"""The learning: the upper layers, on the features that `features.py` keeps, with the criterion of `mmi.py`."""

# Shares of chance read best where they are used.
# ruff: noqa: PLR2004

import copy
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import torch
from torch import Tensor, nn
from torch.nn import functional

from models.recipe import features, mmi, pronounce
from models.recipe.features import Row
from models.recipe.network import Upper
from models.recipe.phones import PDFS, SILENCE, unit
from models.recipe.pronounce import Phones

ROWS_PER_STEP = 1600
PACE, HEAD_PACE = 6e-4, 2e-3
"""Greatest learning rates: of the layers that the donor had, and of those that begin with nothing."""
WARM_SHARE = 0.05
DECAY = 0.02
MEAN_OVER = 0.996
CROSS_ENTROPY = 0.1
SMALL_SCORES = 5e-5
GARBAGE_SHARE = {"real": 0.35}
GARBAGE_SHARE_ELSE = 0.5
"""How often a word that is not the model's is a garbage phone; else it teaches its phones."""
CHECK_EVERY = 50


class Words:
    """Words to pronunciations, for training."""

    def __init__(self) -> None:
        self.known: Mapping[str, list[Phones]] = pronounce.known()
        self._dictionary = pronounce.dictionary()

    def pronounced(self, row: Row, chance: np.random.Generator) -> list[list[Phones]]:
        """The pronunciations of every word of a sound, one of them garbage where it is not the model's."""
        garbage = chance.random() < GARBAGE_SHARE.get(row.engine, GARBAGE_SHARE_ELSE)
        found = []
        for word in row.text.split():
            other = self._dictionary.get(word)
            found.append(self.known.get(word) or (mmi.garbage() if garbage or not other else list(other)))
        return found


@dataclass(frozen=True, slots=True)
class Step:
    """What one step sees: states of sounds one behind another, where each one's output lies, and its spellings."""

    states: Tensor
    rows: list[Row]
    places: Tensor
    lengths: Tensor
    spelled: mmi.Batch


def step_of(
    rows: Sequence[Row], states: npt.NDArray[np.float16], words: Words, margin: int, chance: np.random.Generator
) -> Step:
    """The rows as one step. `places` (sounds, longest) are rows of the network's output; beyond a sound's end the first one."""
    lengths = torch.tensor([row.count - 2 * margin for row in rows])
    begins = np.cumsum([0, *(row.count for row in rows[:-1])])
    longest = int(lengths.max())
    at = torch.arange(longest)[None]
    places = torch.from_numpy(begins)[:, None] + torch.where(at < lengths[:, None], at, torch.zeros_like(at))
    joined = np.concatenate([states[row.first : row.first + row.count] for row in rows]).astype(np.float32)
    spelled = mmi.batch([mmi.spelling(words.pronounced(row, chance)) for row in rows])
    return Step(torch.from_numpy(joined), list(rows), places, lengths, spelled)


def batches(rows: Sequence[Row], chance: np.random.Generator) -> list[list[Row]]:
    """Rows of like length together, in random order."""
    found: list[list[Row]] = [[]]
    for row in sorted(rows, key=lambda row: row.count + chance.uniform(0, 12)):
        if sum(each.count for each in found[-1]) + row.count > ROWS_PER_STEP:
            found.append([])
        found[-1].append(row)
    return [found[place] for place in chance.permutation(len(found))]


def spoken_language(rows: Sequence[Row], words: Words) -> mmi.Language:
    """The phone language of the training texts, with silence where it may be."""
    chance = np.random.default_rng(0)
    strings = []
    for row in rows:
        string = [SILENCE]
        for pronunciations in words.pronounced(row, chance):
            string += [unit(phone) for phone in pronunciations[chance.integers(len(pronunciations))]]
            if chance.random() < 0.5:
                string.append(SILENCE)
        strings.append(string)
    return mmi.language(strings)


class Learner(nn.Module):
    """The upper part with a second output that learns the posteriors directly, which steadies the first."""

    def __init__(self, upper: Upper) -> None:
        super().__init__()
        self.upper = upper
        self.direct = nn.Linear(64, PDFS)

    def loss(self, step: Step, spoken: mmi.Language) -> tuple[Tensor, float]:
        """Loss for each frame, with the parts that steady it, and the criterion alone."""
        hidden = self.upper.hidden(step.states)[step.places]
        scores = self.upper.out(hidden)
        live = torch.arange(scores.shape[1])[None] < step.lengths[:, None]
        frames = int(step.lengths.sum())
        loss, posterior = mmi.Criterion.apply(scores, step.lengths, step.spelled, spoken)
        direct = -(posterior * functional.log_softmax(self.direct(hidden), -1)).sum()
        small = 0.5 * (scores.pow(2) * live[..., None]).sum()
        total: Tensor = (loss + CROSS_ENTROPY * direct + SMALL_SCORES * small) / frames
        return total, float(loss.detach()) / frames


def pace(share: float) -> float:
    """The learning rate after that share of the steps, as a share of the greatest: up for a short while, then down to nothing."""
    return (
        share / WARM_SHARE
        if share < WARM_SHARE
        else 0.5 + 0.5 * float(np.cos(np.pi * (share - WARM_SHARE) / (1 - WARM_SHARE)))
    )


def train(upper: Upper, work: Path, steps: int, seed: int) -> Upper:
    """Learns for that many steps, with a running mean of the weights, which is what is returned. Goes on where it was left.

    New parts of features are taken in at the beginning of each round over all of them.
    """
    torch.manual_seed(seed)
    words = Words()
    learner = Learner(upper)
    upper.drop = 0.1
    mean = copy.deepcopy(upper)
    head = [*upper.out.parameters(), *learner.direct.parameters()]
    known = {id(parameter) for parameter in head}
    body = [parameter for parameter in upper.parameters() if id(parameter) not in known]
    groups = [{"params": body, "most": PACE}, {"params": head, "most": HEAD_PACE}]
    optimiser = torch.optim.AdamW(groups, PACE, weight_decay=DECAY)
    kept, done, round_ = work / "learner.pt", 0, 0
    if kept.exists():
        state = torch.load(kept)
        for name, part in {"learner": learner, "mean": mean, "optimiser": optimiser}.items():
            part.load_state_dict(state[name])
        done, round_ = state["done"], state["round"]
    held_states, held = features.read(work / "features", "held")
    began, losses = time.monotonic(), list[float]()
    while done < steps:
        states, rows = features.read(work / "features", "learn")
        chance = np.random.default_rng([seed, round_])
        usable = [row for row in rows if row.count - 2 * upper.margin > 2 * len(row.text.split()) + 3]
        spoken = spoken_language(usable[:4000], words)
        sys.stderr.write(f"round {round_}: {len(usable)} sounds\n")
        for chosen in batches(usable, chance):
            learner.train()
            loss, bare = learner.loss(step_of(chosen, states, words, upper.margin, chance), spoken)
            for group in optimiser.param_groups:
                group["lr"] = group["most"] * pace((done + 1) / steps)
            optimiser.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(learner.parameters(), 1.0)
            optimiser.step()
            losses.append(bare)
            done += 1
            with torch.no_grad():
                for ours, theirs in zip(mean.parameters(), upper.parameters(), strict=True):
                    ours.lerp_(theirs, 1 - min(MEAN_OVER, done / (done + 10)))
            if done % CHECK_EVERY == 0 or done == steps:
                report = checked(mean, held_states, held, words, spoken)
                took = time.monotonic() - began
                sys.stderr.write(f"step {done}: loss {np.mean(losses):.4f}, held {report}, {took:.0f} s\n")
                losses.clear()
                parts = {"learner": learner, "mean": mean, "optimiser": optimiser}
                state = {name: part.state_dict() for name, part in parts.items()}
                torch.save({**state, "done": done, "round": round_}, kept.with_suffix(".part"))
                kept.with_suffix(".part").replace(kept)
            if done == steps:
                break
        round_ += 1
    return mean


def checked(
    upper: Upper, states: npt.NDArray[np.float16], rows: Sequence[Row], words: Words, spoken: mmi.Language
) -> str:
    """The criterion on sounds that were held out, for each engine."""
    learner = Learner(upper).eval()
    found = []
    for engine in sorted({row.engine for row in rows} - {"none"}):
        chosen = [row for row in rows if row.engine == engine][:40]
        with torch.no_grad():
            step = step_of(chosen, states, words, upper.margin, np.random.default_rng(0))
            found.append(f"{engine} {learner.loss(step, spoken)[1]:.3f}")
    return ", ".join(found)
