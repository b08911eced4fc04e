"""Where speech begins and ends: cuts a stream of sound into utterances.

The judgement "speech or not" is Silero's voice-activity network, which faster-whisper ships and calls; this module
only decides what to do with it. Sound is taken in blocks of any size, so a live microphone and a file go the same
way, and never more than one utterance is held.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from faster_whisper.vad import get_vad_model

from assistant.devices.ports import RATE_HZ, Samples, Utterance

FRAME = 512
"""Samples in one judgement of the network at 16 kHz (32 ms): fixed by the network."""

_WARM_UP_FRAMES = 16
"""The library's call starts from a blank memory each time; half a second of earlier sound in front gives it back."""

_BEGUN_FRAMES = 3
"""Speech in the first tenth of a second had begun before: nobody answers so soon."""

_CLIPPED_LEVEL = 0.98
_CLIPPED_SHARE = 0.002
"""A voice recorded at a sensible level touches full scale for no more than a few samples."""


@dataclass(frozen=True, slots=True)
class Pauses:
    """How long to wait, all in seconds. `times(n)` stretches the waiting for people who need longer (WCAG 2.2.1)."""

    complete_s: float = 0.4
    """Silence that ends an utterance which is complete as it stands."""
    early_s: float = 0.1
    """Silence after which it is asked whether an utterance is complete: recognising takes time, and so it is spent while waiting.
    Who goes on speaking is asked about again."""
    incomplete_s: float = 1.2
    """Silence that ends one which is not ("four point ..."), or of which nobody can tell."""
    longest_s: float = 8.0
    """From the first speech to the last; never stretched, since recognisers hear no more at once. What follows without a
    pause is dropped, so that no number begins in mid-sentence."""
    lead_s: float = 0.3
    """Sound kept around the speech: the network notices soft consonants late."""
    shortest_s: float = 0.03
    """Less speech than this is a click."""
    speech_above: float = 0.2
    """Network output that begins speech. Of 1,040 short words of 89 people 0.2 missed 3, 0.3 missed 9, 0.5 missed 23; of 40 clips of
    background noise 1, 0 and 0 were let through, for the recogniser to refuse."""
    silence_below: float = 0.15
    """Network output that counts as a pause."""

    def times(self, factor: float) -> "Pauses":
        """The same with waits `factor` times as long; raises ValueError outside 1 to 10."""
        if not 1 <= factor <= 10:  # noqa: PLR2004 - the bound of WCAG 2.2.1
            raise ValueError(f"pauses can be stretched 1 to 10 times, not {factor}")
        return Pauses(
            self.complete_s * factor,
            self.early_s,
            self.incomplete_s * factor,
            self.longest_s,
            self.lead_s,
            self.shortest_s,
            self.speech_above,
            self.silence_below,
        )


def speech_probability(samples: Samples) -> Samples:
    """Per 32 ms frame (512 samples at 16 kHz) the chance that somebody speaks; a last part frame is filled with silence."""
    frames = np.pad(samples, (0, -len(samples) % FRAME))
    return np.asarray(get_vad_model()(frames), dtype=np.float32).ravel()


def speech_seconds(samples: Samples, above: float = 0.5) -> float:
    """How much of the sound is speech."""
    return float((speech_probability(samples) > above).sum()) * FRAME / RATE_HZ


def is_clipped(samples: Samples) -> bool:
    """True when so many samples lie at full scale that the tops of the waves are cut off."""
    return bool(len(samples)) and float((np.abs(samples) >= _CLIPPED_LEVEL).mean()) > _CLIPPED_SHARE


class Endpointer:
    """Feeds on blocks at RATE_HZ and gives back utterances as they end.

    `unfinished(samples)` is asked once per pause, after `early_s` of silence, with the utterance so far; True means
    that more is likely to follow. It may recognise the sound on the spot: the reply can then start as soon as the
    pause is over; the utterance that ends in this pause is marked `asked`. Without it every pause must last `incomplete_s`.
    """

    def __init__(self, pauses: Pauses | None = None, unfinished: Callable[[Samples], bool] | None = None) -> None:
        self._pauses = pauses or Pauses()
        self._unfinished = unfinished
        self._rest: Samples = np.zeros(0, dtype=np.float32)
        self._context: Samples = np.zeros(0, dtype=np.float32)
        self._kept: list[Samples] = []
        self._at = 0
        self._speech = 0
        self._silence = 0
        self._speaking = False
        self._dropping = False
        self._asked = False
        self._until_complete = True
        self._opened = 0
        self._begun = False

    def feed(self, block: Samples) -> tuple[Utterance, ...]:
        """Takes the next block; returns the utterances that ended in it."""
        sound = np.concatenate([self._rest, block.astype(np.float32, copy=False)])
        whole = len(sound) - len(sound) % FRAME
        self._rest = sound[whole:]
        if not whole:
            return ()
        sound = sound[:whole]
        with_context = np.concatenate([self._context, sound])
        chances = speech_probability(with_context)[len(self._context) // FRAME :]
        self._context = with_context[-_WARM_UP_FRAMES * FRAME :]
        ended = []
        for number, chance in enumerate(chances):
            utterance = self._frame(sound[number * FRAME : (number + 1) * FRAME], float(chance))
            if utterance:
                ended.append(utterance)
        return tuple(ended)

    @property
    def speech_s(self) -> float:
        """How much of the utterance that is going on was speech so far; 0 when nobody speaks, and in what is dropped."""
        return self._speech * FRAME / RATE_HZ if self._speaking and not self._dropping else 0.0

    @property
    def pausing_s(self) -> float:
        """How long it has been silent since the last speech."""
        return self._silence * FRAME / RATE_HZ

    def shut(self, least_s: float) -> tuple[Utterance, ...]:
        """The ears are shut: what was being said until now, cut off, where that was at least so much speech; the rest is left."""
        found = self._cut() if self._speaking and self.speech_s >= least_s else None
        self.forget()
        return (replace(found, cut=True),) if found else ()

    def forget(self) -> None:
        """Leave what was being said, and everything before it: the ears were shut."""
        self._reset()
        self._rest = self._context = np.zeros(0, dtype=np.float32)
        self._opened = self._at

    def finish(self) -> tuple[Utterance, ...]:
        """The source has ended: returns what was being said, if anything."""
        ended = self.feed(np.zeros(-len(self._rest) % FRAME, dtype=np.float32))
        if not self._speaking or self._dropping:
            self._reset()
            return ended
        last = self._cut()
        return (*ended, last) if last else ended

    def _frame(self, frame: Samples, chance: float) -> Utterance | None:
        self._at += 1
        self._kept.append(frame)
        if not self._speaking:
            if chance < self._pauses.speech_above:
                del self._kept[: -self._frames(self._pauses.lead_s)]
                return None
            self._speaking = True
            self._begun = self._at - self._opened <= _BEGUN_FRAMES
        if chance >= self._pauses.silence_below:
            self._speech += 1
            self._silence = 0
            self._asked = False
        else:
            self._silence += 1
        if self._dropping:
            del self._kept[:-1]
            if self._silence >= self._frames(self._pauses.complete_s):
                self._reset()
            return None
        if len(self._kept) - self._silence >= self._frames(self._pauses.longest_s):
            utterance = self._cut()
            self._speaking = self._dropping = True
            return utterance
        return self._cut() if self._pause_is_over() else None

    def _pause_is_over(self) -> bool:
        if self._unfinished and not self._asked and self._silence >= self._frames(self._pauses.early_s):
            self._asked = True
            self._until_complete = self._unfinished(np.concatenate(self._kept))
        if self._silence >= self._frames(self._pauses.incomplete_s):
            return True
        complete = self._unfinished is not None and not self._until_complete
        return complete and self._silence >= self._frames(self._pauses.complete_s)

    def _cut(self) -> Utterance | None:
        """The utterance that is held, and a fresh start; None when it was only a click."""
        start = self._at - len(self._kept)
        speech, asked, begun = self._speech, self._asked, self._begun
        spare = max(0, self._silence - self._frames(self._pauses.lead_s))
        samples = np.concatenate(self._kept[: len(self._kept) - spare])
        self._reset()
        if speech < self._frames(self._pauses.shortest_s):
            return None
        start_s, end_s = start * FRAME / RATE_HZ, (self._at - spare) * FRAME / RATE_HZ
        return Utterance(samples, start_s, end_s, is_clipped(samples), asked, begun=begun)

    def _reset(self) -> None:
        self._kept = []
        self._speech = self._silence = 0
        self._speaking = self._dropping = self._asked = self._begun = False

    @staticmethod
    def _frames(seconds: float) -> int:
        return max(1, round(seconds * RATE_HZ / FRAME))
