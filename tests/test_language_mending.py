"""Slips of the finger: mended in words, never in numbers, never when in doubt."""

import subprocess
import sys

import pytest
from language_cases import KILOHM, MEGOHM, lexicon, quantity

from assistant.language.meaning import (
    Expectation,
    NotUnderstood,
    SaidAnswers,
    SaidCommand,
    SaidReading,
    SaidUnit,
    Understood,
    Why,
)
from assistant.language.mending import mend
from assistant.language.understand import understand


def typed(text: str, step: str = "any") -> Understood:
    return understand(text, Expectation(step), lexicon(), typed=True)


@pytest.mark.parametrize(
    ("text", "step", "meaning", "mended"),
    [
        ("stpo", "any", SaidCommand("stop"), (("stpo", "stop"),)),
        ("Stpo", "any", SaidCommand("stop"), (("Stpo", "stop"),)),
        ("stopp", "any", SaidCommand("stop"), (("stopp", "stop"),)),
        ("hlep", "any", SaidCommand("help"), (("hlep", "help"),)),
        ("repaet", "any", SaidCommand("repeat"), (("repaet", "repeat"),)),
        ("kilo homs", "unit", SaidUnit(KILOHM), (("homs", "ohms"),)),
        ("megohmms", "unit", SaidUnit(MEGOHM), (("megohmms", "megohms"),)),
        ("dies wehn hot", "symptoms", SaidAnswers(("dies_hot",)), (("wehn", "when"),)),
        ("unknwon", "stroke", SaidAnswers(("unknown",)), (("unknwon", "unknown"),)),
        (
            "hard to resttart when hott",
            "symptoms",
            SaidAnswers(("hard_restart_hot",)),
            (("resttart", "restart"), ("hott", "hot")),
        ),
    ],
)
def test_a_slip_in_a_word_is_mended_and_shown(
    text: str, step: str, meaning: object, mended: tuple[tuple[str, str], ...]
) -> None:
    assert typed(text, step) == Understood(meaning, sure=True, words=text, mended=mended)  # type: ignore[arg-type]


def test_a_slip_beside_a_number_is_mended_and_the_digits_stay() -> None:
    understood = typed("the secndary is 4.70 kilo homs")
    assert isinstance(understood.meaning, SaidReading)
    assert understood.meaning.reading.quantity == quantity("4.70", KILOHM)
    assert understood.mended == (("secndary", "secondary"), ("homs", "ohms"))


@pytest.mark.parametrize(
    "text",
    [
        "fuor point seven k",
        "four pont seven k",
        "sevn k",
        "fiveteen ohms",
        "four thousnd ohms",
        "hundrd ohms",
        "4.7.k8",
        "4.x ohms",
        "twnety k",
        "haf a meg",
    ],
)
def test_a_number_is_never_mended(text: str) -> None:
    understood = typed(text)
    assert isinstance(understood.meaning, NotUnderstood)
    assert understood.meaning.why in (Why.UNKNOWN_WORD, Why.TWO_NUMBERS, Why.UNCLEAR)
    assert not understood.mended


@pytest.mark.parametrize(
    "text",
    [
        "shop",
        "slop",
        "stomp on",
        "halp",
        "skop",
        "xyzzy",
        "hte",
        "sto",
        "whatever",
        "résumés",
        "stpo the lathe",
        "unready",
        "unreadable",
    ],
)
def test_a_word_that_may_be_another_is_not_mended(text: str) -> None:
    assert isinstance(typed(text).meaning, NotUnderstood)
    assert not typed(text).mended


def test_heard_words_are_not_mended() -> None:
    assert isinstance(understand("stpo", Expectation("any"), lexicon(), typed=False).meaning, NotUnderstood)


def test_what_is_known_stays_as_typed() -> None:
    assert mend("Stop 4.7 kΩ please", lexicon()) == ("Stop 4.7 kΩ please", ())


@pytest.mark.slow
def test_the_library_for_mending_is_loaded_only_when_a_word_is_unknown() -> None:
    program = """
import sys
from assistant import data
from assistant.language.lexicon import load_lexicon
from assistant.language.meaning import Expectation
from assistant.language.understand import understand
from assistant.report.meaning_json import as_json
lexicon = load_lexicon(data.texts("grammar"))
as_json(understand("four point seven k", Expectation("any"), lexicon, typed=True))
assert "rapidfuzz" not in sys.modules and "numpy" not in sys.modules
understand("stpo", Expectation("any"), lexicon, typed=True)
assert "rapidfuzz" in sys.modules
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert done.stderr == ""
