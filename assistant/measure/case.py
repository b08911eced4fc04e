"""What the judgement is given and what it gives back."""

from dataclasses import dataclass
from decimal import Decimal
from enum import Enum

from assistant.measure.coil import Class, Electronics, Stroke, Tap
from assistant.measure.limits import NO_LIMITS, CoilLimits, Conformity, check_temperature
from assistant.measure.measured import Measured
from assistant.measure.meter import Meter
from assistant.measure.units import Reading


class VerdictKind(Enum):
    """What the readings say. Only the three with "fault" in their name condemn anything."""

    SOUND = "sound"
    ELECTRONICS = "electronics"
    PRIMARY_FAULT = "primary-fault"
    SECONDARY_FAULT = "secondary-fault"
    WINDING_FAULT = "winding-fault"
    BAD_CONTACT = "bad-contact"
    REPEAT = "repeat"
    UNDECIDED = "undecided"


FAULTS = frozenset({VerdictKind.PRIMARY_FAULT, VerdictKind.SECONDARY_FAULT, VerdictKind.WINDING_FAULT})


class Prepare(Enum):
    """What to do before a reading is taken (again). The value is its key in the wording."""

    CLEAN_CORE = "clean core"
    CLEAN_TAB = "clean tab"
    LEAD_AND_CAP_OFF = "lead and cap off"
    SAY_UNIT = "say the unit"
    HIGHER_RANGE = "higher range"


class Because(Enum):
    """Kinds of reasons. The value is its key in the wording."""

    CLASS = "class"
    AGAINST_LIMITS = "against limits"
    CANNOT_DECIDE = "cannot decide"
    KILLTAB_AGREES = "killtab agrees"
    KILLTAB_GOOD = "killtab good"
    KILLTAB_UNCLEAR = "killtab unclear"
    KILLTAB_BLIND = "killtab blind"
    KILLTAB_RANGE_TOO_LOW = "killtab range too low"
    KILLTAB_HIGH = "killtab high"
    KILLTAB_BAD_TOO = "killtab bad too"
    KILLTAB_BETWEEN = "killtab between"
    KILLTAB_DIFFERS = "killtab differs"
    KILLTAB_UNEXPLAINED = "killtab unexplained"
    KILLTAB_OPEN = "killtab open"
    KILLTAB_UNSTEADY = "killtab unsteady"
    ELECTRONICS_YES = "electronics yes"
    ELECTRONICS_UNKNOWN = "electronics unknown"
    ELECTRONICS_NO = "electronics no"
    PRIMARY_ALONE = "primary alone"
    SECONDARY_CONDEMNS = "secondary condemns"
    FIRST_WAS_CONTACT = "first was contact"
    FIRST_DIFFERED = "first differed"
    FIRST_WAS_GOOD = "first was good"
    DOES_NOT_REPEAT = "does not repeat"
    STAYED = "stayed"
    MISSING = "missing"
    DECLINED = "declined"
    REPEAT_DECLINED = "repeat declined"
    TAKE_AGAIN = "take again"
    IN_DOUBT = "in doubt"
    HALF_A_DIGIT = "half a digit"
    LEADS_HALF_A_DIGIT = "leads half a digit"
    CAP_STILL_ON = "cap still on"
    CAP_COUNTED = "cap counted"
    CAP_BEFORE_FAULT = "cap before fault"
    CAP_IN_DOUBT = "cap in doubt"
    CAP_OFF_IN_DOUBT = "cap off in doubt"
    CAP_NOT_SAID = "cap not said"
    LEADS_NOT_TAKEN = "leads not taken"
    LEADS_HIGH = "leads high"
    LEADS_OPEN = "leads open"
    LEADS_NOT_BELIEVED = "leads not believed"
    LEADS_BEFORE_FAULT = "leads before fault"
    LEADS_UNPROVEN = "leads unproven"
    NO_MAKERS_FIGURE = "no maker's figure"
    LIMITS_ALONE = "limits alone"
    LIMITS_ELSEWHERE = "limits elsewhere"
    LIMITS_AT_ROOM = "limits at room"
    TEMPERATURE_UNKNOWN = "temperature unknown"
    RANGE_TOO_LOW = "range too low"
    WARM_AS_COPPER = "warm as copper"
    WARM_TEMPERATURE_UNKNOWN = "warm temperature unknown"
    WARM_UNCLEAR = "warm unclear"
    WARM_LOWER = "warm lower"
    WARM_HIGHER = "warm higher"
    WARM_BEYOND = "warm beyond"
    WARM_UNSTEADY = "warm unsteady"
    WARM_OPEN = "warm open"
    WARM_ONCE = "warm once"
    WARM_BOTH = "warm both"
    PREFIX_FITS = "prefix fits"
    BODY_ALONE = "body alone"
    BODY_BESIDE = "body beside"
    CAP_BETWEEN = "cap between"
    FINER_METER = "finer meter"
    NO_FINER_METER = "no finer meter"


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason for the wording to make a sentence of: its kind, the pair of points it is about, ohms to print."""

    because: Because
    tap: Tap | None = None
    low_ohm: Decimal | None = None
    high_ohm: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Moved:
    """Where values are taken to lie, in halves of their last digit from what was shown: -1, 0 or 1 each.

    `others` are the comparison and what was read hot.
    """

    leads: int = 0
    windings: int = 0
    others: int = 0


@dataclass(frozen=True, slots=True)
class Case:
    """Everything the judgement rests on.

    Attempts stand oldest first and the last one counts. `repeated` flags readings that were taken a second time
    though only one is given here; with two or more attempts given, the attempts themselves tell. `declined` are
    readings the person does not want to take, or to take again. `warm` are readings of the secondary while the coil was
    hot, `warm_primary` of the primary, at `warm_at_c` where that is known. `symptoms` are names from the grammar (`dies_hot`,
    `no_spark`, ...). `moved` asks what the same readings would make when the values lay elsewhere within their last
    digits. Raises ValueError for a coil temperature that no bench has.
    """

    meter: Meter
    stroke: Stroke = Stroke.UNKNOWN
    electronics: Electronics = Electronics.UNKNOWN
    leads: Reading | None = None
    primary: tuple[Reading, ...] = ()
    secondary: tuple[Reading, ...] = ()
    killtab: tuple[Reading, ...] = ()
    limits: CoilLimits = NO_LIMITS
    coil_at_c: Decimal | None = None
    cap_on: bool | None = None
    repeated: frozenset[Tap] = frozenset()
    symptoms: tuple[str, ...] = ()
    declined: frozenset[Tap] = frozenset()
    warm: tuple[Reading, ...] = ()
    warm_at_c: Decimal | None = None
    warm_primary: tuple[Reading, ...] = ()
    moved: Moved = Moved()

    def __post_init__(self) -> None:
        check_temperature(self.coil_at_c)
        check_temperature(self.warm_at_c)

    def attempts(self, tap: Tap) -> tuple[Reading, ...]:
        """The readings of one pair of points, oldest first."""
        return {Tap.PRIMARY: self.primary, Tap.SECONDARY: self.secondary, Tap.KILLTAB: self.killtab}[tap]

    def hot(self, tap: Tap) -> tuple[Reading, ...]:
        """The readings of one winding while the coil was hot, oldest first."""
        return {Tap.PRIMARY: self.warm_primary, Tap.SECONDARY: self.warm}[tap]


@dataclass(frozen=True, slots=True)
class TapResult:
    """One pair of points: its class, the reading that counts, the value less the leads, how it meets the limits."""

    tap: Tap
    kind: Class
    reading: Reading | None = None
    measured: Measured | None = None
    conformity: Conformity | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """The judgement. `row` names the row of VERDICTS that fired.

    `take` are the readings still wanted, in order, and `prepare` what to do before the first of them; both are empty
    when nothing more is wanted. `unproven`, `next` and `cautions` are keys of sentences in
    language/verdict_wording.py.
    """

    kind: VerdictKind
    row: str
    take: tuple[Tap, ...]
    prepare: tuple[Prepare, ...]
    primary: TapResult
    secondary: TapResult
    killtab: TapResult
    reasons: tuple[Reason, ...]
    unproven: tuple[str, ...]
    next: tuple[str, ...]
    cautions: tuple[str, ...]

    def result(self, tap: Tap) -> TapResult:
        """What became of one pair of points."""
        return {Tap.PRIMARY: self.primary, Tap.SECONDARY: self.secondary, Tap.KILLTAB: self.killtab}[tap]
