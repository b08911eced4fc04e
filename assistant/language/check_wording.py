"""Every sentence about a check beside the coil test: what it came to, why, what it does not prove, what comes next."""

from collections.abc import Mapping
from decimal import Decimal

from assistant.language.hidden_wording import percent
from assistant.language.verdict_wording import caution, ohms, printed_limit, shown, with_doubt
from assistant.measure.coil import Span
from assistant.measure.parts import Finding, ItemResult, Judgement, PartCase, PartKind, Stand, Wants
from assistant.measure.spark_gap import Gap

_SAY: Mapping[PartKind, str] = {
    PartKind.WELL: "Nothing wrong was found at the {title}. This does not prove it good.",
    PartKind.FAULT: "The {title} is not as it should be. Put that right before money is spent on a coil.",
    PartKind.UNDECIDED: "This does not decide it. The {title} is not condemned.",
}
_SAY_SPARK: Mapping[PartKind, str] = {
    PartKind.WELL: "A spark jumped the gap.",
    PartKind.FAULT: "No spark jumped the gap, twice. This does not say which part keeps it away.",
    PartKind.UNDECIDED: "Whether a spark jumps the gap is not decided.",
}

_AGAINST_LIMITS = "Against the maker's limits, {limits}, it is {finding}; {probability} probability of being inside."
_ABOVE_RANGE = "That only says it is above this range of the meter. Use a higher one."
_UNSTEADY = "It does not settle: somewhere a contact comes and goes."
_FINDING: Mapping[tuple[Wants, Finding], str] = {
    (Wants.BAND, Finding.USUAL): "It lies inside a usual band: {bands}; {source}.",
    (Wants.BAND, Finding.OTHER): "It lies outside the usual bands, {bands}; {source}. By itself that is no cause: "
    "the maker's figure decides.",
    (Wants.BAND, Finding.READS): "It is not open. There is no general band for it: only the maker's figure tells more.",
    (Wants.BAND, Finding.INSIDE): _AGAINST_LIMITS,
    (Wants.BAND, Finding.INSIDE_IN_DOUBT): _AGAINST_LIMITS,
    (Wants.BAND, Finding.OUTSIDE_IN_DOUBT): _AGAINST_LIMITS,
    (Wants.BAND, Finding.OUTSIDE): _AGAINST_LIMITS,
    (Wants.BAND, Finding.BEYOND): _ABOVE_RANGE,
    (Wants.BAND, Finding.OPEN): "That is open, or nearly so.",
    (Wants.BAND, Finding.UNSTEADY): _UNSTEADY,
    (Wants.OPEN, Finding.OPEN): "It is open, as it should be.",
    (Wants.OPEN, Finding.BEYOND): _ABOVE_RANGE,
    (Wants.OPEN, Finding.CLOSED): "It is connected where it should be open, so it keeps the spark away.",
    (Wants.OPEN, Finding.PARTLY): "It conducts where it should be open: damp, dirt or a chafed wire.",
    (Wants.OPEN, Finding.UNSTEADY): _UNSTEADY,
    (Wants.CLOSED, Finding.CLOSED): "It is closed, as it should be.",
    (Wants.CLOSED, Finding.NEARLY): "With this meter it cannot be told from closed, nor from a poor contact.",
    (
        Wants.CLOSED,
        Finding.PARTLY,
    ): "It conducts badly where it should be closed, 2 Ω or less (common practice, no source): "
    "clean contacts and ground. With a switch like that the engine may not stop.",
    (
        Wants.CLOSED,
        Finding.OPEN,
    ): "It is open where it should be closed. With a switch like that the engine may not stop.",
    (Wants.CLOSED, Finding.UNSTEADY): _UNSTEADY,
}
_STAND: Mapping[Stand, str] = {
    Stand.WELL: "",
    Stand.FAULT: "It stayed so when it was taken again.",
    Stand.TAKE: "Nothing is condemned on a single reading: it is taken again first.",
    Stand.LEFT_OUT: "It was not taken again, and without that this cannot be decided.",
    Stand.IN_DOUBT: "That does not decide it.",
    Stand.LEADS: "No value was ever read through these leads, and broken leads read the same.",
}
_CONTACT = "An earlier reading was worse: that was contact, and the last one counts."
_HALF_A_DIGIT = "Half a last digit more or less would make it count otherwise: that is within the meter's doubt."
_MISSING = "The reading of {title} was left out, so nothing is known about it."

_JUMPED = {True: "a spark jumped", False: "no spark jumped"}
_COMES_AND_GOES = "It comes and goes: look for a loose connection."
_GAP = (
    "To cross {gap} millimetres of open air takes about {needles} kilovolts between needle points and about {spheres} "
    "between spheres of 25 millimetres (AIEE tables, at 760 mmHg and 25 °C). What a plug or a tester has lies somewhere between."
)
_GAP_UNKNOWN = "Without the gap nothing can be said about the voltage."

_UNPROVEN: Mapping[Wants, str] = {
    Wants.BAND: "Resistance cannot show insulation that fails under voltage, nor a break that opens only when hot.",
    Wants.OPEN: "A chafed wire touches only now and then: move the wire and the switch, and look again.",
    Wants.CLOSED: "A switch can make good contact now and poor contact when the engine shakes it.",
}
_UNPROVEN_SPARK = (
    "A spark in open air needs less voltage than one in the cylinder under compression (common practice, no source).",
    "It says nothing about a hot engine.",
)
_NEXT: Mapping[PartKind, tuple[str, ...]] = {
    PartKind.WELL: (),
    PartKind.FAULT: ("Look up the maker's manual, or ask a qualified person, before a part is bought.",),
    PartKind.UNDECIDED: ("The maker's manual or a known-good part in its place can settle it.",),
}
_NEXT_NO_SPARK = (
    "Next come the kill switch and its wire, then the coil, then trigger or module, as the maker's manual says.",
)
_CAUTIONS = ("stopped engine", "manual first")
_CAUTIONS_SPARK = ("spark voltage", "lead open", "fuel vapour", "turning parts", "manual first")


def say(judgement: Judgement) -> str:
    """What the check came to, in one or two sentences."""
    return (_SAY if judgement.results else _SAY_SPARK)[judgement.kind].format(title=judgement.title)


def because(judgement: Judgement) -> tuple[str, ...]:
    """The reasons: each reading and what it means, or each try and what the gap says."""
    if judgement.results:
        return tuple(_reason(result) for result in judgement.results)
    tries = tuple(f"Try {number}: {_JUMPED[jumped]}." for number, jumped in enumerate(judgement.jumped, start=1))
    return (*tries, *((_COMES_AND_GOES,) if len(set(judgement.jumped)) > 1 else ()), _voltage(judgement))


def unproven(judgement: Judgement) -> tuple[str, ...]:
    """What the check cannot show."""
    if not judgement.results:
        return _UNPROVEN_SPARK
    return tuple(dict.fromkeys(_UNPROVEN[result.item.wants] for result in judgement.results))


def next_steps(judgement: Judgement) -> tuple[str, ...]:
    """What to do next; empty where nothing was found."""
    spark = _NEXT_NO_SPARK if judgement.kind is PartKind.FAULT and not judgement.results else ()
    return spark or _NEXT[judgement.kind]


def cautions(judgement: Judgement) -> tuple[str, ...]:
    """The cautions that belong to the check."""
    return tuple(caution(key) for key in (_CAUTIONS if judgement.results else _CAUTIONS_SPARK))


def report(judgement: Judgement, case: PartCase, label: str, started_at: str) -> str:
    """The whole check as plain text for the record, with a heading over each part."""
    head = f"Check of the {judgement.title}{f': {label}' if label else ''}" + (
        f"\nStarted {started_at}" if started_at else ""
    )
    leads = () if not judgement.results else (f"Leads: {'not taken' if case.leads is None else shown(case.leads)}",)
    parts = (
        ("Result", (say(judgement),)),
        ("Test", (f"Meter: {case.meter.title}",) if judgement.results else ()),
        ("Readings", (*leads, *readings(judgement))),
        ("Because", because(judgement)),
        ("Not proven", unproven(judgement)),
        ("Next", next_steps(judgement)),
        ("Cautions", cautions(judgement)),
    )
    texts = ["\n".join((name, *(f"  {line}" for line in lines))) for name, lines in parts if lines]
    return "\n\n".join((head, *texts)) + "\n"


def readings(judgement: Judgement) -> tuple[str, ...]:
    """What was read, or what was seen, a line each."""
    if judgement.results:
        return tuple(f"{part_name(result)}: {read(result)}" for result in judgement.results)
    gap = () if judgement.gap is None else (f"Gap: {judgement.gap.gap_mm} millimetres",)
    return (*gap, *(_JUMPED[jumped].capitalize() for jumped in judgement.jumped))


def in_short(judgement: Judgement) -> str:
    """A check in a few words, for the list of jobs: `trigger coil: not-right (over range)`."""
    values = [shown(result.attempts[-1]) if result.attempts else "not taken" for result in judgement.results]
    values += [_JUMPED[jumped] for jumped in judgement.jumped]
    return f"{judgement.title}: {judgement.kind.value}" + (f" ({', '.join(values)})" if values else "")


def read(result: ItemResult) -> str:
    """One reading that counts, as shown and with its doubt, what it is, and those before it."""
    if not result.attempts:
        return "not taken"
    value = f", {with_doubt(result.measured)}" if result.measured is not None else ""
    before = ", ".join(shown(reading) for reading in result.attempts[:-1])
    last = shown(result.attempts[-1])
    kind = "" if last == result.finding.value else f" ({result.finding.value})"
    return f"{last}{value}{kind}{f'; before that: {before}' if before else ''}"


def part_name(result: ItemResult) -> str:
    """`Plug cap`, of "the plug cap"."""
    return result.item.title.removeprefix("the ").capitalize()


def bands(usual: tuple[Span, ...]) -> str:
    """Usual bands in words: `4 kΩ to 6 kΩ or 7.5 kΩ to 12.5 kΩ`."""
    return " or ".join(f"{ohms(low)} to {ohms(high)}" for low, high in usual)


def voltage(gap: Gap) -> str:
    """What a gap says about voltage: a range, with the shape of the electrodes at either end."""
    whole = Decimal(1)
    return _GAP.format(gap=gap.gap_mm, needles=gap.needles_kv.quantize(whole), spheres=gap.spheres_kv.quantize(whole))


# ---- pieces


def _voltage(judgement: Judgement) -> str:
    return _GAP_UNKNOWN if judgement.gap is None else voltage(judgement.gap)


def _reason(result: ItemResult) -> str:
    if not result.attempts:
        return _MISSING.format(title=result.item.title)
    value = shown(result.attempts[-1]) if result.measured is None else with_doubt(result.measured)
    found = result.conformity
    text = _FINDING[result.item.wants, result.finding].format(
        bands=bands(result.item.usual),
        source=result.item.source,
        limits="" if found is None else printed_limit(found.limit),
        finding=result.finding.value,
        probability="" if found is None else percent(found.probability),
    )
    half = _HALF_A_DIGIT if result.half_a_digit else ""
    told = (text, half, _STAND[result.stand], _CONTACT if result.contact else "")
    return " ".join((f"{part_name(result)}: {value}.", *(part for part in told if part)))
