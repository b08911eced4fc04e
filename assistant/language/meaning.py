"""What words can mean: the values that hearing, typing and the dialogue exchange."""

from dataclasses import dataclass
from decimal import Decimal
from enum import Enum

from assistant.measure.units import Numeral, Reading, Unit


@dataclass(frozen=True, slots=True)
class Word:
    """One heard word. `confidence` is None when the engine gives none; times count from the start of the utterance."""

    text: str
    confidence: float | None = None
    start_s: float | None = None
    end_s: float | None = None


@dataclass(frozen=True, slots=True)
class Alternative:
    """One way the engine read the sound. `score` is a natural-log score; only differences within one hearing mean anything.

    `source` says which way of listening found it, and whether it was the second time: `tuned`, `letters`, `free again`.
    """

    words: tuple[Word, ...]
    score: float | None
    source: str = "tuned"

    @property
    def text(self) -> str:
        """The words with single spaces."""
        return " ".join(word.text for word in self.words)


@dataclass(frozen=True, slots=True)
class Hearing:
    """Everything one engine made of one utterance, best first; empty when it heard nothing."""

    alternatives: tuple[Alternative, ...]
    engine: str
    duration_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Expectation:
    """What may sensibly be said now. The dialogue makes it, the recogniser chooses words by it, `understand` parses by it.

    `name` is an entry of grammar/expectations.toml (`primary`, `yes_no`, `stroke`, `any`, ...), which lists the answers
    that are live and whether readings, plain numbers or free text are. Commands are always live.
    `range_ohm` is the full scale the dial is known to stand on; a bare number takes its prefix from it.
    `plausible_ohm` only ever causes the question "did I hear that right?". `resolution_ohm` is one digit of that range when
    the meter is known; without it the display is taken to have 2,000 to 10,000 counts.
    """

    name: str
    range_ohm: int | None = None
    plausible_ohm: tuple[Decimal, Decimal] | None = None
    resolution_ohm: Decimal | None = None


class Why(Enum):
    """Why words were refused or need a question. The value is the text the command line shows."""

    NO_UNIT = "no unit"
    ONE_ALONE = "one alone"
    TWO_NUMBERS = "two numbers"
    UNFINISHED = "unfinished"
    UNKNOWN_WORD = "unknown word"
    WRONG_UNIT = "wrong unit"
    WRONG_KIND = "wrong kind"
    NOT_EXPECTED = "not expected now"
    NOTHING = "nothing"
    TOO_LONG = "too long"
    BEYOND_METER = "beyond any meter"
    NEGATIVE = "negative"
    BEEP = "a beep is no reading"
    UNCLEAR = "unclear"


@dataclass(frozen=True, slots=True)
class SaidReading:
    """A reading with its unit. `correction` is True after "no, ..." or "that was wrong, ...": it replaces the last reading.

    `check` is True when the way it was said is easily misheard or carries a tolerance letter: read back and wait for yes.
    """

    reading: Reading
    correction: bool = False
    check: bool = False


@dataclass(frozen=True, slots=True)
class SaidNumber:
    """A number where the question itself gives the unit (a temperature in degrees Celsius, a job number). May be negative.

    `fahrenheit`: a temperature that was given in degrees Fahrenheit; `text` is what was said.
    """

    text: str
    fahrenheit: bool = False


@dataclass(frozen=True, slots=True)
class SaidUnit:
    """Only a unit, the answer to "four point seven what?"."""

    unit: Unit


@dataclass(frozen=True, slots=True)
class SaidAnswers:
    """One or more answers by name (`yes`, `two_stroke`, `dies_hot`); more than one only where the expectation allows many."""

    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SaidCommand:
    """A command by name (`stop`, `repeat`, `undo`, ...), live at any time."""

    name: str


@dataclass(frozen=True, slots=True)
class SaidText:
    """Free text where a label is expected."""

    text: str


@dataclass(frozen=True, slots=True)
class Ask:
    """Understood in part; a question settles it: NO_UNIT (a number without a prefix) or ONE_ALONE (one, or over range?)."""

    why: Why
    numeral: Numeral
    correction: bool = False


@dataclass(frozen=True, slots=True)
class NotUnderstood:
    """Refused. `at` is the index of the word where it failed, `text` that word (or all that was heard when no single word is to blame)."""

    why: Why
    at: int = 0
    text: str = ""


Meaning = SaidReading | SaidNumber | SaidUnit | SaidAnswers | SaidCommand | SaidText | Ask | NotUnderstood


@dataclass(frozen=True, slots=True)
class Understood:
    """A meaning, how sure it is, and what was taken for what.

    `sure` False means: ask again (or ask "did you say ...?"), never accept. `words` is what was heard or typed, cleaned.
    `mended` holds (typed, taken as) pairs for words that were corrected; the dialogue shows them.
    """

    meaning: Meaning
    sure: bool
    words: str
    mended: tuple[tuple[str, str], ...] = ()
    rival: Reading | None = None
    """Beside a reading that is not sure: another value that was heard nearly as clearly, or that sounds like it."""
