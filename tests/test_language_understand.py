"""What words mean, heard and typed, and every way in which they are refused."""

import re

import pytest
from check_rows import CheckRow, rows
from depth import any_text
from hypothesis import given
from hypothesis import strategies as st
from language_cases import CASES, KILOHM, MEGOHM, OHM, Case, heard, lexicon, quantity, typed

from assistant import data
from assistant.language.lexicon import load_lexicon
from assistant.language.meaning import (
    Ask,
    Expectation,
    Meaning,
    NotUnderstood,
    SaidAnswers,
    SaidCommand,
    SaidNumber,
    SaidReading,
    SaidText,
    SaidUnit,
    Why,
)
from assistant.language.understand import MOST_CHARACTERS, understand, unfinished
from assistant.measure.units import Numeral, Quantity, Reading, Shown, Unit

OVER_RANGE = SaidReading(Reading(Shown.OVER_RANGE))
UNSTEADY = SaidReading(Reading(Shown.UNSTEADY))


def value(meaning: Meaning) -> Quantity | None:
    return meaning.reading.quantity if isinstance(meaning, SaidReading) else None


def why(meaning: Meaning) -> Why | None:
    return meaning.why if isinstance(meaning, NotUnderstood) else None


# ---- readings


@pytest.mark.parametrize(("said", "case"), [(said, case) for case in CASES for said in case.said])
def test_a_reading_is_heard_and_typed_alike(said: str, case: Case) -> None:
    for step in ("any", "secondary", "limit", "unit", "confirm"):
        assert value(heard(said, step)) == value(typed(said, step)) == case.quantity


@pytest.mark.parametrize(("written", "case"), [(written, case) for case in CASES for written in case.written])
def test_a_reading_is_typed(written: str, case: Case) -> None:
    assert value(typed(written)) == value(heard(written)) == case.quantity


@pytest.mark.parametrize(
    ("said", "digits"),
    [
        ("four seven zero zero", "4700"),
        ("point eight", "0.8"),
        ("one three thousand five hundred", "13500"),
        (".85", "0.85"),
        ("4700", "4700"),
        ("nine hundred", "900"),
        ("nineteen hundred", "1900"),
        ("4.7 m", "4.7"),
        ("2.2 mohm", "2.2"),
        ("4 7", "47"),
        ("one one", "11"),
    ],
)
def test_a_number_without_its_unit_is_asked_for(said: str, digits: str) -> None:
    assert heard(said) == typed(said) == Ask(Why.NO_UNIT, Numeral(digits))


@pytest.mark.parametrize("range_ohm", [None, 200, 2_000, 20_000, 20_000_000])
def test_a_lone_one_may_be_over_range(range_ohm: int | None) -> None:
    for said in ("one", "it says one", "1", "one please"):
        assert heard(said, "primary", range_ohm) == Ask(Why.ONE_ALONE, Numeral("1"))
    assert heard("1.", "primary", range_ohm) == Ask(Why.ONE_ALONE, Numeral("1"))  # a full stop of the recogniser


@pytest.mark.parametrize(
    "said",
    [
        "four seven hundred",
        "a k",
        "about four point seven k",
        "approx 4.7k",
        "I think it's 4.7k",
        "looks like four point seven k",
        "four um point seven k",
        "4,700",
        "4K7K",
        "four point fifteen k",
    ],
)
def test_what_is_easily_misheard_is_to_be_checked(said: str) -> None:
    for meaning in (heard(said), typed(said)):
        assert isinstance(meaning, SaidReading)
        assert meaning.check


@pytest.mark.parametrize(
    "said",
    [
        "four point seven k",
        "um four point seven k",
        "4k7",
        "forty seven hundred",
        "between one and three megs",
        "open loop",
    ],
)
def test_what_is_plain_needs_no_check(said: str) -> None:
    meaning = heard(said)
    assert isinstance(meaning, SaidReading)
    assert not meaning.check


@pytest.mark.parametrize(
    ("said", "range_ohm", "check"),
    [
        ("one four", 20_000, True),
        ("fifteen", 20_000, True),
        ("15", 20_000, True),
        ("one four k", 20_000, True),
        ("one four k", None, True),
        ("four seven k", 20_000, True),
        ("one five ohms", 200, True),
        ("one five zero ohms", 200, True),
        ("one hundred and five", 200, True),
        ("fifteen k", 20_000, False),
        ("forty seven k", None, False),
        ("15k", 20_000, False),
        ("fifteen ohms", 200, False),
        ("four seven zero zero ohms", 20_000, False),
        ("four seven zero zero ohms", None, False),
        ("four thousand seven hundred", 20_000, False),
        ("eight five zero ohms", 2_000, False),
        ("one four point two", 20_000, False),
        ("four", 20_000, False),
        ("one point four", 20_000, False),
    ],
)
def test_digits_that_may_have_lost_their_point_are_to_be_checked(said: str, range_ohm: int | None, check: bool) -> None:  # noqa: FBT001
    for meaning in (heard(said, "secondary", range_ohm), typed(said, "secondary", range_ohm)):
        assert isinstance(meaning, SaidReading)
        assert meaning.check is check


def test_the_steps_of_the_range_tell_whether_its_display_has_a_point() -> None:
    for step_ohm, check in (("0.1", True), ("1", False)):
        expectation = Expectation("primary", 2_000, resolution_ohm=Numeral(step_ohm).value)
        meaning = understand("eight five zero ohms", expectation, lexicon(), typed=False).meaning
        assert isinstance(meaning, SaidReading)
        assert meaning.check is check


def test_bounds_that_may_have_lost_their_point_are_to_be_checked() -> None:
    meaning = heard("between one four and one nine k", "secondary", 20_000)
    assert isinstance(meaning, SaidReading)
    assert meaning.check
    assert meaning.reading.low == quantity("14", KILOHM)


# ---- a bare number and the range


@pytest.mark.parametrize(
    ("said", "range_ohm", "expected"),
    [
        ("4.70", 20_000, quantity("4.70", KILOHM)),
        ("four point seven zero", 20_000, quantity("4.70", KILOHM)),
        ("0.25", 20_000, quantity("0.25", KILOHM)),
        ("19.99", 20_000, quantity("19.99", KILOHM)),
        ("15.2", 200_000, quantity("15.2", KILOHM)),
        ("1.4", 200, quantity("1.4", OHM)),
        ("one hundred and five point two", 200, quantity("105.2", OHM)),
        (".805", 2_000, quantity("0.805", KILOHM)),
        (".007", 2_000_000, quantity("0.007", MEGOHM)),
        ("2.50", 20_000_000, quantity("2.50", MEGOHM)),
        ("39.9", 400, quantity("39.9", OHM)),
        ("5.999", 6_000, quantity("5.999", KILOHM)),
        ("four thousand seven hundred", 20_000, quantity("4700", OHM)),
        ("nine hundred", 20_000, quantity("900", OHM)),
        ("five hundred", 2_000, quantity("500", OHM)),
        ("one hundred and five", 200_000, quantity("105", KILOHM)),
        ("4,700", 20_000, quantity("4700", OHM)),
    ],
)
def test_a_bare_number_takes_its_prefix_from_the_range(said: str, range_ohm: int, expected: Quantity) -> None:
    for meaning in (heard(said, "secondary", range_ohm), typed(said, "secondary", range_ohm)):
        assert isinstance(meaning, SaidReading)
        assert meaning.reading == Reading(Shown.VALUE, expected, range_ohm=range_ohm)


@pytest.mark.parametrize(
    ("said", "range_ohm"),
    [
        ("0.80", 200),  # one place more than 199.9: the dial stands elsewhere
        ("4.705", 20_000),
        ("47.0", 20_000),
        ("805", 2_000),
        ("201", 200),
        ("four seven zero zero", 20_000),
        ("four thousand seven hundred", 200),
        ("four thousand seven hundred and five", 20_000),  # this range counts in tens
        ("one thousand five hundred", 2_000_000),
        ("one three thousand five hundred", 20_000),
        ("4,700.5", 20_000),
    ],
)
def test_a_bare_number_that_the_display_could_not_show_is_asked_for(said: str, range_ohm: int) -> None:
    assert isinstance(heard(said, "secondary", range_ohm), Ask)
    assert isinstance(typed(said, "secondary", range_ohm), Ask)


def test_a_finer_display_is_known_by_its_resolution() -> None:
    fine = Expectation("primary", 200, resolution_ohm=Numeral("0.01").value)
    coarse = Expectation("primary", 200, resolution_ohm=Numeral("0.1").value)
    assert value(understand("1.40", fine, lexicon(), typed=True).meaning) == quantity("1.40", OHM)
    assert understand("1.40", coarse, lexicon(), typed=True).meaning == Ask(Why.NO_UNIT, Numeral("1.40"))


def test_a_value_above_the_range_shows_that_the_dial_stands_elsewhere() -> None:
    meaning = typed("4.7k", "primary", 200)
    assert isinstance(meaning, SaidReading)
    assert meaning.reading.range_ohm is None


# ---- over range and unsteady


@pytest.mark.parametrize(
    "said",
    [
        "over range",
        "open loop",
        "over limit",
        "O L",
        "oh ell",
        "zero L",
        "0L",
        "OL",
        "O.L",
        "O.L.",
        "o. l.",
        "OL MΩ",
        "OL k",
        "it's open",
        "no reading",
        "it just shows a one",
        "just a one",
        "it's over range",
        "the meter shows no reading",
        "out of range",
        "it says OL",
        "infinite ohms",
        "∞",
        "∞ Ω",
        "display says OL",
        "still open",
    ],
)
def test_over_range(said: str) -> None:
    assert heard(said) == typed(said) == heard(said, "primary") == OVER_RANGE


def test_one_and_a_point_as_typed_is_over_range() -> None:
    assert typed("1.") == typed("it shows 1.") == typed("1.", "primary") == OVER_RANGE
    assert value(typed("1.0 ohms")) == quantity("1.0", OHM)


@pytest.mark.parametrize(
    "said",
    [
        "it's jumping around",
        "won't settle",
        "wont settle",
        "unsteady",
        "it keeps changing",
        "the reading is unstable",
        "all over the place",
        "climbing",
        "it keeps climbing",
        "it's still jumping",
        "it's going up",
    ],
)
def test_unsteady(said: str) -> None:
    assert heard(said) == typed(said) == UNSTEADY


@pytest.mark.parametrize(
    ("said", "low", "high"),
    [
        ("between one and three megs", quantity("1", MEGOHM), quantity("3", MEGOHM)),
        ("it's jumping between one and three megs", quantity("1", MEGOHM), quantity("3", MEGOHM)),
        ("it's jumping around between two and five k", quantity("2", KILOHM), quantity("5", KILOHM)),
        ("from one to three megs", quantity("1", MEGOHM), quantity("3", MEGOHM)),
        ("between 800 ohms and 1.2 k", quantity("800", OHM), quantity("1.2", KILOHM)),
        ("between 3 k and 800 ohms", quantity("800", OHM), quantity("3", KILOHM)),
        ("between one hundred and five hundred ohms", quantity("100", OHM), quantity("500", OHM)),
        ("between one and a half and three megs", quantity("1.5", MEGOHM), quantity("3", MEGOHM)),
        ("between three hundred and five and four hundred ohms", quantity("305", OHM), quantity("400", OHM)),
    ],
)
def test_unsteady_between_bounds(said: str, low: Quantity, high: Quantity) -> None:
    assert heard(said) == typed(said) == SaidReading(Reading(Shown.UNSTEADY, low=low, high=high))


@pytest.mark.parametrize(
    "said",
    [
        "between 1 and 3",
        "between eight hundred and one k",
        "between three and one megs",
        "between 1 m and 3 m",
        "between one and three m",
    ],
)
def test_bounds_without_a_certain_prefix_are_left_out(said: str) -> None:
    assert typed(said) == SaidReading(Reading(Shown.UNSTEADY), check=True)


def test_bounds_take_their_prefix_from_the_range() -> None:
    bounds = Reading(Shown.UNSTEADY, low=quantity("1.2", KILOHM), high=quantity("3.4", KILOHM), range_ohm=20_000)
    assert heard("between one point two and three point four", "secondary", 20_000) == SaidReading(bounds)


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ("between", Why.UNFINISHED),
        ("between one", Why.UNFINISHED),
        ("between one and", Why.UNFINISHED),
        ("between one point and three megs", Why.UNFINISHED),
        ("between one and blah megs", Why.UNKNOWN_WORD),
        ("between blah and three megs", Why.UNKNOWN_WORD),
        ("between blah", Why.UNKNOWN_WORD),
        ("between one and 300 megs", Why.BEYOND_METER),
        ("between minus one and three megs", Why.NEGATIVE),
        ("between one hundred and five and six hundred and seven and eight ohms", Why.TWO_NUMBERS),
        ("between stop and three megs", Why.UNCLEAR),
        ("between and one", Why.UNCLEAR),
    ],
)
def test_bounds_that_are_refused(said: str, expected: Why) -> None:
    assert why(typed(said)) is expected


def test_bounds_that_can_be_parted_in_two_ways_are_unclear() -> None:
    assert why(typed("between one hundred and five hundred and six ohms")) is None
    assert why(typed("between one thousand and one hundred and five ohms")) is Why.UNCLEAR


# ---- corrections


@pytest.mark.parametrize(
    "said",
    [
        "no, one point four ohms",
        "no sorry one point four ohms",
        "that was wrong, it's one point four ohms",
        "that's wrong it is 1.4 ohms",
        "sorry, one point four ohms",
        "correction one point four ohms",
        "no no one point four ohms",
        "wait, no, 1.4 ohms",
        "I meant one point four ohms",
        "make that 1.4Ω",
    ],
)
def test_a_correction_in_one_breath(said: str) -> None:
    for step in ("any", "primary", "confirm"):
        assert (
            heard(said, step)
            == typed(said, step)
            == SaidReading(Reading(Shown.VALUE, quantity("1.4", OHM)), correction=True)
        )


def test_a_correction_may_be_any_reading() -> None:
    assert heard("no it's open loop", "primary") == SaidReading(Reading(Shown.OVER_RANGE), correction=True)
    assert heard("no it's jumping around", "primary") == SaidReading(Reading(Shown.UNSTEADY), correction=True)
    assert heard("no one point four", "primary") == Ask(Why.NO_UNIT, Numeral("1.4"), correction=True)
    in_range = SaidReading(Reading(Shown.VALUE, quantity("1.4", OHM), range_ohm=200), correction=True)
    assert heard("no one point four", "primary", 200) == in_range


@pytest.mark.parametrize(
    "step", ["yes_no", "ready", "stroke", "electronics", "symptoms", "temperature", "limit", "clean", "cap", "meter"]
)
def test_a_correction_is_live_at_any_time(step: str) -> None:
    value_now = SaidReading(Reading(Shown.VALUE, quantity("4.3", KILOHM)), correction=True)
    assert heard("no, four point three k", step) == typed("no, 4.3k", step) == value_now
    assert heard("that was wrong it's over range", step) == SaidReading(Reading(Shown.OVER_RANGE), correction=True)
    assert why(heard("four point three k", step)) is (None if step == "limit" else Why.WRONG_KIND)


def test_a_correction_without_its_unit_is_asked_for_at_any_time() -> None:
    assert typed("no, 4.30", "yes_no") == Ask(Why.NO_UNIT, Numeral("4.30"), correction=True)


@pytest.mark.parametrize(
    "said", ["no, 25", "no twenty five", "sorry, 25", "make it about 25", "wait, no, 25", "no 25 degrees"]
)
def test_a_correction_of_a_plain_number_is_never_the_answer_to_the_next_question(said: str) -> None:
    assert heard(said, "temperature") == typed(said, "temperature") == NotUnderstood(Why.UNCLEAR, 0, said)


def test_a_correction_of_a_plain_number_is_no_label() -> None:
    assert why(heard("no 25", "label")) is why(typed("no, 25", "label")) is why(typed("sorry, it's 25", "label"))
    assert why(typed("no, 25", "label")) is Why.UNCLEAR
    for text in ("No. 25", "no plate 25", "no", "sorry", "wrong mower", "25"):
        assert typed(text, "label") == SaidText(text) or text == "sorry"


def test_yes_and_the_reading_where_yes_is_an_answer() -> None:
    assert heard("yes four point seven k", "confirm") == SaidReading(Reading(Shown.VALUE, quantity("4.7", KILOHM)))
    assert why(heard("yes four point seven k", "primary")) is Why.UNCLEAR


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ("no it's", Why.UNFINISHED),
        ("sorry", Why.UNFINISHED),
        ("no four point", Why.UNFINISHED),
        ("no four point blah", Why.UNKNOWN_WORD),
        ("no yes", Why.UNCLEAR),
        ("no kilo ohms", Why.UNCLEAR),
        ("no four k five k", Why.TWO_NUMBERS),
    ],
)
def test_corrections_that_are_refused(said: str, expected: Why) -> None:
    assert why(heard(said)) is expected


def test_no_and_a_command_is_the_command() -> None:
    assert heard("no stop", "primary") == heard("no no stop", "confirm") == SaidCommand("stop")


@pytest.mark.parametrize("step", ["leads", "primary", "secondary", "killtab"])
def test_no_alone_takes_back_where_only_a_reading_is_expected(step: str) -> None:
    assert heard("no", step) == typed("nope", step) == SaidCommand("undo")


@pytest.mark.parametrize("step", ["any", "yes_no", "electronics", "confirm"])
def test_no_alone_is_an_answer_where_it_is_one(step: str) -> None:
    assert heard("no", step) == typed("No.", step) == SaidAnswers(("no",))


# ---- refusals


@pytest.mark.parametrize(
    ("said", "expected", "at"),
    [
        ("", Why.NOTHING, 0),
        ("   ", Why.NOTHING, 0),
        ("\x00\x07\x1b", Why.NOTHING, 0),
        ("um", Why.UNCLEAR, 0),
        ("well then", Why.UNCLEAR, 0),
        ("...", Why.UNCLEAR, 0),
        ("----", Why.UNCLEAR, 0),
        ("?", Why.UNCLEAR, 0),
        ("it", Why.UNCLEAR, 0),
        ("1.4 and a bit", Why.UNCLEAR, 1),
        ("four ohms hundred", Why.UNCLEAR, 2),
        ("1.4 or so", Why.UNCLEAR, 1),
        ("same as before", Why.UNKNOWN_WORD, 0),
        ("no change", Why.UNCLEAR, 1),
        ("it says", Why.UNFINISHED, 1),
        ("four point", Why.UNFINISHED, 1),
        ("four point ohms", Why.UNFINISHED, 1),
        ("point", Why.UNFINISHED, 0),
        ("minus", Why.UNFINISHED, 0),
        ("about", Why.UNFINISHED, 0),
        ("four double", Why.UNFINISHED, 1),
        ("one hundred and", Why.UNFINISHED, 2),
        ("it says four point", Why.UNFINISHED, 3),
        ("47. k", Why.UNFINISHED, 0),
        ("four point seven k five k", Why.TWO_NUMBERS, 4),
        ("one thirteen", Why.TWO_NUMBERS, 1),
        ("4.7 5.2", Why.TWO_NUMBERS, 1),
        ("4 700", Why.TWO_NUMBERS, 1),
        ("4.7.2", Why.TWO_NUMBERS, 0),
        ("4-7", Why.TWO_NUMBERS, 0),
        ("2m2", Why.TWO_NUMBERS, 0),
        ("four k seven ohms", Why.TWO_NUMBERS, 2),
        ("four point seven k two", Why.TWO_NUMBERS, 4),
        ("four ohms seven", Why.TWO_NUMBERS, 2),
        ("four point seven blah k", Why.UNKNOWN_WORD, 3),
        ("four blah point seven", Why.UNKNOWN_WORD, 1),
        ("happy marvin", Why.UNKNOWN_WORD, 0),
        ("I will stop by the shop and get milk", Why.UNKNOWN_WORD, 5),
        ("nan", Why.UNKNOWN_WORD, 0),
        ("inf", Why.UNKNOWN_WORD, 0),
        ("0x10", Why.UNKNOWN_WORD, 0),
        ("4..7", Why.UNKNOWN_WORD, 0),
        ("+4.7k", Why.UNKNOWN_WORD, 0),
        ("4.7 µΩ", Why.UNKNOWN_WORD, 1),
        ("½", Why.UNKNOWN_WORD, 0),
        ("4.7²", Why.UNKNOWN_WORD, 0),
        ("٤٫٧ k", Why.UNKNOWN_WORD, 0),
        ("4.7 volts", Why.WRONG_UNIT, 1),
        ("4.7V", Why.WRONG_UNIT, 0),
        ("4.70 kHz", Why.WRONG_UNIT, 1),
        ("it says 100 µF", Why.WRONG_UNIT, 3),
        ("volts", Why.UNKNOWN_WORD, 0),
        ("4.7 furlongs", Why.UNKNOWN_WORD, 1),
        ("$4.7k", Why.UNKNOWN_WORD, 0),
        ("1/2 meg", Why.UNKNOWN_WORD, 0),
        ("oh", Why.UNCLEAR, 0),
        ("four point seven stop", Why.UNCLEAR, 3),
        ("stop four point seven k", Why.UNCLEAR, 0),
        ("stop or go on", Why.UNCLEAR, 0),
        ("it is not open", Why.UNCLEAR, 2),
        ("4,7k", Why.UNCLEAR, 0),
        ("12,34", Why.UNCLEAR, 0),
        ("4,700k", Why.UNCLEAR, 0),
        ("4,700 m", Why.UNCLEAR, 0),
        ("1e3", Why.UNCLEAR, 0),
        ("4.7e-1 k", Why.UNCLEAR, 0),
        ("m", Why.UNCLEAR, 0),
        ("1e300", Why.BEYOND_METER, 0),
        ("300 megohms", Why.BEYOND_METER, 0),
        ("300000000", Why.BEYOND_METER, 0),
        ("999999999999999999", Why.BEYOND_METER, 0),
        ("0.0000000001 ohms", Why.BEYOND_METER, 0),
        ("-4.7k", Why.NEGATIVE, 0),
        ("−4.7k", Why.NEGATIVE, 0),
        ("minus four ohms", Why.NEGATIVE, 0),
        ("it says minus four", Why.NEGATIVE, 2),
        ("-1e300", Why.BEYOND_METER, 0),
        ("it beeps", Why.BEEP, 0),
        ("beep beep", Why.BEEP, 0),
        ("no beep", Why.BEEP, 0),
    ],
)
def test_a_refusal_names_its_kind_and_the_word(said: str, expected: Why, at: int) -> None:
    meaning = typed(said)
    assert isinstance(meaning, NotUnderstood)
    assert (meaning.why, meaning.at) == (expected, at)


@pytest.mark.parametrize("row", rows("beeper"))
def test_a_beeper_says_nothing_about_a_winding(row: CheckRow) -> None:
    """Good and shorted primaries beep alike, good and open secondaries are silent alike: neither is taken for a reading."""
    beeps = row.number("applied_ohm") < row.number("beeper_threshold_ohm")
    assert row["expected_meaning"] == ("beeps_not_decisive" if beeps else "silent_not_decisive")
    for said in ("it beeps", "beep") if beeps else ("no beep", "it does not beep"):
        assert why(typed(said)) is Why.BEEP


def test_other_speech_anywhere_is_an_unknown_word() -> None:
    assert heard("[unk] four point seven k") == NotUnderstood(Why.UNKNOWN_WORD, 0, "[unk]")
    assert heard("stop [unk]") == NotUnderstood(Why.UNKNOWN_WORD, 1, "[unk]")
    assert why(heard("four <unk> k")) is Why.UNKNOWN_WORD


def test_a_long_line_is_refused_whatever_it_holds() -> None:
    for text in ("4" * 1_000_000, "stop " * 200_000, "x " * 500_000, "\x00" * 1_000_000):
        assert why(typed(text)) is Why.TOO_LONG
    assert typed(" " * 1_000_000 + "stop" + " " * 1_000_000) == SaidCommand("stop")
    assert why(typed("4" * MOST_CHARACTERS)) is Why.BEYOND_METER


@pytest.mark.parametrize(
    "words",
    [
        "please " * 35,
        "it " * 80,
        "no " * 80,
        "stop " * 49,
        "and " * 60,
        "one and " * 30,
        "between one and " * 15,
        "double " * 35,
    ],
)
def test_a_tiresome_line_is_no_harder(words: str) -> None:
    assert isinstance(
        understand(words.strip(), Expectation("any"), lexicon(), typed=True).meaning, NotUnderstood | SaidAnswers
    )


# ---- commands


@pytest.mark.parametrize(
    "said",
    [
        "stop",
        "Stop!",
        "please stop",
        "stop please",
        "stop stop",
        "stop, stop, stop",
        "okay stop now",
        "um stop",
        "could you stop please",
        "no stop",
    ],
)
def test_stop_always_stops(said: str) -> None:
    for step in lexicon().expectations:
        assert heard(said, step) == SaidCommand("stop")
        if step != "label" or said != "no stop":
            assert typed(said, step) == SaidCommand("stop")


@pytest.mark.parametrize(
    "said",
    [
        "it stops at four",
        "do not stop",
        "stop sign",
        "the meter shows stop",
        "don't stop",
        "stop stop four",
        "full stop",
        "repeat stop",
    ],
)
def test_chatter_is_no_command(said: str) -> None:
    for step in lexicon().expectations:
        assert isinstance(heard(said, step), NotUnderstood)


@pytest.mark.parametrize("said", ["it says yes", "the meter shows no", "yes and no", "yes no", "none and no spark"])
def test_yes_and_no_stand_alone(said: str) -> None:
    for step in ("any", "yes_no", "symptoms", "electronics", "confirm"):
        assert isinstance(heard(said, step), NotUnderstood)


# ---- answers and what is live


@pytest.mark.parametrize(
    ("said", "step", "names"),
    [
        ("done", "ready", ("ready",)),
        ("yes", "ready", ("ready",)),
        ("no", "ready", ("not_yet",)),
        ("not yet", "ready", ("not_yet",)),
        ("done", "symptoms", ("done",)),
        ("ready", "symptoms", ("done",)),
        ("no", "symptoms", ("none",)),
        ("none", "symptoms", ("none",)),
        ("dies when hot and no spark", "symptoms", ("dies_hot", "no_spark")),
        ("it dies when hot, and there's no spark", "symptoms", ("dies_hot", "no_spark")),
        ("no spark no spark at all", "symptoms", ("no_spark",)),
        ("dies when hot, that's all", "symptoms", ("dies_hot", "done")),
        ("it misses at high speed then it won't restart", "symptoms", ("misses_high_speed", "hard_restart_hot")),
        ("two", "stroke", ("two_stroke",)),
        ("4", "stroke", ("four_stroke",)),
        ("it's a two-stroke", "stroke", ("two_stroke",)),
        ("4-stroke", "stroke", ("four_stroke",)),
        ("I don't know", "stroke", ("unknown",)),
        ("dont know", "electronics", ("unknown",)),
        ("the pocket one", "meter", ("pocket",)),
        ("all off", "clean", ("cap_off",)),
        ("cap still on", "clean", ("cap_on",)),
        ("done", "clean", ("ready",)),
        ("with the cap on", "cap", ("cap_on",)),
        ("none", "limit", ("none",)),
        ("no", "limit", ("none",)),
        ("not known", "temperature", ("unknown",)),
        ("that's right", "yes_no", ("yes",)),
        ("yes yes", "confirm", ("yes",)),
        ("done", "any", ("done",)),
        ("ok", "ready", ("ready",)),
        ("okay", "ready", ("ready",)),
        ("alright then", "clean", ("ready",)),
        ("all right", "clean", ("ready",)),
        ("thats all", "symptoms", ("done",)),
        ("dies when its hot", "symptoms", ("dies_hot",)),
        ("dies when it's warm", "symptoms", ("dies_hot",)),
        ("im ready", "ready", ("ready",)),
        ("thats right", "yes_no", ("yes",)),
        ("no electronics", "electronics", ("no",)),
        ("it has electronics", "electronics", ("yes",)),
        ("could not take cap off", "clean", ("cap_on",)),
        ("couldnt take the cap off", "clean", ("cap_on",)),
        ("cap's still on", "clean", ("cap_on",)),
        ("caps still on", "clean", ("cap_on",)),
        ("the cap wont come off", "clean", ("cap_on",)),
        ("the cap's off", "cap", ("cap_off",)),
        ("its clean", "clean", ("ready",)),
        ("4 stroke engine", "stroke", ("four_stroke",)),
        ("2 stroke engine", "stroke", ("two_stroke",)),
        ("4T", "stroke", ("four_stroke",)),
        ("i dont have them", "yes_no", ("no",)),
        ("yes I have", "yes_no", ("yes",)),
    ],
)
def test_answers(said: str, step: str, names: tuple[str, ...]) -> None:
    assert heard(said, step) == typed(said, step) == SaidAnswers(names)


@pytest.mark.parametrize(
    ("said", "step", "expected"),
    [
        ("yes", "primary", Why.NOT_EXPECTED),
        ("two stroke", "yes_no", Why.NOT_EXPECTED),
        ("none", "temperature", Why.NOT_EXPECTED),
        ("dies when hot", "primary", Why.NOT_EXPECTED),
        ("it beeps", "yes_no", Why.NOT_EXPECTED),
        ("four point seven k", "yes_no", Why.WRONG_KIND),
        ("four", "yes_no", Why.WRONG_KIND),
        ("two", "electronics", Why.WRONG_KIND),
        ("four point seven k", "temperature", Why.WRONG_KIND),
        ("open loop", "yes_no", Why.WRONG_KIND),
        ("over range", "limit", Why.WRONG_KIND),
        ("between one and two k", "limit", Why.WRONG_KIND),
        ("between one and two k", "yes_no", Why.WRONG_KIND),
        ("jumping around", "temperature", Why.WRONG_KIND),
        ("kilo ohms", "yes_no", Why.WRONG_KIND),
        ("yes four k", "yes_no", Why.WRONG_KIND),
    ],
)
def test_a_known_phrase_where_it_is_no_answer(said: str, step: str, expected: Why) -> None:
    assert why(heard(said, step)) is why(typed(said, step)) is expected


@pytest.mark.parametrize("said", ["ok", "okay", "Alright", "all right", "right", "right, ok", "um, right"])
def test_right_and_okay_are_yes_when_typed_and_no_answer_when_heard(said: str) -> None:
    for step in ("yes_no", "electronics", "confirm", "any"):
        assert typed(said, step) == SaidAnswers(("yes",))
        assert isinstance(heard(said, step), NotUnderstood)
    assert typed(said, "ready") == typed(said, "clean") == SaidAnswers(("ready",))
    assert why(typed(said, "primary")) is why(typed(said, "symptoms")) is Why.NOT_EXPECTED


def test_right_heard_alone_is_nothing() -> None:
    for step in ("ready", "clean", "confirm", "primary"):
        assert why(heard("right", step)) is Why.NOTHING
    assert why(heard("all right", "confirm")) is Why.NOTHING


@pytest.mark.parametrize("said", ["what do I do", "what do I do now", "what now"])
def test_what_to_do_is_repeated(said: str) -> None:
    assert heard(said, "primary") == typed(said, "ready") == SaidCommand("repeat")


# ---- units, numbers, text


@pytest.mark.parametrize(
    ("said", "unit"),
    [
        ("ohms", OHM),
        ("kilo ohms", KILOHM),
        ("k", KILOHM),
        ("kilo", KILOHM),
        ("kΩ", KILOHM),
        ("M", MEGOHM),
        ("megs", MEGOHM),
        ("it's kilo-ohms", KILOHM),
    ],
)
def test_a_unit_alone(said: str, unit: Unit) -> None:
    for step in ("unit", "primary", "any"):
        assert typed(said, step) == heard(said, step) == SaidUnit(unit)


@pytest.mark.parametrize(
    ("said", "text"),
    [
        ("twenty", "20"),
        ("minus five", "-5"),
        ("minus five degrees celsius", "-5"),
        ("-5 °C", "-5"),
        ("20°C", "20"),
        ("20°", "20"),
        ("twenty point five", "20.5"),
        ("about twenty degrees", "20"),
        ("20 deg C", "20"),
        ("still 20", "20"),
        ("minus zero", "0"),
        ("it's twenty degrees", "20"),
        ("a hundred and five", "105"),
        ("negative five", "-5"),
    ],
)
def test_a_temperature(said: str, text: str) -> None:
    assert heard(said, "temperature") == typed(said, "temperature") == SaidNumber(text)


@pytest.mark.parametrize(
    ("said", "text"),
    [
        ("68 F", "68"),
        ("68°F", "68"),
        ("about seventy degrees fahrenheit", "70"),
        ("minus five degrees F", "-5"),
        ("twenty fahrenheit", "20"),
    ],
)
def test_a_temperature_in_fahrenheit(said: str, text: str) -> None:
    assert heard(said, "temperature") == typed(said, "temperature") == SaidNumber(text, fahrenheit=True)


@pytest.mark.parametrize("said", ["68 F", "twenty fahrenheit"])
def test_with_the_words_of_an_older_record_fahrenheit_is_refused(said: str) -> None:
    texts = data.texts("grammar")
    before, words = texts["units"].partition("[fahrenheit]")[::2]
    units = before.partition("refused = ")[0] + "refused = " + words.partition("words = ")[2]
    older = load_lexicon({**texts, "units": units})
    assert why(understand(said, Expectation("temperature"), older, typed=True).meaning) is Why.WRONG_KIND


@pytest.mark.parametrize(
    ("said", "step", "expected"),
    [
        ("68 F", "label", Why.UNCLEAR),
        ("68 F or so", "temperature", Why.UNCLEAR),
        ("293 kelvin", "temperature", Why.WRONG_KIND),
        ("twenty thirty", "temperature", Why.TWO_NUMBERS),
        ("twenty point", "temperature", Why.UNFINISHED),
        ("minus", "temperature", Why.UNFINISHED),
        ("about", "temperature", Why.UNFINISHED),
        ("1e3", "temperature", Why.UNCLEAR),
        ("lukewarm", "temperature", Why.UNKNOWN_WORD),
        ("1234567890", "temperature", Why.TOO_LONG),
        ("minus seven", "label", Why.NEGATIVE),
    ],
)
def test_numbers_that_are_refused(said: str, step: str, expected: Why) -> None:
    assert why(heard(said, step)) is expected


def test_a_label_is_a_spoken_number_or_any_typed_text() -> None:
    assert heard("one seven", "label") == heard("job number seventeen", "label") == SaidNumber("17")
    assert heard("oh seven", "label") == SaidNumber("07")
    assert why(heard("happy marvin", "label")) is Why.UNKNOWN_WORD
    for text in ("Cultivator 3", "0017", "yes", "over range", "[3] mower", "stpo", "it says", "4.7k"):
        assert typed(f" {text} ", "label") == SaidText(text)
    assert typed("stop", "label") == SaidCommand("stop")


# ---- homophones


@pytest.mark.parametrize(
    ("said", "expected", "check"),
    [
        ("four point seven noms", quantity("4.7", OHM), False),
        ("not point six ohms", quantity("0.6", OHM), True),
        ("of point six ohms", quantity("0.6", OHM), True),
        ("to point five k", quantity("2.5", KILOHM), True),
        ("for k seven", quantity("4.7", KILOHM), True),
        ("won point ate ohms", quantity("1.8", OHM), True),
        ("one of five ohms", quantity("105", OHM), True),
        ("tree point fife k", quantity("3.5", KILOHM), False),
        ("half of a meg", quantity("0.5", MEGOHM), False),
    ],
)
def test_words_that_sound_like_number_words(said: str, expected: Quantity, check: bool) -> None:  # noqa: FBT001
    assert heard(said) == SaidReading(Reading(Shown.VALUE, expected), check=check)


def test_a_typed_word_is_no_homophone() -> None:
    assert why(typed("to point five k")) is Why.UNCLEAR
    assert why(typed("won point ate ohms")) is Why.UNKNOWN_WORD


@pytest.mark.parametrize("said", ["not three ohms", "of three ohms", "for the record", "to"])
def test_a_leading_nought_is_only_believed_before_the_point(said: str) -> None:
    assert value(heard(said)) is None


# ---- the whole


@pytest.mark.parametrize(
    ("words", "waits"),
    [
        ("four point", True),
        ("between one and", True),
        ("it says", True),
        ("no it's", True),
        ("one hundred and", True),
        ("", False),
        ("um", False),
        ("four point seven k", False),
        ("four", False),
        ("blah", False),
        ("stop", False),
    ],
)
def test_the_listener_waits_for_the_rest_of_a_number(words: str, waits: bool) -> None:  # noqa: FBT001
    assert unfinished(words, Expectation("primary"), lexicon()) is waits


def test_digits_with_spaces_or_strokes_between_them() -> None:
    for text in ("4 7 0 0", "4-7-0-0", "4, 7, 0, 0."):
        assert heard(f"{text} ohms") == SaidReading(Reading(Shown.VALUE, quantity("4700", OHM)))
    assert typed("4 7 0 0 ohms") == SaidReading(Reading(Shown.VALUE, quantity("4700", OHM)), check=True)
    assert why(typed("4-7-0-0 ohms")) is Why.TWO_NUMBERS


def test_only_what_is_understood_is_sure() -> None:
    for text, sure in (("four point seven k", True), ("four", True), ("stop", True), ("blah", False), ("", False)):
        assert understand(text, Expectation("any"), lexicon(), typed=True).sure is sure


def test_words_are_kept_as_said_on_one_line() -> None:
    assert (
        understand(" Four\tpoint\n seven  K. ", Expectation("any"), lexicon(), typed=False).words
        == "Four point seven K."
    )


def test_an_expectation_that_no_file_has_is_a_mistake_of_the_program() -> None:
    with pytest.raises(KeyError):
        understand("four", Expectation("lunch"), lexicon(), typed=True)


_ODD_WORDS = "4.7 4k7 Ω kΩ blah [unk] 1. OL -5 4,700 °C 1e9 m R47 , ' ½"
_WORDS = st.sampled_from([*sorted(lexicon().known), *_ODD_WORDS.split()])
_TEXT = st.one_of(
    any_text(60), st.lists(_WORDS, max_size=9).map(" ".join), st.text("0123456789.,-kKmMRΩ e", max_size=12)
)


@pytest.mark.no_cover
@given(
    _TEXT,
    st.sampled_from(sorted(lexicon().expectations)),
    st.booleans(),
    st.sampled_from([None, 200, 2_000, 20_000, 2_000_000]),
)
def test_any_text_has_a_meaning_and_digits_out_are_digits_in(
    text: str,
    step: str,
    by_keyboard: bool,  # noqa: FBT001
    range_ohm: int | None,
) -> None:
    understood = understand(text, Expectation(step, range_ohm), lexicon(), typed=by_keyboard)
    meaning = understood.meaning
    assert understood == understand(text, Expectation(step, range_ohm), lexicon(), typed=by_keyboard)
    if isinstance(meaning, SaidAnswers):
        live = lexicon().expectations[step]
        assert set(meaning.names) <= set(live.answers)
        assert len(meaning.names) == 1 or live.many
    if isinstance(meaning, NotUnderstood) and meaning.why is not Why.TOO_LONG:
        assert not understood.words or 0 <= meaning.at < len(understood.words.split())
        assert not understood.sure
    if by_keyboard and understood.words:
        assert why(meaning) is not Why.NOTHING
    found = value(meaning)
    number = re.fullmatch(r"([0-9]+(?:\.[0-9]+)?)( \S+)?", understood.words)
    if found and number:
        assert found.numeral == Numeral(number[1])
