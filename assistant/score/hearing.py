"""Every recording of a manifest goes the way of `ohmaloud hear`: end-pointer, recogniser, certainty; noise may be mixed in."""

import time
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from assistant.devices.endpoint import Endpointer
from assistant.devices.ports import RATE_HZ, Recogniser, Samples, Utterance
from assistant.devices.recordings import sound
from assistant.language.certainty import belief_in, decide
from assistant.language.lexicon import Lexicon
from assistant.language.meaning import Meaning, NotUnderstood, SaidReading, Understood
from assistant.score.manifest import Case, plainly

CLEAN = "clean"
_FRAME = RATE_HZ // 50
_SPEECH_BELOW_LOUDEST = 100.0
"""Frames of 20 ms within 20 dB of the loudest one count as speech."""
_PEAK = 0.99


@dataclass(frozen=True, slots=True)
class Claim:
    """One utterance's likeliest meaning: how much it was believed, and whether it was what was meant."""

    belief: float
    right: bool


@dataclass(frozen=True, slots=True)
class Row:
    """One recording at one level of noise, and what became of it.

    `outcome` is right, wrong (while sure) or asked; where nothing must be taken, taken or left. `held` is True when it was
    asked and the question offers what was meant ("I got: 4.7 kΩ. Is that what the meter shows?").
    """

    case: Case
    level: str
    heard: str
    outcome: str
    held: bool
    took_s: tuple[float, ...]
    audio_s: float
    claims: tuple[Claim, ...] = ()


@dataclass(frozen=True, slots=True)
class Level:
    """A condition under which everything is heard: its name, and what it does to the sound of a case."""

    name: str
    change: Callable[[Samples, Case], Samples]
    background_too: bool = True
    """False where there would be nothing to do to a recording without speech."""


def clean() -> Level:
    """The sound as it is."""
    return Level(CLEAN, lambda samples, _case: samples)


def noisy(noises: Sequence[Samples], snr_db: float) -> Level:
    """Noise mixed under the speech at this ratio. Which noise, and from where on, depends on nothing but the file's name."""

    def change(samples: Samples, case: Case) -> Samples:
        seed = zlib.crc32(case.file.encode())
        return mixed(samples, np.roll(noises[seed % len(noises)], -(seed // 7)), snr_db)

    return Level(f"{snr_db:g} dB", change, background_too=False)


def mixed(speech: Samples, noise: Samples, snr_db: float) -> Samples:
    """Speech and noise together, the noise repeated to the length of the speech.

    The ratio is that of mean powers, of the speech where somebody speaks and of the noise everywhere. Turned down where
    it would clip.
    """
    under = np.resize(noise, len(speech))
    noise_power = float(np.mean(under**2))
    if not noise_power:
        return speech
    together = speech + under * np.float32(np.sqrt(speech_power(speech) / noise_power / 10 ** (snr_db / 10)))
    peak = float(np.abs(together).max(initial=0.0))
    return (together * np.float32(min(1.0, _PEAK / peak)) if peak else together).astype(np.float32)


def speech_power(samples: Samples) -> float:
    """Mean power of the frames within 20 dB of the loudest; full scale is 1. 0 for silence and for nothing."""
    whole = samples[: len(samples) // _FRAME * _FRAME]
    powers = np.mean(whole.reshape(-1, _FRAME) ** 2, axis=1)
    return float(powers[powers >= powers.max() / _SPEECH_BELOW_LOUDEST].mean()) if powers.size else 0.0


def loaded(path: Path) -> Samples:
    """A whole recording at RATE_HZ. Raises BadInput with one line for anything that is no whole sound."""
    return np.concatenate([np.zeros(0, dtype=np.float32), *sound(path)])


def utterances(samples: Samples) -> Iterator[Utterance]:
    """What the end-pointer makes of a whole sound, fed in blocks of a second as from a file."""
    ears = Endpointer()
    for start in range(0, len(samples), RATE_HZ):
        yield from ears.feed(samples[start : start + RATE_HZ])
    yield from ears.finish()


def heard(
    cases: Sequence[Case],
    levels: Sequence[Level],
    recogniser: Recogniser,
    lexicon: Lexicon,
    load: Callable[[Case], Samples] = lambda case: loaded(case.path),
) -> Iterator[Row]:
    """Every case at every level, case by case."""
    for case in cases:
        samples = load(case)
        for level in levels:
            if level.background_too or case.kind != "background":
                yield judged(case, level.name, level.change(samples, case), recogniser, lexicon)


def judged(case: Case, level: str, samples: Samples, recogniser: Recogniser, lexicon: Lexicon) -> Row:
    """One sound heard, and what became of it."""
    understood: list[Understood] = []
    claims: list[Claim] = []
    took: list[float] = []
    for utterance in utterances(samples):
        began = time.perf_counter()
        hearing = recogniser.hear(utterance.samples, case.expectation)
        meant = decide(hearing, case.expectation, lexicon)
        took.append(time.perf_counter() - began)
        understood.append(meant)
        belief = belief_in(hearing, case.expectation, lexicon)
        if belief is not None:
            claims.append(Claim(belief, case.agrees(meant.meaning)))
    taken = [each for each in understood if is_taken(each)]
    outcome = _outcome(case, taken)
    held = outcome == "asked" and any(case.agrees(meaning) for each in understood for meaning in _held_up(each))
    words = "; ".join(map(plainly, taken or understood))
    return Row(case, level, words, outcome, held, tuple(took), len(samples) / RATE_HZ, tuple(claims))


def is_taken(understood: Understood) -> bool:
    """Whether the dialogue acts on it without a question: sure, understood, and not said in a way that is easily misheard."""
    easily_misheard = isinstance(understood.meaning, SaidReading) and understood.meaning.check
    return understood.sure and not easily_misheard and not isinstance(understood.meaning, NotUnderstood)


def _held_up(understood: Understood) -> tuple[Meaning, ...]:
    """What a question about it would offer: the likeliest meaning, and a rival value."""
    return understood.meaning, *(() if understood.rival is None else (SaidReading(understood.rival),))


def _outcome(case: Case, taken: Sequence[Understood]) -> str:
    if not case.truth:
        return "taken" if taken else "left"
    if not taken:
        return "asked"
    return "right" if len(taken) == 1 and case.agrees(taken[0].meaning) else "wrong"
