"""The secondary once more while the coil is hot: what copper must do, what a break looks like, and how it is asked for."""

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from check_rows import CheckRow, rows
from coil_cases import POCKET, case, reading, readings
from conversation import Conversation
from records_cases import session

from assistant.dialogue.events import Decided, Save
from assistant.dialogue.state import Bench, Phase
from assistant.language import verdict_wording
from assistant.measure.measured import Measured
from assistant.measure.verdict import Because, Case, Verdict, VerdictKind, judge
from assistant.measure.warm import (
    BREAKS,
    HOTTEST_C,
    ROOM_C,
    TRIES,
    WARM,
    Warm,
    breaks_twice,
    expected_span,
    seen_warm,
    wants_again,
)
from assistant.records.story import story
from assistant.report.page import page
from assistant.report.sheet import Sheet

COLD = "4.70k"


def hot(warm: str, *, cold_c: int | None = 20, warm_c: int | None = 80, cold: str = COLD, **more: object) -> Case:
    """A case whose secondary was read cold and, with spaces between, hot."""
    temperatures = {"coil_at_c": cold_c, "warm_at_c": warm_c}
    found = {name: None if value is None else Decimal(value) for name, value in temperatures.items()}
    return case("1.4", cold, warm=readings(warm), symptoms=("dies_hot",), **found, **more)  # type: ignore[arg-type]


def cold_of(found: Case) -> Measured:
    measured = judge(found).secondary.measured
    assert measured is not None
    return measured


def because(verdict: Verdict) -> set[Because]:
    return {reason.because for reason in verdict.reasons}


# ---- what copper must do


@pytest.mark.parametrize("row", rows("copper_temperature", "two_temperature"))
def test_copper_of_the_check_file_lies_inside_the_span(row: CheckRow) -> None:
    if row["k_c"] not in ("", "234.5"):
        pytest.skip("this row is about another metal")
    low, high = expected_span(row.number("r1_ohm"), row.number("t1_c"), row.number("t2_c"))
    assert low < row.number("expected_r2_ohm") < high


def test_the_span_is_what_the_temperatures_leave_open() -> None:
    ohm = Decimal(1000)
    low, high = expected_span(ohm, Decimal(20), Decimal(80))
    assert float(low) == pytest.approx(1000 * (234.5 + 70) / (234.5 + 25))
    assert float(high) == pytest.approx(1000 * (234.5 + 90) / (234.5 + 15))
    low, high = expected_span(ohm, None, None)
    assert float(low) == pytest.approx(1000 * (234.5 + float(ROOM_C)) / (234.5 + 35))
    assert float(high) == pytest.approx(1000 * (234.5 + float(HOTTEST_C)) / (234.5 + 5))


@pytest.mark.parametrize(
    ("warm", "outcome"),
    [
        ("5.80k", Warm.AS_COPPER),
        ("5.41k", Warm.AS_COPPER),
        ("5.40k", Warm.UNCLEAR),
        ("5.34k", Warm.UNCLEAR),
        ("5.33k", Warm.LOWER),
        ("5.20k", Warm.LOWER),
        ("4.70k", Warm.LOWER),
        ("3.10k", Warm.LOWER),
        ("7.40k", Warm.HIGHER),
        ("98k", Warm.HIGHER),
        ("2.1M", Warm.OPEN),
        ("OL", Warm.OPEN),
        ("OL@20000", Warm.OPEN),
        ("OL@2000", Warm.BEYOND),
        ("jumping", Warm.UNSTEADY),
    ],
)
def test_what_a_hot_reading_is(warm: str, outcome: Warm) -> None:
    found = hot(warm)
    assert seen_warm(found, cold_of(found), found.warm[-1]) is outcome


def test_a_range_that_a_hot_coil_outgrows_says_nothing() -> None:
    found = hot("OL@20000", cold="18.0k")
    assert seen_warm(found, cold_of(found), found.warm[-1]) is Warm.BEYOND
    assert wants_again(found, cold_of(found))


def test_without_temperatures_less_is_decided() -> None:
    for warm in ("4.70k", "5.80k", "6.9k"):
        found = hot(warm, cold_c=None, warm_c=None)
        assert seen_warm(found, cold_of(found), found.warm[-1]) is Warm.AS_COPPER


def test_the_hot_reading_has_doubts_of_its_own() -> None:
    """The gain is shared and cancels as far as it goes; the display's error is another one each time."""
    found = hot("4.70k", cold_c=None, warm_c=None)
    assert seen_warm(found, cold_of(found), reading("4.70k")) is Warm.AS_COPPER
    names = {part.name for part in cold_of(found).parts}
    assert "display at secondary" in names
    assert "display at warm secondary" not in names


# ---- what it makes of the verdict


def test_every_outcome_has_a_row_and_a_sentence() -> None:
    assert set(WARM) == set(Warm)
    assert {outcome for outcome, row in WARM.items() if row.kind is VerdictKind.SECONDARY_FAULT} == BREAKS


@pytest.mark.parametrize(
    ("warm", "kind", "row"),
    [
        ("5.80k", VerdictKind.SOUND, "sound"),
        ("OL@2000", VerdictKind.SOUND, "sound"),
        ("3.10k", VerdictKind.UNDECIDED, "sound"),
        ("5.35k", VerdictKind.UNDECIDED, "sound"),
        ("8.00k", VerdictKind.UNDECIDED, "sound"),
        ("OL", VerdictKind.UNDECIDED, "sound"),
        ("5.80k OL", VerdictKind.UNDECIDED, "sound"),
        ("OL OL", VerdictKind.SECONDARY_FAULT, "warm-fault"),
        ("jumping OL", VerdictKind.SECONDARY_FAULT, "warm-fault"),
        ("OL 2.1M", VerdictKind.SECONDARY_FAULT, "warm-fault"),
        ("OL 5.80k", VerdictKind.SOUND, "sound"),
    ],
)
def test_a_hot_break_condemns_when_it_was_read_twice(warm: str, kind: VerdictKind, row: str) -> None:
    verdict = judge(hot(warm))
    assert (verdict.kind, verdict.row) == (kind, row)
    assert "warm again" not in verdict.next
    assert "cold only" not in verdict.unproven
    assert (Because.WARM_ONCE in because(verdict)) == (warm in ("OL", "5.80k OL"))


def test_the_fault_is_named_as_the_one_it_is() -> None:
    verdict = judge(hot("OL OL"))
    assert verdict_wording.say(verdict) == "Secondary fault: the secondary or its connection opens when it is hot."
    assert "rest of engine" in verdict.unproven
    assert verdict.next[0] == "manual"
    assert "Hot, the secondary reads open, or nearly so" in " ".join(verdict_wording.because(verdict))
    once = judge(hot("OL"))
    assert "fault" not in verdict_wording.say(once).lower()


def test_an_open_plug_cap_reads_the_same_hot_too() -> None:
    verdict = judge(hot("OL OL", cold="9.70k", cap_on=True))
    assert verdict.kind is VerdictKind.UNDECIDED
    assert Because.CAP_BEFORE_FAULT in because(verdict)


def test_leads_that_showed_no_value_may_be_what_breaks() -> None:
    verdict = judge(hot("OL OL", leads="OL"))
    assert verdict.kind is VerdictKind.UNDECIDED
    assert Because.LEADS_BEFORE_FAULT in because(verdict)


def test_electronics_stay_electronics_unless_the_hot_secondary_breaks() -> None:
    seen = case("850", COLD, "OL", warm=readings("5.80k"))
    assert judge(seen).kind is VerdictKind.ELECTRONICS
    broken = case("850", COLD, "OL", warm=readings("OL OL"))
    assert judge(broken).kind is VerdictKind.SECONDARY_FAULT


@pytest.mark.parametrize(
    "cold", [case("1.4", "OL OL", "OL"), case("1.4", ""), case("1.4", "50k 50k"), case("850", COLD)]
)
def test_nothing_hot_counts_beside_a_cold_reading_that_is_no_good(cold: Case) -> None:
    assert judge(replace(cold, warm=readings("5.80k"))) == judge(cold)


def test_it_is_asked_for_again_no_more_often_than_it_helps() -> None:
    for warm, again in (
        ("", False),
        ("5.8k", False),
        ("OL", True),
        ("OL OL", False),
        ("OL 5.8k", False),
        ("5.8k OL", True),
    ):
        found = hot(warm)
        assert wants_again(found, cold_of(found)) is again, warm
    found = hot("OL OL")
    assert breaks_twice(found, cold_of(found))
    assert len(hot("OL 5.8k OL").warm) == TRIES


def test_the_written_record_and_the_page_have_it() -> None:
    found = hot("OL 5.80k")
    text = verdict_wording.report(judge(found), found, "14", "")
    assert "Secondary, hot: over range, 5.80 kΩ, at 80 °C" in text
    made = page(Sheet(judge(found), found)).replace("\u00a0", " ")
    assert '<th scope="row">Secondary, hot</th><td>5.80 kΩ</td><td>at 80 °C</td><td>–</td><td>over range</td>' in made
    unknown = hot("5.80k", warm_c=None)
    assert "temperature not known" in verdict_wording.report(judge(unknown), unknown, "", "")
    assert "temperature not known" in page(Sheet(judge(unknown), unknown))
    assert "Secondary, hot" not in verdict_wording.report(judge(case("1.4", COLD)), case("1.4", COLD), "", "")


# ---- how it is asked for

TO_OFFER = (
    "ready",
    "14",
    "four stroke",
    "no",
    "dies when hot",
    "done",
    "no",
    "pocket",
    "done",
    "0.3",
    "1.4",
    "4.70",
    "no",
)


def test_it_is_offered_when_it_fails_hot_and_taken_step_by_step(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_OFFER)
    assert talk.step == "warm_offer"
    caution = talk.type("yes")
    assert "never a flame" in caution
    assert "Never measure ohms on a running or charged circuit" in caution
    assert "20 kΩ range" in talk.type("ready")
    assert "How hot is the coil" in talk.type("5.80")
    said = talk.type("80")
    assert "as much higher as its copper must" in said
    assert talk.step == "after"
    assert talk.state.verdict is not None
    assert talk.state.verdict.kind is VerdictKind.SOUND
    assert [isinstance(effect, Decided) for effect in talk.effects].count(True) == 2
    assert "Secondary, hot: 5.80 kΩ" in [effect.text for effect in talk.effects if isinstance(effect, Save)][-1]
    talk.type("done")
    assert talk.phase is Phase.CLOSED


def test_a_hot_break_is_read_twice_before_the_word(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_OFFER, "yes", "ready")
    talk.type("open loop")
    said = talk.type("yes")
    assert "Nothing is condemned on a single reading" in said
    assert talk.step == "warm"
    assert "200 kΩ range" in said
    talk.type("it's jumping around")
    assert "How hot" in talk.type("yes")
    assert "Secondary fault: the secondary or its connection opens when it is hot." in talk.type("not known")


@pytest.mark.parametrize("answer", [("no",), ("skip",), ("yes", "skip")])
def test_it_can_be_left_out(bench: Bench, answer: tuple[str, ...]) -> None:
    talk = Conversation(bench).to(*TO_OFFER, *answer)
    assert talk.step == "after"
    assert talk.readings().get("warm") is None


def test_skipping_the_second_reading_leaves_it_undecided(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_OFFER, "yes", "ready", "open loop", "yes")
    said = talk.type("skip")
    assert "That was read only once" in said
    assert talk.step == "after"


@pytest.mark.parametrize("other", ["no spark", "none"])
def test_it_is_not_offered_to_an_engine_that_does_not_fail_hot(bench: Bench, other: str) -> None:
    told = ("ready", "14", "four stroke", "no", other, *(() if other == "none" else ("done",)))
    assert Conversation(bench).to(*told, "no", "pocket", "done", "0.3", "1.4", "4.70", "no").step == "after"


def test_procedures_of_older_records_do_not_know_it(bench: Bench) -> None:
    steps = tuple(step for step in bench.procedure.steps if not step.name.startswith("warm"))
    older = replace(bench, procedure=replace(bench.procedure, steps=steps))
    assert Conversation(older).to(*TO_OFFER).step == "after"


def test_a_session_with_it_is_kept_and_read_back(tmp_path: Path) -> None:
    lines = ("ready", "four stroke", "no", "dies when hot", "done", "no", "done", "0.3", "1.4", "4.70", "no")
    folder = session(tmp_path, *lines, "yes", "ready", "5.80", "80", "done")
    found = story(folder)
    assert not found.differs
    assert found.state.complete
    assert found.case.warm_at_c == 80
    assert POCKET.name == found.case.meter.name
