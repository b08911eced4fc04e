"""The same arithmetic by others: two libraries for uncertainties, and a Monte-Carlo run in the manner of GUM Supplement 1."""

from collections.abc import Callable
from decimal import Decimal
from itertools import product
from math import sqrt
from typing import Any

import numpy as np
import pytest
from check_rows import CheckRow, rows
from coil_cases import METERS, case, plain

from assistant.measure.limits import COPPER_K_C, SHOP_HALF_SPAN_K, Limit, compared, copper_ratio
from assistant.measure.measured import Measured
from assistant.measure.meter import Meter, Range
from assistant.measure.verdict import judge

_TRIALS = 400_000
_READINGS = [
    (meter, row.values[0]) for meter, row in product(METERS.values(), rows("series_parallel", "series_three_readings"))
]
READINGS = [
    pytest.param(meter, row, id=f"{meter.name}-{row['id']}")
    for meter, row in _READINGS
    if isinstance(row, CheckRow) and row["kill_to_lead_ohm"] != "OL"
]
"""Every meter that comes with the program with every three readings of the check file."""


def three(meter: Meter, row: CheckRow) -> tuple[Measured, Measured, Measured]:
    """Primary, secondary and comparison of a row, as this meter would have read them."""
    columns = ("primary_ohm", "secondary_ohm", "kill_to_lead_ohm")
    primary, secondary, killtab = (
        meter.measured(quantity, meter.range_for(reading), column)
        for column in columns
        if (quantity := (reading := plain(row.number(column))).quantity) is not None
    )
    return primary, secondary, killtab


def by_reference(value: Measured, known: dict[str, Any], variable: Callable[[str], Any]) -> Any:
    """The value as a reference library's: one standard variable for each name, shared by all values that have it."""
    total: Any = float(value.value_ohm)
    for part in value.parts:
        if part.name not in known:
            known[part.name] = variable(part.name)
        total = total + part.u_ohm * known[part.name]
    return total


@pytest.mark.parametrize(("meter", "row"), READINGS)
def test_sums_differences_and_multiples_are_those_of_uncertainties(meter: Meter, row: CheckRow) -> None:
    uncertainties = pytest.importorskip(
        "uncertainties", reason="uncertainties is not installed (it is in the test extra)"
    )
    known: dict[str, Any] = {}
    p, s, k = three(meter, row)
    variables = [by_reference(value, known, lambda _name: uncertainties.ufloat(0, 1)) for value in (p, s, k)]
    reference = (variables[2] - variables[1] - variables[0]) * 1.07
    ours = (k - s - p).scaled(Decimal("1.07"))
    assert float(ours.value_ohm) == pytest.approx(reference.nominal_value, abs=1e-9)
    assert ours.u_ohm == pytest.approx(reference.std_dev, rel=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize(("meter", "row"), READINGS)
def test_sums_and_differences_are_those_of_gtc(meter: Meter, row: CheckRow) -> None:
    gtc = pytest.importorskip("GTC", reason="gtc is not installed (it is in the test extra)")
    known: dict[str, Any] = {}
    p, s, k = three(meter, row)
    variables = [by_reference(value, known, lambda name: gtc.ureal(0, 1, label=name)) for value in (p, s, k)]
    reference = variables[2] - (variables[0] + variables[1])
    ours = k - (p + s)
    assert float(ours.value_ohm) == pytest.approx(reference.x, abs=1e-9)
    assert ours.u_ohm == pytest.approx(reference.u, rel=1e-9)
    listed = {name: abs(u) for name, u in ((part.name, part.u_ohm) for part in ours.parts) if u}
    budget = {found.label: found.u for found in gtc.reporting.budget(reference, trim=0)}
    assert listed == pytest.approx({name: u for name, u in budget.items() if u}, rel=1e-9)


def trials(value: Measured, known: dict[str, Any], random: np.random.Generator) -> Any:
    """Many possible true values: every part a rectangular error of its own, shared by name."""
    return by_reference(value, known, lambda _name: random.uniform(-sqrt(3), sqrt(3), _TRIALS))


@pytest.mark.slow
@pytest.mark.parametrize(("meter", "row"), READINGS)
def test_a_monte_carlo_run_agrees_with_the_linear_doubt(meter: Meter, row: CheckRow) -> None:
    random = np.random.default_rng(5)
    known: dict[str, Any] = {}
    p, s, k = three(meter, row)
    samples = [trials(value, known, random) for value in (p, s, k)]
    for ours, found in ((p, samples[0]), (s, samples[1]), (k - (p + s), samples[2] - samples[0] - samples[1])):
        assert ours.expanded_ohm == pytest.approx(2 * float(np.std(found)), rel=0.05)


@pytest.mark.slow
@pytest.mark.parametrize("celsius", [0, 20, 60, 120])
def test_a_monte_carlo_run_over_an_unknown_temperature_agrees(celsius: int) -> None:
    """The straight line of copper is divided by a temperature that is not known: linear only as far as 15 K go."""
    random = np.random.default_rng(5)
    measured = judge(case("1.4", "6.50k")).secondary.measured
    assert measured is not None
    limit = Limit(Decimal(5_900), Decimal(7_100), Decimal(celsius))
    ours = compared(measured, limit, None, cap_on=None).referred
    spread = float(SHOP_HALF_SPAN_K)
    coil_at_c = celsius + random.uniform(-spread, spread, _TRIALS)
    ratio = (float(COPPER_K_C) + celsius) / (float(COPPER_K_C) + coil_at_c)
    assert float(copper_ratio(Decimal(celsius + 10), Decimal(celsius))) == pytest.approx(
        (float(COPPER_K_C) + celsius) / (float(COPPER_K_C) + celsius + 10)
    )
    found = trials(measured, {}, random) * ratio
    assert ours.expanded_ohm == pytest.approx(2 * float(np.std(found)), rel=0.05)


@pytest.mark.slow
@pytest.mark.parametrize("row", rows("meter_accuracy", "resistance_range"))
def test_a_monte_carlo_run_agrees_for_every_range_of_the_check_file(row: CheckRow) -> None:
    digits = (row.number("resolution_ohm"), row.number("percent_of_reading"))
    range_ = Range(int(row["range_ohm"]), *digits, int(row["counts"]))
    meter = Meter("checked", "checked", hand_set=True, ranges=(range_,))
    quantity = plain(row.number("reading_ohm")).quantity
    assert quantity is not None
    ours = meter.measured(quantity, range_, "it")
    found = trials(ours, {}, np.random.default_rng(5))
    assert ours.expanded_ohm == pytest.approx(2 * float(np.std(found)), rel=0.05)
