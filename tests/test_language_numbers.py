"""Numbers as people say them: as many refusals as values."""

import pytest
from language_cases import lexicon

from assistant.language.numbers import Spoken, is_written, number_at

VALUES = {
    # digit by digit
    "four": "4",
    "four seven zero zero": "4700",
    "one oh five": "105",
    "zero zero point nine": "00.9",
    "double four seven": "447",
    "four triple zero": "4000",
    "four point double oh": "4.00",
    "4 7 0": "470",
    # cardinals
    "ten": "10",
    "fifteen": "15",
    "fifty": "50",
    "forty seven": "47",
    "one hundred": "100",
    "a hundred": "100",
    "a thousand": "1000",
    "one hundred and five": "105",
    "one hundred five": "105",
    "one hundred and forty seven": "147",
    "one hundred fifteen": "115",
    "seven hundred twenty": "720",
    "forty seven hundred": "4700",
    "nineteen hundred": "1900",
    "forty seven hundred and fifty": "4750",
    "four thousand": "4000",
    "four thousand seven hundred": "4700",
    "four thousand and fifty": "4050",
    "four thousand seven hundred and twenty one": "4721",
    "forty thousand": "40000",
    "one hundred and five thousand": "105000",
    "one three thousand five hundred": "13500",
    "one hundred thousand two hundred": "100200",
    # decimals
    "point eight": "0.8",
    "oh point nine": "0.9",
    "nought point six": "0.6",
    "four point seven zero": "4.70",
    "one two point five": "12.5",
    "fifteen point two": "15.2",
    "one hundred and five point two": "105.2",
    "four dot seven": "4.7",
    "one decimal two": "1.2",
    "four point fifteen": "4.15",
    "four point seventy": "4.70",
    "four point seventy five": "4.75",
    "4.70": "4.70",
    "47": "47",
    "47 point 25": "47.25",
    # parts
    "half": "0.5",
    "a half": "0.5",
    "one half": "0.5",
    "a quarter": "0.25",
    "three quarters": "0.75",
    "one and a half": "1.5",
    "fifteen and a quarter": "15.25",
    "two and three quarters": "2.75",
}

ENDS_EARLY = {
    # words => how many of them are one number; what is left is refused by the parser
    "one thirteen": 1,
    "thirteen one": 1,
    "four seventy": 1,
    "forty seven fifty": 2,
    "forty seven zero": 2,
    "twenty zero": 1,
    "forty hundred": 1,
    "ten hundred": 1,
    "zero hundred": 1,
    "one two three hundred": 3,
    "four thousand seventeen hundred": 3,
    "four thousand thousand": 2,
    "zero thousand": 1,
    "one two three four thousand": 4,
    "twelve hundred thousand": 2,
    "one hundred zero": 2,
    "one hundred hundred": 2,
    "one hundred five hundred": 3,
    "one hundred and": 2,
    "one hundred and zero": 2,
    "one hundred and a half": 2,
    "four and five": 1,
    "four thousand and point": 2,
    "four point seven point two": 3,
    "four point seven hundred": 3,
    "four point seven thousand": 3,
    "four point fifteen two": 3,
    "four point fifty zero": 3,
    "four point seven fifteen": 3,
    "four point seven and a half": 3,
    "half point five": 1,
    "half a half": 1,
    "4.70 5": 1,
    "47 5": 1,
    "4 47": 1,
    "four 4.7": 1,
    "four point 4.7": 2,
    "fifteen 20": 1,
    "double": 1,
    "double fifteen": None,
    "fifteen double four": 1,
    "a": None,
    "a four": None,
    "and four": None,
    "hundred": None,
    "thousand": None,
    "and": None,
    "minus four": None,
    "k": None,
    "blah": None,
    "٤": None,
    "4.": None,
    ".5": None,
    "4.7.2": None,
    "": None,
}


def number(text: str) -> Spoken | None:
    return number_at(text.split(), 0, lexicon().numbers)


@pytest.mark.parametrize(("said", "digits"), VALUES.items())
def test_a_number_is_its_digits(said: str, digits: str) -> None:
    found = number(said)
    assert found is not None
    assert (found.text, found.end, found.finished) == (digits, len(said.split()), True)


@pytest.mark.parametrize(("said", "words"), ENDS_EARLY.items())
def test_words_that_make_no_number_are_not_taken_into_it(said: str, words: int | None) -> None:
    found = number(said)
    assert (found.end if found else None) == words


@pytest.mark.parametrize("said", ["four point", "point", "one hundred point", "four double", "triple", "nought point"])
def test_a_number_that_breaks_off_is_unfinished(said: str) -> None:
    found = number(said)
    assert found is not None
    assert not found.finished


@pytest.mark.parametrize("said", ["four seven hundred", "four point fifteen", "oh four", "0 7", "zero zero"])
def test_what_is_easily_misheard_is_marked(said: str) -> None:
    found = number(said)
    assert found is not None
    assert found.check


@pytest.mark.parametrize(
    "said", ["four seven zero zero", "four point five", "forty seven hundred", "oh point four", "4700", "0"]
)
def test_what_is_plain_is_not_marked(said: str) -> None:
    found = number(said)
    assert found is not None
    assert not found.check


def test_who_scaled_the_number() -> None:
    by_person, by_radio_rule, plain = (
        number("four thousand"),
        number("one three thousand"),
        number("four zero zero zero"),
    )
    assert by_person is not None and by_radio_rule is not None and plain is not None  # noqa: PT018
    assert (by_person.scaled, by_person.digitwise) == (True, False)
    assert (by_radio_rule.scaled, by_radio_rule.digitwise) == (True, True)
    assert (plain.scaled, plain.digitwise) == (False, False)


def test_a_number_may_begin_anywhere() -> None:
    found = number_at(("it", "says", "four", "five", "k"), 2, lexicon().numbers)
    assert found == Spoken("45", 4, one_by_one=True)


@pytest.mark.parametrize(
    ("said", "one_by_one"),
    [
        ("four seven", True),
        ("double four", True),
        ("one oh five", True),
        ("four", False),
        ("forty seven", False),
        ("fifteen", False),
        ("47", False),
        ("four seven point two", False),
        ("four seven hundred", False),
        ("one three thousand", False),
    ],
)
def test_digits_said_one_by_one_are_told_from_others(said: str, one_by_one: bool) -> None:  # noqa: FBT001
    found = number_at(tuple(said.split()), 0, lexicon().numbers)
    assert found is not None
    assert found.one_by_one is one_by_one


@pytest.mark.parametrize(
    ("text", "written"), [("4.70", True), ("47", True), ("4.", False), (".5", False), ("٤", False), ("", False)]
)
def test_written_numbers_are_plain_digits(text: str, written: bool) -> None:  # noqa: FBT001
    assert is_written(text) is written
