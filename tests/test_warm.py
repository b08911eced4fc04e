"""Secondary and primary once more while the coil is hot: what copper must do, what a break looks like, and how it is asked for."""

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from check_rows import CheckRow, rows
from coil_cases import POCKET, case, reading, readings
from conversation import Conversation
from records_cases import session

from assistant.dialogue.case import case_of
from assistant.dialogue.events import Decided, Save
from assistant.dialogue.state import Bench, Phase
from assistant.language import report_wording, verdict_wording
from assistant.measure.limits import ROOM_C
from assistant.measure.measured import Measured
from assistant.measure.verdict import Because, Case, Electronics, Reason, Tap, Verdict, VerdictKind, judge
from assistant.measure.warm import (
    BREAKS,
    HOTTEST_C,
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
    found = case(coil_at_c=row.number("t1_c"), warm_at_c=row.number("t2_c"))
    low, high = expected_span(found, row.number("r1_ohm"), Tap.SECONDARY)
    assert low < row.number("expected_r2_ohm") < high


def test_the_span_is_what_the_temperatures_leave_open() -> None:
    ohm = Decimal(1000)
    low, high = expected_span(case(coil_at_c=Decimal(20), warm_at_c=Decimal(80)), ohm, Tap.PRIMARY)
    assert float(low) == pytest.approx(1000 * (234.5 + 70) / (234.5 + 25))
    assert float(high) == pytest.approx(1000 * (234.5 + 90) / (234.5 + 15))
    low, high = expected_span(case(), ohm, Tap.SECONDARY)
    assert float(low) == pytest.approx(1000 * (234.5 + float(ROOM_C)) / (234.5 + 35))
    assert float(high) == pytest.approx(1000 * (234.5 + float(HOTTEST_C)) / (234.5 + 5))


@pytest.mark.parametrize("cold_ohm", [9_700, 14_000])
def test_any_cap_that_stayed_on_may_be_in_it_and_does_not_rise(cold_ohm: int) -> None:
    """None at all, or one of 12.5 kΩ at most; but no more than the whole reading."""
    told = case(coil_at_c=Decimal(20), warm_at_c=Decimal(80), cap_on=True)
    least, most = (234.5 + 70) / (234.5 + 25), (234.5 + 90) / (234.5 + 15)
    low, high = expected_span(told, Decimal(cold_ohm), Tap.SECONDARY)
    cap = min(cold_ohm, 12_500)
    assert float(low) == pytest.approx((cold_ohm - cap) * least + cap)
    assert float(high) == pytest.approx(cold_ohm * most)
    assert expected_span(told, Decimal(1), Tap.PRIMARY) == expected_span(
        replace(told, cap_on=False), Decimal(1), Tap.PRIMARY
    )


def test_a_reading_that_may_be_mostly_cap_need_not_rise() -> None:
    for cap_on, outcome, reason in (
        (True, Warm.AS_COPPER, Because.WARM_AS_COPPER),
        (False, Warm.LOWER, Because.WARM_LOWER),
    ):
        found = hot("9.70k", cold="9.70k", cap_on=cap_on)
        assert seen_warm(found, cold_of(found), found.warm[-1]) is outcome
        span = expected_span(found, cold_of(found).value_ohm, Tap.SECONDARY)
        assert Reason(reason, Tap.SECONDARY, *span) in judge(found).reasons


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


@pytest.mark.parametrize(
    ("warm", "warm_c", "told"),
    [("5.80k", None, True), ("3.10k", None, True), ("OL OL", None, False), ("5.80k", 80, False), ("OL OL", 80, False)],
)
def test_that_nobody_knows_how_hot_it_was_is_said_beside_a_value(warm: str, warm_c: int | None, *, told: bool) -> None:
    for tap, case_ in (
        (Tap.SECONDARY, hot(warm, warm_c=warm_c)),
        (Tap.PRIMARY, primary_hot(warm.replace("5.80k", "1.7").replace("3.10k", "0.5"), warm_c=warm_c)),
    ):
        assert (Reason(Because.WARM_TEMPERATURE_UNKNOWN, tap) in judge(case_).reasons) is told


def test_an_open_plug_cap_reads_the_same_hot_too() -> None:
    verdict = judge(hot("OL OL", cold="9.70k", cap_on=True))
    assert verdict.kind is VerdictKind.UNDECIDED
    assert Because.CAP_BEFORE_FAULT in because(verdict)


def test_leads_that_showed_no_value_may_be_what_breaks() -> None:
    verdict = judge(hot("OL OL", leads="OL"))
    assert verdict.kind is VerdictKind.UNDECIDED
    assert Because.LEADS_BEFORE_FAULT in because(verdict)


def primary_hot(
    warm: str, *, cold: str = "1.4", cold_c: int | None = 20, warm_c: int | None = 80, **more: object
) -> Case:
    """A case whose primary was read cold and hot, with a sound secondary."""
    temperatures = {"coil_at_c": cold_c, "warm_at_c": warm_c}
    found = {name: None if value is None else Decimal(value) for name, value in temperatures.items()}
    return case(cold, COLD, warm_primary=readings(warm), symptoms=("dies_hot",), **found, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("warm", "outcome"),
    [
        ("1.7", Warm.AS_COPPER),
        ("1.5", Warm.AS_COPPER),
        ("1.4", Warm.UNCLEAR),
        ("1.0", Warm.LOWER),
        ("2.1", Warm.UNCLEAR),
        ("2.6", Warm.HIGHER),
        ("100.2", Warm.HIGHER),
        ("100.3", Warm.OPEN),
        ("OL", Warm.OPEN),
        ("OL@200", Warm.OPEN),
        ("jumping", Warm.UNSTEADY),
    ],
)
def test_what_a_hot_primary_is(warm: str, outcome: Warm) -> None:
    """Copper puts 1.1 Ω at 20 °C (1.4 Ω less the leads) between 1.29 and 1.43 Ω at 80 °C; contacts differ by 0.1 Ω and 2 %."""
    found = primary_hot(warm)
    cold = judge(found).primary.measured
    assert cold is not None
    assert seen_warm(found, cold, found.warm_primary[-1], Tap.PRIMARY) is outcome


@pytest.mark.parametrize(
    ("warm", "kind", "row"),
    [
        ("1.7", VerdictKind.SOUND, "sound"),
        ("1.0", VerdictKind.UNDECIDED, "sound"),
        ("9.0", VerdictKind.UNDECIDED, "sound"),
        ("OL", VerdictKind.UNDECIDED, "sound"),
        ("OL OL", VerdictKind.PRIMARY_FAULT, "warm-primary-fault"),
        ("jumping 250", VerdictKind.PRIMARY_FAULT, "warm-primary-fault"),
        ("OL 1.7", VerdictKind.SOUND, "sound"),
    ],
)
def test_a_hot_primary_condemns_when_it_breaks_twice(warm: str, kind: VerdictKind, row: str) -> None:
    verdict = judge(primary_hot(warm))
    assert (verdict.kind, verdict.row) == (kind, row)
    assert (Because.WARM_ONCE in because(verdict)) == (warm == "OL")


def test_a_primary_too_small_to_tell_from_a_short_still_shows_a_break() -> None:
    assert judge(primary_hot("OL OL", cold="0.3")).kind is VerdictKind.PRIMARY_FAULT
    assert judge(primary_hot("0.4", cold="0.3")).kind is VerdictKind.SOUND
    assert judge(primary_hot("OL OL", cold="850", electronics=Electronics.YES)).kind is not VerdictKind.PRIMARY_FAULT


def test_an_open_primary_is_no_cap_and_needs_leads_that_conduct() -> None:
    assert judge(primary_hot("OL OL", cap_on=True)).kind is VerdictKind.PRIMARY_FAULT
    verdict = judge(primary_hot("OL OL", leads="OL"))
    assert verdict.kind is VerdictKind.UNDECIDED
    assert Because.LEADS_BEFORE_FAULT in because(verdict)


@pytest.mark.parametrize("secondary", ["OL OL", "OL", "jumping jumping"])
def test_where_both_break_at_once_the_core_contact_comes_first(secondary: str) -> None:
    verdict = judge(replace(primary_hot("OL OL"), warm=readings(secondary)))
    assert (verdict.kind, verdict.row) == (VerdictKind.UNDECIDED, "sound")
    assert verdict.reasons[-1] == Reason(Because.WARM_BOTH)
    assert "Clean the core" in verdict_wording.because(verdict)[-1]
    assert len(verdict.reasons) == len(set(verdict.reasons))


def test_one_winding_as_copper_does_not_excuse_the_other() -> None:
    for primary, secondary, kind in (
        ("1.7", "OL OL", VerdictKind.SECONDARY_FAULT),
        ("OL OL", "5.80k", VerdictKind.PRIMARY_FAULT),
        ("1.0", "5.80k", VerdictKind.UNDECIDED),
        ("1.7", "3.1k", VerdictKind.UNDECIDED),
        ("1.0", "OL OL", VerdictKind.SECONDARY_FAULT),
        ("1.7", "5.80k", VerdictKind.SOUND),
    ):
        assert judge(replace(primary_hot(primary), warm=readings(secondary))).kind is kind


def test_the_hot_primary_stands_in_the_record_and_on_the_page() -> None:
    found = replace(primary_hot("OL 1.7"), warm=readings("5.80k"))
    text = report_wording.report(judge(found), found, "14", "")
    assert "  Secondary, hot: 5.80 kΩ, at 80 °C\n  Primary, hot: over range, 1.7 Ω, at 80 °C\n" in text
    made = page(Sheet(judge(found), found)).replace("\u00a0", " ")
    assert '<th scope="row">Primary, hot</th><td>1.7 Ω</td><td>at 80 °C</td><td>–</td><td>over range</td>' in made


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
    text = report_wording.report(judge(found), found, "14", "")
    assert "Secondary, hot: over range, 5.80 kΩ, at 80 °C" in text
    made = page(Sheet(judge(found), found)).replace("\u00a0", " ")
    assert '<th scope="row">Secondary, hot</th><td>5.80 kΩ</td><td>at 80 °C</td><td>–</td><td>over range</td>' in made
    unknown = hot("5.80k", warm_c=None)
    assert "temperature not known" in report_wording.report(judge(unknown), unknown, "", "")
    assert "temperature not known" in page(Sheet(judge(unknown), unknown))
    assert "Secondary, hot" not in report_wording.report(judge(case("1.4", COLD)), case("1.4", COLD), "", "")


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
    assert "200 Ω range" in talk.type("5.80")
    assert talk.step == "warm_primary"
    assert "How hot is the coil" in talk.type("1.7")
    assert "how warm was the coil when it was read cold" in talk.type("80")
    said = talk.type("20")
    assert "Hot, the primary reads what its copper makes of the cold reading, 1.29 Ω to 1.43 Ω" in said
    assert "Hot, the secondary reads what its copper makes of the cold reading" in said
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
    talk.type("yes")
    assert "How hot" in talk.type("skip")
    assert "Secondary fault: the secondary or its connection opens when it is hot." in talk.type("not known")


@pytest.mark.parametrize("answer", [("no",), ("skip",), ("yes", "skip"), ("yes", "ready", "skip", "skip")])
def test_it_can_be_left_out(bench: Bench, answer: tuple[str, ...]) -> None:
    talk = Conversation(bench).to(*TO_OFFER, *answer)
    assert talk.step == "after"
    assert talk.readings().get("warm") is None


def test_skipping_the_second_reading_leaves_it_undecided(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_OFFER, "yes", "ready", "open loop", "yes")
    talk.type("skip")
    assert talk.step == "warm_primary"
    talk.type("skip")
    said = talk.type("not known")
    assert "That was read only once" in said
    assert talk.step == "after"


def test_a_hot_primary_that_opens_is_read_twice_before_the_word(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_OFFER, "yes", "ready", "5.80", "open loop")
    assert "Nothing is condemned on a single reading" in talk.type("yes")
    assert talk.step == "warm_primary"
    talk.type("open loop")
    assert "How hot" in talk.type("yes")
    talk.type("80")
    said = talk.type("20")
    assert "Primary fault: the primary or its tab connection opens when it is hot." in said
    assert "Hot, the primary reads open, or nearly so, though it reads well cold." in said


def test_both_hot_readings_left_out_is_the_verdict_as_it_was(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_OFFER, "yes", "ready", "skip", "skip")
    assert talk.step == "after"
    assert talk.state.verdict is not None
    assert talk.state.verdict.kind is VerdictKind.SOUND


def test_the_hot_primary_is_taken_without_the_secondary(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_OFFER, "yes", "ready", "skip", "1.7")
    assert talk.step == "warm_at"
    assert "Hot, the primary" in talk.type("not known")


def test_a_primary_that_reads_like_electronics_is_not_asked_for_hot(bench: Bench) -> None:
    talk = Conversation(bench).to(*TO_OFFER[:3], "yes", *TO_OFFER[4:10], "850 ohms", "yes", "4.70", "open loop", "yes")
    assert talk.step == "warm_offer"
    assert "How hot" in talk.to("yes", "ready").type("5.80")


def test_records_from_before_the_hot_primary_go_on_as_they_did(bench: Bench) -> None:
    steps = tuple(
        replace(step, skip="@verdict") if step.name == "warm" else step
        for step in bench.procedure.steps
        if step.name != "warm_primary"
    )
    older = replace(bench, procedure=replace(bench.procedure, steps=steps))
    talk = Conversation(older).to(*TO_OFFER, "yes", "ready")
    assert "How hot" in talk.type("5.80")
    assert Conversation(older).to(*TO_OFFER, "yes", "ready", "skip").step == "after"


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
    folder = session(tmp_path, *lines, "yes", "ready", "5.80", "1.7", "80", "20", "done")
    found = story(folder)
    assert not found.differs
    assert found.state.complete
    assert found.case.warm_at_c == 80
    assert POCKET.name == found.case.meter.name


@pytest.mark.parametrize(
    ("limits", "hot_at", "asked"), [(False, "80", True), (False, "not known", False), (True, "80", False)]
)
def test_how_cold_it_was_is_asked_where_it_counts_and_only_once(
    bench: Bench,
    limits: bool,  # noqa: FBT001 - a parameter of the test
    hot_at: str,
    asked: bool,  # noqa: FBT001 - the same
) -> None:
    given = ("yes", "0.8 ohms", "1.8 ohms", "none", "none", "20", "25") if limits else ("no",)
    no = TO_OFFER.index("done") + 1
    talk = Conversation(bench).to(*TO_OFFER[:no], *given, *TO_OFFER[no + 1 :])
    assert talk.step == "warm_offer"
    for line in ("yes", "ready", "5.80", "1.7", hot_at):
        talk.type(line)
    assert (talk.step == "cold_at") == asked
    if asked:
        talk.type("35")
        case_ = case_of(bench, talk.state.facts)
        assert case_.coil_at_c == Decimal(35)
    assert talk.step == "after"
