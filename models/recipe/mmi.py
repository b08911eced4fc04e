"""The criterion: lattice-free maximum mutual information, for phones of one first frame and any number of further frames.

The loss of an utterance is log(sum over all phone strings) - log(sum over those that spell its words), both over every way to
lay them in time. Its gradient is the difference of the two posteriors. Scores run through scaled probabilities in double
precision: after each frame the sum is 1, and the logarithms of what was taken out add up.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import torch
from torch import Tensor

from models.recipe.phones import GARBAGE, SILENCE, UNITS, unit
from models.recipe.pronounce import Phones

Doubles = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Spelling:
    """All phone strings that spell an utterance: nodes with a phone each, and the chances to begin, go on and end."""

    phones: npt.NDArray[np.int64]
    first: Doubles
    follows: Doubles
    last: Doubles


def spelling(words: Sequence[Sequence[Phones]], silence: float = 0.5) -> Spelling:
    """The words, each with its pronunciations as equals, and silence before, between and after them with that chance."""
    phones: list[int] = []
    arcs: list[tuple[int, int, float]] = []
    open_ends: list[tuple[int, float]] = [(-1, 1.0)]

    def pause() -> None:
        phones.append(SILENCE)
        arcs.extend((source, len(phones) - 1, chance * silence) for source, chance in open_ends)
        open_ends[:] = [*((source, chance * (1 - silence)) for source, chance in open_ends), (len(phones) - 1, 1.0)]

    pause()
    for pronunciations in words:
        ends = []
        for pronunciation in pronunciations:
            sources = [(source, chance / len(pronunciations)) for source, chance in open_ends]
            for phone in pronunciation:
                phones.append(unit(phone))
                arcs.extend((source, len(phones) - 1, chance) for source, chance in sources)
                sources = [(len(phones) - 1, 1.0)]
            ends += sources
        open_ends[:] = ends
        pause()
    first, last, follows = np.zeros(len(phones)), np.zeros(len(phones)), np.zeros((len(phones), len(phones)))
    for source, target, chance in arcs:
        if source < 0:
            first[target] += chance
        else:
            follows[source, target] += chance
    for source, chance in open_ends:
        if source >= 0:
            last[source] += chance
    if not words:  # silence alone
        first[0], last[0] = 1.0, 1.0
    return Spelling(np.array(phones), first, follows, last)


@dataclass(frozen=True, slots=True)
class Batch:
    """Spellings of many utterances, filled up to the largest: phones (B, N), first (B, N), follows (B, N, N), last (B, N)."""

    phones: Tensor
    first: Tensor
    follows: Tensor
    last: Tensor

    def to(self, device: torch.device) -> "Batch":
        """The same on a device."""
        return Batch(*(each.to(device) for each in (self.phones, self.first, self.follows, self.last)))


def batch(spellings: Sequence[Spelling]) -> Batch:
    """The spellings side by side."""
    size = max(len(each.phones) for each in spellings)
    phones = torch.zeros(len(spellings), size, dtype=torch.long)
    first, last = torch.zeros(2, len(spellings), size, dtype=torch.float64)
    follows = torch.zeros(len(spellings), size, size, dtype=torch.float64)
    for number, each in enumerate(spellings):
        count = len(each.phones)
        phones[number, :count] = torch.from_numpy(each.phones)
        first[number, :count] = torch.from_numpy(each.first)
        follows[number, :count, :count] = torch.from_numpy(each.follows)
        last[number, :count] = torch.from_numpy(each.last)
    return Batch(phones, first, follows, last)


@dataclass(frozen=True, slots=True)
class Language:
    """Which phone follows which: chances to begin (P,), to follow (P, P) and to end (P,); P is the number of `UNITS`."""

    first: Tensor
    follows: Tensor
    last: Tensor

    def to(self, device: torch.device) -> "Language":
        """The same on a device."""
        return Language(*(each.to(device) for each in (self.first, self.follows, self.last)))


LOOSE = 0.7
"""Share of chance that the phone language leaves to any phone after any other."""


def language(strings: Sequence[Sequence[int]]) -> Language:
    """Counts of two phones in a row, mixed with a language where any phone follows any other.

    Without that the network need not care what it says of phones that the training's texts never have in a place: the
    language rules them out. But the recogniser's grammar, which takes its place later, rules out less.
    Two in a row, not three as is usual: what words there are is the business of the grammar.
    """
    count = len(UNITS)
    twos = np.zeros((count, count + 1))
    first = np.zeros(count)
    for string in strings:
        first[string[0]] += 1
        for phone, after in zip(string, (*string[1:], count), strict=True):
            twos[phone, after] += 1
    every = np.full(count + 1, 1 / (count + 1))
    follows = (1 - LOOSE) * (twos + every) / (twos.sum(axis=-1, keepdims=True) + 1) + LOOSE * every
    first = (1 - LOOSE) * first / first.sum() + LOOSE / count
    return Language(*map(torch.from_numpy, (first, follows[:, :count].copy(), follows[:, count].copy())))


def numerator(scores: Tensor, lengths: Tensor, spelled: Batch) -> tuple[Tensor, Tensor]:
    """Log of the sum over spellings (B,), and the posteriors of the pdfs (B, T, pdfs). Scores (B, T, pdfs) in doubles."""
    size, frames, _ = scores.shape
    top, chances = _scaled(scores)
    nodes = spelled.phones.shape[1]
    place = (2 * spelled.phones)[:, None].expand(size, frames, nodes)
    entering, staying = chances.gather(2, place), chances.gather(2, place + 1)
    new, old = torch.zeros(2, frames, size, nodes, dtype=torch.float64, device=scores.device)
    sums = torch.ones(frames, size, dtype=torch.float64, device=scores.device)
    for at in range(frames):
        if at:
            before = new[at - 1] + old[at - 1]
            begun = torch.bmm(before[:, None], spelled.follows)[:, 0] * entering[:, at]
            kept = before * staying[:, at]
        else:
            begun, kept = spelled.first * entering[:, 0], torch.zeros_like(spelled.first)
        new[at], old[at], sums[at] = _normalised(begun, kept, at < lengths, new[at - 1], old[at - 1])
    end = ((new[-1] + old[-1]) * spelled.last).sum(1)
    total = _total(sums, top, lengths) + end.log()
    posterior = torch.zeros_like(scores)
    backward = spelled.follows.transpose(1, 2)
    beyond = spelled.last / end[:, None]
    for at in range(frames - 1, -1, -1):
        live = (at < lengths)[:, None].double()
        posterior[:, at].scatter_add_(1, place[:, at], new[at] * beyond * live)
        posterior[:, at].scatter_add_(1, place[:, at] + 1, old[at] * beyond * live)
        if at:
            onward = torch.bmm((entering[:, at] * beyond)[:, None], backward)[:, 0] + staying[:, at] * beyond
            beyond = torch.where(live > 0, onward / sums[at][:, None], beyond)
    return total, posterior


def denominator(scores: Tensor, lengths: Tensor, spoken: Language) -> tuple[Tensor, Tensor]:
    """The same over all phone strings of the language."""
    size, frames, pdfs = scores.shape
    count = pdfs // 2
    top, chances = _scaled(scores)
    entering, staying = chances[..., 0::2], chances[..., 1::2]
    new, old = torch.zeros(2, frames, size, count, dtype=torch.float64, device=scores.device)
    sums = torch.ones(frames, size, dtype=torch.float64, device=scores.device)
    for at in range(frames):
        if at:
            before = new[at - 1] + old[at - 1]
            begun, kept = before @ spoken.follows * entering[:, at], before * staying[:, at]
        else:
            begun, kept = spoken.first * entering[:, 0], torch.zeros_like(entering[:, 0])
        new[at], old[at], sums[at] = _normalised(begun, kept, at < lengths, new[at - 1], old[at - 1])
    end = ((new[-1] + old[-1]) * spoken.last).sum(1)
    total = _total(sums, top, lengths) + end.log()
    posterior = torch.zeros_like(scores)
    beyond = spoken.last / end[:, None]
    for at in range(frames - 1, -1, -1):
        live = (at < lengths)[:, None].double()
        posterior[:, at, 0::2] = new[at] * beyond * live
        posterior[:, at, 1::2] = old[at] * beyond * live
        if at:
            onward = (beyond * entering[:, at]) @ spoken.follows.T + beyond * staying[:, at]
            beyond = torch.where(live > 0, onward / sums[at][:, None], beyond)
    return total, posterior


def _scaled(scores: Tensor) -> tuple[Tensor, Tensor]:
    top = scores.amax(-1, keepdim=True)
    return top[..., 0], (scores - top).exp()


def _normalised(begun: Tensor, kept: Tensor, live: Tensor, *last: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Both parts over their sum, and the sum; beyond the end of an utterance its last ones, and 1."""
    total = (begun + kept).sum(1)
    total = torch.where(live, total, torch.ones_like(total)).clamp_min(1e-290)
    alive, scale = live[:, None], total[:, None]
    return torch.where(alive, begun / scale, last[0]), torch.where(alive, kept / scale, last[1]), total


def _total(sums: Tensor, top: Tensor, lengths: Tensor) -> Tensor:
    frames = torch.arange(top.shape[1], device=top.device)
    return sums.log().sum(0) + (top * (frames[None] < lengths[:, None])).sum(1)


class Criterion(torch.autograd.Function):
    """`apply(scores, lengths, batch, language)`: the summed loss, and the posteriors of the spelling.

    Utterances too short for their words count nothing.
    """

    @staticmethod
    def forward(ctx: Any, scores: Tensor, lengths: Tensor, spelled: Batch, spoken: Language) -> tuple[Tensor, Tensor]:  # noqa: ANN401
        doubles = scores.detach().double()
        right, posterior = numerator(doubles, lengths, spelled)
        every, expected = denominator(doubles, lengths, spoken)
        usable = (torch.isfinite(right) & torch.isfinite(every) & (right > every - 1e4))[:, None, None]
        gradient = torch.where(usable, expected - posterior, torch.zeros_like(doubles))
        ctx.gradient = gradient.to(scores.dtype)
        posterior = torch.where(usable, posterior, torch.zeros_like(posterior)).to(scores.dtype)
        ctx.mark_non_differentiable(posterior)
        loss = torch.where(usable[:, 0, 0], every - right, torch.zeros_like(every)).sum()
        return loss.to(scores.dtype), posterior

    @staticmethod
    def backward(ctx: Any, outer: Tensor, _: Tensor) -> tuple[Tensor | None, ...]:  # noqa: ANN401
        return ctx.gradient * outer, None, None, None


def garbage() -> list[Phones]:
    """The pronunciation of any word that is not the model's."""
    return [(GARBAGE,)]
