"""From what the person told to what the judgement needs, and the questions the dialogue puts to it."""

from decimal import Decimal

from assistant.dialogue.procedure import Step
from assistant.dialogue.state import Bench, Facts
from assistant.measure.limits import TEMPERATURES_C, CoilLimits, Limit, Points
from assistant.measure.meter import Meter, Range
from assistant.measure.spark_gap import is_gap
from assistant.measure.units import Reading, Shown
from assistant.measure.verdict import Case, Electronics, Stroke, Tap

LEADS_MOST_OHM = Decimal(1)  # above it leads or tips are put right first (common practice, no source)
WARM_STEPS = {Tap.SECONDARY: "warm", Tap.PRIMARY: "warm_primary"}
"""The steps of the hot readings, in their order."""
COLD_STEPS = ("coil_at", "cold_at")
"""The steps that ask how warm the coil was when it was read cold: beside the maker's limits, or after it was read hot."""
_STROKES = {"two_stroke": Stroke.TWO, "four_stroke": Stroke.FOUR}
_CAP = {"cap_on": True, "cap_off": False}  # "done" at the cleaning step says nothing about a cap
_ELECTRONICS = {"yes": Electronics.YES, "no": Electronics.NO}

ANSWERS = frozenset({*_STROKES, *_ELECTRONICS, *_CAP, "done", "none", "not_yet", "ready", "unknown"})
"""Answers whose names the dialogue knows; the grammar has to have them."""


def meter_of(bench: Bench, facts: Facts) -> Meter:
    """The meter in use: the one named, else the default."""
    return bench.meters.get(facts.meter) or bench.meters[bench.default_meter]


def case_of(bench: Bench, facts: Facts) -> Case:
    """Everything told so far, as the judgement wants it."""
    leads = facts.at("leads")
    stroke = "".join(facts.answer("stroke"))
    electronics = "".join(facts.answer("electronics"))
    return Case(
        meter=meter_of(bench, facts),
        stroke=_STROKES.get(stroke, Stroke.UNKNOWN),
        electronics=_ELECTRONICS.get(electronics, Electronics.UNKNOWN),
        leads=leads[-1] if leads else None,
        primary=facts.at(Tap.PRIMARY.value),
        secondary=facts.at(Tap.SECONDARY.value),
        killtab=facts.at(Tap.KILLTAB.value),
        limits=CoilLimits(_limit(facts, "primary"), _limit(facts, "secondary")),
        coil_at_c=next((at for at in (number_at(facts, step) for step in COLD_STEPS) if at is not None), None),
        cap_on=_CAP.get("".join(facts.answer("clean"))),
        symptoms=facts.answer("symptoms"),
        declined=facts.declined,
        warm=facts.at(WARM_STEPS[Tap.SECONDARY]),
        warm_at_c=number_at(facts, "warm_at"),
        warm_primary=facts.at(WARM_STEPS[Tap.PRIMARY]),
    )


def _limit(facts: Facts, winding: str) -> Limit | None:
    low, high = (last_ohms(facts.at(f"{winding}_{side}")) for side in ("low", "high"))
    # while the two are being given, they may still stand in the wrong order; the dialogue asks for both again
    if (low is None and high is None) or (low is not None and high is not None and low > high):
        return None
    cap = facts.answer("limits_cap") if winding == "secondary" else ()
    points = _points(facts) if winding == "secondary" else Points.CORE
    return Limit(low, high, number_at(facts, "limits_at"), _CAP.get("".join(cap)), points=points)


def _points(facts: Facts) -> Points:
    """Between which points the maker's figures of the secondary hold; not known is taken as core to lead end, as most print."""
    if facts.answer("limits_points") != ("no",):
        return Points.CORE
    return Points.KILLTAB if facts.answer("limits_killtab") == ("yes",) else Points.OTHER


def last_ohms(readings: tuple[Reading, ...]) -> Decimal | None:
    """The value of the last of these readings in ohms, None when there is none."""
    return readings[-1].quantity.ohms if readings and readings[-1].quantity else None


def number_at(facts: Facts, step: str) -> Decimal | None:
    """The number told at a step, None when it was not told."""
    text = dict(facts.numbers).get(step)
    return None if text is None else Decimal(text)


def is_temperature(text: str) -> bool:
    """Whether a number can be the temperature of a coil in degrees Celsius."""
    return TEMPERATURES_C[0] <= Decimal(text) <= TEMPERATURES_C[1]


def is_length(text: str) -> bool:
    """Whether a number can be the gap of a spark test in millimetres."""
    return is_gap(Decimal(text))


def leads_useless(reading: Reading) -> bool:
    """Whether nothing can be read through these leads: they show no value."""
    return reading.quantity is None


def leads_too_high(reading: Reading) -> bool:
    """Whether the leads should be put right before anything else is read."""
    return reading.quantity is None or reading.quantity.ohms > LEADS_MOST_OHM


def dial_range(bench: Bench, facts: Facts, step: Step) -> Range | None:
    """The range the dial is asked to stand on at a step; None when the meter chooses, or the step says nothing about it.

    It is the lowest that the step allows and that holds what was read there before: above an over range, at least a value.
    The comparison at the kill tab and the hot reading go through the secondary, so they begin where that was read.
    """
    meter = meter_of(bench, facts)
    if not step.range or not meter.hand_set:
        return None
    if step.range == "lowest":
        return meter.lowest
    least_ohm = Decimal(step.range)
    own = facts.at(step.name)
    through_secondary = step.name in (Tap.KILLTAB.value, WARM_STEPS[Tap.SECONDARY])
    for reading in own or (facts.at(Tap.SECONDARY.value) if through_secondary else ()):
        least_ohm = max(least_ohm, _least_range_ohm(reading, above=bool(own)))
    return next((range_ for range_ in meter.ranges if range_.full_ohm >= least_ohm), meter.highest)


def _least_range_ohm(reading: Reading, *, above: bool) -> Decimal:
    if reading.quantity is not None:
        return reading.quantity.ohms
    if reading.shown is Shown.OVER_RANGE and reading.range_ohm is not None:
        return Decimal(reading.range_ohm + (1 if above else 0))
    return Decimal(0)
