"""Written values against published notation, and what is on a display; each row carries its source."""

import pytest
from check_rows import CheckRow, rows
from depth import any_text
from hypothesis import given
from hypothesis import strategies as st
from language_cases import heard, lexicon, typed

from assistant.language.meaning import Ask, Meaning, NotUnderstood, SaidReading, Why
from assistant.language.notation import Token, clean, tokens
from assistant.measure.units import Shown


def check_action(row: CheckRow, meaning: Meaning) -> None:
    """The meaning is what the row's `expected_action` says."""
    action = row["expected_action"]
    if action in ("accept", "confirm"):
        assert isinstance(meaning, SaidReading)
        assert meaning.reading.quantity is not None
        assert meaning.reading.quantity.ohms == row.number("expected_ohm")
        assert meaning.check is (action == "confirm" or row["check"] == "rkm_code_with_tolerance")
    elif action == "over_range":
        assert isinstance(meaning, SaidReading)
        assert meaning.reading.shown is Shown.OVER_RANGE
    elif action == "number_only":
        assert isinstance(meaning, Ask)
        assert (meaning.why, meaning.numeral.value) == (Why.NO_UNIT, row.number("expected_number"))
    else:
        assert action == "ask"
        assert isinstance(meaning, Ask)
        assert meaning.why is Why.ONE_ALONE


@pytest.mark.parametrize("row", rows("value_notation", "rkm_code", "rkm_code_lower_case", "rkm_code_with_tolerance"))
def test_letter_for_point_codes(row: CheckRow) -> None:
    check_action(row, typed(row["text"]))


@pytest.mark.parametrize("row", rows("value_notation", "spoken", "spoken_with_unit", "spoken_number"))
def test_spoken_values(row: CheckRow) -> None:
    check_action(row, heard(row["text"]))
    check_action(row, typed(row["text"]))


@pytest.mark.parametrize("row", rows("value_notation", "e_series"))
def test_the_name_of_a_series_is_no_value(row: CheckRow) -> None:
    assert isinstance(typed(row["text"]), NotUnderstood)  # windings are no E-series values: nothing here uses the lists


@pytest.mark.parametrize(
    "row",
    rows("meter_display", "over_range", "over_range_not_short", "range_reading", "prefix_shown", "prefix_missing"),
)
def test_what_a_display_shows(row: CheckRow) -> None:
    range_ohm = int(row["range_ohm"]) if row["range_ohm"].isdigit() else None
    meaning = typed(row["display_text"] + row["prefix_shown"], "any", range_ohm)
    if row["expected_meaning"] == "value":
        assert isinstance(meaning, SaidReading)
        assert meaning.reading.quantity is not None
        tolerance = row.maybe("tolerance_ohm") if row["tolerance_ohm"] != "exact" else 0
        assert abs(meaning.reading.quantity.ohms - row.number("expected_ohm")) <= (tolerance or 0)
    elif row["display_text"] == "1":  # a typed 1 may be short for 1.0: the assistant asks which
        assert isinstance(meaning, Ask)
        assert meaning.why is Why.ONE_ALONE
    elif row["expected_meaning"] == "over_range":
        assert isinstance(meaning, SaidReading)
        assert meaning.reading.shown is Shown.OVER_RANGE
    else:
        assert row["expected_meaning"] == "ask_prefix_or_range"
        assert isinstance(meaning, Ask)
        assert meaning.why is Why.NO_UNIT


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("4.70k", "4.70 k"),
        ("4k7", "4.7 kilohms"),
        ("R47", "0.47 ohms"),
        ("6L8", "6.8 milliohms"),
        ("4K7K", "4.7 kilohms <tolerance>"),
        ("68RK", "68 ohms <tolerance>"),
        ("2.2MΩ", "2.2 megohms"),
        ("2.2M", "2.2 mega"),
        ("2.2m", "2.2 <m>"),
        (".5", "0.5"),
        ("4,700", "4700 <grouped>"),
        ("1,234,567.8", "1234567.8 <grouped>"),
        ("4,70", "4 <unclear> ,70"),
        ("1e3", "<unclear>"),
        ("1E+12", "<beyond>"),
        ("-5", "minus 5"),
        ("kilo-ohms", "kilo ohms"),
        ("two-stroke,", "two stroke"),
        ("it’s", "it's"),
        ("wont", "won't"),
        ("niner", "nine"),
        ("47.", "47 point"),
        ("4.7.", "4.7"),
        ("stop.", "stop"),
        ("20°C", "20 degrees c"),
        ("1.", "<1.>"),
        ("O.L.", "ol"),
        ("0L", "ol"),
        ("０.５Ω", "0.5 ohms"),
        ("4.7Ω", "4.7 ohms"),
        ("L47", "l 47"),
        ("4..7", "4 ..7"),
        ("[unk]", "[unk]"),
    ],
)
def test_a_typed_word_becomes_tokens(text: str, expected: str) -> None:
    assert " ".join(token.text for token in tokens(text, lexicon(), typed=True)) == expected


def test_a_recogniser_writes_full_stops_and_homophones() -> None:
    assert [token.text for token in tokens("1. noms.", lexicon(), typed=False)] == ["1", "ohms"]
    assert [token.text for token in tokens("47. noms.", lexicon(), typed=True)] == ["47", "point", "noms"]


def test_a_token_knows_the_word_it_came_from() -> None:
    assert tokens("It's 4k7", lexicon(), typed=True) == (
        Token("it's", 0, "It's"),
        Token("4.7", 1, "4k7"),
        Token("kilohms", 1, "4k7"),
    )


@pytest.mark.no_cover
@given(any_text())
def test_clean_text_is_one_printable_line(text: str) -> None:
    line = clean(text)
    assert line.isprintable()
    assert line == " ".join(line.split())


@pytest.mark.no_cover
@given(any_text(30), st.booleans())
def test_tokens_are_words_in_order(text: str, by_keyboard: bool) -> None:  # noqa: FBT001
    line = clean(text)
    found = tokens(line, lexicon(), typed=by_keyboard)
    assert all(token.text and token.source == line.split()[token.at] for token in found)
    assert [token.at for token in found] == sorted(token.at for token in found)


def test_a_point_that_stands_apart_is_still_a_point() -> None:
    assert typed("1 . 4 k") == typed("1.4 k")
    assert typed("4 , 7 k") == NotUnderstood(Why.UNCLEAR, 0, "4,7")
    assert typed("no , 1.4") == typed("no, 1.4")
