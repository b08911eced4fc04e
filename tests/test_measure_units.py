"""Numerals, quantities and readings as a display shows them."""

from decimal import Decimal

import pytest
from check_rows import CheckRow, rows

from assistant.measure.units import Numeral, Quantity, Reading, Shown, Unit


@pytest.mark.parametrize(
    ("given", "text", "places"),
    [("4.70", "4.70", 2), (".85", "0.85", 2), ("00.9", "0.9", 1), ("007", "7", 0), ("0", "0", 0), ("0.00", "0.00", 2)],
)
def test_digits_stay_as_they_were_shown(given: str, text: str, places: int) -> None:
    numeral = Numeral(given)
    assert (numeral.text, numeral.places) == (text, places)
    assert numeral.value == Decimal(text)
    assert numeral.step == Decimal(1).scaleb(-places)


@pytest.mark.parametrize("text", ["", ".", "1.", "-1", "+1", "1e3", "1,000", "4.7.0", " 1", "1 ", "٣", "nan", "1\n"])
def test_anything_else_is_no_numeral(text: str) -> None:
    with pytest.raises(ValueError, match="not a numeral"):
        Numeral(text)


@pytest.mark.parametrize("row", rows("meter_display", "prefix_shown"))
def test_the_prefix_beside_the_digits(row: CheckRow) -> None:
    unit = next(unit for unit in Unit if unit.symbol.startswith(row["prefix_shown"]) and unit is not Unit.MILLIOHM)
    found = Quantity(Numeral(row["display_text"]), unit)
    assert found.ohms == pytest.approx(row.number("expected_ohm"), abs=row.number("tolerance_ohm"))
    assert found.step_ohms / 2 == row.number("tolerance_ohm")


@pytest.mark.parametrize(
    ("unit", "ohms", "step_ohms", "text"),
    [
        (Unit.MILLIOHM, "0.0047", "0.0001", "4.7 mΩ"),
        (Unit.OHM, "4.7", "0.1", "4.7 Ω"),
        (Unit.KILOHM, "4700", "100", "4.7 kΩ"),
        (Unit.MEGOHM, "4700000", "100000", "4.7 MΩ"),
    ],
)
def test_a_quantity_in_ohms_and_in_print(unit: Unit, ohms: str, step_ohms: str, text: str) -> None:
    found = Quantity(Numeral("4.7"), unit)
    assert (found.ohms, found.step_ohms, found.text) == (Decimal(ohms), Decimal(step_ohms), text)


def test_a_reading_is_one_thing() -> None:
    value = Quantity(Numeral("1.4"), Unit.OHM)
    with pytest.raises(ValueError, match="a value reading has a quantity"):
        Reading(Shown.VALUE)
    with pytest.raises(ValueError, match="no other reading has one"):
        Reading(Shown.OVER_RANGE, value)
    with pytest.raises(ValueError, match="only an unsteady reading has bounds"):
        Reading(Shown.OVER_RANGE, low=value)
    with pytest.raises(ValueError, match="only an unsteady reading has bounds"):
        Reading(Shown.VALUE, value, high=value)
    assert Reading(Shown.UNSTEADY, low=value, high=value).low == value
