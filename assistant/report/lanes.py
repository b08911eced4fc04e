"""What the chart shows, before it is drawn: one lane for each band and each reading, and the same in words."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum

from assistant.language import page_wording as words
from assistant.language.check_wording import part_name
from assistant.language.verdict_wording import with_doubt
from assistant.measure.case import TapResult
from assistant.measure.classify import less_leads
from assistant.measure.coil import (
    PRIMARY_PUBLISHED_OHM,
    PRIMARY_USUAL_OHM,
    SECONDARY_PUBLISHED_OHM,
    Span,
    Tap,
    secondary_usual,
)
from assistant.measure.earlier import Earlier
from assistant.measure.limits import Conformity, Limit
from assistant.measure.measured import Measured
from assistant.measure.parts import CLOSED_MOST_OHM, OPEN_FROM_OHM, ItemResult, Judgement, Wants
from assistant.measure.units import Reading, Shown
from assistant.report.sheet import Sheet


class Look(Enum):
    """How a lane is drawn. Every look differs by shape, none by colour alone."""

    PUBLISHED = "published"
    USUAL = "usual"
    LIMITS = "limits"
    EARLIER = "earlier"
    READING = "reading"
    ABOVE = "above"
    UNSTEADY = "unsteady"


@dataclass(frozen=True, slots=True)
class Lane:
    """One line of a panel, in ohms. A side that is None is open; `middle_ohm` is a value or a median; `text` stands beside it."""

    name: str
    look: Look
    low_ohm: Decimal | None = None
    high_ohm: Decimal | None = None
    middle_ohm: Decimal | None = None
    text: str = ""

    @property
    def edges_ohm(self) -> tuple[Decimal, ...]:
        """Every value that has to fit on the axis."""
        return tuple(ohm for ohm in (self.low_ohm, self.high_ohm, self.middle_ohm) if ohm is not None and ohm > 0)


@dataclass(frozen=True, slots=True)
class Panel:
    """Lanes that share one axis, from the top; `least_ohm` and `most_ohm` lie on the axis in any case."""

    title: str
    lanes: tuple[Lane, ...]
    least_ohm: Decimal
    most_ohm: Decimal
    in_words: tuple[str, ...]


def panels(sheet: Sheet) -> tuple[Panel, ...]:
    """The primary on an axis of its own; secondary and comparison, thousands of times larger, on another."""
    case, verdict = sheet.case, sheet.verdict
    primary = _panel(
        sheet,
        (verdict.primary,),
        (PRIMARY_PUBLISHED_OHM, PRIMARY_USUAL_OHM),
        case.limits.primary,
        axis=(Decimal("0.05"), Decimal(10)),
    )
    usual = secondary_usual(case.stroke, cap_on=case.cap_on)
    secondary = _panel(
        sheet,
        (verdict.secondary, verdict.killtab),
        (SECONDARY_PUBLISHED_OHM, usual),
        case.limits.at(Tap.SECONDARY) or case.limits.at(Tap.KILLTAB),
        axis=(Decimal(1_000), Decimal(50_000)),
    )
    return (primary, secondary)


def check_panels(judgement: Judgement) -> tuple[Panel, ...]:
    """One panel for each reading of a check: parts of one check may lie millions of ohms apart. None for a spark."""
    return tuple(_check_panel(result) for result in judgement.results)


_AXIS_OF: Mapping[Wants, Span] = {
    Wants.BAND: (Decimal(100), Decimal(10_000)),
    Wants.OPEN: (Decimal(1_000), Decimal(10_000_000)),
    Wants.CLOSED: (Decimal("0.1"), Decimal(100)),
}


def _check_panel(result: ItemResult) -> Panel:
    item, limit = result.item, result.limit
    lanes = [Lane(words.USUAL, Look.USUAL, *usual, text=words.span(usual)) for usual in item.usual]
    if item.wants is Wants.OPEN:
        open_ohm = OPEN_FROM_OHM[Wants.OPEN]
        lanes.append(Lane(words.OPEN, Look.USUAL, open_ohm, text=words.from_on(open_ohm)))
    if item.wants is Wants.CLOSED:
        lanes.append(Lane(words.CLOSED, Look.USUAL, None, CLOSED_MOST_OHM, text=words.up_to(CLOSED_MOST_OHM)))
    if limit is not None:
        lanes.append(Lane(words.LIMITS, Look.LIMITS, limit.low_ohm, limit.high_ohm, text=words.limit_span(limit)))
    shown = _shown(words.READ, result.attempts[-1], result.measured, result.conformity) if result.attempts else []
    in_words = [f"{lane.name}: {lane.text}." for lane in (*lanes, *shown)] + ([] if shown else [words.NOTHING_READ])
    edges = [ohm for lane in lanes for ohm in lane.edges_ohm]
    axis = (min(edges) / 2, max(edges) * 2) if edges and item.wants is Wants.BAND else _AXIS_OF[item.wants]
    return Panel(part_name(result), (*lanes, *shown), *axis, tuple(in_words))


def _panel(
    sheet: Sheet, results: tuple[TapResult, ...], bands: tuple[Span, Span], limit: Limit | None, *, axis: Span
) -> Panel:
    published, usual = bands
    lanes = [
        Lane(words.PUBLISHED, Look.PUBLISHED, *published, text=words.span(published)),
        Lane(words.USUAL, Look.USUAL, *usual, text=words.span(usual)),
    ]
    if limit is not None:
        lanes.append(Lane(words.LIMITS, Look.LIMITS, limit.low_ohm, limit.high_ohm, text=words.limit_span(limit)))
    in_words = [f"{lane.name}: {lane.text}." for lane in lanes]
    for result in results:
        found = next((one for one in sheet.earlier if one.tap is result.tap), None)
        if found is not None:
            lanes.append(_earlier(found))
            in_words.append(f"{lanes[-1].name}: {lanes[-1].text}.")
        shown = [*_readings(result), *_hot(sheet, result.tap)]
        lanes += shown
        in_words += [words.reading_in_words(lane.name, lane.text) for lane in shown]
    title = " / ".join(words.NAMES[result.tap] for result in results if result.tap is not Tap.KILLTAB)
    return Panel(title, tuple(lanes), *axis, tuple(in_words))


def _earlier(found: Earlier) -> Lane:
    name = words.KNOWN_GOOD if found.known_good else words.BEFORE_HERE
    edges = (found.low_ohm, found.high_ohm)
    return Lane(name, Look.EARLIER, *edges, middle_ohm=found.median_ohm, text=words.earlier_band(found))


def _readings(result: TapResult) -> list[Lane]:
    """The reading that counts, of one pair of points."""
    if result.reading is None:
        return []
    return _shown(words.SHORT[result.tap], result.reading, result.measured, result.conformity)


def _shown(name: str, reading: Reading, measured: Measured | None, found: Conformity | None) -> list[Lane]:
    """A reading; and beside it, when the maker's limits hold at another temperature or with another cap, what it would be there."""
    if measured is None:
        return [_without_value(name, reading)]
    lanes = [_point(name, measured)]
    if found is not None and found.referred.value_ohm != measured.value_ohm:
        lanes.append(_point(words.referred(name, found), found.referred))
    return lanes


def _hot(sheet: Sheet, tap: Tap) -> list[Lane]:
    """The last reading of a winding while the coil was hot."""
    hot = sheet.case.hot(tap) if tap in words.WARM else ()
    if not hot:
        return []
    measured = less_leads(sheet.case, hot[-1], tap, f"warm {tap.value}")
    return _shown(words.WARM[tap], hot[-1], measured, None)


def _point(name: str, measured: Measured) -> Lane:
    doubt_ohm = Decimal(measured.expanded_ohm)
    value_ohm = measured.value_ohm
    return Lane(name, Look.READING, value_ohm - doubt_ohm, value_ohm + doubt_ohm, value_ohm, with_doubt(measured))


def _without_value(name: str, reading: Reading) -> Lane:
    text = words.no_value_in_words(reading)
    if reading.shown is Shown.UNSTEADY:
        low, high = (bound.ohms if bound is not None else None for bound in (reading.low, reading.high))
        return Lane(name, Look.UNSTEADY, low, high, text=text)
    least_ohm = None if reading.range_ohm is None else Decimal(reading.range_ohm)
    return Lane(name, Look.ABOVE, least_ohm, text=text)
