"""Saying a value and hearing it again returns the same value, unit and trailing zeros."""

from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st
from language_cases import CASES, KILOHM, MEGOHM, OHM, Case, heard, lexicon, quantity, typed

from assistant.language.meaning import Meaning, SaidReading
from assistant.language.readback import printed, spoken, spoken_reading
from assistant.measure.units import Numeral, Quantity, Reading, Shown, Unit

RANGES = {
    200: (OHM, 1),
    2_000: (KILOHM, 3),
    20_000: (KILOHM, 2),
    200_000: (KILOHM, 1),
    2_000_000: (MEGOHM, 3),
    20_000_000: (MEGOHM, 2),
}
"""Full scale in ohms: the unit and the places of a 2,000-count display with six ranges set by hand."""


def shown(count: int, places: int) -> str:
    """What a display shows at so many counts."""
    text = str(count).rjust(places + 1, "0")
    return f"{text[:-places]}.{text[-places:]}" if places else text


def the_reading(meaning: Meaning) -> Reading | None:
    return meaning.reading if isinstance(meaning, SaidReading) else None


def round_trip(value: Quantity) -> None:
    expected = Reading(Shown.VALUE, value)
    for text in (spoken(value), spoken(value).replace("-", " ")):
        assert the_reading(heard(text, "secondary")) == the_reading(typed(text, "secondary")) == expected
    assert the_reading(typed(value.text, "secondary")) == the_reading(heard(value.text, "secondary")) == expected


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.digits + case.unit.symbol)
def test_a_reading_is_read_back_digit_by_digit(case: Case) -> None:
    assert spoken(case.quantity) == case.read_back
    round_trip(case.quantity)


@pytest.mark.no_cover
@given(st.integers(0, 19_999), st.integers(0, 4), st.sampled_from([OHM, KILOHM, MEGOHM]))
def test_every_value_survives_being_said_and_printed(count: int, places: int, unit: Unit) -> None:
    value = Quantity(Numeral(shown(count, places)), unit)
    if value.ohms <= 200_000_000:
        round_trip(value)


def every_value(full_ohm: int, step: int) -> Iterator[Quantity]:
    unit, places = RANGES[full_ohm]
    for count in range(0, 2_000, step):
        yield quantity(shown(count, places), unit)


def bare_round_trip(full_ohm: int, value: Quantity) -> None:
    expected = Reading(Shown.VALUE, value, range_ohm=full_ohm)
    words = spoken(value).rpartition(" ")[0]
    assert the_reading(heard(words, "secondary", full_ohm)) == expected
    assert the_reading(typed(value.numeral.text, "secondary", full_ohm)) == expected


@pytest.mark.parametrize("full_ohm", RANGES)
def test_a_bare_number_on_a_known_range_keeps_its_unit_and_zeros(full_ohm: int) -> None:
    for value in every_value(full_ohm, 97):
        bare_round_trip(full_ohm, value)


@pytest.mark.no_cover
@pytest.mark.slow
@pytest.mark.parametrize("full_ohm", RANGES)
def test_every_count_of_a_pocket_meter(full_ohm: int) -> None:
    for value in every_value(full_ohm, 1):
        round_trip(value)
        bare_round_trip(full_ohm, value)


def test_other_readings_are_said_and_printed() -> None:
    low, high = quantity("1", MEGOHM), quantity("3.0", MEGOHM)
    bounds = Reading(Shown.UNSTEADY, low=low, high=high)
    for reading, said, text in (
        (Reading(Shown.VALUE, quantity("4.70", KILOHM)), "four point seven zero kilo-ohms", "4.70 kΩ"),
        (Reading(Shown.OVER_RANGE), "over range", "over range"),
        (Reading(Shown.UNSTEADY), "unsteady", "unsteady"),
        (bounds, "unsteady between one meg-ohm and three point zero meg-ohms", "unsteady between 1 MΩ and 3.0 MΩ"),
    ):
        assert (spoken_reading(reading), printed(reading)) == (said, text)
        for meaning in (heard(said, "primary"), typed(said, "primary"), typed(text, "primary")):
            assert the_reading(meaning) == reading


def test_units_are_named_as_the_grammar_names_them() -> None:
    for unit, (one, many) in lexicon().unit_names.items():
        assert spoken(quantity("1", unit)) == f"one {one}"
        assert spoken(quantity("1.0", unit)) == f"one point zero {many}"
