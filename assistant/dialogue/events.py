"""What comes into the dialogue and what goes out of it."""

from dataclasses import dataclass

from assistant.language.meaning import Expectation, Hearing
from assistant.measure.parts import Judgement
from assistant.measure.verdict import Verdict

# ---- events in


@dataclass(frozen=True, slots=True)
class Started:
    """A session begins, `at` local time as text. `label` and `meter` empty mean: ask.

    `timed` is False where nobody has to be waited for (chat, recordings): no window after a read-back, no reminders.
    `rate_wpm` and `volume_percent` are how to speak as remembered from earlier; 0: as usual.
    """

    at: str = ""
    label: str = ""
    meter: str = ""
    timed: bool = False
    rate_wpm: int = 0
    volume_percent: int = 0
    check: str = ""
    """The check to begin with instead of the coil test."""


@dataclass(frozen=True, slots=True)
class TakenUp:
    """A session that was left is taken up again: `timed` and spoken as given now, whichever way it was begun."""

    timed: bool = False
    rate_wpm: int = 0
    volume_percent: int = 0


@dataclass(frozen=True, slots=True)
class Heard:
    """An utterance went through the recogniser."""

    hearing: Hearing


@dataclass(frozen=True, slots=True)
class Typed:
    """A line was typed."""

    text: str


@dataclass(frozen=True, slots=True)
class SpeechEnded:
    """Everything that was to be spoken has been spoken."""


@dataclass(frozen=True, slots=True)
class TimerFired:
    """A timer that `StartTimer` started ran out."""

    name: str


@dataclass(frozen=True, slots=True)
class DeviceFailed:
    """A device stopped working; `line` says in one sentence which and why."""

    device: str
    line: str


@dataclass(frozen=True, slots=True)
class DeviceBack:
    """The device works again."""

    device: str


@dataclass(frozen=True, slots=True)
class InputEnded:
    """No more input will come: end of file on a pipe, end of the recordings."""


Event = Started | TakenUp | Heard | Typed | SpeechEnded | TimerFired | DeviceFailed | DeviceBack | InputEnded

# ---- effects out


@dataclass(frozen=True, slots=True)
class Say:
    """Speak and print one sentence group. `whole` (cautions, verdicts): never cut off by anything but "stop"."""

    text: str
    whole: bool = False


@dataclass(frozen=True, slots=True)
class Show:
    """Print only."""

    text: str


@dataclass(frozen=True, slots=True)
class Listen:
    """Ears open, for this."""

    expect: Expectation


@dataclass(frozen=True, slots=True)
class StartTimer:
    """Report `TimerFired(name)` after so long; a timer of the same name that still runs is replaced."""

    name: str
    after_ms: int


@dataclass(frozen=True, slots=True)
class SetVoice:
    """Change how speech sounds from now on: words a minute, and loudness in percent."""

    rate_wpm: int
    volume_percent: int


@dataclass(frozen=True, slots=True)
class NextVoice:
    """Speak in the next of the voices that there are, from now on."""


@dataclass(frozen=True, slots=True)
class Hush:
    """Whatever is still being spoken ends at once, cautions too: somebody said "stop"."""


@dataclass(frozen=True, slots=True)
class Decided:
    """The judgement of the readings so far, for the record."""

    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Checked:
    """The judgement of a check beside the coil test, for the record."""

    judgement: Judgement


@dataclass(frozen=True, slots=True)
class Save:
    """Write the readable record beside the journal."""

    name: str
    text: str


@dataclass(frozen=True, slots=True)
class Finished:
    """The session is over. `complete` is False after "stop": it can be taken up again."""

    complete: bool


Effect = Say | Show | Listen | StartTimer | SetVoice | NextVoice | Hush | Decided | Checked | Save | Finished
