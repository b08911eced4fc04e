"""What the dialogue knows: one frozen value, made anew by every event."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import Enum

from assistant.dialogue.check_file import Check
from assistant.dialogue.events import Say
from assistant.dialogue.procedure import Procedure
from assistant.language.lexicon import Lexicon
from assistant.language.meaning import Ask, Expectation, Understood
from assistant.measure.meter import Meter
from assistant.measure.parts import Judgement
from assistant.measure.units import Reading
from assistant.measure.verdict import Tap, Verdict


class Phase(Enum):
    """Where a conversation can be. The value is the phase's sentence for "where are we"."""

    NEW = "not begun"
    ASKING = "a question is open"
    UNIT = "a number waits for its unit"
    CONFIRMING = "something heard waits for yes or no"
    SETTLING = "a reading was said back and can still be contradicted"
    PAUSED = "paused"
    CLOSED = "over"


@dataclass(frozen=True, slots=True)
class Bench:
    """Everything that does not change during a session: the data files, read and checked.

    `procedure` holds the steps of the checks too; `checks` stand in the order of the ladder.
    """

    procedure: Procedure
    lexicon: Lexicon
    meters: Mapping[str, Meter]
    default_meter: str = "pocket"
    checks: Mapping[str, Check] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Taken:
    """A reading that stands, and the step it answered."""

    step: str
    reading: Reading


@dataclass(frozen=True, slots=True)
class Facts:
    """What the person has told: kept as said, judged elsewhere."""

    label: str = ""
    meter: str = ""
    answers: tuple[tuple[str, tuple[str, ...]], ...] = ()
    numbers: tuple[tuple[str, str], ...] = ()
    readings: tuple[Taken, ...] = ()
    declined: frozenset[Tap] = frozenset()
    check: str = ""
    """The check that is on; empty in the coil test. Its readings are those from number `check_from` on."""
    check_from: int = 0
    left_out: frozenset[str] = frozenset()
    """Readings of checks that the person does not want to take, or to take again, by step."""
    judged: tuple[Judgement, ...] = ()
    """What the checks of this session came to, the last one last."""

    def answer(self, step: str) -> tuple[str, ...]:
        """The names answered at a step, empty when it was skipped or not reached."""
        return dict(self.answers).get(step, ())

    def with_answer(self, step: str, names: tuple[str, ...]) -> "Facts":
        """The same with the answer of one step set."""
        return replace(self, answers=tuple({**dict(self.answers), step: names}.items()))

    def with_number(self, step: str, text: str) -> "Facts":
        """The same with the number of one step set."""
        return replace(self, numbers=tuple({**dict(self.numbers), step: text}.items()))

    def at(self, step: str) -> tuple[Reading, ...]:
        """The readings taken at a step, oldest first."""
        return tuple(taken.reading for taken in self.readings if taken.step == step)


@dataclass(frozen=True, slots=True)
class Point:
    """A place to go back to: the step as it stood before it was answered."""

    step: str
    facts: Facts
    after: str
    reading: bool
    """True when the answer that followed was a reading: the places that "that was wrong" goes back to."""
    verdict: Verdict | None = None


@dataclass(frozen=True, slots=True)
class Voice:
    """How the assistant speaks: words a minute, and loudness in percent."""

    rate_wpm: int = 175
    volume_percent: int = 100


@dataclass(frozen=True, slots=True)
class State:
    """One moment of the conversation."""

    phase: Phase = Phase.NEW
    before_pause: Phase = Phase.ASKING
    step: str = ""
    after: str = ""
    """Where a preparing step leads: the step of the reading that is wanted next."""
    facts: Facts = Facts()
    past: tuple[Point, ...] = ()
    told: frozenset[str] = frozenset()
    expect: Expectation = Expectation("any")
    number: Ask | None = None
    guess: Understood | None = None
    """What waits for yes or no: a reading to be confirmed, or something that was not heard surely."""
    last_said: tuple[Say, ...] = ()
    """The open question with all that belongs to it, for "repeat"; the question itself comes last."""
    tries: int = 0
    reminded: bool = False
    timed: bool = False
    started_at: str = ""
    voice: Voice = Voice()
    verdict: Verdict | None = None
    complete: bool = False

    @property
    def decided(self) -> bool:
        """Whether what is on, the coil test or a check, came to its end."""
        if self.facts.check:
            return any(judgement.check == self.facts.check for judgement in self.facts.judged)
        return self.verdict is not None
