"""Meanings as JSON values: the shapes that `read` and `hear` print."""

import json
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from language_cases import lexicon

from assistant.language.meaning import Ask, Expectation, NotUnderstood, SaidReading, Why
from assistant.language.understand import understand
from assistant.measure.units import Numeral, Reading, Shown
from assistant.report.meaning_json import as_json, plain


def read(text: str, step: str = "any") -> dict[str, Any]:
    return as_json(understand(text, Expectation(step), lexicon(), typed=True))


@pytest.mark.parametrize(
    ("text", "step", "expected"),
    [
        ("four point seven k", "any", {"kind": "reading", "ohms": "4700", "digits": "4.7", "unit": "kΩ"}),
        ("4.70k", "any", {"kind": "reading", "ohms": "4700", "digits": "4.70", "unit": "kΩ"}),
        (".85 ohms", "any", {"kind": "reading", "ohms": "0.85", "digits": "0.85", "unit": "Ω"}),
        ("half a meg", "any", {"kind": "reading", "ohms": "500000", "digits": "0.5", "unit": "MΩ"}),
        ("0.00 ohms", "any", {"kind": "reading", "ohms": "0", "digits": "0.00", "unit": "Ω"}),
        ("6L8", "any", {"kind": "reading", "ohms": "0.0068", "digits": "6.8", "unit": "mΩ"}),
        ("no 1.4 ohms", "any", {"kind": "reading", "ohms": "1.4", "digits": "1.4", "unit": "Ω", "correction": True}),
        ("4,700", "any", {"kind": "reading", "ohms": "4700", "digits": "4700", "unit": "Ω", "check": True}),
        ("OL", "any", {"kind": "over range"}),
        ("jumping", "any", {"kind": "unsteady"}),
        (
            "between one and three megs",
            "any",
            {
                "kind": "unsteady",
                "low": {"ohms": "1000000", "digits": "1", "unit": "MΩ"},
                "high": {"ohms": "3000000", "digits": "3", "unit": "MΩ"},
            },
        ),
        ("stop", "any", {"kind": "command", "name": "stop"}),
        ("stpo", "any", {"kind": "command", "name": "stop", "mended": {"stpo": "stop"}}),
        ("yes", "any", {"kind": "answer", "name": "yes"}),
        ("dies hot, no spark", "symptoms", {"kind": "answer", "name": "dies_hot", "names": ["dies_hot", "no_spark"]}),
        ("minus five", "temperature", {"kind": "number", "digits": "-5"}),
        ("70 F", "temperature", {"kind": "number", "digits": "70", "unit": "°F"}),
        ("kilo-ohms", "unit", {"kind": "unit", "unit": "kΩ"}),
        ("Mower 3", "label", {"kind": "text", "text": "Mower 3"}),
    ],
)
def test_a_meaning_has_its_shape(text: str, step: str, expected: dict[str, Any]) -> None:
    assert read(text, step) == expected
    assert next(iter(read(text, step))) == "kind"


def test_a_question_says_what_is_wanted() -> None:
    found = read("four point seven")
    assert (found["kind"], found["why"], found["digits"]) == ("ask", "no unit", "4.7")
    assert "kilo-ohms" in found["say"]
    assert read("no 4.7")["correction"] is True
    assert read("one")["why"] == "one alone"


@pytest.mark.parametrize(
    ("text", "why", "at", "word", "hint"),
    [
        ("four point blah k", "unknown word", 2, "blah", "expected a reading"),
        ("4,7k", "unclear", 0, "4,7k", "decimal point"),
        ("4 5.2", "two numbers", 1, "5.2", "one reading"),
        ("300 megohms", "beyond any meter", 0, "300", "200 MΩ"),
        ("", "nothing", 0, "", "expected"),
    ],
)
def test_a_refusal_names_the_word_and_what_was_expected(text: str, why: str, at: int, word: str, hint: str) -> None:
    found = read(text)
    assert (found["kind"], found["why"], found["at"], found["text"]) == ("not understood", why, at, word)
    assert hint in found["say"]
    assert word in found["say"]


@pytest.mark.parametrize("why", Why)
def test_every_kind_of_refusal_has_its_line(why: Why) -> None:
    assert as_json(NotUnderstood(why, 0, "x"))["say"].startswith("“x”: ")
    assert as_json(Ask(why, Numeral("4")))["say"].startswith("“4”: ")


def test_a_long_line_is_shown_short() -> None:
    found = read("x" * 1_000_000)
    assert found["why"] == "too long"
    assert len(json.dumps(found)) < 500


def test_a_bare_meaning_is_enough() -> None:
    assert as_json(SaidReading(Reading(Shown.OVER_RANGE))) == {"kind": "over range"}


@pytest.mark.no_cover
@given(st.decimals(0, 10**9, allow_nan=False, allow_infinity=False, places=4))
def test_plain_numbers_have_no_exponent_and_no_trailing_zeros(value: Decimal) -> None:
    text = plain(value)
    assert Decimal(text) == value
    assert "e" not in text.lower()
    assert "." not in text or not text.endswith(("0", "."))
