"""Edges, names and messages in `measure` that the other tests pass by; each was found by changing the code (DEVELOPERS.md, Tests)."""

from dataclasses import replace
from decimal import Decimal

import pytest
from coil_cases import METERS, POCKET, case, reading, readings

from assistant.errors import BadData, Problem
from assistant.measure.classify import classify
from assistant.measure.coil import Class, Tap, killtab_class
from assistant.measure.earlier import Agreement, Past, beside_earlier
from assistant.measure.explain import (
    BODY_OHM,
    beside_body,
    body_that_fits,
    cap_between,
    hidden_turns,
    prefix_that_fits,
    step_that_decides,
)
from assistant.measure.limits import CoilLimits, Limit, compared, conformity, probability_inside
from assistant.measure.measured import Measured, Part
from assistant.measure.meter import Range, load_meters
from assistant.measure.verdict import Because, Case, Electronics, Reason, judge
from assistant.measure.warm import Warm, expected_span, seen_warm

GOOD = """title = "a bench meter"
hand_set = true
[[range]]
full_ohm = 200
resolution_ohm = 0.1
percent = 0.8
counts = 3
offset_ohm = 2
"""


def faults(text: str) -> list[Problem]:
    with pytest.raises(BadData) as caught:
        load_meters({"mine": text})
    return list(caught.value.problems)


def test_a_profile_is_what_its_file_says() -> None:
    found = load_meters({"mine": GOOD})["mine"]
    assert (found.name, found.title, found.hand_set) == ("mine", "a bench meter", True)
    assert found.ranges == (Range(200, Decimal("0.1"), Decimal("0.8"), 3, Decimal(2)),)
    plain = load_meters({"mine": GOOD.replace("offset_ohm = 2\n", "")})["mine"]
    assert plain.ranges == (Range(200, Decimal("0.1"), Decimal("0.8"), 3, Decimal(0)),)


@pytest.mark.parametrize(
    ("old", "new", "where", "found", "expected"),
    [
        ("full_ohm = 200", "full_ohm = 0", "full_ohm", "0", "full scale in ohms, a whole number from 1"),
        (
            "resolution_ohm = 0.1",
            "resolution_ohm = 200",
            "resolution_ohm",
            "200",
            "ohms from 0.000001 and below full scale",
        ),
        ("percent = 0.8", "percent = 51", "percent", "51", "percent of reading, 0 to 50"),
        ("counts = 3", "counts = 0", "counts", "0", "a whole number from 1 (the last digit is among them)"),
        ("offset_ohm = 2", "offset_ohm = -1", "offset_ohm", "-1", "ohms from 0"),
        (
            "counts = 3",
            "counts = 3\ncolour = 1",
            "colour",
            "an unknown key",
            "one of full_ohm, resolution_ohm, percent, counts, offset_ohm",
        ),
    ],
)
def test_the_fault_of_a_range_in_its_own_words(old: str, new: str, where: str, found: str, expected: str) -> None:
    assert faults(GOOD.replace(old, new)) == [Problem(f"meters/mine.toml: range[0].{where}", found, expected)]


def test_the_faults_of_a_profile_in_their_own_words() -> None:
    (broken,) = faults("title = ")
    assert (broken.where, broken.expected) == ("meters/mine.toml", "valid TOML")
    assert "at end of document" in broken.found
    assert faults("title = 'x'\nhand_set = true\n") == [
        Problem("meters/mine.toml: range", "[]", "one [[range]] or more")
    ]
    upside_down = GOOD + GOOD.partition("hand_set = true\n")[2].replace("200", "100")
    assert faults(upside_down) == [
        Problem("meters/mine.toml: range[1].full_ohm", "100", "more than 200", "Put the lowest range first.")
    ]


# ---- explanations


def test_hands_explain_what_lies_on_their_edges() -> None:
    true_ohm = Decimal(100_000)
    for body_ohm in BODY_OHM:
        assert body_that_fits(true_ohm, beside_body(true_ohm, body_ohm)) == body_ohm
    assert body_that_fits(Decimal("0.9"), Decimal("0.8999999")) is None
    assert body_that_fits(Decimal(4_700), Decimal(0)) is None


def test_a_prefix_is_no_slip_where_the_value_itself_fits() -> None:
    band = (Decimal(1), Decimal(3_000))
    for fits in ("1", "2", "3000"):
        assert prefix_that_fits(Decimal(fits), band) is None
    assert prefix_that_fits(Decimal("0.9"), band) == 900


def test_a_cap_is_seen_on_the_edges_of_caps_and_of_windings() -> None:
    assert cap_between(Decimal(1_500), Decimal(7_500)) == 6_000
    assert cap_between(Decimal(1_499), Decimal(7_000)) is None
    assert cap_between(Decimal(2_000), Decimal(14_500)) == 12_500
    assert cap_between(Decimal(2_000), Decimal(9_500)) == 7_500


def test_a_winding_of_nothing_hides_everything() -> None:
    nothing = Measured(Decimal(0), (Part("display", 0.1),))
    assert hidden_turns(nothing, Decimal(10)) == (1.0, 1.0)


def test_a_step_that_just_decides_is_named() -> None:
    """Percent and leads nothing: then U is the counts of two displays alone, and the edge can be put exactly."""
    range_ = Range(200, Decimal("0.1"), Decimal(0), 1)
    limit = Limit(Decimal("1.00"), Decimal("1.10"))
    bare = Measured(Decimal("1.05"), (Part("display", 0.1 * 2**0.5 / 3**0.5),))
    assert step_that_decides(conformity(bare, limit), range_, Decimal(0)) == Decimal("0.01")
    # of the reading's own 10 %: 101 in place of 100 would let a digit more do
    rough = Range(200, Decimal("0.1"), Decimal(10), 1)
    wide = Limit(Decimal(80), Decimal(120))
    for most, wanted in ((Decimal("103.0"), None), (Decimal("103.6"), Decimal("0.01"))):
        limit = replace(wide, low_ohm=100 - (most - 80) / 2, high_ohm=100 + (most - 80) / 2)
        found = conformity(Measured(Decimal(100), (Part("gain", 10 / 3**0.5),)), limit)
        assert step_that_decides(found, rough, Decimal(0)) == wanted


def test_a_finer_meter_is_named_for_the_winding_it_is_about() -> None:
    limits = CoilLimits(Limit(Decimal("0.24"), Decimal("0.36")), Limit(Decimal(5_900), Decimal(5_910)))
    verdict = judge(case("0.6", "5.90k", limits=limits))
    finer = [reason for reason in verdict.reasons if reason.because in (Because.FINER_METER, Because.NO_FINER_METER)]
    assert [reason.tap for reason in finer] == [Tap.PRIMARY, Tap.SECONDARY]


def test_the_comparison_is_explained_by_both_windings() -> None:
    """P counts into what the comparison should be: 9 Ω of it move the cap that is found."""
    verdict = judge(case("9.3", "4.70k", "9.40k"))
    (cap,) = [reason for reason in verdict.reasons if reason.because is Because.CAP_BETWEEN]
    assert cap == Reason(Because.CAP_BETWEEN, Tap.KILLTAB, Decimal("4690.7") - Decimal("0.3") + Decimal("0.6"))
    verdict = judge(case("9.3", "4.70k", "4.50k"))
    bodies = [reason.tap for reason in verdict.reasons if reason.because is Because.BODY_BESIDE]
    assert bodies == [Tap.KILLTAB]


# ---- classes


def test_every_result_names_its_points_and_keeps_its_reading() -> None:
    for cold in (case("1.4", "4.70k", "4.70k"), case("1.4", "OL", "OL"), case("1.4", "19.9k", "OL@20000")):
        seen = classify(cold)
        for tap in Tap:
            for result, read in zip(seen.all_of(tap), cold.attempts(tap), strict=True):
                assert result.tap is tap
                assert result.reading == read
        killtab = judge(cold).killtab
        assert (killtab.tap, killtab.reading) == (Tap.KILLTAB, cold.killtab[-1])


def test_unclear_and_different_meet_at_the_doubt() -> None:
    expected, seen = Measured(Decimal(1_000), ()), Measured(Decimal(1_029), (Part("display", 4.0),))
    assert killtab_class(reading("1029"), seen, expected, Decimal(0)) is Class.UNCLEAR
    assert (
        killtab_class(reading("1029"), replace(seen, value_ohm=Decimal("1029.1")), expected, Decimal(0))
        is Class.DIFFERENT
    )


@pytest.mark.parametrize(("killtab", "kind"), [("4.5k", Class.HIGH), ("5.0k", Class.HIGH), ("5.1k", Class.DIFFERENT)])
def test_the_digits_said_are_allowed_for_when_the_primary_explains(killtab: str, kind: Class) -> None:
    seen = classify(case("800", "4.0k", killtab, meter=METERS["fine"], electronics=Electronics.NO))
    assert seen.killtab[-1].kind is kind


def test_probability_of_a_value_without_doubt_is_all_or_nothing() -> None:
    low, high = Decimal(1), Decimal(2)
    for value, inside in (("0.9", 0.0), ("1.5", 1.0), ("2.1", 0.0)):
        assert probability_inside(Decimal(value), 0.0, low, high) == inside
    assert probability_inside(Decimal("0.9"), 0.0, low, None) == 0.0


def test_what_a_temperature_adds_has_its_name() -> None:
    found = compared(Measured(Decimal(100), ()), Limit(Decimal(90), Decimal(110), Decimal(20)), None, cap_on=None)
    assert [part.name for part in found.referred.parts] == ["temperature of the coil"]


def test_a_comparison_with_the_past_names_its_points() -> None:
    for tap in (Tap.PRIMARY, Tap.SECONDARY):
        found = beside_earlier(tap, Measured(Decimal(5_000), ()), (Past(Decimal(5_000), 0.0),))
        assert found is not None
        assert (found.tap, found.agreement) == (tap, Agreement.AGREES)


# ---- hot


def test_no_temperature_of_a_hot_coil_is_believed_that_no_bench_has() -> None:
    with pytest.raises(ValueError, match="°C"):
        case("1.4", "4.70k", warm_at_c=Decimal(900))


def hot(warm: str, tap: Tap = Tap.SECONDARY, cold: str = "4.70k") -> tuple[Case, Measured]:
    found = case("1.4", cold, coil_at_c=Decimal(20), warm_at_c=Decimal(80))
    found = replace(found, warm=readings(warm)) if tap is Tap.SECONDARY else replace(found, warm_primary=readings(warm))
    measured = judge(found).result(tap).measured
    assert measured is not None
    return found, measured


def test_hot_classes_meet_exactly_where_they_should() -> None:
    found, cold = hot("5.80k")
    high_ohm = expected_span(found, cold.value_ohm, Tap.SECONDARY)[1]
    scatter_from_ohm = (high_ohm + 1) / Decimal("0.98")
    for beyond, outcome in ((Decimal("-0.01"), Warm.AS_COPPER), (Decimal("0.01"), Warm.UNCLEAR)):
        shown = f"{(scatter_from_ohm + beyond + Decimal('0.3')).quantize(Decimal('0.001')):f}"
        assert seen_warm(found, cold, reading(shown)) is outcome
    edge, _ = hot("OL")
    for full, outcome in ((5_700, Warm.BEYOND), (4_699, Warm.BEYOND), (20_000, Warm.OPEN)):
        assert seen_warm(edge, cold, reading(f"OL@{full}")) is outcome
    assert seen_warm(edge, cold, reading("100000.3")) is Warm.OPEN
    assert seen_warm(edge, cold, reading("100000.2")) is Warm.HIGHER


def test_one_range_shares_its_gain_between_cold_and_hot_and_nothing_else() -> None:
    """Doubt of the difference: the gain of the difference alone, two displays of the winding, and no leads."""
    found, cold = hot("4.70k")
    from assistant.measure.classify import less_leads  # noqa: PLC0415 - beside what it is compared with

    warm = less_leads(found, reading("4.70k"), Tap.SECONDARY, "warm secondary")
    assert warm is not None
    names = [part.name for part in (warm - cold).parts if part.u_ohm]
    assert sorted(names) == ["display at secondary", "display at warm secondary"]
    assert POCKET.name in warm.parts[0].name
