"""Maker's limits: temperature, the four outcomes, the probability of being inside, the plug cap."""

from decimal import Decimal

import pytest
from check_rows import CheckRow, rows
from hypothesis import given
from hypothesis import strategies as st

from assistant.measure.limits import (
    CoilLimits,
    Limit,
    Zone,
    check_temperature,
    compared,
    conformity,
    copper_ratio,
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
    assert found.referred.u_ohm == pytest.approx(40 * 5260 / 6500, rel=1e-3)
    assert found.zone is Zone.OUTSIDE


def test_an_unknown_temperature_widens_the_doubt_and_moves_nothing() -> None:
    found = compared(_READ, Limit(Decimal(5900), Decimal(7100), Decimal(20)), None, cap_on=None)
    assert found.referred.value_ohm == Decimal(6500)
    assert found.referred.u_ohm**2 == pytest.approx(40**2 + (6500 * 15 / 254.5) ** 2 / 3)


def test_limits_without_a_temperature_are_compared_as_they_stand() -> None:
    found = compared(_READ, Limit(Decimal(5900), Decimal(7100)), Decimal(80), cap_on=None)
    assert found.referred == _READ


@pytest.mark.parametrize("row", rows("cap_arithmetic", "cap_state_verdict"))
def test_whether_the_cap_was_on_decides(row: CheckRow) -> None:
    on = row["cap_state"] == "on"
    limit = Limit(row.number("expected_low_ohm"), row.number("expected_high_ohm"), cap_on=on)
    found = compared(Measured(row.number("reading_ohm")), limit, None, cap_on=on)
    assert (found.zone is Zone.INSIDE) == (row["expected_inside_limits"] == "yes")
    assert found.limit == limit


@pytest.mark.parametrize(
    ("limits_on", "read_on", "low", "high"),
    [
        (False, True, 9_900, 13_100),
        (None, True, 9_900, 13_100),
        (True, False, 0, 3_100),
        (True, None, 5_900, 7_100),
        (True, True, 5_900, 7_100),
        (False, None, 5_900, 7_100),
        (None, False, 5_900, 7_100),
    ],
)
def test_limits_move_by_a_cap_that_only_one_side_includes(
    limits_on: bool | None,  # noqa: FBT001 - a parameter of the test
    read_on: bool | None,  # noqa: FBT001 - a parameter of the test
    low: int,
    high: int,
) -> None:
    found = compared(_READ, Limit(Decimal(5900), Decimal(7100), cap_on=limits_on), None, cap_on=read_on)
    assert (found.limit.low_ohm, found.limit.high_ohm) == (Decimal(low), Decimal(high))


def test_limits_never_become_negative_without_the_cap() -> None:
    found = compared(_READ, Limit(Decimal(2000), Decimal(3000), cap_on=True), None, cap_on=False).limit
    assert (found.low_ohm, found.high_ohm) == (Decimal(0), Decimal(0))


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


@pytest.mark.parametrize("celsius", ["-61", "301", "NaN", "1e300"])
def test_temperatures_no_coil_has(celsius: str) -> None:
    with pytest.raises(ValueError, match="temperature"):
        check_temperature(Decimal(celsius))
    with pytest.raises(ValueError, match="temperature"):
        Limit(Decimal(1), Decimal(2), Decimal(celsius))


def test_no_limits_are_limits_too() -> None:
    assert CoilLimits() == CoilLimits(None, None)
    check_temperature(None)
    check_temperature(Decimal(-60))
    check_temperature(Decimal(300))
