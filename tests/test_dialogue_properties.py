"""Whatever is said, in any order: what must never happen in a conversation."""

from dataclasses import replace

import pytest
from conversation import Conversation
from depth import any_text, examples
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from assistant.dialogue.case import WARM_STEPS, case_of
from assistant.dialogue.checks import part_case
from assistant.dialogue.events import (
    Checked,
    Decided,
    DeviceBack,
    DeviceFailed,
    Effect,
    Finished,
    InputEnded,
    Listen,
    Say,
    SpeechEnded,
    Started,
    TakenUp,
    TimerFired,
    Typed,
)
from assistant.dialogue.state import Phase
from assistant.dialogue.step import COLUMNS, TABLE, step
from assistant.journal import effect_body
from assistant.language.readback import printed
from assistant.measure.coil import Class, Tap
from assistant.measure.parts import PartKind, Stand, judge_part
from assistant.measure.verdict import FAULTS, VerdictKind, judge
from assistant.measure.warm import WARM_TAPS
from assistant.preflight import load_bench, read_files

BENCH = load_bench(read_files())
PRIMARY = (
    "1.4",
    "0.9 ohms",
    "0.1",
    "18 ohms",
    "850 ohms",
    "three megs",
    "OL",
    "it's jumping",
    "1.4 k",
    "199.9",
    "0.00",
)
SECONDARY = ("4.70", "6.5k", "900 ohms", "31 k", "2 megs", "OL", "won't settle", "between one and three megs", "4700")
SENSIBLE = {
    "ready": ("ready", "done"),
    "label": ("14", "pump", "skip"),
    "stroke": ("two stroke", "four stroke", "not known"),
    "electronics": ("yes", "no", "not known"),
    "symptoms": ("no spark", "dies when hot", "done", "none"),
    "yes_no": ("yes", "no"),
    "yes_no_unknown": ("yes", "no", "not known"),
    "limit": ("0.8 ohms", "1.3 ohms", "5.9k", "7.1 k", "none"),
    "temperature": ("20", "minus 5", "not known"),
    "cap": ("cap on", "cap off"),
    "meter": ("pocket", "auto", "fine"),
    "clean": ("done", "cap still on"),
    "leads": ("0.3", "0.2 ohms", "1.5", "OL"),
    "primary": PRIMARY,
    "secondary": SECONDARY,
    "killtab": SECONDARY,
    "part": (*SECONDARY, "0.4", "5.1k", "OL"),
    "gap": ("6", "4.5 mm", "not known"),
    "after": ("done", "check the cap", "check the kill switch", "check the trigger coil", "check the spark"),
    "unit": ("ohms", "k", "megs", "4.7k", "no"),
    "confirm": ("yes", "yes", "yes", "yes", "no", "1.4 ohms"),
}
COMMANDS = (
    "repeat",
    "last reading",
    "where are we",
    "go back",
    "that was wrong",
    "skip",
    "pause",
    "resume",
    "faster",
    "help",
)
NONSENSE = (
    "flurbel",
    "",
    "no, 1.4",
    "no, 4.70",
    "four point",
    "it beeps",
    "-3",
    "1e300",
    "one",
    "[unk] four",
    "yes",
    "no",
)
AGAINST = (Class.SUSPICIOUS, Class.BAD)


class Talk(RuleBasedStateMachine):
    """Mostly sensible answers, so that verdicts are reached; now and then anything at all."""

    @initialize(
        timed=st.booleans(),
        meter=st.sampled_from(["pocket", "auto"]),
        electronics=st.sampled_from(["yes", "no"]),
        check=st.sampled_from(["", "", "", *BENCH.checks]),
    )
    def begin(self, timed: bool, meter: str, electronics: str, check: str) -> None:  # noqa: FBT001
        self.talk = Conversation(BENCH)
        self.said: list[str] = []
        self.acknowledged: set[str] = set()
        self.feed(Started("2026-01-02 03:04", "", meter, timed, check=check))
        if not timed and not check:  # half of the talks begin with the readings: otherwise few would reach a verdict
            for line in ("ready", "14", "two stroke", electronics, "no spark, done", "no", "done", "0.3 ohms"):
                self.feed(Typed(line))

    def feed(self, event: object) -> None:
        before = self.talk.state
        effects = self.talk.event(event)  # type: ignore[arg-type]
        after = self.talk.state
        self.said += [effect.text for effect in effects if isinstance(effect, Say)]
        if before.step.rpartition(".")[2] == "safety" and after.step not in (before.step, ""):
            self.acknowledged.add(before.facts.check)
        if after.step.rpartition(".")[2] == "safety":  # begun anew, or gone back to: to be acknowledged again
            self.acknowledged.discard(after.facts.check)
        self.check_readings(effects)
        for effect in effects:
            if isinstance(effect, Decided):
                self.check_verdict(effect)
            if isinstance(effect, Checked):
                self.check_judgement(effect)
        if before.phase is Phase.CONFIRMING and len(after.facts.readings) > len(before.facts.readings):
            assert event == Typed("yes") or before.guess is not None

    def check_readings(self, effects: tuple[Effect, ...]) -> None:
        """Every reading that stands was said back."""
        said = " ".join(self.said)
        for taken in self.talk.state.facts.readings:
            assert printed(taken.reading) in said
        asked = ("leads", "primary", "part", "gap")
        if any(isinstance(effect, Listen) and effect.expect.name in asked for effect in effects):
            assert self.talk.state.facts.check in self.acknowledged

    def check_judgement(self, checked: Checked) -> None:
        """No part is condemned on a single reading, or on a single try."""
        judgement = checked.judgement
        if judgement.kind is PartKind.FAULT:
            faults = [result for result in judgement.results if result.stand is Stand.FAULT]
            assert faults or judgement.jumped == (False, False)
            assert all(len(result.attempts) > 1 for result in faults)
        facts = replace(self.talk.state.facts, judged=())
        assert judge_part(part_case(BENCH, facts)) == judgement

    def check_verdict(self, decided: Decided) -> None:
        """Nothing is condemned on a single reading, and nothing that speaks against a coil stands without a yes."""
        facts = self.talk.state.facts
        if decided.verdict.kind in FAULTS:
            condemned = Tap.PRIMARY if decided.verdict.kind is VerdictKind.PRIMARY_FAULT else Tap.SECONDARY
            hot = (
                decided.verdict.row == WARM_TAPS[condemned].fault
            )  # it reads well cold, and breaks twice when it is hot
            assert len(facts.at(WARM_STEPS[condemned] if hot else condemned.value)) >= 2
            assert (decided.verdict.result(condemned).kind in AGAINST) is not hot
        assert judge(case_of(BENCH, facts)) == decided.verdict

    @rule(data=st.data())
    def sensible(self, data: st.DataObject) -> None:
        self.feed(Typed(data.draw(st.sampled_from(SENSIBLE[self.talk.state.expect.name]))))

    @rule(data=st.data(), count=st.integers(2, 12))
    def sensible_for_a_while(self, data: st.DataObject, count: int) -> None:
        for _ in range(count):
            self.sensible(data)
            if self.talk.state.timed:
                self.time_passes()

    @rule(line=st.sampled_from(COMMANDS + NONSENSE))
    def other(self, line: str) -> None:
        self.feed(Typed(line))

    @rule(words=st.sampled_from(PRIMARY + SECONDARY + COMMANDS), gap=st.sampled_from([0.0, 0.5, 50.0]))
    def heard(self, words: str, gap: float) -> None:
        self.talk.hear(words, "four", gap=gap)
        self.said += [effect.text for effect in self.talk.effects[-12:] if isinstance(effect, Say)]

    @rule(event=st.sampled_from([DeviceFailed("microphone", "Gone."), DeviceBack("microphone"), TakenUp()]))
    def device(self, event: object) -> None:
        self.feed(event)

    @precondition(lambda self: self.talk.state.timed)
    @rule()
    def time_passes(self) -> None:
        self.feed(SpeechEnded())
        self.feed(TimerFired("settle"))
        self.feed(TimerFired("quiet"))

    @rule(line=any_text(30))
    def anything(self, line: str) -> None:
        self.feed(Typed(line))

    @invariant()
    def stop_stops_at_once_and_loses_nothing(self) -> None:
        state = self.talk.state
        if state.phase in (Phase.NEW, Phase.CLOSED):
            return
        stopped, effects = step(BENCH, state, Typed("stop"))
        assert stopped.phase is Phase.CLOSED
        assert stopped.facts == state.facts
        assert isinstance(effects[-1], Finished)
        resumed, _ = step(BENCH, stopped, TakenUp())
        assert resumed.facts == state.facts
        ended, effects = step(BENCH, state, InputEnded())
        assert ended.phase is Phase.CLOSED

    @invariant()
    def there_is_always_a_question_open(self) -> None:
        state = self.talk.state
        if state.phase not in (Phase.NEW, Phase.CLOSED):
            assert state.last_said
            assert BENCH.procedure.step(state.step)

    def teardown(self) -> None:
        again = Conversation(BENCH)
        for event in self.talk.events:
            again.event(event)
        assert [effect_body(effect) for effect in again.effects] == [
            effect_body(effect) for effect in self.talk.effects
        ]


Talk.TestCase.settings = settings(
    max_examples=examples(60), stateful_step_count=45, deadline=None, suppress_health_check=list(HealthCheck)
)
TestTalk = pytest.mark.no_cover(Talk.TestCase)


def test_every_cell_of_the_table_is_written() -> None:
    assert all(len(row) == len(COLUMNS) for row in TABLE.values())
    assert set(TABLE) == set(type(next(iter(TABLE))))
