"""The dialogue, case by case, from the first caution to the verdict."""

from decimal import Decimal

import pytest
from coil_cases import reading
from conversation import TO_LEADS, Conversation, switched_off

from assistant.dialogue.case import case_of, number_at
from assistant.dialogue.events import (
    Decided,
    DeviceBack,
    DeviceFailed,
    Finished,
    Hush,
    InputEnded,
    Listen,
    NextVoice,
    Save,
    Say,
    SetVoice,
    SpeechEnded,
    Started,
    StartTimer,
    TakenUp,
    TimerFired,
    Typed,
)
from assistant.dialogue.moves import take_back
from assistant.dialogue.readings import at_odds
from assistant.dialogue.state import Bench, Facts, Phase, State, Taken
from assistant.dialogue.step import step
from assistant.language import wording
from assistant.measure.limits import Points
from assistant.measure.verdict import Tap, VerdictKind


def verdict_of(talk: Conversation) -> VerdictKind:
    return [effect.verdict for effect in talk.effects if isinstance(effect, Decided)][-1].kind


# ---- the way through


def test_a_good_coil_from_the_first_word_to_the_record(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4.20", "yes", "4.20")
    assert verdict_of(talk) is VerdictKind.SOUND
    assert talk.readings() == {
        "leads": ["0.3 Ω"],
        "primary": ["1.4 Ω"],
        "secondary": ["4.20 kΩ"],
        "killtab": ["4.20 kΩ"],
    }
    report = next(effect for effect in talk.effects if isinstance(effect, Save))
    assert "4.20 kΩ" in report.text
    assert "14" in report.text
    assert "take care" in talk.type("done")
    assert talk.effects[-1] == Finished(complete=True)


def test_the_first_words_are_the_caution_and_are_said_whole(bench: Bench) -> None:
    talk = Conversation(bench).start()
    first = talk.effects[0]
    assert isinstance(first, Say)
    assert first.whole
    assert "stop the engine" in first.text
    assert talk.step == "safety"


@pytest.mark.parametrize(
    "line", ["no", "not yet", "1.4 ohms", "4.7", "skip", "four stroke", "banana", "go back", "ohms"]
)
def test_nothing_but_ready_gets_past_the_caution(bench: Bench, line: str) -> None:
    talk = Conversation(bench).start()
    talk.type(line)
    assert talk.step == "safety"


def test_the_offered_comparison_may_be_declined(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4.20", "no")
    assert verdict_of(talk) is VerdictKind.SOUND
    assert Tap.KILLTAB in talk.state.facts.declined


def test_a_suspicious_primary_asks_for_the_comparison_instead_of_offering_it(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "8", "two stroke", "yes", "none", "no", "pocket", "done", "0.3")
    assert "unusual" in talk.type("850 ohms")
    assert talk.phase is Phase.CONFIRMING
    talk.type("yes", "6.50")
    assert talk.step in ("killtab", "prepare")
    talk.type(*(["done"] if talk.step == "prepare" else []))
    assert talk.step == "killtab"
    talk.type("over range", "yes")
    while talk.step != "after":
        talk.type("done" if talk.step == "prepare" else "over range", *(["yes"] if talk.step == "killtab" else []))
    assert verdict_of(talk) is VerdictKind.ELECTRONICS


def test_an_open_secondary_is_taken_twice_before_the_word_fault(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4")
    seen = []
    for _ in range(20):
        if talk.step == "after":
            break
        seen.append(talk.step)
        talk.type("done" if talk.step == "prepare" else "open loop")
        if talk.phase is Phase.CONFIRMING:
            talk.type("yes")
    assert verdict_of(talk) is VerdictKind.SECONDARY_FAULT
    assert seen.count("secondary") >= 2
    faults = [i for i, effect in enumerate(talk.effects) if isinstance(effect, Say) and "fault" in effect.text.lower()]
    decided = next(i for i, effect in enumerate(talk.effects) if isinstance(effect, Decided))
    assert faults
    assert min(faults) > decided


def test_high_leads_are_put_right_first_but_only_once(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "1.6")
    assert talk.step == "leads_bad"
    talk.type("done", "1.5")
    assert talk.step == "primary"


def test_nothing_is_read_through_open_leads(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS)
    for _ in range(4):
        talk.type("OL", "yes")
        assert talk.step == "leads_bad"
        talk.type("done")
    talk.type("0.3")
    assert talk.step == "primary"


def test_a_repeat_stays_on_the_range_that_held_the_value(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "OL", "yes", "done", "35.0", "yes")
    assert talk.step == "prepare"
    assert "200 kΩ range" in talk.type("done")
    talk.type("35.0", "yes")
    assert [reading.range_ohm for reading in talk.state.facts.at("secondary")] == [20_000, 200_000, 200_000]


def test_the_comparison_begins_on_the_range_of_the_secondary(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "OL", "yes", "done", "OL", "yes")
    while talk.step != "killtab":
        talk.type("done" if talk.step == "prepare" else "OL", *([] if talk.step == "prepare" else ["yes"]))
    assert talk.state.expect.range_ohm == 200_000


def test_done_at_the_cleaning_leaves_a_forgotten_cap_possible(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "9.70", "no")
    assert "cap" in " ".join(effect.text for effect in talk.effects[-30:] if isinstance(effect, Say))
    assert any(reason.because.value == "cap still on" for reason in last_verdict_reasons(talk))


def test_going_back_says_again_what_is_to_be_done(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3")
    assert "Hold the probe tips" in talk.type("go back")


def test_a_label_and_a_meter_given_at_the_start_are_not_asked_for(bench: Bench) -> None:
    talk = Conversation(bench).start(label="pump", meter="auto")
    talk.type("ready")
    assert talk.step == "stroke"
    talk.type("two stroke", "no", "none", "no")
    assert talk.step == "clean"
    talk.type("done")
    assert talk.state.expect.range_ohm is None
    assert "0.3 what" in talk.type("0.3")


def test_hundredths_of_an_ohm_are_taken_from_the_meter_that_shows_them(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "no", "fine", "done", "0.12")
    assert talk.readings() == {"leads": ["0.12 Ω"]}
    talk = Conversation(bench).to(*TO_LEADS)
    assert "0.12 what" in talk.type("0.12")


def test_the_meter_and_the_label_are_asked_and_kept(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "village pump", "not known", "no", "none", "no", "fine")
    assert (talk.state.facts.label, talk.state.facts.meter) == ("village pump", "fine")


def test_makers_limits_are_asked_one_by_one_and_used(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "yes")
    talk.type("0.8 ohms", "1.3 ohms", "5.9k", "7.1k", "20", "25", "cap off", "yes")
    assert talk.step == "meter"
    talk.type("pocket", "all off", "0.3", "1.3", "6.40", "no")
    verdict = talk.state.verdict
    assert verdict is not None
    assert verdict.secondary.conformity is not None
    assert verdict.kind is VerdictKind.SOUND


def test_limits_may_be_left_out_side_by_side(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "yes", "none", "none", "none", "none")
    assert talk.step == "meter"
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "yes", "none", "1.3 ohms", "none", "none")
    assert talk.step == "limits_at"
    talk.type("not known")
    assert talk.step == "meter", "a cap matters to the secondary alone"
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "yes", "none", "none", "5.9k", "none")
    talk.type("not known")
    assert talk.step == "limits_cap"
    talk.type("go back", "20", "25")
    assert talk.step == "limits_cap"


@pytest.mark.parametrize(
    ("answers", "points"),
    [
        (("yes",), Points.CORE),
        (("not known",), Points.CORE),
        (("no", "yes"), Points.KILLTAB),
        (("no", "no"), Points.OTHER),
        (("no", "not known"), Points.OTHER),
    ],
)
def test_between_which_points_the_limits_hold(bench: Bench, answers: tuple[str, ...], points: Points) -> None:
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "yes", "none", "none", "5.9k", "7.1k")
    talk.type("not known", "cap off")
    assert talk.step == "limits_points"
    talk.type(*answers)
    assert talk.step == "meter"
    limit = case_of(bench, talk.state.facts).limits.secondary
    assert limit is not None
    assert limit.points is points


def test_a_limit_a_thousand_times_off_is_asked_back(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "yes")
    assert "Is that the maker's figure?" in talk.type("0.8 k")
    talk.type("no", "0.8 ohms")
    assert talk.readings() == {"primary_low": ["0.8 Ω"]}
    assert "unusual" in talk.type("1.3 ohms", "5.9 ohms")


def test_a_limit_is_no_reading(bench: Bench) -> None:
    limits = ("ready", "14", "four stroke", "no", "none", "yes", "0.8 ohms", "1.3 ohms", "5.9k", "7.1 k")
    talk = Conversation(bench).to(*limits, "not known", "cap off", "yes", "pocket", "done")
    before = talk.state.facts
    assert "no reading to take back" in talk.type("that was wrong")
    assert "no reading to take back" in talk.type("no")
    assert "no reading yet" in talk.type("last reading")
    assert "No reading so far" in talk.type("where are we")
    assert talk.state.facts == before
    talk.type("no, 0.3")
    assert talk.readings()["leads"] == ["0.3 Ω"]
    assert talk.readings()["secondary_high"] == ["7.1 kΩ"]


def test_the_limit_just_given_can_be_corrected(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "yes", "0.8 ohms", "no, 0.7 ohms")
    assert talk.readings() == {"primary_low": ["0.7 Ω"]}
    assert talk.step == "primary_high"


def test_limits_the_wrong_way_round_are_asked_again(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "yes", "1.3 ohms")
    assert "above the upper" in talk.type("0.8 ohms")
    assert talk.step == "primary_low"
    assert talk.readings() == {}


def test_a_temperature_no_coil_has_is_asked_again(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "yes", "none", "1.3 ohms", "none", "none")
    assert "between minus 60 and 300" in talk.type("900")
    assert talk.step == "limits_at"


@pytest.mark.parametrize(
    ("told", "said_back", "kept"),
    [
        ("70 F", "70 degrees Fahrenheit, that is 21.1 degrees Celsius.", Decimal("21.1")),
        ("seventy degrees fahrenheit", "70 degrees Fahrenheit, that is 21.1 degrees Celsius.", Decimal("21.1")),
        ("31.99°F", "31.99 degrees Fahrenheit, that is 0.0 degrees Celsius.", Decimal(0)),
        ("-40 F", "-40 degrees Fahrenheit, that is -40.0 degrees Celsius.", Decimal(-40)),
        ("21 C", "21 degrees Celsius.", Decimal(21)),
    ],
)
def test_a_temperature_in_fahrenheit_is_said_back_in_celsius_and_kept_so(
    bench: Bench, told: str, said_back: str, kept: Decimal
) -> None:
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "yes", "none", "1.3 ohms", "none", "none")
    assert said_back in talk.type(told)
    assert number_at(talk.state.facts, "limits_at") == kept


def test_what_no_coil_has_in_fahrenheit_is_asked_again(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "yes", "none", "1.3 ohms", "none", "none")
    assert "between minus 60 and 300" in talk.type("573 F")
    assert talk.step == "limits_at"
    assert "300.0 degrees Celsius" in talk.type("572 F")


def test_an_over_range_limit_is_no_limit(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "yes")
    talk.type("over range")
    assert talk.step == "primary_low"
    talk.type("800 ohms")
    assert talk.phase is Phase.CONFIRMING
    assert "another kind of answer" in talk.type("over range")
    talk.type("no", "0.8 ohms")
    assert talk.readings() == {"primary_low": ["0.8 Ω"]}


def test_taking_back_nothing_is_a_mistake_of_the_caller(bench: Bench) -> None:
    with pytest.raises(IndexError, match="nothing to take back"):
        take_back(bench, Conversation(bench).to("ready").state)


def test_symptoms_pile_up_until_done(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "14", "four stroke", "no")
    assert "Any more" in talk.type("dies when hot and starts badly")
    talk.type("no spark", "no spark", "done")
    assert talk.state.facts.answer("symptoms") == ("dies_hot", "starts_badly", "no_spark")
    talk.type("go back")
    assert talk.step == "symptoms"
    talk.type("none")
    assert talk.step == "limits"


def test_a_cap_that_cannot_come_off_enters_the_judgement(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS[:-1])
    assert "Take your time" in talk.type("not yet")
    talk.type("cap still on", "0.3", "1.4", "9.20")
    assert talk.step != "clean"
    assert any(reason.because.value.startswith("cap") for reason in last_verdict_reasons(talk))


def last_verdict_reasons(talk: Conversation) -> tuple:  # type: ignore[type-arg]
    from assistant.dialogue.case import case_of  # noqa: PLC0415
    from assistant.measure.verdict import judge  # noqa: PLC0415

    return judge(case_of(talk.bench, talk.state.facts)).reasons


# ---- readings: asked back, contradicted, corrected


def test_a_bare_number_takes_its_prefix_from_the_dial(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4.70")
    assert talk.readings()["secondary"] == ["4.70 kΩ"]


def test_a_number_the_dial_cannot_show_is_asked_for_its_unit(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4")
    assert "4700 what" in talk.type("4700")
    assert talk.phase is Phase.UNIT
    talk.type("ohms")
    assert talk.readings()["secondary"] == ["4700 Ω"]


@pytest.mark.parametrize("asked_about", ["4.7 ohms", "4700"])
def test_a_correction_while_a_reading_is_asked_about_stands_in_its_place(bench: Bench, asked_about: str) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", asked_about, "no, 4.7 k")
    assert talk.readings()["secondary"] == ["4.7 kΩ"]


def test_an_unsteady_secondary_leaves_the_dial_on_the_lowest_range_that_fits(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "unsteady", "yes", "unsteady", "yes")
    assert talk.step == "prepare"
    assert "Dial on the 20 kΩ range. What does the secondary read?" in talk.type("done")
    assert talk.readings()["secondary"] == ["unsteady"]


def test_a_bare_number_where_no_number_is_wanted_is_another_kind_of_answer(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS[:4])
    assert "that is another kind of answer" in talk.type("no, 4.7")
    assert talk.step == "symptoms"
    assert talk.phase is Phase.ASKING


def test_the_unit_may_be_given_with_the_whole_reading_or_the_number_dropped(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4700", "4.7 k")
    assert talk.readings()["secondary"] == ["4.7 kΩ"]
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4700")
    assert "What does the secondary read" in talk.type("no")
    assert talk.phase is Phase.ASKING


@pytest.mark.parametrize("line", ["banana", "yes", "four stroke", "village pump"])
def test_a_unit_question_stays_open_for_anything_else(bench: Bench, line: str) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4700")
    assert "4700 what" in talk.type(line)
    assert talk.phase is Phase.UNIT


def test_one_alone_is_asked_over_range_or_one(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3")
    assert "over range" in talk.type("1")
    talk.type("1.0 ohms")
    assert talk.readings()["primary"] == ["1.0 Ω"]


def test_an_implausible_reading_waits_for_yes(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4")
    assert "unusual" in talk.type("4.7 ohms")
    assert talk.phase is Phase.CONFIRMING
    assert "What does the secondary read" in talk.type("no")
    assert "secondary" not in talk.readings()
    talk.type("4.7 ohms", "4.7 k")
    assert talk.readings()["secondary"] == ["4.7 kΩ"]


def test_less_than_the_leads_alone_is_asked_about_and_taken_when_it_is_so(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.9")
    assert "0.6 Ω, which is less than the leads alone read" in talk.type("0.6 ohms")
    assert talk.phase is Phase.CONFIRMING
    talk.type("yes")
    assert talk.readings()["primary"] == ["0.6 Ω"]


@pytest.mark.parametrize(
    ("last", "anew", "asked"),
    [
        ("4.1", "0.41", True),
        ("4.1", "42", True),
        ("4.20k", "4.2", True),
        ("4.1", "4.2", False),
        ("4.1", "4.9", False),
        ("4.1", "36", False),
        ("4.1", "0.0", False),
        ("0.0", "4.1", False),
        ("4.1", "OL", False),
        ("OL", "4.1", False),
    ],
)
def test_the_last_reading_but_for_the_point_is_asked_about(bench: Bench, last: str, anew: str, asked: bool) -> None:  # noqa: FBT001
    """Ten or a thousand times the value that was read there before is more likely a slip of the point or the prefix."""
    state = State(facts=Facts(readings=(Taken("primary", reading(last)),)))
    assert at_odds(state, bench.procedure.step("primary"), reading(anew)) == (wording.SHIFTED if asked else "")


@pytest.mark.parametrize("line", ["banana", "four stroke", "ohms"])
def test_a_yes_or_no_question_stays_open_for_anything_else(bench: Bench, line: str) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4.7 ohms")
    assert "yes or no" in talk.type(line)
    assert talk.phase is Phase.CONFIRMING


def test_an_easily_misheard_reading_waits_for_yes(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4")
    talk.type("four seven hundred ohms")
    assert talk.phase is Phase.CONFIRMING


def test_a_correction_in_one_breath_replaces_the_last_reading_by_the_dial_of_its_own_step(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.9")
    text = talk.type("no, 1.4")
    assert "Taken back: 1.9 Ω" in text
    assert talk.readings() == {"leads": ["0.3 Ω"], "primary": ["1.4 Ω"]}
    assert talk.step == "secondary"


def test_a_correction_at_a_yes_or_no_question_is_a_correction(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4.20")
    assert talk.step == "killtab_offer"
    talk.type("no, 4.30")
    assert talk.readings()["secondary"] == ["4.30 kΩ"]


def test_a_correction_before_any_reading_is_just_that_reading(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS)
    talk.type("no, 0.3 ohms")
    assert talk.readings() == {"leads": ["0.3 Ω"]}


def test_that_was_wrong_takes_back_the_last_reading(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.9")
    assert "Taken back: 1.9 Ω" in talk.type("that was wrong")
    assert talk.step == "primary"
    assert talk.readings() == {"leads": ["0.3 Ω"]}
    assert "Taken back: 0.3 Ω" in talk.type("no")
    assert "no reading to take back" in talk.type("undo")


def test_that_was_wrong_after_the_verdict_opens_it_again(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4.20", "yes", "4.20", "that was wrong")
    assert (talk.step, talk.state.verdict) == ("killtab", None)


# ---- time to contradict


def timed(bench: Bench, *lines: str) -> Conversation:
    talk = Conversation(bench).start(timed=True)
    talk.type(*lines)
    return talk


def test_a_reading_settles_when_nobody_contradicts(bench: Bench) -> None:
    talk = timed(bench, *TO_LEADS)
    assert talk.type("0.3").startswith("Leads: 0.3 Ω.")
    assert talk.phase is Phase.SETTLING
    assert talk.event(SpeechEnded()) == (StartTimer("settle", bench.procedure.settle_ms),)
    talk.event(TimerFired("settle"))
    assert talk.step == "primary"


@pytest.mark.parametrize("line", ["no", "that was wrong", "go back"])
def test_a_settling_reading_can_be_contradicted(bench: Bench, line: str) -> None:
    talk = timed(bench, *TO_LEADS, "0.3")
    assert "Taken back" in talk.type(line)
    assert talk.readings() == {}


@pytest.mark.parametrize("line", ["0.4", "no, 0.4", "0.4 ohms"])
def test_a_settling_reading_can_be_replaced(bench: Bench, line: str) -> None:
    talk = timed(bench, *TO_LEADS, "0.3")
    talk.type(line)
    assert talk.readings() == {"leads": ["0.4 Ω"]}
    assert talk.phase is Phase.SETTLING


@pytest.mark.parametrize("line", ["yes", "skip"])
def test_yes_settles_at_once(bench: Bench, line: str) -> None:
    talk = timed(bench, *TO_LEADS, "0.3", line)
    assert talk.step == "primary"


@pytest.mark.parametrize("line", ["banana", "four stroke", "ohms", "village pump"])
def test_something_unclear_while_a_reading_settles_is_asked(bench: Bench, line: str) -> None:
    talk = timed(bench, *TO_LEADS, "0.3")
    assert "Is that what the meter shows" in talk.type(line)
    assert talk.phase is Phase.SETTLING
    assert "Is that what the meter shows" in talk.type("resume")


def test_with_times_switched_off_a_reading_waits_for_yes(bench: Bench) -> None:
    talk = timed(switched_off(bench), *TO_LEADS, "0.3")
    assert talk.event(SpeechEnded()) == ()
    assert talk.type("yes").startswith("One probe")


def test_a_long_silence_is_reminded_once(bench: Bench) -> None:
    talk = timed(bench)
    assert talk.event(SpeechEnded()) == (StartTimer("quiet", bench.procedure.remind_ms),)
    assert talk.event(TimerFired("quiet"))[0] == Say("Say ready when that is done.")
    assert talk.event(SpeechEnded()) == ()
    assert talk.event(TimerFired("unknown")) == ()
    assert Conversation(bench).start().event(SpeechEnded()) == ()


# ---- commands


def test_help_says_what_can_be_said_now_and_always(bench: Bench) -> None:
    text = Conversation(bench).to(*TO_LEADS).type("help")
    assert "tips held together" in text
    assert "At any time" in text
    assert "stop" in text


def test_repeat_says_the_whole_question_again(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3")
    text = talk.type("repeat")
    assert "One probe on the bare core" in text
    assert "200 Ω range" in text


def test_the_verdict_can_be_repeated_whole(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4.20", "no")
    effects = talk.event(Typed("repeat"))
    said = [effect for effect in effects if isinstance(effect, Say)]
    assert said[0].whole
    assert any("shorted turns" in effect.text and effect.whole for effect in said)
    assert any("pacemaker" in effect.text and effect.whole for effect in said)


def test_where_and_the_last_reading_are_told(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS)
    assert "no reading yet" in talk.type("last reading")
    talk.type("0.3")
    assert "the leads: 0.3 Ω" in talk.type("last reading")
    assert "the primary reading" in talk.type("where are we")


def test_back_returns_step_by_step_to_the_first(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "14", "four stroke")
    talk.type("go back")
    assert talk.step == "stroke"
    talk.type("go back", "go back")
    assert talk.step == "safety"
    assert "first step" in talk.type("go back")


def test_back_from_a_question_asked_back_drops_it(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4.7 ohms", "go back")
    assert (talk.step, talk.phase) == ("secondary", Phase.ASKING)


def test_a_skipped_reading_is_remembered_as_declined(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "skip", "skip")
    assert talk.state.facts.declined >= {Tap.PRIMARY, Tap.SECONDARY}
    assert verdict_of(talk) is VerdictKind.UNDECIDED


def test_a_repeat_that_is_skipped_leaves_it_undecided(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4")
    for _ in range(12):
        if talk.step == "after":
            break
        talk.type("skip" if talk.step == "prepare" else "OL", *([] if talk.step == "prepare" else ["yes"]))
    assert verdict_of(talk) in (VerdictKind.UNDECIDED, VerdictKind.REPEAT)


def test_pause_takes_nothing_but_resume_and_a_few_questions(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS)
    talk.type("pause")
    assert "paused" in talk.type("0.3")
    assert talk.readings() == {}
    assert "no reading yet" in talk.type("last reading")
    assert talk.event(SpeechEnded()) == ()
    assert "Going on" in talk.type("resume")
    assert talk.step == "leads"
    assert "not paused" in talk.type("resume")


def test_another_voice_is_asked_for_and_the_question_stays(bench: Bench) -> None:
    talk = Conversation(bench).start()
    step = talk.step
    talk.type("change the voice")
    assert talk.effects[-3:] == [NextVoice(), Say("This is the next voice."), Listen(talk.state.expect)]
    assert talk.step == step


def test_the_voice_changes_within_bounds(bench: Bench) -> None:
    talk = Conversation(bench).start()
    talk.type(*["faster"] * 20)
    assert SetVoice(450, 100) in talk.effects
    talk.type(*["slower"] * 20)
    assert SetVoice(120, 100) in talk.effects
    talk.type("louder", "quieter", "quieter")
    assert talk.state.voice.volume_percent == 80


@pytest.mark.parametrize(
    "lines", [(), TO_LEADS, (*TO_LEADS, "0.3", "4700"), (*TO_LEADS, "pause"), (*TO_LEADS, "0.3", "850 ohms")]
)
def test_stop_stops_at_once_and_the_session_is_taken_up_where_it_was(bench: Bench, lines: tuple[str, ...]) -> None:
    talk = Conversation(bench).to(*lines)
    before = talk.state.phase if talk.state.phase is not Phase.PAUSED else Phase.ASKING
    effects = talk.event(Typed("stop"))
    assert effects[-1] == Finished(complete=False)
    assert talk.phase is Phase.CLOSED
    assert talk.type("0.3") == ""
    effects = talk.event(TakenUp())
    assert isinstance(effects[-1], Listen)
    assert talk.phase is before


def test_only_stop_silences_what_must_be_heard_whole(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS)
    assert talk.event(Typed("stop"))[0] == Hush()
    assert [effect for effect in talk.effects if isinstance(effect, Hush)] == [Hush()]
    assert Hush() not in talk.event(InputEnded())
    finished = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4.20", "no", "done")
    assert finished.effects[-1] == Finished(complete=True)
    assert Hush() not in finished.effects


def test_a_remembered_voice_is_where_faster_and_louder_begin(bench: Bench) -> None:
    talk = Conversation(bench)
    talk.event(Started("2026-01-02 03:04", rate_wpm=300, volume_percent=60))
    talk.type("faster", "louder")
    assert SetVoice(325, 60) in talk.effects
    assert SetVoice(325, 80) in talk.effects
    talk.event(TakenUp(timed=True, rate_wpm=9_999))
    assert (talk.state.voice.rate_wpm, talk.state.voice.volume_percent) == (450, 80)
    assert talk.state.timed
    talk.event(TakenUp())
    assert talk.state.voice.rate_wpm == 450
    assert not talk.state.timed


def test_a_settling_reading_survives_a_stop(bench: Bench) -> None:
    talk = timed(bench, *TO_LEADS, "0.3", "stop")
    talk.event(TakenUp())
    assert talk.phase is Phase.SETTLING
    assert talk.readings() == {"leads": ["0.3 Ω"]}


def test_a_complete_session_says_so_when_it_is_taken_up(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4.20", "no", "stop")
    assert talk.effects[-1] == Finished(complete=True)
    assert talk.event(TakenUp())[-1] == Finished(complete=True)


def test_the_end_of_the_input_leaves_or_completes(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS)
    assert talk.event(InputEnded())[-1] == Finished(complete=False)
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4", "4.20", "no")
    assert talk.event(InputEnded())[-1] == Finished(complete=True)


# ---- not understood, not sure


def test_nonsense_gets_what_was_typed_why_it_is_not_taken_and_what_is_wanted(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS)
    text = talk.type("flurbel")
    assert "flurbel" in text
    assert "zero point two ohms" in text
    assert "type" not in text
    assert "type" in talk.type("flurbel", "flurbel")


@pytest.mark.parametrize(
    ("line", "part"),
    [
        ("four point", "not finished"),
        ("1.4 2.5", "two numbers"),
        ("-4 ohms", "minus"),
        ("1e300", ""),
        ("it beeps", "beep"),
        ("four stroke", ""),
        ("x" * 5000, "too long"),
        ("\x00\x1b[31m", ""),
    ],
)
def test_refusals_name_their_reason(bench: Bench, line: str, part: str) -> None:
    talk = Conversation(bench).to(*TO_LEADS)
    text = talk.type(line)
    assert part in text
    assert "\x1b" not in text
    assert talk.step == "leads"
    assert talk.readings() == {}


def test_answers_of_the_wrong_kind_are_refused(bench: Bench) -> None:
    talk = Conversation(bench).to("ready", "14")
    assert "another kind" in talk.type("4.7 k")
    assert talk.step == "stroke"
    talk = Conversation(bench).to("ready", "14", "four stroke", "no", "none", "yes")
    talk.type("four stroke")
    assert talk.step == "primary_low"


def test_silence_and_an_empty_line_change_nothing(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS)
    assert talk.type("") == ""
    assert talk.hear() == ""
    assert talk.step == "leads"


def test_a_mended_word_is_shown(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS, "0.3", "1.4")
    assert "homs" in talk.type("4.7 kilo homs")
    assert talk.readings()["secondary"] == ["4.7 kΩ"]


# ---- devices


def test_device_trouble_is_told_and_the_session_goes_on(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_LEADS)
    assert "you can type" in spoken_of(talk.event(DeviceFailed("microphone", "The microphone is gone.")))
    assert "microphone is back" in spoken_of(talk.event(DeviceBack("microphone")))
    talk.type("pause")
    assert "microphone is back" in spoken_of(talk.event(DeviceBack("microphone")))


def spoken_of(effects: tuple) -> str:  # type: ignore[type-arg]
    return " ".join(effect.text for effect in effects if isinstance(effect, Say))


def test_events_out_of_place_change_nothing(bench: Bench) -> None:
    for event in (Typed("0.3"), SpeechEnded(), TimerFired("settle"), TakenUp(), InputEnded()):
        assert step(bench, State(), event) == (State(), ())
    talk = Conversation(bench).to(*TO_LEADS)
    before = talk.state
    assert talk.event(Started()) == ()
    assert talk.state == before
