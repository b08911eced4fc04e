"""The classes of readings, their edges, and what comparing three readings of one coil says."""

from decimal import Decimal

import pytest
from check_rows import CheckRow, rows
from coil_cases import METERS, POCKET, case, plain, reading

from assistant.measure.classify import classify
from assistant.measure.coil import (
    CLASSES,
    LEADS_MOST_OHM,
    LEADS_NORMAL_MOST_OHM,
    PRIMARY_USUAL_OHM,
    SECONDARY_USUAL_OHM,
    Class,
    Stroke,
    Tap,
    cap_fits,
    primary_explains,
    with_caps,
)
from assistant.measure.limits import CoilLimits, Limit
from assistant.measure.meter import Meter
from assistant.measure.units import Numeral, Quantity, Reading, Shown, Unit
from assistant.measure.verdict import Because, Case, Electronics, judge

_STROKES = {"two": (Stroke.TWO,), "four": (Stroke.FOUR,), "any": tuple(Stroke)}
_FINE = METERS["fine"]


def primary(text: str, limits: Limit | None = None, meter: Meter = _FINE, leads: str = "") -> Class:
    found = classify(case(text, meter=meter, leads=leads, limits=CoilLimits(primary=limits)))
    return found.last(Tap.PRIMARY).kind


def secondary(
    text: str, stroke: Stroke = Stroke.FOUR, limits: Limit | None = None, *, cap_on: bool | None = None
) -> Class:
    found = classify(case("1.4", text, stroke=stroke, cap_on=cap_on, leads="", limits=CoilLimits(secondary=limits)))
    return found.last(Tap.SECONDARY).kind


# ---- bands of common practice


@pytest.mark.parametrize("row", rows("common_practice", "band"))
def test_the_usual_bands(row: CheckRow) -> None:
    for stroke in _STROKES[row["stroke"]]:
        band = PRIMARY_USUAL_OHM if row["winding"] == "primary" else SECONDARY_USUAL_OHM[stroke]
        assert band == (row.number("low_ohm"), row.number("high_ohm"))


_COMMON = {
    "inside_usual_band": {Class.USUAL},
    "not_a_cause_by_itself": {Class.NEAR},
    "cause": {Class.SUSPICIOUS, Class.BAD},
}


@pytest.mark.parametrize("row", rows("common_practice", "reading_in_band", "outside_band_not_a_cause", "cause"))
def test_readings_of_common_practice(row: CheckRow) -> None:
    """ "Cause" is a word of the shop; here it only names a class that is never judged on one reading."""
    text = row["reading_ohm"]
    for stroke in _STROKES[row["stroke"]]:
        found = primary(text) if row["winding"] == "primary" else secondary(text, stroke)
        assert found in _COMMON[row["expected"]]


@pytest.mark.parametrize("row", rows("common_practice", "coil_with_electronics"))
def test_a_wild_primary_decides_nothing_alone(row: CheckRow) -> None:
    found = judge(case(row["reading_ohm"], "4.2k", electronics=Electronics.YES))
    assert found.primary.kind is Class.SUSPICIOUS
    assert found.take == (Tap.KILLTAB,)


@pytest.mark.parametrize(
    "row", [*rows("common_practice", "lead_subtraction"), *rows("meter_display", "lead_subtraction")]
)
def test_leads_are_subtracted(row: CheckRow) -> None:
    text = row["reading_ohm"] or row["display_text"]
    found = classify(case(text, leads=row["lead_ohm"])).last(Tap.PRIMARY).measured
    assert found is not None
    assert found.value_ohm == pytest.approx(row.number("expected_ohm"), abs=row.number("tolerance_ohm"))


@pytest.mark.parametrize("row", [*rows("common_practice", "shorted_leads"), *rows("meter_display", "shorted_leads")])
def test_what_shorted_leads_may_read(row: CheckRow) -> None:
    found = row.number("reading_ohm" if "reading_ohm" in row.columns else "display_text")
    reasons = [reason.because for reason in judge(case("1.4", "4.2k", leads=f"{found}")).reasons]
    assert (found <= LEADS_NORMAL_MOST_OHM) == (
        (row["expected"] or row["expected_meaning"]) in ("fine_subtract", "normal")
    )
    assert (found > LEADS_MOST_OHM) == (row["expected_meaning"] == "replace_leads") == (Because.LEADS_HIGH in reasons)


# ---- edges


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0.49", Class.NEAR),
        ("0.50", Class.USUAL),
        ("2.50", Class.USUAL),
        ("2.51", Class.NEAR),
        ("10.00", Class.NEAR),
        ("10.01", Class.RAISED),
        ("99.99", Class.RAISED),
        ("100.00", Class.SUSPICIOUS),
        ("0.00", Class.TOO_SMALL),
        ("0.08", Class.TOO_SMALL),
        ("0.09", Class.NEAR),
        ("jumping", Class.SUSPICIOUS),
        ("OL@200", Class.SUSPICIOUS),
        ("OL", Class.SUSPICIOUS),
        ("999999M", Class.SUSPICIOUS),
        ("", Class.NOT_TAKEN),
    ],
)
def test_the_classes_of_a_primary(text: str, expected: Class) -> None:
    assert primary(text) is expected


@pytest.mark.parametrize(
    ("text", "low", "high", "expected"),
    [
        ("1.40", "0.8", "1.3", Class.NEAR),
        ("1.30", "0.8", "1.3", Class.USUAL),
        ("0.80", "0.8", "1.3", Class.USUAL),
        ("0.79", "0.8", "1.3", Class.NEAR),
        ("45.00", "30", "60", Class.USUAL),
        ("450.0", "300", "600", Class.USUAL),
        ("45.00", "0.8", "1.3", Class.RAISED),
        ("450.0", "0.8", "1.3", Class.SUSPICIOUS),
        ("0.04", "0.01", "1.3", Class.TOO_SMALL),
        ("OL", "0.8", "1.3", Class.SUSPICIOUS),
    ],
)
def test_the_maker_comes_before_common_practice_on_a_primary(text: str, low: str, high: str, expected: Class) -> None:
    assert primary(text, Limit(Decimal(low), Decimal(high))) is expected


def test_a_coarse_meter_cannot_tell_a_small_primary_from_a_short() -> None:
    assert primary("0.3", meter=POCKET, leads="0.1") is Class.TOO_SMALL
    assert primary("0.30", meter=_FINE, leads="0.10") is Class.NEAR


@pytest.mark.parametrize(
    ("text", "stroke", "expected"),
    [
        ("1.49k", Stroke.FOUR, Class.LOW),
        ("1.50k", Stroke.FOUR, Class.NEAR),
        ("2.49k", Stroke.FOUR, Class.NEAR),
        ("2.50k", Stroke.FOUR, Class.USUAL),
        ("5.00k", Stroke.FOUR, Class.USUAL),
        ("5.01k", Stroke.FOUR, Class.NEAR),
        ("4.99k", Stroke.TWO, Class.NEAR),
        ("5.00k", Stroke.TWO, Class.USUAL),
        ("10.00k", Stroke.TWO, Class.USUAL),
        ("10.01k", Stroke.TWO, Class.NEAR),
        ("2.50k", Stroke.UNKNOWN, Class.USUAL),
        ("10.00k", Stroke.UNKNOWN, Class.USUAL),
        ("20.0k", Stroke.FOUR, Class.NEAR),
        ("20.001k", Stroke.FOUR, Class.RAISED),
        ("99.9k", Stroke.FOUR, Class.RAISED),
        ("100.0k", Stroke.FOUR, Class.BAD),
        ("jumping", Stroke.FOUR, Class.BAD),
        ("jumping@20000", Stroke.FOUR, Class.BAD),
        ("OL", Stroke.FOUR, Class.BAD),
        ("OL@20000", Stroke.FOUR, Class.BEYOND),
        ("OL@200000", Stroke.FOUR, Class.BAD),
        ("OL@100000", Stroke.FOUR, Class.BAD),
        ("1001M", Stroke.FOUR, Class.BAD),
        ("1001M@20000", Stroke.FOUR, Class.BEYOND),
        ("4.7", Stroke.FOUR, Class.LOW),
        ("", Stroke.FOUR, Class.NOT_TAKEN),
    ],
)
def test_the_classes_of_a_secondary(text: str, stroke: Stroke, expected: Class) -> None:
    assert secondary(text, stroke) is expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [("1.20k", Class.USUAL), ("25.0k", Class.USUAL), ("150.0k", Class.USUAL), ("1.1k", Class.LOW), ("OL", Class.BAD)],
)
def test_the_maker_comes_before_common_practice_on_a_secondary(text: str, expected: Class) -> None:
    assert secondary(text, limits=Limit(Decimal(1_200), Decimal(150_000))) is expected


def test_outside_the_makers_limits_the_general_classes_hold() -> None:
    assert secondary("4.20k", limits=Limit(Decimal(5_900), Decimal(7_100))) is Class.NEAR


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("6.49k", Class.NEAR),
        ("6.50k", Class.USUAL),
        ("11.00k", Class.USUAL),
        ("11.01k", Class.NEAR),
        ("26.0k", Class.NEAR),
        ("26.1k", Class.RAISED),
        ("1.49k", Class.LOW),
    ],
)
def test_a_cap_left_on_moves_the_bands(text: str, expected: Class) -> None:
    assert secondary(text, cap_on=True) is expected


# ---- plug caps


@pytest.mark.parametrize("row", rows("cap_arithmetic", "coil_plus_caps", "forgotten_cap", "cap_from_difference"))
def test_a_coil_measured_through_its_caps(row: CheckRow) -> None:
    """The difference row is the same sum read backwards: its expected values are those of one cap."""
    coil = (row.number("coil_low_ohm"), row.number("coil_high_ohm"))
    if row["check"] == "cap_from_difference":
        cap = (row.number("expected_low_ohm"), row.number("expected_high_ohm"))
        expected = (row.number("published_low_ohm"), row.number("published_high_ohm"))
    else:
        cap = (row.number("cap_low_ohm"), row.number("cap_high_ohm"))
        expected = (row.number("expected_low_ohm"), row.number("expected_high_ohm"))
    assert with_caps(coil, int(row["caps_in_path"]), cap) == expected


@pytest.mark.parametrize("row", rows("series_parallel", "cap_in_series"))
def test_a_cap_in_series(row: CheckRow) -> None:
    coil, cap = row.number("secondary_ohm"), row.number("cap_ohm")
    assert with_caps((coil, coil), int(row["caps_in_path"]), (cap, cap))[0] == row.number("expected_ohm")


@pytest.mark.parametrize("row", rows("cap_arithmetic", "forgotten_cap"))
def test_a_forgotten_cap_is_offered_as_an_explanation(row: CheckRow) -> None:
    """The maker's limits are those of the coil alone; the reading is the coil with its cap."""
    coil = row.number("coil_low_ohm")
    limits = CoilLimits(secondary=Limit(coil - 500, coil + 500))
    found = judge(
        Case(POCKET, primary=(reading("1.4"),), secondary=(plain(row.number("expected_low_ohm")),), limits=limits)
    )
    hint = next(reason for reason in found.reasons if reason.because is Because.CAP_STILL_ON)
    assert hint.low_ohm is not None
    assert hint.high_ohm is not None
    assert hint.low_ohm <= coil <= hint.high_ohm


def test_a_cap_explains_only_what_it_fits() -> None:
    band = (Decimal(5_000), Decimal(6_000))
    assert cap_fits(Decimal(6_000), band) is None
    assert cap_fits(Decimal(6_000), (Decimal(1_000), Decimal(6_000))) is None
    assert cap_fits(Decimal(6_001), band) is None
    assert cap_fits(Decimal(9_000), band) == (Decimal(3_000), Decimal(5_000))
    assert cap_fits(Decimal(12_000), band) == (Decimal(6_000), Decimal(8_000))
    assert cap_fits(Decimal(12_200), band) is None
    assert cap_fits(Decimal(12_500), band) == (Decimal(0), Decimal(5_000))
    assert cap_fits(Decimal(18_500), band) == (Decimal(6_000), Decimal(11_000))
    assert cap_fits(Decimal(18_501), band) is None


@pytest.mark.parametrize(("cap_on", "asked"), [(None, True), (False, False), (True, False)])
def test_the_cap_is_asked_about_only_when_nobody_said(cap_on: bool | None, asked: bool) -> None:  # noqa: FBT001 - parameters of the test
    found = judge(case("1.4", "9.00k", stroke=Stroke.FOUR, cap_on=cap_on))
    assert any(reason.because is Because.CAP_STILL_ON for reason in found.reasons) is asked
    assert any(reason.because is Because.CAP_COUNTED for reason in found.reasons) is (cap_on is True)


def test_limits_that_hold_with_the_cap_on_raise_no_question_about_it() -> None:
    for limit_cap, asked in ((True, False), (None, True), (False, True)):
        limits = CoilLimits(secondary=Limit(Decimal(4_000), Decimal(5_000), cap_on=limit_cap))
        found = judge(case("1.4", "9.00k", limits=limits))
        assert any(reason.because is Because.CAP_STILL_ON for reason in found.reasons) is asked


def test_a_limit_without_an_upper_side_asks_by_the_usual_band() -> None:
    limits = CoilLimits(secondary=Limit(Decimal(12_000), None))
    found = judge(case("1.4", "9.00k", stroke=Stroke.FOUR, limits=limits))
    assert any(reason.because is Because.CAP_STILL_ON for reason in found.reasons)


def test_a_cap_larger_than_the_reading_leaves_nothing() -> None:
    limits = CoilLimits(secondary=Limit(None, Decimal(3_000)))
    found = judge(case("1.4", "4.00k", leads="", limits=limits))
    hint = next(reason for reason in found.reasons if reason.because is Because.CAP_STILL_ON)
    assert (hint.low_ohm, hint.high_ohm) == (Decimal(0), Decimal(0))


# ---- three readings of one coil

_SERIES = (Because.KILLTAB_AGREES, Because.KILLTAB_DIFFERS)


def _on(ohms: str, range_ohm: str) -> Reading:
    if ohms == "OL":
        return Reading(Shown.OVER_RANGE, range_ohm=int(range_ohm))
    return Reading(Shown.VALUE, Quantity(Numeral(ohms), Unit.OHM), range_ohm=int(range_ohm))


@pytest.mark.parametrize("row", rows("series_parallel", "series_three_readings"))
def test_three_readings_of_one_coil_agree(row: CheckRow) -> None:
    """Both published rules agree: so do we. Where they do not, the reading is at least no contradiction."""
    meter = METERS["pocket" if row["primary_range_ohm"] == "200" else "auto"]
    shown = [_on(row[f"{name}_ohm"], row[f"{name}_range_ohm"]) for name in ("primary", "secondary", "kill_to_lead")]
    seen = classify(Case(meter, primary=(shown[0],), secondary=(shown[1],), killtab=(shown[2],)))
    p, s, k = (seen.last(tap) for tap in Tap)
    assert p.measured is not None
    assert s.measured is not None
    total = p.measured + s.measured
    assert total.value_ohm == pytest.approx(row.number("expected_ohm"), abs=row.number("tolerance_ohm"))
    rules = {row["expected_consistent_sum_rule"], row["expected_consistent_rss_rule"]}
    if k.measured is None:
        assert rules == {"no"}
        assert k.kind is Class.OPEN
        return
    difference = k.measured - total
    assert difference.value_ohm == pytest.approx(row.number("expected_difference_ohm"), abs=row.number("tolerance_ohm"))
    # the readings share a gain, so the doubt of the difference is at most that of three independent readings
    assert difference.expanded_ohm <= float(row.number("expected_limit_rss_k2_ohm")) + 0.01
    expected = {("yes",): {Class.SAME}, ("no",): {Class.DIFFERENT}, ("no", "yes"): {Class.SAME, Class.UNCLEAR}}
    assert k.kind in expected[tuple(sorted(rules))]


@pytest.mark.parametrize(
    ("p", "s", "k", "expected"),
    [
        ("1.4", "4.20k", "4.20k", Class.SAME),
        ("1.4", "4.20k", "4.30k", Class.SAME),
        ("1.4", "4.20k", "4.32k", Class.UNCLEAR),
        ("1.4", "4.20k", "4.36k", Class.UNCLEAR),
        ("1.4", "4.20k", "4.40k", Class.DIFFERENT),
        ("1.4", "4.20k", "4.00k", Class.DIFFERENT),
        ("1.4", "4.2k", "4.4k", Class.SAME),
        ("300", "4.20k", "4.20k", Class.SAME),
        ("300", "4.20k", "4.50k", Class.HIGH),
        ("300", "4.20k", "4.70k", Class.DIFFERENT),
        ("300", "4.20k", "3.90k", Class.DIFFERENT),
        ("11", "6.50k", "13.00k", Class.DIFFERENT),
        ("50k", "4.20k", "9.00k", Class.HIGH),
        ("OL", "4.20k", "9.00k", Class.HIGH),
        ("OL", "4.20k", "3.00k", Class.DIFFERENT),
        ("jumping", "4.20k", "9.00k", Class.HIGH),
        ("1.4", "4.20k", "9.00k", Class.DIFFERENT),
        ("9.0", "1.50k", "1.51k", Class.SAME),
        ("OL", "4.20k", "4.20k", Class.SAME),
        ("1.4", "4.20k", "OL", Class.OPEN),
        ("1.4", "4.20k", "OL@20000", Class.OPEN),
        ("1.4", "19.80k", "OL@20000", Class.UNCLEAR),
        ("1.4", "19.60k", "OL@20000", Class.OPEN),
        ("OL", "10.00k", "OL@10200", Class.UNCLEAR),
        ("OL", "10.00k", "OL@10201", Class.OPEN),
        ("OL", "4.200k", "4.287k", Class.SAME),
        ("OL", "4.200k", "4.288k", Class.UNCLEAR),
        ("OL", "4.200k", "4.113k", Class.SAME),
        ("OL", "4.200k", "4.112k", Class.UNCLEAR),
        ("1.4", "4.20k", "jumping", Class.UNSTEADY),
        ("1.4", "OL", "4.20k", Class.SAME),
        ("1.4", "OL", "OL", Class.OPEN),
        ("1.4", "OL@20000", "4.20k", Class.SAME),
        ("1.4", "OL", "1.49k", Class.DIFFERENT),
        ("1.4", "OL", "25.0k", Class.DIFFERENT),
        ("1.4", "OL", "99.9k", Class.DIFFERENT),
        ("1.4", "OL", "100.0k", Class.HIGH),
        ("1.4", "", "4.20k", Class.UNCLEAR),
        ("1.4", "", "OL", Class.OPEN),
    ],
)
def test_the_classes_of_the_comparison(p: str, s: str, k: str, expected: Class) -> None:
    assert classify(case(p, s, k, leads="")).last(Tap.KILLTAB).kind is expected


def test_a_comparison_inside_the_makers_limits_is_a_good_coil() -> None:
    limits = CoilLimits(secondary=Limit(Decimal(24_000), Decimal(26_000)))
    assert classify(case("1.4", "OL", "25.0k", limits=limits)).last(Tap.KILLTAB).kind is Class.SAME


@pytest.mark.parametrize(
    ("most_ohm", "k", "expected"),
    [
        ("26000", "OL@20000", Class.UNCLEAR),
        ("19600", "OL@20000", Class.OPEN),
        ("19608", "OL@20000", Class.UNCLEAR),
        ("26000", "OL@200000", Class.OPEN),
        ("26000", "OL", Class.OPEN),
        ("26000", "jumping@20000", Class.UNSTEADY),
    ],
)
def test_over_range_where_a_good_coil_would_be_too_is_not_open(most_ohm: str, k: str, expected: Class) -> None:
    limits = CoilLimits(secondary=Limit(Decimal(10_000), Decimal(most_ohm)))
    assert classify(case("1.4", "OL OL", k, limits=limits)).last(Tap.KILLTAB).kind is expected
    floor = CoilLimits(secondary=Limit(Decimal(10_000), None))
    assert classify(case("1.4", "OL OL", "OL@20000", limits=floor)).last(Tap.KILLTAB).kind is Class.OPEN


@pytest.mark.parametrize(
    ("k_ohm", "p_ohm", "explained"),
    [
        (4_200, None, False),
        (4_201, None, True),
        (4_200, 300, False),
        (4_201, 300, True),
        (4_600, 300, True),
        (4_601, 300, False),
    ],
)
def test_a_primary_explains_no_more_than_it_reads(k_ohm: int, p_ohm: int | None, explained: bool) -> None:  # noqa: FBT001 - a parameter of the test
    """4.5 kΩ together; 2 % scatter, 1 Ω and 9 Ω of last digits make 100 Ω."""
    p = None if p_ohm is None else Decimal(p_ohm)
    assert primary_explains(Decimal(k_ohm), Decimal(4_200), p, Decimal(9)) is explained


def test_the_comparison_goes_through_both_windings() -> None:
    limits = CoilLimits(primary=Limit(Decimal(400), Decimal(600)))
    assert classify(case("500", "4.20k", "4.70k", limits=limits, leads="")).last(Tap.KILLTAB).kind is Class.SAME
    assert classify(case("500", "4.20k", "4.20k", limits=limits, leads="")).last(Tap.KILLTAB).kind is Class.DIFFERENT


def test_a_dial_set_by_hand_stands_where_the_procedure_put_it() -> None:
    seen = classify(case("1.4", "1.90k", "1.90k", leads=""))
    for tap in (Tap.SECONDARY, Tap.KILLTAB):
        measured = seen.last(tap).measured
        assert measured is not None
        assert "gain of pocket on 20000 Ω" in {part.name for part in measured.parts}


def test_what_no_meter_shows_is_no_value() -> None:
    most, more = (classify(case("1.4", text, leads="")).last(Tap.SECONDARY).measured for text in ("1000M", "1001M"))
    assert most is not None
    assert more is None


# ---- leads


@pytest.mark.parametrize(
    ("text", "leads", "value"),
    [
        ("0.3", "0.5", "0"),
        ("0.3", "0.8", "0"),
        ("0.3", "0.9", "0.3"),
        ("1.4", "OL", "1.4"),
        ("1.4", "jumping", "1.4"),
        ("1.4", "", "1.4"),
    ],
)
def test_leads_never_make_a_reading_negative(text: str, leads: str, value: str) -> None:
    """Leads that read more than half an ohm above the coil are not believed and not subtracted."""
    found = classify(case(text, leads=leads)).last(Tap.PRIMARY).measured
    assert found is not None
    assert found.value_ohm == Decimal(value)


@pytest.mark.parametrize(
    ("leads", "because"),
    [
        ("", Because.LEADS_NOT_TAKEN),
        ("OL", Because.LEADS_OPEN),
        ("jumping", Because.LEADS_OPEN),
        ("1.1", Because.LEADS_HIGH),
    ],
)
def test_leads_that_are_not_right_are_mentioned(leads: str, because: Because) -> None:
    assert because in [reason.because for reason in judge(case("1.4", "4.2k", leads=leads)).reasons]


@pytest.mark.parametrize(
    ("text", "leads", "said"),
    [("0.3", "0.9", True), ("0.3", "0.8", False), ("1.4", "1.0", False), ("OL", "0.9", False)],
)
def test_leads_that_read_more_than_the_coil_are_mentioned(text: str, leads: str, said: bool) -> None:  # noqa: FBT001 - a parameter of the test
    found = [reason.because for reason in judge(case(text, "4.2k", leads=leads)).reasons]
    assert (Because.LEADS_NOT_BELIEVED in found) is said


def test_leads_of_one_ohm_are_not_too_high() -> None:
    assert all(reason.because is not Because.LEADS_HIGH for reason in judge(case("2.4", "4.2k", leads="1.0")).reasons)


def test_every_class_belongs_to_a_pair_of_points() -> None:
    assert {kind for kinds in CLASSES.values() for kind in kinds} == set(Class)
