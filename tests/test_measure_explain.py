"""Harmless explanations only where the numbers fit; which meter would do; what a test could not have seen."""

from dataclasses import replace
from decimal import Decimal

import pytest
from check_rows import CheckRow, rows
from coil_cases import METERS, POCKET, case, plain, quantity
from hypothesis import given
from hypothesis import strategies as st

from assistant.language import hidden_wording, verdict_wording
from assistant.measure.explain import (
    BODY_OHM,
    beside_body,
    body_alone,
    body_that_fits,
    cap_between,
    hidden_turns,
    prefix_that_fits,
    step_that_decides,
)
from assistant.measure.limits import CoilLimits, Conformity, Limit, compared, conformity
from assistant.measure.measured import Measured, Part
from assistant.measure.meter import Meter, Range
from assistant.measure.verdict import Because, Class, Reason, Stroke, Tap, TapResult, Verdict, VerdictKind, judge

BAND = (Decimal(2_500), Decimal(5_000))


def reasons(verdict: Verdict) -> dict[Because, Reason]:
    return {reason.because: reason for reason in verdict.reasons}


def because(verdict: Verdict) -> str:
    return " ".join(verdict_wording.because(verdict))


# ---- a body beside the coil


@pytest.mark.parametrize("row", rows("series_parallel", "body_in_parallel"))
def test_a_body_touching_both_tips(row: CheckRow) -> None:
    true_ohm, body_ohm = row.number("true_ohm"), row.number("body_ohm")
    expected, tolerance = row.number("expected_ohm"), row.number("tolerance_ohm")
    found = beside_body(true_ohm, body_ohm)
    assert abs(found - expected) <= tolerance
    assert abs(found - true_ohm - row.number("expected_difference_ohm")) <= tolerance
    assert BODY_OHM[0] <= body_ohm <= BODY_OHM[1]


@pytest.mark.no_cover
@given(st.decimals("1000", "20000", places=0), st.decimals("100001", "999999", places=0))
def test_the_body_is_found_again_from_what_it_did(true_ohm: Decimal, body_ohm: Decimal) -> None:
    found = body_that_fits(true_ohm, beside_body(true_ohm, body_ohm))
    assert found is not None
    assert abs(found - body_ohm) < Decimal("0.001")


@pytest.mark.parametrize(("true_ohm", "read_ohm"), [(4700, 4700), (4700, 4800), (4700, 0), (4700, 4000), (4700, 4690)])
def test_what_no_hands_explain_is_not_put_to_them(true_ohm: int, read_ohm: int) -> None:
    assert body_that_fits(Decimal(true_ohm), Decimal(read_ohm)) is None


@pytest.mark.parametrize(("ohms", "fits"), [(99_999, False), (100_000, True), (1_000_000, True), (1_000_001, False)])
def test_hands_alone(ohms: int, fits: bool) -> None:  # noqa: FBT001
    assert body_alone(Decimal(ohms)) is fits


def test_hands_are_named_beside_readings_they_explain_and_no_others() -> None:
    assert Because.BODY_ALONE in reasons(judge(case("1.4", "800k", "OL")))
    assert "keep fingers off the tips" in because(judge(case("1.4", "800k", "OL")))
    assert Because.BODY_ALONE not in reasons(judge(case("1.4", "50k", "OL")))
    assert Because.BODY_ALONE not in reasons(judge(case("1.4", "OL", "OL")))
    touched = judge(case("1.4", "4.70k", "4.60k"))
    assert Because.BODY_BESIDE not in reasons(touched)  # within contact scatter: nothing to explain
    touched = judge(case("1.4", "6.50k", "6.15k"))
    assert reasons(touched)[Because.BODY_BESIDE].low_ohm == pytest.approx(Decimal(113_900), rel=Decimal("0.01"))
    assert "a body of about" in because(touched)
    assert Because.BODY_BESIDE not in reasons(judge(case("850", "6.50k", "6.15k")))


# ---- a prefix, a cap


@pytest.mark.parametrize(
    ("value", "meant"),
    [("4.7", 4700), ("4700000", 4700), ("4700", None), ("47", None), ("0", None), ("2.5", 2500), ("5", 5000)],
)
def test_a_prefix_fits_or_it_does_not(value: str, meant: int | None) -> None:
    assert prefix_that_fits(Decimal(value), BAND) == meant


def test_a_prefix_is_named_only_beside_a_bad_reading_that_it_explains() -> None:
    lost = judge(case("1.4", "4.7", stroke=Stroke.FOUR))
    assert "With another prefix the secondary would be 4.40 kΩ" in because(lost)
    assert Because.PREFIX_FITS not in reasons(judge(case("1.4", "12", stroke=Stroke.FOUR)))
    assert Because.PREFIX_FITS not in reasons(judge(case("1.4", "4.7k", stroke=Stroke.FOUR)))
    limits = CoilLimits(secondary=Limit(Decimal(5_900), Decimal(7_100)))
    assert Because.PREFIX_FITS not in reasons(judge(case("1.4", "4.7", limits=limits)))
    assert Because.PREFIX_FITS in reasons(judge(case("1.4", "6.7", limits=limits)))
    assert reasons(judge(case("1.4k", "4.7k")))[Because.PREFIX_FITS].tap is Tap.PRIMARY
    one_sided = CoilLimits(secondary=Limit(Decimal(5_900), None))
    assert Because.PREFIX_FITS in reasons(judge(case("1.4", "4.7", limits=one_sided)))


@pytest.mark.parametrize(
    ("one", "other", "difference"),
    [
        (6500, 11500, 5000),
        (11500, 6500, 5000),
        (6500, 10499, None),
        (6500, 10500, 4000),
        (6500, 12600, None),
        (6500, 14000, 7500),
        (1400, 6400, None),
    ],
)
def test_a_cap_fits_between_two_readings_or_it_does_not(one: int, other: int, difference: int | None) -> None:
    assert cap_between(Decimal(one), Decimal(other)) == difference


def test_a_cap_on_for_one_reading_is_named() -> None:
    found = judge(case("0.9", "6.50k", "11.50k"))
    assert "differs from the other readings by 5.00 kΩ, as much as a resistor plug cap has" in because(found)
    assert Because.CAP_BETWEEN not in reasons(judge(case("0.9", "6.50k", "9.5k")))
    assert Because.CAP_BETWEEN not in reasons(judge(case("0.9", "6.50k", "6.5k")))


# ---- which meter would do


def needed(limits: Limit, value: str) -> Reason | None:
    found = reasons(judge(case(value, "4.7k", limits=CoilLimits(primary=limits))))
    assert (Because.CANNOT_DECIDE in found) == bool({Because.FINER_METER, Because.NO_FINER_METER} & found.keys())
    return found.get(Because.FINER_METER)


@pytest.mark.parametrize(
    ("low", "high", "step"), [("0.24", "0.36", "0.01"), ("0.26", "0.34", "0.001"), ("0.8", "1.3", "0.01")]
)
def test_the_resolution_that_would_do_is_named(low: str, high: str, step: str) -> None:
    middle_ohm = (Decimal(low) + Decimal(high)) / 2
    found = needed(Limit(Decimal(low), Decimal(high)), f"{middle_ohm + Decimal('0.3'):.1f}")
    assert found is not None
    assert found.low_ohm == Decimal(step)


def test_a_meter_of_the_resolution_that_is_named_can_decide() -> None:
    limits = Limit(Decimal("0.24"), Decimal("0.36"))
    lowest = replace(POCKET.lowest, resolution_ohm=Decimal("0.01"))
    finer = replace(POCKET, ranges=(lowest, *POCKET.ranges[1:]))
    found = judge(case("0.60", "4.7k", leads="0.30", limits=CoilLimits(primary=limits), meter=finer)).primary.conformity
    assert found is not None
    assert found.decidable
    assert "A meter that shows 0.01 Ω as its last digit here" in because(
        judge(case("0.6", "4.7k", limits=CoilLimits(primary=limits)))
    )


def with_step(step_ohm: Decimal, percent: Decimal, counts: int) -> Meter:
    return Meter("any", "any", hand_set=True, ranges=(Range(200, step_ohm, percent, counts),))


def at_middle(meter: Meter, limit: Limit, leads: Decimal, coil_at_c: Decimal | None) -> Conformity:
    """What this meter could say of a value in the middle of the limits, read less the leads, to its last digit."""
    assert limit.low_ohm is not None
    assert limit.high_ohm is not None
    middle_ohm = (limit.low_ohm + limit.high_ohm) / 2
    read, off = (plain(ohm.quantize(Decimal("0.000001"))).quantity for ohm in (middle_ohm + leads, leads))
    assert read is not None
    assert off is not None
    range_ = meter.lowest
    less = meter.measured(read, range_, "it") - meter.measured(off, range_, "leads")
    return compared(less, limit, coil_at_c, cap_on=None)


@pytest.mark.no_cover
@given(
    st.decimals("0.1", "3", places=2),
    st.decimals("0.002", "1", places=3),
    st.decimals("0", "0.5", places=1),
    st.sampled_from([Decimal(0), Decimal("0.3"), Decimal("0.8"), Decimal(2)]),
    st.integers(1, 10),
    st.sampled_from([None, Decimal(20)]),
)
def test_the_step_that_is_named_is_the_largest_that_decides(  # noqa: PLR0913, PLR0917 - what a meter and limits consist of
    low: Decimal, width: Decimal, leads: Decimal, percent: Decimal, counts: int, coil_at_c: Decimal | None
) -> None:
    limit = Limit(low, low + width, Decimal(20))
    steps = [Decimal("0.1").scaleb(-digits) for digits in range(4)]
    decides = [at_middle(with_step(step, percent, counts), limit, leads, coil_at_c).decidable for step in steps]
    named = step_that_decides(
        at_middle(with_step(steps[0], percent, counts), limit, leads, coil_at_c),
        with_step(steps[0], percent, counts).lowest,
        leads,
    )
    assert named == next((step for step, enough in zip(steps[1:], decides[1:], strict=True) if enough), None)


def test_where_digits_alone_do_not_help_that_is_said() -> None:
    tight = Limit(Decimal("0.2990"), Decimal("0.3010"))
    assert needed(tight, "0.6") is None
    assert "More digits alone would not help." in because(judge(case("0.6", "4.7k", limits=CoilLimits(primary=tight))))


@pytest.mark.parametrize(("width", "step"), [("0.003", "0.0001"), ("0.0003", None)])
def test_three_digits_more_than_the_range_has_are_named_at_most(width: str, step: str | None) -> None:
    """From a tenth of an ohm to a tenth of a milliohm; beyond, no meter is named though one more digit would do."""
    meter = with_step(Decimal("0.1"), Decimal(0), 2)
    limit = Limit(Decimal(1), Decimal(1) + Decimal(width))
    read = meter.measured(quantity("1.0"), meter.lowest, "it") - meter.measured(quantity("0.0"), meter.lowest, "leads")
    named = step_that_decides(conformity(read, limit), meter.lowest, Decimal(0))
    assert named == (None if step is None else Decimal(step))


def test_one_sided_limits_always_decide() -> None:
    conformity = judge(case("0.6", "4.7k", limits=CoilLimits(primary=Limit(Decimal("0.2"), None)))).primary.conformity
    assert conformity is not None
    assert conformity.decidable
    assert step_that_decides(conformity, POCKET.lowest, Decimal(0)) is None


# ---- shorted turns


def test_what_shorted_turns_could_hide() -> None:
    measured = Measured(Decimal(4_000), (Part("all", 50.0),))
    inside, best = hidden_turns(measured, Decimal(5_000))
    assert inside == pytest.approx(1 - 3_900 / 5_000)
    assert best == pytest.approx(2**0.5 * 100 / 4_000)
    assert hidden_turns(measured, Decimal(3_000))[0] == pytest.approx(100 / 4_000)
    inside, best = hidden_turns(measured, Decimal(4_010))
    assert inside == best == pytest.approx(110 / 4_010)
    assert hidden_turns(Measured(Decimal(0)), Decimal(5)) == (1.0, 1.0)
    assert hidden_turns(Measured(Decimal(0)), Decimal(0)) == (1.0, 1.0)
    assert hidden_turns(Measured(Decimal("0.3"), (Part("all", 0.2),)), Decimal("2.5")) == (1.0, 1.0)


@pytest.mark.parametrize("meter", METERS)
def test_every_sound_verdict_says_how_many_turns_could_be_shorted(meter: str) -> None:
    found = judge(case("1.4", "4.70k", "4.70k", meter=METERS[meter], stroke=Stroke.FOUR))
    assert found.kind is VerdictKind.SOUND
    (told,) = (text for text in verdict_wording.unproven(found) if "shorted turns" in text)
    secondary = found.secondary.measured
    assert secondary is not None
    part = 1 - (float(secondary.value_ohm) - secondary.expanded_ohm) / 5_000
    assert f"of the primary's and {100 * part:.0f} % of the secondary's turns could be shorted" in told
    assert "Even beside a good reading of this very coil" in told


def test_only_windings_with_a_value_are_spoken_of() -> None:
    sound = judge(case("1.4", "4.70k"))
    told = hidden_wording.hidden_turns(replace(sound, primary=TapResult(Tap.PRIMARY, Class.USUAL)))
    assert "primary" not in told
    assert "of the secondary's turns could be shorted" in told


def test_limits_and_near_readings_have_tops_of_their_own() -> None:
    def told(verdict: Verdict) -> str:
        return next(text for text in verdict_wording.unproven(verdict) if "shorted turns" in text)

    limits = CoilLimits(secondary=Limit(Decimal(3_900), Decimal(4_800)))
    assert "9 % of the secondary's turns" in told(judge(case("1.4", "4.70k", limits=limits)))
    open_above = CoilLimits(secondary=Limit(Decimal(3_900), None))
    assert "78 % of the secondary's turns" in told(judge(case("1.4", "4.70k", limits=open_above)))
    assert "50 % of the secondary's turns" in told(judge(case("1.4", "10.0k", stroke=Stroke.FOUR)))
    assert "shorted" not in " ".join(verdict_wording.unproven(judge(case("1.4", "OL OL", "OL"))))
    assert told(judge(case("850", "4.7k", "OL"))) == "Resistance cannot show shorted turns."
