"""What is not heard surely is asked back; what the data files make impossible is refused, not trusted."""

from dataclasses import replace
from decimal import Decimal

import pytest
from conversation import TO_LEADS, Conversation, spoken

from assistant.dialogue import answers, asides, moves, readings
from assistant.dialogue.events import Finished, Heard, InputEnded, Started, Typed
from assistant.dialogue.moves import Incoming
from assistant.dialogue.procedure import StepKind
from assistant.dialogue.state import Bench, Phase, State
from assistant.dialogue.step import confirmed, correct
from assistant.language.meaning import Alternative, Expectation, Hearing, SaidReading, SaidText, Understood, Word
from assistant.measure.meter import Meter, Range
from assistant.measure.units import Numeral, Quantity, Reading, Shown, Unit


def surely(talk: Conversation, text: str) -> str:
    """Hear something with all the evidence there can be."""
    words = tuple(Word(word) for word in text.split())
    return spoken(talk.event(Heard(Hearing((Alternative(words, 0.0, "vosk"),), "vosk test", 1.0))))


# ---- not sure


def test_a_reading_not_heard_surely_is_asked_back_and_taken_with_yes(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS)
    assert "I got: 0.3 Ω. Is that what the meter shows?" in talk.hear("zero point three ohms")
    assert talk.readings() == {}
    surely(talk, "yes")
    assert talk.readings() == {"leads": ["0.3 Ω"]}


def test_a_maker_s_limit_not_heard_surely_is_asked_back(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "yes")
    assert "I got: 0.8 Ω" in talk.hear("zero point eight ohms")
    talk.type("yes")
    assert talk.readings() == {"primary_low": ["0.8 Ω"]}


@pytest.mark.parametrize(("words", "step"), [("four stroke", "electronics"), ("skip", "electronics")])
def test_an_answer_or_a_command_not_heard_surely_is_asked_back(bench: Bench, words: str, step: str) -> None:
    talk = Conversation(bench).to("ready", "14")
    assert f"Did you say “{words}”?" in talk.hear(words)
    assert talk.step == "stroke"
    talk.type("yes")
    assert talk.step == step


def test_an_answer_said_again_instead_of_yes_or_no_is_taken(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "14")
    talk.hear("two stroke")
    assert "Did you say “four stroke”?" in talk.hear("four stroke")
    assert "yes or no" in talk.hear("yes")
    assert "Four-stroke." in surely(talk, "four stroke")
    assert talk.step == "electronics"
    assert talk.state.facts.answer("stroke") == ("four_stroke",)


def test_a_label_or_a_number_said_again_is_taken(bench: Bench) -> None:
    talk = Conversation(bench).to("ready")
    talk.hear("skip")
    assert talk.phase is Phase.CONFIRMING
    surely(talk, "one four")
    assert talk.state.facts.label == "14"
    talk = Conversation(bench).to("ready")
    talk.hear("skip")
    talk.type("water pump")
    assert talk.state.facts.label == "water pump"


def test_stop_not_heard_surely_is_asked_and_then_stops(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS)
    talk.hear("stop")
    assert talk.phase is Phase.CONFIRMING
    talk.type("yes")
    assert talk.effects[-1] == Finished(complete=False)


def test_stop_heard_surely_stops_from_every_question(bench: Bench) -> None:
    for lines in ((), TO_LEADS, (*TO_LEADS, "0.3", "4700"), (*TO_LEADS, "0.3", "850 ohms"), (*TO_LEADS, "pause")):
        talk = Conversation(bench).to(*lines)
        surely(talk, "stop")
        assert talk.phase is Phase.CLOSED


@pytest.mark.parametrize("words", ["one four seven", "no one point four ohms", "one"])
def test_what_is_too_unsure_to_ask_about_is_asked_for_again(bench: Bench, words: str) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.9")
    assert "not sure" in talk.hear(words)
    assert talk.readings() == {"leads": ["0.3 Ω"], "primary": ["1.9 Ω"]}
    assert talk.step == "secondary"


def test_doubt_in_the_middle_of_a_question_keeps_that_question(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4700")
    phases = [talk.phase]
    assert "4700 what" in talk.hear("kilo ohms")
    phases.append(talk.phase)
    talk.type("no", "850 ohms")
    assert "yes or no" in talk.hear("yes")
    phases.append(talk.phase)
    talk.type("no", "pause")
    assert talk.hear("resume") == ""
    phases.append(talk.phase)
    assert phases == [Phase.UNIT, Phase.UNIT, Phase.CONFIRMING, Phase.PAUSED]


def test_noise_while_a_reading_settles_does_not_let_it_pass(bench: Bench) -> None:
    talk = Conversation(bench).start(timed=True)
    talk.type(*TO_LEADS, "0.3")
    assert "Is that what the meter shows" in talk.hear("four")
    assert talk.phase is Phase.SETTLING


def test_a_sure_reading_is_taken_at_once_and_a_sure_correction_replaces_it(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3")
    surely(talk, "one point nine")
    surely(talk, "no one point four")
    assert talk.readings()["primary"] == ["1.4 Ω"]


def test_a_correction_that_cannot_be_understood_by_its_own_dial_is_asked(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4")
    text = talk.type("no, 4700")
    assert "Taken back: 1.4 Ω" in text
    assert "4700 what" in text
    assert talk.step == "primary"


def test_a_spoken_number_is_a_label(bench: Bench) -> None:
    talk = Conversation(bench).to("ready")
    assert "Job 14." in surely(talk, "one four")


# ---- two values that sound cannot separate


def doubtful(talk: Conversation, *texts: str) -> str:
    """Hear something that may nearly as well be something else."""
    found = tuple(
        Alternative(tuple(Word(word) for word in text.split()), -0.5 * index, "vosk")
        for index, text in enumerate(texts)
    )
    return spoken(talk.event(Heard(Hearing(found, "vosk test", 1.0))))


def between_two(bench: Bench) -> Conversation:
    talk = Conversation(bench).to(*TO_LEADS, "0.3")
    asked = doubtful(talk, "fifteen ohms", "fifty ohms")
    assert asked == "I got: 15 Ω or 50 Ω. Which is it: the first, the second, or neither?"
    assert talk.phase is Phase.CONFIRMING
    return talk


@pytest.mark.parametrize(("words", "reading"), [("the first", "15 Ω"), ("second", "50 Ω"), ("the second one", "50 Ω")])
def test_two_values_are_held_up_and_one_is_chosen(bench: Bench, words: str, reading: str) -> None:
    talk = between_two(bench)
    assert f"Primary reading: {reading}." in surely(talk, words)
    assert talk.readings()["primary"] == [reading]


def test_of_two_values_one_may_be_said_again_digit_by_digit(bench: Bench) -> None:
    talk = between_two(bench)
    assert "I got: 50 Ω, which is unusual here. Is that what the meter shows?" in surely(talk, "five zero ohms")
    surely(talk, "yes")
    assert talk.readings()["primary"] == ["50 Ω"]
    talk = between_two(bench)
    surely(talk, "one point four ohms")
    assert talk.readings()["primary"] == ["1.4 Ω"]


def test_neither_of_two_values_asks_anew(bench: Bench) -> None:
    talk = between_two(bench)
    assert surely(talk, "neither") == "What does the primary read?"
    assert "primary" not in talk.readings()
    assert talk.state.expect.name == "primary"


@pytest.mark.parametrize("words", ["yes", "correct", "mumble", "kilo ohms"])
def test_what_chooses_none_of_two_values_asks_again(bench: Bench, words: str) -> None:
    talk = between_two(bench)
    assert surely(talk, words).endswith("I got: 15 Ω or 50 Ω. Which is it: the first, the second, or neither?")
    assert "primary" not in talk.readings()


def test_a_choice_not_heard_surely_is_asked_for_again_and_a_value_asked_back(bench: Bench) -> None:
    talk = between_two(bench)
    assert "not sure what I heard. I got: 15 Ω or 50 Ω" in doubtful(talk, "the first", "the second")
    assert "Is that what the meter shows?" in doubtful(talk, "five zero ohms", "mumble")
    surely(talk, "yes")
    assert talk.readings()["primary"] == ["50 Ω"]


def test_help_and_repeat_fit_the_choice(bench: Bench) -> None:
    talk = between_two(bench)
    assert "the first, the second, or neither" in surely(talk, "help")
    assert surely(talk, "repeat") == "I got: 15 Ω or 50 Ω. Which is it: the first, the second, or neither?"
    surely(talk, "the first")
    assert talk.readings()["primary"] == ["15 Ω"]


def test_with_the_files_of_an_older_record_one_value_is_held_up(bench: Bench) -> None:
    older = dict(bench.lexicon.expectations)
    del older["which"]
    talk = Conversation(replace(bench, lexicon=replace(bench.lexicon, expectations=older))).to(*TO_LEADS, "0.3")
    assert doubtful(talk, "fifteen ohms", "fifty ohms") == "I got: 15 Ω. Is that what the meter shows?"


# ---- more than the meter in use shows


def with_a_short_meter(bench: Bench, full_ohm: int, *lines: str) -> Conversation:
    """A session with a meter that has one range, after these lines; the meter is named when it is begun."""
    meter = Meter("short", "shed meter", hand_set=True, ranges=(Range(full_ohm, Decimal("0.1"), Decimal(1), 2),))
    own = replace(bench, meters={**bench.meters, "short": meter})
    return Conversation(own).to(*(line for line in TO_LEADS if line != "pocket"), *lines, meter="short")


BEYOND = "I got: 15.0 kΩ, but the meter in use, shed meter, shows at most 2 kΩ; above that say over range."


def test_a_value_above_the_highest_range_is_asked_about_with_the_meters_name(bench: Bench) -> None:
    talk = with_a_short_meter(bench, 2_000, "0.3 ohms", "1.4 ohms")
    assert talk.type("15.0k") == f"{BEYOND} Is that what the meter shows?"
    assert "secondary" not in talk.readings()
    assert talk.type("no").endswith("What does the secondary read?")
    talk.type("15.0k", "OL", "yes")
    assert talk.readings()["secondary"] == ["over range"]


def test_a_value_above_the_highest_range_stands_when_the_meter_is_another_one(bench: Bench) -> None:
    talk = with_a_short_meter(bench, 2_000, "0.3 ohms", "1.4 ohms", "15.0k", "yes")
    assert talk.readings()["secondary"] == ["15.0 kΩ"]


def test_a_value_above_the_highest_range_that_was_not_heard_surely_is_asked_about_once(bench: Bench) -> None:
    talk = with_a_short_meter(bench, 2_000, "0.3 ohms", "1.4 ohms")
    assert BEYOND in talk.hear("fifteen point zero kilo ohms")
    surely(talk, "yes")
    assert talk.readings()["secondary"] == ["15.0 kΩ"]


def test_of_two_values_the_one_above_the_highest_range_is_asked_about(bench: Bench) -> None:
    talk = with_a_short_meter(bench, 20, "0.3")
    doubtful(talk, "fifteen ohms", "fifty ohms")
    asked = "I got: 50 Ω, but the meter in use, shed meter, shows at most 20 Ω; above that say over range."
    assert asked in surely(talk, "the second")
    assert "primary" not in talk.readings()
    surely(talk, "yes")
    assert talk.readings()["primary"] == ["50 Ω"]


# ---- digits that the meter in use does not have


FINER = (
    "The meter in use, pocket meter with a dial set by hand, shows no digit below 10 Ω there:"
    " the value is taken as given, with the doubt of that digit."
)


def test_digits_that_the_meter_does_not_have_are_remarked_on_once(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4")
    assert talk.type("4.7123 k").startswith(f"Secondary reading: 4.7123 kΩ. {FINER} ")
    assert talk.readings()["secondary"] == ["4.7123 kΩ"]
    assert "shows no digit" not in talk.type("4.7124 k")
    assert "shows no digit" not in Conversation(bench).to(*TO_LEADS, "0.3", "1.4").type("4.7100 k")


def test_taken_back_and_given_again_they_are_remarked_on_again(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4.7123 k", "that was wrong")
    assert FINER in talk.type("4.7124 k")


def test_spoken_they_are_remarked_on_before_the_time_to_contradict(bench: Bench) -> None:
    talk = Conversation(bench).start(timed=True)
    for line in (*TO_LEADS, "0.3", "1.4"):
        talk.type(line)
        talk.settle()
    assert FINER in surely(talk, "four point seven one two three k")
    assert talk.phase is Phase.SETTLING
    assert talk.type("repeat") == "Secondary reading: 4.7123 kΩ."


def test_a_makers_figure_may_have_more_digits_than_the_meter(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "yes")
    assert "shows no digit" not in talk.type("0.8125 ohms")
    assert talk.readings() == {"primary_low": ["0.8125 Ω"]}


def test_a_makers_figure_may_lie_above_what_the_meter_shows(bench: Bench) -> None:
    answers = ("ready", "14", "four stroke", "no", "none", "yes", "0.8", "ohms", "1.3", "ohms")
    meter = Meter("short", "shed meter", hand_set=True, ranges=(Range(2_000, Decimal(1), Decimal(1), 2),))
    talk = Conversation(replace(bench, meters={**bench.meters, "short": meter})).to(*answers, meter="short")
    talk.type("5.9k")
    assert talk.readings()["secondary_low"] == ["5.9 kΩ"]


def test_what_is_no_unit_is_named_and_the_unit_asked_for_again(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS)
    assert talk.type("4700") == "4700 what: ohms, kilo-ohms or meg-ohms?"
    assert (
        talk.type("flurb") == "I got “flurb”: I do not know the word “flurb”. 4700 what: ohms, kilo-ohms or meg-ohms?"
    )
    assert talk.type("47 V").startswith(
        "I got “47 V”: “V” is no unit of resistance; check that the meter is set to ohms."
    )
    assert talk.type("ohms").startswith("I got: 4700 Ω")


# ---- data files whose parts do not fit each other


def misfit(bench: Bench, name: str, kind: StepKind) -> Bench:
    steps = tuple(replace(step, kind=kind) if step.name == name else step for step in bench.procedure.steps)
    return replace(bench, procedure=replace(bench.procedure, steps=steps))


@pytest.mark.parametrize(
    ("name", "kind", "line"),
    [
        ("label", StepKind.CHOICE, "14"),
        ("label", StepKind.CHOICE, "water pump"),
        ("stroke", StepKind.READING, "four stroke"),
        ("stroke", StepKind.TEXT, "four stroke"),
    ],
)
def test_an_answer_that_a_step_has_no_use_for_is_refused(bench: Bench, name: str, kind: StepKind, line: str) -> None:
    talk = Conversation(misfit(bench, name, kind)).to("ready", *(["14"] if name == "stroke" else []))
    assert "another kind" in talk.type(line)
    assert talk.step == name


def test_a_spoken_number_that_a_step_has_no_use_for_is_refused(bench: Bench) -> None:
    talk = Conversation(misfit(bench, "label", StepKind.CHOICE)).to("ready")
    assert "another kind" in surely(talk, "one four")


def test_an_answer_that_a_unit_question_has_no_use_for_leaves_it_open(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4700")
    talk.state = replace(talk.state, expect=Expectation("any"))
    assert talk.type("four stroke") == "4700 what: ohms, kilo-ohms or meg-ohms?"


@pytest.mark.parametrize("words", ["zero point three ohms", "four point seven"])
def test_a_reading_that_a_step_has_no_use_for_is_not_asked_about(bench: Bench, words: str) -> None:
    talk = Conversation(misfit(bench, "leads", StepKind.TEXT)).to(*TO_LEADS)
    assert "not sure" in talk.hear(words)
    assert "another kind" in talk.type(words)
    assert talk.readings() == {}


def test_a_dial_that_no_range_fits_stands_on_the_highest(bench: Bench) -> None:
    steps = tuple(
        replace(step, range="900000000") if step.name == "secondary" else step for step in bench.procedure.steps
    )
    talk = Conversation(replace(bench, procedure=replace(bench.procedure, steps=steps))).to(*TO_LEADS, "0.3", "1.4")
    assert talk.state.expect.range_ohm == bench.meters["pocket"].highest.full_ohm
    talk.type("over range", "yes", "over range", "yes", "done")
    assert talk.step == "secondary"
    assert talk.state.expect.range_ohm == bench.meters["pocket"].highest.full_ohm


def test_over_range_on_a_range_a_winding_may_exceed_sends_the_dial_one_up(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "over range", "yes")
    assert talk.step == "prepare"
    assert "200 kΩ range" in talk.type("done")
    assert talk.state.expect.range_ohm == 200_000


# ---- mistakes in the table would show


def test_a_cell_that_gets_what_it_is_not_for_says_so(bench: Bench) -> None:
    state = Conversation(bench).to(*TO_LEADS).state
    with pytest.raises(TypeError, match="expected Started, found InputEnded"):
        asides.begin(bench, State(), Incoming(InputEnded()))
    with pytest.raises(TypeError, match="expected SaidAnswers, found None"):
        answers.answer(bench, state, Incoming(Started()))
    text = Understood(SaidText("x"), sure=True, words="x")
    with pytest.raises(TypeError, match="expected SaidReading, found SaidText"):
        readings.reading(bench, state, Incoming(Typed("x"), text))
    with pytest.raises(TypeError, match="no number waits"):
        readings.unit(bench, state, Incoming(Typed("x"), text))
    with pytest.raises(TypeError, match="no words to answer"):
        correct(bench, state, Incoming(Started()))
    with pytest.raises(TypeError, match="expected SaidReading, found None"):
        confirmed(bench, state, Incoming(Started()))
    assert Incoming(Started()).words == ""
    assert moves.understood(bench, state, Started()) is None


def test_a_guess_that_is_a_reading_is_accepted_as_it_was_heard(bench: Bench) -> None:
    state = Conversation(bench).to(*TO_LEADS).state
    guess = Understood(SaidReading(Reading(Shown.VALUE, Quantity(Numeral("0.2"), Unit.OHM))), sure=False, words="x")
    state, _ = confirmed(bench, replace(state, phase=Phase.CONFIRMING, guess=guess), Incoming(Typed("yes")))
    assert state.facts.at("leads") == (Reading(Shown.VALUE, Quantity(Numeral("0.2"), Unit.OHM)),)
