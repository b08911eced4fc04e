"""From readings to classes: leads subtracted, limits compared, every attempt put into its class."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal

from assistant.measure.case import Because, Case, Reason, TapResult
from assistant.measure.coil import (
    CAPS_OHM,
    LEADS_MOST_OHM,
    LEADS_NORMAL_MOST_OHM,
    PRIMARY_USUAL_OHM,
    SCATTER_OHM,
    SCATTER_PERCENT,
    SECONDARY_BAD_OHM,
    SHOWN_MOST_OHM,
    Class,
    Span,
    Tap,
    cap_fits,
    killtab_class,
    primary_class,
    primary_explains,
    secondary_class,
    secondary_usual,
    with_caps,
)
from assistant.measure.explain import body_alone, body_that_fits, cap_between, prefix_that_fits, step_that_decides
from assistant.measure.limits import Conformity, Points, Zone, compared
from assistant.measure.measured import Measured
from assistant.measure.units import Reading, Shown

_DIALS_OHM = {Tap.SECONDARY.value: 20_000, Tap.KILLTAB.value: 20_000}
"""Where the procedure puts a dial set by hand; for leads and primary it is the lowest range anyway."""

_P_OFF = (Class.RAISED, Class.SUSPICIOUS)
_READS_WELL = (Class.USUAL, Class.NEAR)
_BAD_VALUES = (Class.LOW, Class.RAISED, Class.SUSPICIOUS, Class.BAD)
_IN_DOUBT = (Zone.INSIDE_IN_DOUBT, Zone.OUTSIDE_IN_DOUBT)


@dataclass(frozen=True, slots=True)
class Seen:
    """Every attempt with its class, oldest first, and what there is to say about the readings as such.

    `leads_doubt`: why the leads may be what reads open, so that nothing may be condemned through them.
    """

    primary: tuple[TapResult, ...]
    secondary: tuple[TapResult, ...]
    killtab: tuple[TapResult, ...]
    reasons: tuple[Reason, ...] = ()
    leads_doubt: tuple[Reason, ...] = ()

    def all_of(self, tap: Tap) -> tuple[TapResult, ...]:
        """The attempts at one pair of points."""
        return {Tap.PRIMARY: self.primary, Tap.SECONDARY: self.secondary, Tap.KILLTAB: self.killtab}[tap]

    def last(self, tap: Tap) -> TapResult:
        """The attempt that counts; NOT_TAKEN when there is none."""
        attempts = self.all_of(tap)
        return attempts[-1] if attempts else TapResult(tap, Class.NOT_TAKEN)


def classify(case: Case) -> Seen:
    """All readings of a case in their classes."""
    leads = _Leads.of(case)
    halves = case.moved.windings
    primary = tuple(_winding(case, Tap.PRIMARY, reading, leads, halves) for reading in case.primary)
    secondary = tuple(_winding(case, Tap.SECONDARY, reading, leads, halves) for reading in case.secondary)
    windings = Seen(primary, secondary, ())
    p, s = windings.last(Tap.PRIMARY), windings.last(Tap.SECONDARY)
    killtab = tuple(_killtab(case, reading, leads, p, s) for reading in case.killtab)
    of_killtab = (*_about_difference(p, s, killtab[-1]), *_about_limits(case, killtab[-1])) if killtab else ()
    of_primary = _about(case, p)
    if killtab and _borne_out(p, s, killtab[-1]):
        of_primary = tuple(reason for reason in of_primary if reason.because is not Because.PREFIX_FITS)
    reasons = (*leads.reasons, *leads.about(p), *of_primary, *_about(case, s), *of_killtab)
    return Seen(primary, secondary, killtab, reasons, leads.doubt(case, (*primary, *secondary, *killtab)))


@dataclass(frozen=True, slots=True)
class _Leads:
    """What the leads read, None when nothing is to be subtracted, and what to say about them."""

    measured: Measured | None
    reasons: tuple[Reason, ...]

    @staticmethod
    def of(case: Case) -> "_Leads":
        if case.leads is None:
            return _Leads(None, (Reason(Because.LEADS_NOT_TAKEN),) if case.primary else ())
        leads = _measured(case, case.leads, "leads", case.moved.leads)
        if leads is None:
            return _Leads(None, (Reason(Because.LEADS_OPEN),))
        if leads.value_ohm > LEADS_MOST_OHM:
            return _Leads(leads, (Reason(Because.LEADS_HIGH, low_ohm=leads.value_ohm),))
        return _Leads(leads, ())

    def about(self, primary: TapResult) -> tuple[Reason, ...]:
        """Whether the leads were not believed beside the primary."""
        shown = primary.reading.quantity if primary.reading else None
        return () if shown is None or self.believed(shown.ohms) else (Reason(Because.LEADS_NOT_BELIEVED),)

    def believed(self, value_ohm: Decimal) -> bool:
        """Leads alone cannot read clearly more than leads and coil together."""
        return self.measured is None or self.measured.value_ohm - value_ohm <= LEADS_NORMAL_MOST_OHM

    def doubt(self, case: Case, results: tuple[TapResult, ...]) -> tuple[Reason, ...]:
        """Why the leads may be what reads open; empty when they are known to conduct.

        Leads not taken are proven by any value read through them. Leads above 1 Ω are no obstacle where a winding reads
        well with them taken off: a few ohms make no winding open. Leads that showed no value when put together, or more
        than coil and leads did, come and go: nothing proves them.
        """
        if case.leads is None:
            read = any(result.measured is not None for result in results)
            return () if read else (Reason(Because.LEADS_UNPROVEN),)
        if self.measured is not None:
            well = any(
                result.kind in _READS_WELL and (shown := _shown(case, result)) and self.believed(shown.value_ohm)
                for result in results
            )
            if well or self.measured.value_ohm <= LEADS_MOST_OHM:
                return ()
        return (Reason(Because.LEADS_BEFORE_FAULT),)

    def off(self, measured: Measured) -> Measured:
        """A value less the leads, never below zero; the value as it stands when there is nothing to take off."""
        if self.measured is None or not self.believed(measured.value_ohm):
            return measured
        less = measured - self.measured
        return Measured(max(Decimal(0), less.value_ohm), less.parts)


def _shown(case: Case, result: TapResult) -> Measured | None:
    """What the display showed at one pair of points, leads and all; moved against the leads, where it tells most of them."""
    return None if result.reading is None else _measured(case, result.reading, result.tap.value, case.moved.windings)


def _measured(case: Case, reading: Reading, whose: str, halves: int) -> Measured | None:
    """What the display showed, with its errors; None when it showed no value, or one that no meter shows."""
    if reading.quantity is None or reading.quantity.ohms > SHOWN_MOST_OHM:
        return None
    return case.meter.measured(reading.quantity, case.meter.range_for(reading, _DIALS_OHM.get(whose)), whose, halves)


def less_leads(case: Case, reading: Reading, tap: Tap, whose: str) -> Measured | None:
    """A reading of a winding taken at another time, less the leads; None when the display showed no value."""
    measured = _measured(case, reading, tap.value, case.moved.others)
    if measured is None:
        return None
    own = f"display at {tap.value}"  # another reading of the same points: its own part needs a name of its own
    parts = tuple(replace(part, name=f"display at {whose}") if part.name == own else part for part in measured.parts)
    return _Leads.of(case).off(replace(measured, parts=parts))


def _winding(case: Case, tap: Tap, reading: Reading, leads: _Leads, halves: int) -> TapResult:
    measured = _measured(case, reading, tap.value, halves)
    if measured is not None:
        measured = leads.off(measured)
    cap_on = case.cap_on if tap is Tap.SECONDARY else None
    conformity = _against(case, tap, measured)
    inside = None if case.limits.at(tap) is None else _inside(conformity)
    if tap is Tap.PRIMARY:
        kind = primary_class(reading, measured, inside=inside)
    else:
        kind = secondary_class(reading, measured, case.stroke, inside=inside, cap_on=cap_on)
    return TapResult(tap, kind, reading, measured, conformity)


def _against(case: Case, tap: Tap, measured: Measured | None) -> Conformity | None:
    """A value against the maker's limits that hold between its points; None where there are none, or no value."""
    limit = case.limits.at(tap)
    if measured is None or limit is None:
        return None
    return compared(measured, limit, case.coil_at_c, cap_on=None if tap is Tap.PRIMARY else case.cap_on)


def _inside(conformity: Conformity | None) -> bool:
    return conformity is not None and conformity.zone in (Zone.INSIDE, Zone.INSIDE_IN_DOUBT)


def _killtab(case: Case, reading: Reading, leads: _Leads, p: TapResult, s: TapResult) -> TapResult:
    """K against P + S; against S alone when P tells nothing of the winding; against a good coil when S is bad.

    BLIND where it agrees with S, and what P reads is too little beside S to be missed.
    """
    measured = _measured(case, reading, Tap.KILLTAB.value, case.moved.others)
    if measured is not None:
        measured = leads.off(measured)
    if s.kind in (Class.BAD, Class.BEYOND):
        kind = _killtab_beside_bad(case, reading, measured, leads)
        return TapResult(Tap.KILLTAB, kind, reading, measured, _against(case, Tap.KILLTAB, measured))
    expected = s.measured
    if expected is not None and p.measured is not None and p.kind not in _P_OFF:
        expected = expected + p.measured
    if _at_full_scale(reading, expected):
        return TapResult(Tap.KILLTAB, Class.UNCLEAR, reading)
    kind = killtab_class(reading, measured, expected, _steps(reading, s.reading))
    if kind is Class.DIFFERENT and p.kind in _P_OFF and measured is not None and s.measured is not None:
        p_ohm = None if p.measured is None else p.measured.value_ohm
        steps_ohm = _steps(reading, s.reading, p.reading)
        if primary_explains(measured.value_ohm, s.measured.value_ohm, p_ohm, steps_ohm):
            kind = Class.HIGH
    if kind is Class.SAME and p.kind in _P_OFF and p.measured is not None and expected is not None:
        with_primary = killtab_class(reading, measured, expected + p.measured, _steps(reading, s.reading, p.reading))
        kind = Class.SAME if with_primary is Class.DIFFERENT else Class.BLIND
    return TapResult(Tap.KILLTAB, kind, reading, measured, _against(case, Tap.KILLTAB, measured))


def _killtab_beside_bad(case: Case, reading: Reading, measured: Measured | None, leads: _Leads) -> Class:
    """K beside a bad S: like a good coil, as bad as S, or neither; UNCLEAR where a good coil would be over range too."""
    if measured is None:
        limit = case.limits.at(Tap.SECONDARY)
        most_ohm = limit.high_ohm if limit is not None else None
        if most_ohm is not None and _over(reading, most_ohm):
            return Class.UNCLEAR
        return killtab_class(reading, None, None, Decimal(0))
    if _winding(case, Tap.SECONDARY, reading, leads, case.moved.others).kind in _READS_WELL:
        return Class.SAME
    return Class.HIGH if measured.value_ohm >= SECONDARY_BAD_OHM else Class.DIFFERENT


def _steps(*readings: Reading | None) -> Decimal:
    """The last digits said of these readings, in ohms, together."""
    steps = (seen.quantity.step_ohms for seen in readings if seen is not None and seen.quantity is not None)
    return sum(steps, Decimal(0))


def _at_full_scale(reading: Reading, expected: Measured | None) -> bool:
    """Whether "over range" is just what a good coil would show on this range."""
    return expected is not None and _over(reading, expected.value_ohm)


def _over(reading: Reading, value_ohm: Decimal) -> bool:
    """Whether this is "over range" on a range that this value, contact scatter allowed for, would exceed as well."""
    if reading.range_ohm is None or reading.shown is not Shown.OVER_RANGE:
        return False
    return value_ohm * (100 + SCATTER_PERCENT) / 100 >= reading.range_ohm


def _about(case: Case, result: TapResult) -> tuple[Reason, ...]:
    """The class of one reading, how it stands to the maker's limits, and whether a plug cap explains it."""
    if result.reading is None:
        return ()
    usual = PRIMARY_USUAL_OHM if result.tap is Tap.PRIMARY else secondary_usual(case.stroke, cap_on=case.cap_on)
    reasons = [Reason(Because.CLASS, result.tap, *usual), *_about_limits(case, result)]
    if result.tap is Tap.SECONDARY:
        reasons += _about_cap(case, result)
    reasons += _about_slips(case, result, usual)
    return tuple(reasons)


def _about_limits(case: Case, result: TapResult) -> Iterator[Reason]:
    """How one reading stands to the maker's limits, or why it is not held against those of the secondary."""
    secondary = case.limits.secondary
    if result.tap is Tap.SECONDARY and secondary is not None and secondary.points is not Points.CORE:
        yield Reason(Because.LIMITS_ELSEWHERE, Tap.SECONDARY)
    if result.conformity is None or result.reading is None:
        return
    yield Reason(Because.AGAINST_LIMITS, result.tap)
    if not result.conformity.decidable and result.conformity.zone in _IN_DOUBT:
        yield from _undecidable(case, result.tap, result.reading, result.conformity)
    if case.coil_at_c is None:
        yield Reason(Because.TEMPERATURE_UNKNOWN, result.tap)
    elif result.conformity.limit.at_c is None:
        yield Reason(Because.LIMITS_AT_ROOM, result.tap)


_CAP_IN_DOUBT = {True: Because.CAP_IN_DOUBT, False: Because.CAP_OFF_IN_DOUBT, None: Because.CAP_NOT_SAID}
"""By what was said of the plug cap, where it is a cap's unknown ohms that decide nothing."""


def _undecidable(case: Case, tap: Tap, reading: Reading, found: Conformity) -> tuple[Reason, ...]:
    """What it is that no value could be surely inside the limits: a plug cap, or the meter, and which last digit would do."""
    if found.cap_ohm is not None:
        return (Reason(_CAP_IN_DOUBT[case.cap_on], tap),)
    return (Reason(Because.CANNOT_DECIDE, tap), _finer(case, tap, reading, found))


def _finer(case: Case, tap: Tap, reading: Reading, found: Conformity) -> Reason:
    """Which last digit would do where this meter cannot decide."""
    range_ = case.meter.range_for(reading, _DIALS_OHM.get(tap.value))
    leads_ohm = case.leads.quantity.ohms if case.leads is not None and case.leads.quantity else Decimal(0)
    step_ohm = step_that_decides(found, range_, leads_ohm)
    return Reason(Because.NO_FINER_METER if step_ohm is None else Because.FINER_METER, tap, step_ohm)


def _about_slips(case: Case, result: TapResult, usual: Span) -> list[Reason]:
    """A prefix not looked at, or hands on both tips, where the value of a bad reading fits them."""
    if result.measured is None or result.kind not in _BAD_VALUES:
        return []
    limit = result.conformity.limit if result.conformity else None
    band = usual
    if limit is not None and limit.low_ohm is not None and limit.high_ohm is not None:
        band = (limit.low_ohm, limit.high_ohm)
        if result.tap is Tap.SECONDARY and case.cap_on and not limit.cap_on:
            band = with_caps(band, 1, CAPS_OHM[0])
    meant_ohm = prefix_that_fits(result.measured.value_ohm, band)
    slips = [] if meant_ohm is None else [Reason(Because.PREFIX_FITS, result.tap, meant_ohm)]
    return [*slips, Reason(Because.BODY_ALONE, result.tap)] if body_alone(result.measured.value_ohm) else slips


def _borne_out(p: TapResult, s: TapResult, k: TapResult) -> bool:
    """Whether the comparison reads just so much more than the secondary as the primary reads: then its prefix is right."""
    if p.measured is None or s.measured is None or k.measured is None or k.reading is None or k.kind is Class.BLIND:
        return False
    steps_ohm = _steps(k.reading, s.reading, p.reading)
    return killtab_class(k.reading, k.measured, s.measured + p.measured, steps_ohm) is Class.SAME


def _about_difference(p: TapResult, s: TapResult, k: TapResult) -> tuple[Reason, ...]:
    """What would make two readings of one path differ as they do: a prefix, hands on the tips of one, a cap on for one."""
    if s.measured is None or k.measured is None or k.kind in (Class.SAME, Class.BLIND) or s.kind not in _READS_WELL:
        return ()
    p_ohm = p.measured.value_ohm if p.measured is not None and p.kind not in _P_OFF else Decimal(0)
    expected_ohm, found_ohm = s.measured.value_ohm + p_ohm, k.measured.value_ohm
    scatter_ohm = expected_ohm * SCATTER_PERCENT / 100 + SCATTER_OHM
    # with its leads: what looks like ohms was kilo-ohms, beside which they are nothing
    meant_ohm = prefix_that_fits(_quantity_ohm(k), (expected_ohm - scatter_ohm, expected_ohm + scatter_ohm))
    if meant_ohm is not None:
        return (Reason(Because.PREFIX_FITS, Tap.KILLTAB, meant_ohm),)
    if p.kind in _P_OFF:
        return ()
    body_ohm = body_that_fits(max(expected_ohm, found_ohm), min(expected_ohm, found_ohm))
    cap_ohm = cap_between(expected_ohm, found_ohm)
    reasons = [] if body_ohm is None else [Reason(Because.BODY_BESIDE, Tap.KILLTAB, body_ohm)]
    return (*reasons, *([] if cap_ohm is None else [Reason(Because.CAP_BETWEEN, Tap.KILLTAB, cap_ohm)]))


def _quantity_ohm(result: TapResult) -> Decimal:
    """The value that the display showed; 0 where it showed none."""
    return result.reading.quantity.ohms if result.reading and result.reading.quantity else Decimal(0)


def _about_cap(case: Case, result: TapResult) -> list[Reason]:
    limit = result.conformity.limit if result.conformity else None
    if limit is not None and limit.cap_on:  # the maker's figures hold with the cap on
        return []
    if case.cap_on:  # beside the maker's limits, what was taken off for it is told there
        return [] if limit is not None else [Reason(Because.CAP_COUNTED, Tap.SECONDARY)]
    if result.measured is None or result.kind is Class.USUAL or case.cap_on is False:
        return []
    band = secondary_usual(case.stroke, cap_on=False)
    if limit is not None and limit.high_ohm is not None:
        band = (limit.low_ohm or Decimal(0), limit.high_ohm)
    without = cap_fits(result.measured.value_ohm, band)
    return (
        []
        if without is None
        else [Reason(Because.CAP_STILL_ON, Tap.SECONDARY, max(Decimal(0), without[0]), without[1])]
    )
