"""Values with named sources of error, against the published worked examples."""

from decimal import Decimal
from math import cos, sin, sqrt

import pytest
from check_rows import CheckRow, rows

from assistant.measure.measured import Measured, Part, rectangular


def test_parts_of_one_name_cancel_in_a_difference_and_add_in_a_sum() -> None:
    left = Measured(Decimal(5), (Part("gain", 0.5), Part("left", 0.3)))
    right = Measured(Decimal(2), (Part("gain", 0.2), Part("right", 0.4)))
    assert (left - right).value_ohm == Decimal(3)
    assert (left - right).parts == (Part("gain", 0.3), Part("left", 0.3), Part("right", -0.4))
    assert (left + right).parts == (Part("gain", 0.7), Part("left", 0.3), Part("right", 0.4))


def test_a_reading_less_itself_is_certainly_nothing() -> None:
    value = Measured(Decimal(5), (Part("gain", 0.5), Part("display", 0.3)))
    assert (value - value).value_ohm == 0
    assert (value - value).u_ohm == 0


def test_scaling_scales_value_and_parts() -> None:
    scaled = Measured(Decimal(5), (Part("gain", 0.5),)).scaled(Decimal(-2))
    assert scaled == Measured(Decimal(-10), (Part("gain", -1.0),))
    assert scaled.u_ohm == 1.0
    assert scaled.expanded_ohm == 2.0


def test_a_name_cannot_stand_twice() -> None:
    with pytest.raises(ValueError, match="named twice"):
        Measured(Decimal(1), (Part("gain", 0.1), Part("gain", 0.1)))
    with pytest.raises(ValueError, match="named twice"):
        Measured(Decimal(1), (Part("gain", 0.1),)).with_part(Part("gain", 0.2))


@pytest.mark.parametrize("method", ["__lt__", "__gt__", "__le__", "__ge__"])
def test_values_are_not_compared_outside_the_verdict(method: str) -> None:
    assert getattr(Measured(Decimal(1)), method)(Measured(Decimal(2))) is NotImplemented


@pytest.mark.parametrize("row", rows("uncertainty", "rectangular"))
def test_a_rectangular_interval(row: CheckRow) -> None:
    found = rectangular("rounding", float(row.number("half_width_in_unit"))).u_ohm
    assert found == pytest.approx(float(row.number("expected_u_in_unit")), abs=float(row.number("tolerance_u_in_unit")))


@pytest.mark.parametrize("row", rows("uncertainty", "root_sum_square"))
def test_independent_parts_add_as_squares(row: CheckRow) -> None:
    parts = tuple(Part(f"part {n}", float(u)) for n, u in enumerate(row["components_in_unit"].split(";")))
    found = Measured(Decimal(0), parts)
    tolerance = float(row.number("tolerance_u_in_unit"))
    assert found.u_ohm == pytest.approx(float(row.number("expected_u_in_unit")), abs=tolerance)
    expanded = row.maybe("expected_expanded_in_unit")
    if expanded is not None:
        assert found.expanded_ohm == pytest.approx(float(expanded), abs=tolerance)


@pytest.mark.parametrize("row", rows("uncertainty", "gum_h2_correlated", "gum_h2_uncorrelated"))
def test_correlated_inputs_are_inputs_that_share_parts(row: CheckRow) -> None:
    """Three inputs with given correlations are sums of three independent parts (Cholesky); the rest is sums and multiples."""
    volts, amperes, phase = (float(row.number(name)) for name in ("voltage_v", "current_a", "phase_rad"))
    r_vi, r_vp, r_ip = (float(row[name]) for name in ("corr_v_i", "corr_v_phase", "corr_i_phase"))
    l11 = sqrt(1 - r_vi**2)
    l21 = (r_ip - r_vp * r_vi) / l11
    l22 = sqrt(1 - r_vp**2 - l21**2)
    cholesky = {"voltage_v": (1.0, 0.0, 0.0), "current_a": (r_vi, l11, 0.0), "phase_rad": (r_vp, l21, l22)}
    inputs = {
        name: Measured(
            row.number(name), tuple(Part(str(n), float(row.number(f"u_{name}")) * c) for n, c in enumerate(factors))
        )
        for name, factors in cholesky.items()
    }
    impedance = volts / amperes
    value, slopes = {
        "R": (
            impedance * cos(phase),
            (cos(phase) / amperes, -impedance * cos(phase) / amperes, -impedance * sin(phase)),
        ),
        "X": (
            impedance * sin(phase),
            (sin(phase) / amperes, -impedance * sin(phase) / amperes, impedance * cos(phase)),
        ),
        "Z": (impedance, (1 / amperes, -impedance / amperes, 0.0)),
    }[row["quantity"]]
    scaled = [measured.scaled(Decimal(slope)) for measured, slope in zip(inputs.values(), slopes, strict=True)]
    found = scaled[0] + scaled[1] + scaled[2]
    assert value == pytest.approx(
        float(row.number("expected_value_in_unit")), abs=float(row.number("tolerance_value_in_unit"))
    )
    assert found.u_ohm == pytest.approx(
        float(row.number("expected_u_in_unit")), abs=float(row.number("tolerance_u_in_unit"))
    )
