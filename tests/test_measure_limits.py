"""Maker's limits: temperature, the four outcomes, the probability of being inside, the plug cap."""

from dataclasses import replace
from decimal import Decimal

import pytest
from check_rows import CheckRow, rows
from hypothesis import given
from hypothesis import strategies as st

from assistant.measure.coil import Span, Tap
from assistant.measure.limits import (
    CoilLimits,
    Limit,
    Points,
    Zone,
    check_temperature,
    compared,
    conformity,
    copper_ratio,
    in_celsius,
    less_cap,
    probability_inside,
    zone,
)
from assistant.measure.measured import Measured, Part

_ZONES = {
    "pass": Zone.INSIDE,
    "conditional_pass": Zone.INSIDE_IN_DOUBT,
    "conditional_fail": Zone.OUTSIDE_IN_DOUBT,
    "fail": Zone.OUTSIDE,
}


@pytest.mark.parametrize("row", rows("copper_temperature"))
def test_copper_between_two_temperatures(row: CheckRow) -> None:
    found = row.number("r1_ohm") * copper_ratio(row.number("t1_c"), row.number("t2_c"))
    assert found == pytest.approx(row.number("expected_r2_ohm"), abs=row.number("tolerance_ohm"))


@pytest.mark.no_cover
@given(st.decimals(-60, 300, places=1), st.decimals(-60, 300, places=1))
def test_there_and_back_is_the_same_resistance(there: Decimal, back: Decimal) -> None:
    assert copper_ratio(there, back) * copper_ratio(back, there) == pytest.approx(Decimal(1))


@pytest.mark.parametrize("row", rows("conformity", "nonbinary_upper_limit", "nonbinary_lower_limit"))
def test_the_four_outcomes(row: CheckRow) -> None:
    low, high = row.maybe("lower_limit_in_unit"), row.maybe("upper_limit_in_unit")
    found = zone(row.number("measured_in_unit"), float(row["guard_band_in_unit"]), low, high)
    assert found is _ZONES[row["expected_zone"]]


@pytest.mark.parametrize("row", rows("conformity", "binary_upper_limit"))
def test_acceptance_is_the_best_of_the_four_outcomes(row: CheckRow) -> None:
    found = zone(
        row.number("measured_in_unit"), float(row["guard_band_in_unit"]), None, row.number("upper_limit_in_unit")
    )
    assert (found is Zone.INSIDE) == (row["expected_zone"] == "accept")


@pytest.mark.parametrize("row", rows("conformity", "one_sided_z"))
def test_one_limit_far_enough_away_for_a_given_probability(row: CheckRow) -> None:
    """A reading z standard uncertainties inside one limit conforms with the printed probability."""
    found = probability_inside(Decimal(0), 1.0, None, row.number("expected_z"))
    assert found == pytest.approx(float(row["probability"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("row", rows("conformity", "single_limit_probability"))
def test_the_probability_against_one_limit(row: CheckRow) -> None:
    low, high = row.maybe("lower_limit_in_unit"), row.maybe("upper_limit_in_unit")
    found = probability_inside(row.number("measured_in_unit"), float(row["u_in_unit"]), low, high)
    assert found == pytest.approx(float(row["expected_probability"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("row", rows("conformity", "false_accept_at_guard_band"))
def test_the_risk_of_a_reading_on_the_guard_band(row: CheckRow) -> None:
    """The guard band is given in units of U = 2 u; a reading that far inside one limit is outside with this probability."""
    u_ohm, guard = 1.0, 2 * float(row["guard_band_in_unit"])
    risk = 1 - probability_inside(Decimal(0), u_ohm, None, Decimal(guard))
    assert risk == pytest.approx(float(row["expected_probability"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("row", rows("conformity", "coil_limits", "coil_limits_meter_too_coarse"))
def test_a_coil_against_limits(row: CheckRow) -> None:
    measured = Measured(row.number("measured_in_unit"), (Part("all", float(row["u_in_unit"])),))
    limit = Limit(row.number("lower_limit_in_unit"), row.number("upper_limit_in_unit"))
    found = conformity(measured, limit)
    assert measured.expanded_ohm == pytest.approx(float(row["guard_band_in_unit"]), rel=1e-3)
    assert found.zone is _ZONES[row["expected_zone"]]
    assert found.probability == pytest.approx(float(row["expected_probability"]), abs=float(row["tolerance"]))
    can_pass = row["expected_pass_zone_exists"]
    assert found.decidable == (can_pass == "yes")  # noqa: S105 - no password


@pytest.mark.parametrize(("low", "high"), [(None, "0.36"), ("0.24", None)])
def test_one_limit_alone_can_always_be_met(low: str | None, high: str | None) -> None:
    limit = Limit(None if low is None else Decimal(low), None if high is None else Decimal(high))
    assert conformity(Measured(Decimal("0.3"), (Part("all", 9.0),)), limit).decidable


def test_limits_exactly_as_wide_as_the_doubt_can_be_met_in_the_middle() -> None:
    found = conformity(Measured(Decimal(1), (Part("all", 0.25),)), Limit(Decimal("0.5"), Decimal("1.5")))
    assert found.decidable
    assert found.zone is Zone.INSIDE


def test_without_doubt_inside_is_certain() -> None:
    assert probability_inside(Decimal(1), 0.0, Decimal(1), Decimal(2)) == 1.0
    assert probability_inside(Decimal(3), 0.0, Decimal(1), Decimal(2)) == 0.0


_OHMS = st.decimals(0, 10_000, places=2)


@pytest.mark.no_cover
@given(_OHMS, st.floats(0, 1e6), st.none() | _OHMS, st.none() | _OHMS)
def test_a_probability_is_a_probability(
    value: Decimal, u_ohm: float, low: Decimal | None, high: Decimal | None
) -> None:
    assert 0 <= probability_inside(value, u_ohm, low, high) <= 1


@pytest.mark.no_cover
@given(_OHMS, st.floats(0, 1e4), st.floats(0, 1e4), _OHMS, _OHMS)
def test_more_doubt_never_leaves_the_doubtful_zones(
    value: Decimal, guard: float, more: float, one: Decimal, two: Decimal
) -> None:
    low, high = sorted((one, two))
    if zone(value, guard, low, high) in (Zone.INSIDE_IN_DOUBT, Zone.OUTSIDE_IN_DOUBT):
        assert zone(value, guard + more, low, high) is zone(value, guard, low, high)


_READ = Measured(Decimal(6500), (Part("all", 40.0),))


def test_a_reading_is_referred_to_the_limits_temperature() -> None:
    found = compared(_READ, Limit(Decimal(5900), Decimal(7100), Decimal(20)), Decimal(80), cap_on=None)
    assert found.referred.value_ohm == pytest.approx(Decimal(5260), abs=Decimal(1))
    assert found.at_c == Decimal(20)
    # what was told of the temperature of a coil is good to 5 K
    assert found.referred.u_ohm**2 == pytest.approx((40 * 5260 / 6500) ** 2 + (5260 * 5 / 254.5) ** 2 / 3, rel=1e-3)
    assert found.zone is Zone.OUTSIDE


def test_an_unknown_temperature_widens_the_doubt_and_moves_nothing() -> None:
    found = compared(_READ, Limit(Decimal(5900), Decimal(7100), Decimal(20)), None, cap_on=None)
    assert found.referred.value_ohm == Decimal(6500)
    assert found.referred.u_ohm**2 == pytest.approx(40**2 + (6500 * 15 / 254.5) ** 2 / 3)


def test_limits_without_a_temperature_hold_for_a_room() -> None:
    """Knowing less never decides more: told or not, the doubt is the same."""
    for coil_at_c in (None, Decimal(80)):
        told = compared(_READ, Limit(Decimal(5900), Decimal(7100), Decimal(20)), coil_at_c, cap_on=None)
        assert compared(_READ, Limit(Decimal(5900), Decimal(7100)), coil_at_c, cap_on=None).referred == told.referred


def test_the_temperature_that_the_limits_name_is_theirs() -> None:
    """6500 Ω at 20 °C are 7011 Ω at the 40 °C of the limits."""
    found = compared(_READ, Limit(Decimal(6900), Decimal(7100), Decimal(40)), Decimal(20), cap_on=None)
    assert found.referred.value_ohm == pytest.approx(Decimal(7011), abs=Decimal(1))
    assert found.at_c == Decimal(40)


def test_what_is_no_copper_stays_as_it_was_read() -> None:
    found = compared(_READ, Limit(Decimal(5900), Decimal(7100)), Decimal(80), cap_on=None, copper=False)
    assert found.referred == _READ
    assert found.at_c is None


@pytest.mark.parametrize("row", rows("cap_arithmetic", "cap_state_verdict"))
def test_whether_the_cap_was_on_decides(row: CheckRow) -> None:
    on = row["cap_state"] == "on"
    limit = Limit(row.number("expected_low_ohm"), row.number("expected_high_ohm"), cap_on=on)
    found = compared(Measured(row.number("reading_ohm")), limit, None, cap_on=on)
    assert (found.zone is Zone.INSIDE) == (row["expected_inside_limits"] == "yes")
    assert found.limit == limit


@pytest.mark.parametrize(
    ("limits_on", "read_on", "value", "cap"),
    [
        (False, True, 11_500, (Decimal(-6000), Decimal(-4000))),
        (None, True, 11_500, (Decimal(-6000), Decimal(-4000))),
        (True, False, 1_500, (Decimal(4000), Decimal(6000))),
        (True, True, 6_500, None),
        (False, None, 6_500, None),
        (None, False, 6_500, None),
    ],
)
def test_a_cap_that_only_one_side_includes_is_taken_off_or_added(
    limits_on: bool | None,  # noqa: FBT001 - a parameter of the test
    read_on: bool | None,  # noqa: FBT001 - a parameter of the test
    value: int,
    cap: Span | None,
) -> None:
    limit = Limit(Decimal(5900), Decimal(7100), cap_on=limits_on)
    found = compared(replace(_READ, value_ohm=Decimal(value)), limit, None, cap_on=read_on)
    assert found.limit == limit
    assert found.referred.value_ohm == Decimal(6500)
    assert found.cap_ohm == cap
    assert [part.u_ohm for part in found.referred.parts if part.name == "plug cap"] == (
        [pytest.approx(1000 / 3**0.5)] if cap else []
    )


def test_a_cap_that_was_not_spoken_of_may_be_on_or_off() -> None:
    """5.0 kΩ against 5.9 to 7.1 kΩ with a cap on: with none to six kilo-ohms more, it may be inside."""
    found = compared(Measured(Decimal(5000)), Limit(Decimal(5900), Decimal(7100), cap_on=True), None, cap_on=None)
    assert found.cap_ohm == (Decimal(0), Decimal(6000))
    assert found.referred.value_ohm == Decimal(8000)
    assert found.zone is Zone.OUTSIDE_IN_DOUBT


def test_the_kind_of_cap_counts_that_fits() -> None:
    """A coil of 7 kΩ behind a cap of 10 kΩ; and one that no cap explains."""
    limit = Limit(Decimal(6000), Decimal(8000))
    assert compared(Measured(Decimal(17_000)), limit, None, cap_on=True).cap_ohm == (Decimal(-12_500), Decimal(-7_500))
    beyond = compared(Measured(Decimal(40_000)), limit, None, cap_on=True)
    assert (beyond.zone, beyond.cap_ohm) == (Zone.OUTSIDE, (Decimal(-6000), Decimal(-4000)))


def test_a_cap_does_not_rise_as_copper_does() -> None:
    """7.0 kΩ of copper at 20 °C are 8.10 kΩ at 60 °C; the 5 kΩ of a cap stay 5 kΩ."""
    warm = Measured(Decimal(7000) * copper_ratio(Decimal(20), Decimal(60)) + 5000)
    off = compared(warm, Limit(Decimal(6000), Decimal(8000), Decimal(20)), Decimal(60), cap_on=True)
    assert off.referred.value_ohm == pytest.approx(Decimal(7000))
    on = compared(warm, Limit(Decimal(11_000), Decimal(13_000), Decimal(20), cap_on=True), Decimal(60), cap_on=True)
    assert on.referred.value_ohm == pytest.approx(Decimal(12_000))
    cap = next(part.u_ohm for part in on.referred.parts if part.name == "plug cap")
    assert cap == pytest.approx(1000 / 3**0.5 * (1 - 254.5 / 294.5))
    cap = next(part.u_ohm for part in off.referred.parts if part.name == "plug cap")
    assert cap == pytest.approx(1000 / 3**0.5 * 254.5 / 294.5)  # taken off while it was warm, referred with the rest


def test_a_cap_that_is_added_is_not_referred() -> None:
    """The coil alone was read at 60 °C; the cap that belongs to the limits has 4 to 6 kΩ at any temperature."""
    warm = Measured(Decimal(7000) * copper_ratio(Decimal(20), Decimal(60)))
    found = compared(warm, Limit(Decimal(11_000), Decimal(13_000), Decimal(20), cap_on=True), Decimal(60), cap_on=False)
    assert found.referred.value_ohm == pytest.approx(Decimal(12_000))
    cap = next(part.u_ohm for part in found.referred.parts if part.name == "plug cap")
    assert cap == pytest.approx(1000 / 3**0.5)


def test_without_its_cap_a_reading_is_never_below_nothing() -> None:
    found = compared(Measured(Decimal(3000)), Limit(Decimal(2000), Decimal(3000)), None, cap_on=True)
    assert found.referred.value_ohm == 0
    assert less_cap(Measured(Decimal(3000))).value_ohm == 0
    assert less_cap(Measured(Decimal(9000))).value_ohm == 4000


@pytest.mark.parametrize("value", [9000, 3000])
def test_without_its_cap_a_reading_is_in_doubt_by_what_caps_differ(value: int) -> None:
    less = less_cap(replace(_READ, value_ohm=Decimal(value)))
    assert less.u_ohm**2 == pytest.approx(40**2 + 1000**2 / 3)


@pytest.mark.parametrize(("low", "high"), [(None, 7100), (5900, None)])
def test_a_limit_that_is_not_printed_stays_so_under_a_cap(low: int | None, high: int | None) -> None:
    limit = Limit(None if low is None else Decimal(low), None if high is None else Decimal(high))
    found = compared(_READ, limit, None, cap_on=True).limit
    assert (found.low_ohm is None, found.high_ohm is None) == (low is None, high is None)


@pytest.mark.parametrize(
    ("low", "high", "fault"),
    [
        (None, None, "needs a low or a high side"),
        ("-1", "2", "zero ohms or more"),
        ("NaN", None, "zero ohms or more"),
        (None, "Infinity", "zero ohms or more"),
        ("2", "1", "above the high limit"),
    ],
)
def test_limits_that_are_none(low: str | None, high: str | None, fault: str) -> None:
    with pytest.raises(ValueError, match=fault):
        Limit(None if low is None else Decimal(low), None if high is None else Decimal(high))


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [("32", "0.0"), ("212", "100.0"), ("-40", "-40.0"), ("70", "21.1"), ("31.99", "0.0")]
)
def test_fahrenheit_in_celsius(fahrenheit: str, celsius: str) -> None:
    assert f"{in_celsius(Decimal(fahrenheit)):f}" == celsius


@pytest.mark.parametrize("celsius", ["-61", "301", "NaN", "1e300"])
def test_temperatures_no_coil_has(celsius: str) -> None:
    with pytest.raises(ValueError, match="temperature"):
        check_temperature(Decimal(celsius))
    with pytest.raises(ValueError, match="temperature"):
        Limit(Decimal(1), Decimal(2), Decimal(celsius))


@pytest.mark.parametrize(
    ("points", "holds"), [(Points.CORE, Tap.SECONDARY), (Points.KILLTAB, Tap.KILLTAB), (Points.OTHER, None)]
)
def test_limits_hold_between_their_own_points_alone(points: Points, holds: Tap | None) -> None:
    primary, secondary = Limit(Decimal(1), Decimal(2)), Limit(Decimal(5900), Decimal(7100), points=points)
    given = CoilLimits(primary, secondary)
    assert [tap for tap in Tap if given.at(tap) is secondary] == ([] if holds is None else [holds])
    assert [tap for tap in Tap if given.at(tap) is primary] == [Tap.PRIMARY]


def test_no_limits_are_limits_too() -> None:
    assert CoilLimits() == CoilLimits(None, None)
    check_temperature(None)
    check_temperature(Decimal(-60))
    check_temperature(Decimal(300))
