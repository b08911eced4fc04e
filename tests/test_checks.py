"""Checks beside the coil test: their files, the way through them, what is said, and that they go with the coil test."""

import re

import pytest
from conversation import Conversation, spoken

from assistant import data
from assistant.dialogue.check_file import load_check
from assistant.dialogue.events import Checked, Finished, InputEnded, Save, Say, TakenUp, Typed
from assistant.dialogue.routes import ROUTES
from assistant.dialogue.state import Bench, Phase
from assistant.errors import BadData
from assistant.language.check_wording import in_short
from assistant.language.verdict_wording import ohms
from assistant.measure.guidance import LADDER
from assistant.measure.parts import Finding, Judgement, PartKind, Wants
from assistant.preflight import load_bench, read_files

TO_VERDICT = (
    "ready",
    "14",
    "four stroke",
    "no",
    "no spark",
    "done",
    "no",
    "pocket",
    "done",
    "0.3",
    "1.4",
    "4.70",
    "no",
)
CHECKS = ("resistor", "cap", "kill_switch", "charging", "trigger", "spark")
ROUTE = {
    "cap": ("ready", "done", "0.3", "5.1k", "0.4"),
    "kill_switch": ("ready", "done", "0.2", "OL", "yes", "0.4"),
    "resistor": ("ready", "done", "0.2", "4.9k"),
    "trigger": ("ready", "yes", "100 ohms", "130 ohms", "20", "20", "done", "0.2", "110 ohms"),
    "charging": ("ready", "no", "done", "0.2", "240 ohms"),
    "spark": ("ready", "6 mm", "ready", "yes"),
}
"""Answers through each check, begun with a label and a meter, to its end."""


def check(bench: Bench, name: str, *lines: str, meter: str = "pocket") -> Conversation:
    talk = Conversation(bench)
    talk.start(label="14", meter=meter, check=name)
    talk.type(*lines)
    return talk


def judgement(talk: Conversation) -> Judgement:
    return [effect.judgement for effect in talk.effects if isinstance(effect, Checked)][-1]


# ---- files


def test_there_is_a_check_for_each_rung_that_can_be_measured_in_the_order_of_the_ladder(bench: Bench) -> None:
    assert tuple(bench.checks) == CHECKS
    rungs = [LADDER.index(one.ladder) for one in bench.checks.values()]
    assert rungs == sorted(rungs)


@pytest.mark.parametrize("name", CHECKS)
def test_every_check_begins_with_its_caution_and_every_figure_has_a_source(bench: Bench, name: str) -> None:
    found = bench.checks[name]
    first = bench.procedure.step(found.first)
    assert first.caution
    assert not first.skip
    for item in found.items:
        assert bool(item.usual) == bool(item.source)
        assert item.title == bench.procedure.step(item.name).title
    assert bool(found.tries) == (name == "spark")


GOOD = """
[check]
title = "part"
first = "safety"
ladder = "plug"
[item.part]
wants = "band"
usual = [["1", "2"]]
source = "nobody"
[step.safety]
title = "safety"
kind = "acknowledge"
expect = "ready"
ask = "Ready?"
wrong = "Say ready."
next = "part"
[step.part]
title = "the part"
kind = "reading"
expect = "part"
ask = "What?"
wrong = "A reading."
next = "@check"
[step.again]
title = "again"
kind = "acknowledge"
expect = "ready"
ask = "Ready?"
wrong = "Say ready."
next = "@wanted"
[step.after]
title = "the result"
kind = "acknowledge"
expect = "ready"
ask = "Done?"
wrong = "Say done."
next = "@finish"
goto = { yes = "safety" }
"""


def test_the_steps_of_a_check_stand_under_its_name() -> None:
    found = load_check("p", GOOD, ("ready", "part"), ROUTES)
    assert [step.name for step in found.steps] == ["p.safety", "p.part", "p.again", "p.after"]
    assert [step.next for step in found.steps] == ["p.part", "@check", "@wanted", "@finish"]
    assert found.steps[0].skip == "p.part"
    assert found.steps[-1].goto == (("yes", "p.safety"),)
    assert (found.first, [item.name for item in found.items]) == ("p.safety", ["p.part"])


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ('first = "safety"', 'first = "none"', "procedure.first: the name of a step"),
        ('ladder = "plug"', 'ladder = "step"', "check.ladder: one of plug, cap and lead"),
        ('ladder = "plug"', 'ladder = "plug"\nmood = 3', "check.mood: title, first or ladder"),
        ('title = "part"', "", "check.title: a text in quotes"),
        ("[item.part]", "[items.part]", "items: check, item.NAME or step.NAME"),
        ("[item.part]", "[item.safety]", "item.safety: the name of a step that is a reading"),
        ('wants = "band"', 'wants = "more"', "item.part.wants: one of band, open, closed"),
        ('wants = "band"', 'wants = "band"\nmost = 3', "item.part.most: wants, usual or source"),
        ('source = "nobody"', "", "item.part.source: a text in quotes"),
        ('[["1", "2"]]', '[["2", "1"]]', "item.part.usual: two numbers of ohms in quotes"),
        ("[step.again]", "[step.more]", "step.again: a table"),
        ("[step.after]", "[step.end]", "step.after: a table"),
        ('next = "@check"', 'next = "@nowhere"', "step.part.next: a step, or one of"),
        ("[check]", "[[", "p.toml: valid TOML"),
    ],
)
def test_a_fault_in_a_check_is_named(old: str, new: str, fault: str) -> None:
    assert old in GOOD
    with pytest.raises(BadData) as caught:
        load_check("p", GOOD.replace(old, new, 1), ("ready", "part"), ROUTES)
    told = [f"{problem.where}: {problem.expected}" for problem in caught.value.problems]
    assert any(
        line.partition("procedures/")[2].removeprefix("p.toml: ").startswith(fault) or fault in line for line in told
    )


def test_faults_of_checks_are_told_with_all_others() -> None:
    files = read_files()
    files["procedures"]["mood"] = files["procedures"]["cap"]
    files["procedures"]["cap"] = files["procedures"]["cap"].replace("[check]", "[chek]")
    with pytest.raises(BadData) as caught:
        load_bench(files)
    where = [problem.where for problem in caught.value.problems]
    assert "procedures/cap.toml: check" in where
    assert "grammar/answers.toml: answer.check_mood" in where


def test_records_of_older_versions_have_no_checks(bench: Bench) -> None:
    files = read_files()
    files["procedures"] = {"coil": files["procedures"]["coil"]}
    files["grammar"]["units"] = files["grammar"]["units"].partition("[lengths]")[0]
    old = load_bench(files)
    assert not old.checks
    talk, now = Conversation(old).to(*TO_VERDICT), Conversation(bench).to(*TO_VERDICT)
    lines = [effect.text for effect in talk.effects if isinstance(effect, Say)]
    said_now = [effect.text for effect in now.effects if isinstance(effect, Say)]
    assert [line for line in said_now if line not in lines] == [spoken_offer(now)]


def spoken_offer(talk: Conversation) -> str:
    (offer,) = {say.text for say in talk.state.last_said if say.text.startswith("I can lead you")}
    return offer


# ---- the way through


@pytest.mark.parametrize("name", CHECKS)
def test_a_check_leads_from_its_caution_to_its_result(bench: Bench, name: str) -> None:
    talk = check(bench, name, *ROUTE[name])
    assert talk.step == f"{name}.after"
    assert judgement(talk).kind is PartKind.WELL
    assert isinstance(talk.effects[0], Say)
    assert talk.effects[0].whole, "the caution is never cut off"
    saved = [effect for effect in talk.effects if isinstance(effect, Save)]
    assert [effect.name for effect in saved] == [f"check-{name}.txt"]
    assert judgement(talk).title in saved[0].text
    assert "does not prove it good" in saved[0].text or "A spark jumped" in saved[0].text
    assert talk.event(Typed("done"))[-1] == Finished(complete=True)
    assert talk.state.verdict is None


@pytest.mark.parametrize("name", CHECKS)
def test_nothing_goes_on_before_the_caution_is_acknowledged(bench: Bench, name: str) -> None:
    talk = check(bench, name, "skip", "4.7k", "no", "not yet", "done soon")
    assert talk.step == f"{name}.safety"


@pytest.mark.parametrize("name", CHECKS)
def test_a_check_asks_for_label_and_meter_when_they_are_not_known(bench: Bench, name: str) -> None:
    talk = Conversation(bench).start(check=name)
    talk.type("ready", "pump")
    assert talk.state.facts.label == "pump"
    assert talk.step == f"{name}.{'gap' if name == 'spark' else 'meter'}"


def test_what_speaks_against_a_part_is_read_twice_before_it_is_said(bench: Bench) -> None:
    talk = check(bench, "cap", "ready", "done", "0.3", "OL")
    assert "is that what the meter shows" in talk.type("OL").lower()
    once = talk.type("yes")
    assert talk.step == "cap.again"
    assert "on a single reading" in once
    assert "200 kΩ range" in talk.type("done"), "over range on 20 k says only: more than that"
    talk.type("OL", "yes", "0.4")
    assert judgement(talk).kind is PartKind.FAULT
    assert "not as it should be" in spoken(tuple(talk.effects))
    assert "It stayed so when it was taken again." in spoken(tuple(talk.effects))


def test_a_repeat_that_is_declined_decides_nothing(bench: Bench) -> None:
    talk = check(bench, "cap", "ready", "done", "0.3", "OL", "yes", "skip", "skip")
    found = judgement(talk)
    assert found.kind is PartKind.UNDECIDED
    assert [result.finding for result in found.results] == [Finding.BEYOND, Finding.NOT_TAKEN]
    assert "The reading of the lead was left out" in spoken(tuple(talk.effects))


def test_why_a_reading_is_taken_again_is_said_for_each(bench: Bench) -> None:
    talk = check(bench, "kill_switch", "ready", "done", "0.2", "45k", "done", "44k")
    assert "on a single reading" in talk.type("9 ohms")
    talk.type("done", "it's jumping", "yes")
    (saved,) = [effect.text for effect in talk.effects if isinstance(effect, Save)]
    assert "Switch on stop: unsteady; before that: 9 Ω\n" in saved


def test_leads_that_were_skipped_prove_nothing(bench: Bench) -> None:
    talk = check(bench, "charging", "ready", "no", "done", "skip", *("jumping", "yes", "done", "jumping", "yes"))
    assert judgement(talk).kind is PartKind.UNDECIDED
    assert "broken leads read the same" in spoken(tuple(talk.effects))


def test_undo_and_go_back_take_the_result_back(bench: Bench) -> None:
    talk = check(bench, "resistor", *ROUTE["resistor"])
    said = talk.type("that was wrong")
    assert "Taken back: 4.9 kΩ." in said
    assert (talk.step, talk.state.facts.judged, talk.state.decided) == ("resistor.resistor", (), False)
    talk.type("5.0k")
    assert judgement(talk).results[0].attempts[0].quantity is not None
    assert talk.type("go back").endswith("What does the plug read?")
    assert not talk.state.facts.judged


def test_limits_in_the_wrong_order_are_taken_again(bench: Bench) -> None:
    talk = check(bench, "trigger", "ready", "yes", "130 ohms")
    assert "lower limit is above the upper one" in talk.type("100 ohms")
    assert talk.step == "trigger.low"
    talk.type("none", "130 ohms")
    assert talk.step == "trigger.limits_at"
    talk.type("not known", "done", "0.2", "110 ohms")
    assert "at most 130 Ω" in spoken(tuple(talk.effects))


def test_no_limits_after_all(bench: Bench) -> None:
    talk = check(bench, "trigger", "ready", "yes", "none", "none")
    assert talk.step == "trigger.prepare"
    talk.type("done", "0.2", "110 ohms")
    assert judgement(talk).results[0].finding is Finding.READS


def test_outside_the_makers_limits_twice(bench: Bench) -> None:
    talk = check(bench, "trigger", "ready", "yes", "100 ohms", "130 ohms", "20", "not known", "done", "0.2", "400 ohms")
    assert talk.step == "trigger.again"
    talk.type("done", "401 ohms")
    assert judgement(talk).kind is PartKind.FAULT
    assert "Against the maker's limits, 100 Ω to 130 Ω, it is outside; " in spoken(tuple(talk.effects))


@pytest.mark.parametrize(
    ("lines", "kind", "told"),
    [
        (("6", "ready", "no", "done", "no"), PartKind.FAULT, "No spark jumped the gap, twice."),
        (("6", "ready", "no", "done", "yes"), PartKind.UNDECIDED, "It comes and goes"),
        (("6", "ready", "no", "skip"), PartKind.UNDECIDED, "not decided"),
        (("6", "ready", "skip"), PartKind.UNDECIDED, "not decided"),
        (("not known", "ready", "yes"), PartKind.WELL, "Without the gap nothing can be said"),
    ],
)
def test_the_spark(bench: Bench, lines: tuple[str, ...], kind: PartKind, told: str) -> None:
    talk = check(bench, "spark", "ready", *lines)
    assert judgement(talk).kind is kind
    assert told in spoken(tuple(talk.effects))


def test_a_gap_is_always_a_range_with_the_shape_of_the_electrodes(bench: Bench) -> None:
    talk = check(bench, "spark", "ready", "about four point five millimetres", "ready")
    said = talk.type("yes")
    assert re.search(r"about 5 kilovolts between needle points and about 16 between spheres of 25 millimetres", said)


@pytest.mark.parametrize("gap", ["0.5", "20", "minus three"])
def test_a_gap_nothing_is_known_about_is_refused(bench: Bench, gap: str) -> None:
    talk = check(bench, "spark", "ready", gap)
    assert talk.step == "spark.gap"


def test_an_answer_of_another_kind_is_refused_at_the_gap(bench: Bench) -> None:
    talk = check(bench, "spark", "ready")
    assert "I got" in talk.type("4.7k")
    assert "I got" in talk.type("check the cap")


def test_the_caution_of_the_spark_comes_first_and_says_what_can_hurt(bench: Bench) -> None:
    text = bench.procedure.step("spark.safety").caution
    for part in ("injure", "pacemaker", "Never crank with the lead open", "fuel vapour", "manual"):
        assert part in text


# ---- with the coil test


def test_the_coil_test_goes_on_with_a_check_in_the_same_session(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_VERDICT)
    verdict = talk.state.verdict
    assert talk.step == "after"
    assert spoken_offer(talk).endswith("or check the spark.")
    said = talk.type("check the kill switch")
    assert said.startswith("Before touching anything")
    talk.type("ready", "done")
    assert talk.step == "kill_switch.run", "leads and meter are known from the coil test"
    talk.type("OL", "yes", "0.4")
    assert judgement(talk).kind is PartKind.WELL
    assert talk.state.verdict == verdict
    assert "kill switch" not in spoken_offer(talk)
    talk.type("check the spark", "ready", "6", "ready", "yes")
    assert [one.check for one in talk.state.facts.judged] == ["kill_switch", "spark"]
    assert "check the cap" in talk.type("repeat")
    assert talk.event(Typed("done"))[-1] == Finished(complete=True)


def test_only_rungs_of_the_verdicts_ladder_are_offered(bench: Bench) -> None:
    speed = tuple("won't rev" if line == "no spark" else line for line in TO_VERDICT)
    talk = Conversation(bench).to(*speed)
    assert "kill switch" not in spoken_offer(talk)
    assert "check the cap" in spoken_offer(talk)


def test_a_check_done_again_begins_anew_with_its_caution(bench: Bench) -> None:
    talk = check(bench, "spark", *ROUTE["spark"])
    said = talk.type("check the spark")
    assert said.startswith("Ignition voltage can injure")
    talk.type("ready", "not known", "ready", "no", "skip")
    (found,) = talk.state.facts.judged
    assert (found.kind, found.gap, found.jumped) == (PartKind.UNDECIDED, None, (False,))
    talk.type("check the cap", "ready", "pocket", "done", "0.3", "OL", "yes", "skip", "skip")
    talk.type("check the cap", "ready", "done", "5.1k", "skip")
    assert [one.check for one in talk.state.facts.judged] == ["spark", "cap"]
    assert len(judgement(talk).results[0].attempts) == 1
    assert "last one was" in talk.type("last reading").lower()


def test_going_back_out_of_a_check_returns_to_the_verdict(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_VERDICT)
    verdict = talk.state.verdict
    talk.type("check the cap", "ready")
    talk.type("go back", "go back")
    assert (talk.step, talk.state.facts.check, talk.state.verdict) == ("after", "", verdict)
    talk.type("check the cap", "that was wrong")
    assert (talk.step, talk.state.facts.check, talk.state.verdict) == ("secondary", "", None)


def test_a_check_that_was_left_is_taken_up_where_it_was(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_VERDICT)
    talk.type("check the cap", "ready")
    assert talk.event(Typed("stop"))[-1] == Finished(complete=False)
    assert "Taking up job 14" in spoken(talk.event(TakenUp()))
    assert talk.step == "cap.prepare"
    talk.type("done", "5.1k", "skip")
    assert talk.event(InputEnded())[-1] == Finished(complete=True)


def test_a_check_that_came_to_its_end_is_complete(bench: Bench) -> None:
    talk = check(bench, "cap", *ROUTE["cap"])
    assert talk.event(InputEnded())[-1] == Finished(complete=True)
    assert "complete" in spoken(talk.event(TakenUp()))
    assert talk.phase is Phase.CLOSED


def test_a_reading_settles_in_a_check_as_in_the_coil_test(bench: Bench) -> None:
    talk = Conversation(bench).start(label="14", meter="pocket", timed=True, check="resistor")
    talk.type("ready", "done", "0.2")
    talk.settle()
    assert "Plug resistor: 4.9 kΩ." in talk.type("4.9k")
    assert not talk.state.facts.judged
    talk.type("no, 5.0k")
    talk.settle()
    assert talk.readings()["resistor.resistor"] == ["5.0 kΩ"]


# ---- the words


def test_every_check_can_be_started_by_its_name(bench: Bench) -> None:
    help_line = bench.lexicon.expectations["after"].help
    for name in bench.checks:
        phrase = bench.lexicon.answer_names[f"check_{name}"]
        assert phrase in help_line
        talk = Conversation(bench).to(*TO_VERDICT)
        talk.type(phrase)
        assert talk.state.facts.check == name


def test_every_finding_a_reading_can_be_has_its_sentence() -> None:
    from assistant.language.check_wording import _FINDING, _STAND  # noqa: PLC0415
    from assistant.measure.parts import AGAINST, Stand  # noqa: PLC0415

    assert set(_STAND) == set(Stand)
    for wants in Wants:
        assert all((wants, finding) in _FINDING for finding in AGAINST[wants])


def test_a_usual_band_is_said_with_its_source(bench: Bench) -> None:
    talk = check(bench, "cap", *ROUTE["cap"])
    said = spoken(tuple(talk.effects))
    for item in bench.checks["cap"].items:
        assert item.source in said
        for low, high in item.usual:
            assert f"{ohms(low)} to {ohms(high)}" in said


def test_a_check_in_a_few_words(bench: Bench) -> None:
    cap = check(bench, "cap", "ready", "done", "0.3", "5.1k", "skip")
    assert in_short(judgement(cap)) == "plug cap with its lead: undecided (5.1 kΩ, not taken)"
    spark = check(bench, "spark", *ROUTE["spark"])
    assert in_short(judgement(spark)) == "spark across a known gap: nothing-found (a spark jumped)"
    assert in_short(judgement(check(bench, "spark", "ready", "6", "ready", "skip"))).endswith(": undecided")


def test_no_check_says_the_word_of_the_verdicts_that_condemn_a_coil() -> None:
    for name in CHECKS:
        assert "fault" not in data.texts("procedures")[name]
