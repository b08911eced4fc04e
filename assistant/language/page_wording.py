"""The words of the report page: headings, what each column holds, the chart in words, how a coil read before."""

from collections.abc import Mapping
from decimal import Decimal

from assistant.language.check_wording import part_name
from assistant.language.verdict_wording import compared_as, ohms, shown, with_doubt
from assistant.measure.case import Case, TapResult
from assistant.measure.coil import Electronics, Span, Stroke, Tap
from assistant.measure.earlier import Agreement, Earlier
from assistant.measure.limits import Conformity, Limit, Points
from assistant.measure.parts import ItemResult
from assistant.measure.units import Reading, Shown

TITLE = "Ignition coil test"
TITLE_CHECK = "Ignition check"
VERDICT = "Verdict"
READINGS = "Readings"
WHY = "Why"
NOT_PROVEN = "Not proven"
NEXT = "What to do next"
CAUTIONS = "Cautions"
TEST = "The test"
BEFORE = "This coil before"
DOUBT = "Where the doubt comes from"
RECORDINGS = "Recordings"
CHART = "Chart of the readings"
CHART_IN_WORDS = "The chart in words"
READINGS_CAPTION = "What the meter showed, and what remains of it less the leads, with its doubt U"
DOUBT_CAPTION = "Standard uncertainties u in ohms; U is twice their root of squares"

CHECK_HEADS = ("Reading", "The meter showed", "Value with doubt U", "What that is", "Read before that")
READING_HEADS = ("Reading", "The meter showed", "Value with doubt U", "Class", "Read before that")
BEFORE_HEADS = ("Reading", "Earlier readings", "Median", "Lowest to highest", "Now")
DOUBT_HEADS = ("Reading", "Part", "u in ohms")

NAMES: Mapping[Tap, str] = {
    Tap.PRIMARY: "Primary, core to kill tab",
    Tap.SECONDARY: "Secondary, core to lead end",
    Tap.KILLTAB: "Comparison, kill tab to lead end",
}
SHORT: Mapping[Tap, str] = {Tap.PRIMARY: "Primary", Tap.SECONDARY: "Secondary", Tap.KILLTAB: "Kill tab to lead"}
LEADS = "Leads, tips together"
WARM = {Tap.SECONDARY: "Secondary, hot", Tap.PRIMARY: "Primary, hot"}
NOT_TAKEN = "not taken"
NONE = "none"
_LESS_LEADS = "less the leads"

USUAL = "Usual band"
PUBLISHED = "Makers' span"
LIMITS = "Maker's limits"
OPEN = "Open"
CLOSED = "Closed"
READ = "The reading"
NOTHING_READ = "Nothing was read."
KNOWN_GOOD = "Known good here"
BEFORE_HERE = "Read here before"

NOT_FINISHED = "This session was not finished. The page shows what its readings say so far."
JUDGED_ANEW = (
    "The record was made by another version of this program. The page shows what this version makes of it; "
    "what was said then stands in the record."
)
FOOT = (
    "U is the expanded uncertainty with k = 2, about 95 %: the meter's own doubt and the last digit that was read. "
    "Usual bands are common practice without a source. Makers' spans are those of printed service manuals, for many coils. "
    "Resistance alone never proves a coil good."
)

_STROKES = {Stroke.FOUR: "four-stroke", Stroke.TWO: "two-stroke", Stroke.UNKNOWN: "not known"}
_ELECTRONICS = {Electronics.YES: "yes", Electronics.NO: "no", Electronics.UNKNOWN: "not known"}
_CAPS = {True: "on", False: "off", None: "not known"}

_AGREEMENT: Mapping[Agreement, str] = {
    Agreement.AGREES: "agrees",
    Agreement.CANNOT_TELL: "within the doubt of meter and temperature",
    Agreement.DIFFERS: "differs beyond meter, contacts and temperature",
    Agreement.NO_VALUE: "shows no value now",
}


def heading(label: str, *, coil: bool = True) -> str:
    """The page's title."""
    title = TITLE if coil else TITLE_CHECK
    return f"{title}: {label}" if label else title


def check_heading(title: str) -> str:
    """The title of the part of the page that is about one check."""
    return f"Check of the {title}"


def check_caption(title: str) -> str:
    """What stands above the table of a check."""
    return f"{title.capitalize()}: what the meter showed, and its value less the leads with its doubt U"


def check_chart(title: str) -> str:
    """The title of the chart of a check."""
    return f"Chart: {title}"


def part_row(result: ItemResult) -> tuple[str, ...]:
    """One reading of a check as a row of its table."""
    last = result.attempts[-1] if result.attempts else None
    value_u = with_doubt(result.measured) if result.measured is not None else "–"
    return (part_name(result), showed(last), value_u, result.finding.value, attempts(result.attempts))


def from_on(least_ohm: Decimal) -> str:
    """A band without an upper end."""
    return f"{ohms(least_ohm)} and more"


def up_to(most_ohm: Decimal) -> str:
    """A band without a lower end."""
    return f"up to {ohms(most_ohm)}"


def recorded(started_at: str, folder: str) -> str:
    """When, and which record the page was made from."""
    return f"Readings of {started_at}, from the record {folder}" if started_at else f"From the record {folder}"


def test_facts(case: Case, symptoms: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """What the readings were taken with and on, as names and values; what was not said is not known."""
    known = [
        ("Meter", case.meter.title),
        ("Engine", _STROKES[case.stroke]),
        ("Electronics inside", _ELECTRONICS[case.electronics]),
        ("Plug cap", _CAPS[case.cap_on]),
        ("Symptoms", ", ".join(symptoms) or NONE),
    ]
    if case.coil_at_c is not None:
        known.append(("Coil at", f"{case.coil_at_c} °C"))
    limits = (case.limits.primary, case.limits.secondary)
    printed = [
        f"{name} {limit_span(limit)}" for name, limit in zip(("primary", "secondary"), limits, strict=True) if limit
    ]
    known.append(("Maker's limits", "; ".join(printed) or "not given"))
    return tuple(known)


def limit_span(limit: Limit) -> str:
    """A pair of limits: `0.8 Ω to 1.3 Ω at 20 °C`; and between which points, where that is not core and lead end."""
    told = "" if limit.at_c is None else f" at {limit.at_c} °C"
    told += {Points.KILLTAB: ", from kill tab to lead end", Points.OTHER: ", between other points"}.get(
        limit.points, ""
    )
    if limit.low_ohm is None:
        return f"at most {ohms(limit.high_ohm or Decimal(0))}{told}"
    if limit.high_ohm is None:
        return f"at least {ohms(limit.low_ohm)}{told}"
    return f"{span((limit.low_ohm, limit.high_ohm))}{told}"


def span(edges: Span) -> str:
    """Two ends of a band: `2.5 kΩ to 5 kΩ`; one value when both are the same."""
    low, high = (ohms(edge) for edge in edges)
    return low if low == high else f"{low} to {high}"


def showed(reading: Reading | None) -> str:
    """What the display showed, and on which range where that is known."""
    if reading is None:
        return NOT_TAKEN
    return shown(reading) if reading.range_ohm is None else f"{shown(reading)} on {ohms(Decimal(reading.range_ohm))}"


def value(result: TapResult) -> str:
    """The value less the leads with its U; a dash where there is no value."""
    if result.measured is None:
        return "–"
    quantity = result.reading.quantity if result.reading else None
    less = quantity is not None and quantity.ohms != result.measured.value_ohm
    return with_doubt(result.measured) + (f", {_LESS_LEADS}" if less and result.tap is Tap.PRIMARY else "")


def warm_at(case: Case) -> str:
    """How hot the coil was."""
    return "temperature not known" if case.warm_at_c is None else f"at {case.warm_at_c} °C"


def attempts(readings: tuple[Reading, ...]) -> str:
    """The readings of one pair of points before the one that counts."""
    return ", ".join(shown(reading) for reading in readings[:-1]) or NONE


def reading_in_words(name: str, text: str) -> str:
    """One reading of the chart."""
    return f"{name} reads {text}."


def no_value_in_words(reading: Reading) -> str:
    """A reading without a value, for the chart: what it shows instead of a point."""
    if reading.shown is Shown.OVER_RANGE and reading.range_ohm is not None:
        return f"over range, more than {ohms(Decimal(reading.range_ohm))}"
    return shown(reading)


def referred(name: str, found: Conformity) -> str:
    """A reading as it was compared with the limits: at their temperature, with or without a plug cap."""
    return " ".join((name, *compared_as(found)))


def about(value_ohm: Decimal) -> str:
    """A value to four digits: nothing read with a pocket meter has more."""
    return ohms(value_ohm if not value_ohm else value_ohm.quantize(Decimal(1).scaleb(value_ohm.adjusted() - 3)))


def earlier_span(found: Earlier) -> str:
    """The lowest and the highest of the earlier readings."""
    low, high = about(found.low_ohm), about(found.high_ohm)
    return low if low == high else f"{low} to {high}"


def earlier_band(found: Earlier) -> str:
    """The same for the chart, where readings stand beside it as they were read: and for which temperature it holds."""
    return earlier_span(found) + ("" if found.at_c is None else f" as at {found.at_c} °C")


def earlier_count(found: Earlier) -> str:
    """How many earlier readings, and whether the coil was known to be good."""
    return f"{found.count}, known good" if found.known_good else f"{found.count}"


def earlier_now(found: Earlier) -> str:
    """How the reading of now stands to the earlier ones."""
    if found.percent is None:
        return _AGREEMENT[found.agreement]
    return f"{found.percent:+.1f} %: {_AGREEMENT[found.agreement]}"


def earlier_at(found: tuple[Earlier, ...]) -> str:
    """To which temperature earlier readings and those of now were referred; empty when to none."""
    at_c = next((one.at_c for one in found if one.at_c is not None), None)
    return "" if at_c is None else f"Values of a coil whose temperature was told are as at {at_c} °C."


def earlier_left_out(other_engine: int, other_cap: int) -> str:
    """Which earlier readings of the same name were not compared; empty when all were."""
    told = []
    if other_engine:
        told.append(f"{other_engine} under this name, of another kind of engine")
    if other_cap:
        told.append(f"{other_cap} of the secondary, with the plug cap on for the one and off for the other")
    return f"Not compared: {'; '.join(told)}." if told else ""


def earlier_rule(found: tuple[Earlier, ...]) -> str:
    """What the comparison with earlier readings is worth."""
    if any(one.known_good for one in found):
        return "Readings of this coil when it was known to be good say more than any general band."
    return "The coil was not marked as known good at any of these readings: they only show whether it still reads the same."
