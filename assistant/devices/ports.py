"""The five things at the rim, as Protocols. Each has one contract test that the real one and the stand-in both pass."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from assistant.language.meaning import Expectation, Hearing

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Samples = npt.NDArray[np.float32]
    """Mono sound, shape (frames,), full scale ±1."""
else:
    Samples = Any  # numpy takes a good part of the time in which a typed session begins, and there is no sound in it

RATE_HZ = 16_000
"""The rate at which every recogniser here listens."""
ENGINES = ("built-in", "vosk", "both")
"""The recognisers' names; here, where a setting is checked by them without loading any."""


@dataclass(frozen=True, slots=True)
class Utterance:
    """One stretch of speech: mono samples at RATE_HZ and where it stood in its source."""

    samples: Samples
    start_s: float
    end_s: float
    clipped: bool = False
    asked: bool = False
    """True when nothing was said after the end-pointer last asked whether this is finished: what was heard then is all of it."""
    cut: bool = False
    """True when the ears were shut in the middle of it: its end is missing."""
    begun: bool = False
    """True when somebody was speaking already as the source began or the ears opened: its beginning may be missing."""


class Microphone(Protocol):
    """A source of utterances; ends when the source ends."""

    def utterances(self) -> Iterator[Utterance]:
        """Utterances in order. Trouble with the source raises BadInput with one clear line."""


class Recogniser(Protocol):
    """Turns one utterance into what it may have been."""

    @property
    def name(self) -> str:
        """The engine's name and the model's, for the record: `built-in tiny.en 1a5afae0, tuned ee221610`."""

    def hear(self, samples: Samples, expectation: Expectation) -> Hearing:
        """What the sound may be, given what is expected. Nothing heard is an empty Hearing; never raises on any finite sound."""


class Listener(Recogniser, Protocol):
    """A recogniser that listens more than once, and can be stopped when what it has is enough."""

    def listens(self, samples: Samples, expectation: Expectation) -> Iterator[Hearing]:
        """The evidence after each listen, all of it so far; at least one, without alternatives when nobody speaks."""


class Speaker(Protocol):
    """Speaks sentences. After a failure the next sentence is tried again."""

    @property
    def trouble(self) -> str | None:
        """Why the last sentence got no voice, in one line; None while all is well."""

    def render(self, text: str, rate_wpm: int) -> bytes | None:
        """The sentence as a WAV file's bytes, or None when no voice can be had (the text goes on without it)."""

    def next_voice(self) -> str | None:
        """The name of the next English voice, which speaks from now on; None when there is no other, "" when that cannot be told now."""

    def close(self) -> None:
        """Nothing more will be spoken."""


class Clock(Protocol):
    """Time since the session began."""

    def now_ms(self) -> int:
        """Milliseconds, never decreasing."""


class Store(Protocol):
    """Where a session's lines and files go; nothing returns before it is on disk."""

    def append(self, lines: tuple[str, ...]) -> None:
        """All the lines or none; raises OSError when the disk refuses, with what stood before untouched."""

    def save(self, name: str, content: bytes) -> None:
        """A whole file beside the journal, replaced in one move or not at all."""
