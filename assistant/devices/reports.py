"""What the rim tells the loop: everything that happens outside comes through one queue, as one of these."""

from collections.abc import Callable
from dataclasses import dataclass

from assistant.devices.ports import Utterance
from assistant.language.meaning import Hearing


@dataclass(frozen=True, slots=True)
class SpeechBegan:
    """Somebody speaks."""


@dataclass(frozen=True, slots=True)
class SpeechOver:
    """What began was no speech, or some of it was lost."""


@dataclass(frozen=True, slots=True)
class SoundHeard:
    """An utterance and what the recogniser made of it. `turn` counts the answers that had been taken when it began."""

    utterance: Utterance
    hearing: Hearing
    turn: int


@dataclass(frozen=True, slots=True)
class LineTyped:
    """A line from the keyboard."""

    text: str


@dataclass(frozen=True, slots=True)
class KeysEnded:
    """There is no keyboard, or no more will come from it."""


@dataclass(frozen=True, slots=True)
class AllSpoken:
    """Everything that was to be spoken has been; `burst` says which run of sentences it was."""

    burst: int


@dataclass(frozen=True, slots=True)
class Failed:
    """A device stopped working; one line says why and what to do."""

    device: str
    line: str


@dataclass(frozen=True, slots=True)
class Back:
    """The device works again."""

    device: str


@dataclass(frozen=True, slots=True)
class Remark:
    """One line that is shown and not spoken."""

    line: str


Report = SpeechBegan | SpeechOver | SoundHeard | LineTyped | KeysEnded | AllSpoken | Failed | Back | Remark
Tell = Callable[[Report], None]
