"""Parts beside the coil: what a reading is, when it stands, and what a spark across a gap says."""

from dataclasses import dataclass, replace
from decimal import Decimal

import pytest
from check_rows import CheckRow, rows
from coil_cases import METERS, POCKET, reading, readings
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.language import check_wording
from assistant.measure.limits import Limit
from assistant.measure.meter import Meter
from assistant.measure.parts import AGAINST, Finding, Item, Judgement, PartCase, PartKind, Stand, Wants, judge_part
from assistant.measure.spark_gap import GAPS_MM, NEEDLES, SPHERES_25MM, across, is_gap
from assistant.measure.units import Reading
from assistant.preflight import load_bench, read_files

BANDS = ((Decimal(600), Decimal(1100)), (Decimal(4000), Decimal(6000)))
BAND = Item("x.part", "the part", Wants.BAND, BANDS, "a source")
LIMITS = Limit(Decimal(100), Decimal(200))


def judged(item: Item, attempts: str, **more: object) -> Judgement:
    known = {"leads": reading("0.3"), **more}
    return judge_part(PartCase("x", "part", POCKET, (item,), (readings(attempts),), **known))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("wants", "attempts", "limit", "finding", "stand", "kind"),
    [
        ("band", "5.1k", None, "usual", "well", "nothing-found"),
        ("band", "0.6k", None, "outside the usual", "well", "nothing-found"),  # less the leads, 0.3 Ω too low
        ("band", "3.9k", None, "outside the usual", "well", "nothing-found"),
        ("band", "120k", None, "open", "take", "undecided"),
        ("band", "120k 5.1k", None, "usual", "well", "nothing-found"),
        ("band", "120k 121k", None, "open", "fault", "not-right"),
        ("band", "5.1k 121k", None, "open", "take", "undecided"),
        ("band", "OL@20000", None, "above the range", "take", "undecided"),
        ("band", "OL@20000 OL@200000", None, "open", "fault", "not-right"),
        ("band", "OL@20000 OL@20000 OL@20000 OL@20000", None, "above the range", "in doubt", "undecided"),
        ("band", "OL", None, "open", "take", "undecided"),
        ("band", "jumping jumping", None, "unsteady", "fault", "not-right"),
        ("band", "jumping OL", None, "open", "fault", "not-right"),
        ("band", "150", LIMITS, "inside", "well", "nothing-found"),
        ("band", "101", LIMITS, "inside, but within the meter's doubt", "in doubt", "undecided"),
        ("band", "99", LIMITS, "outside, but within the meter's doubt", "in doubt", "undecided"),
        ("band", "60", LIMITS, "outside", "take", "undecided"),
        ("band", "60 61", LIMITS, "outside", "fault", "not-right"),
        ("band", "300k 300k", LIMITS, "outside", "fault", "not-right"),
        ("open", "OL@2000000", None, "open", "well", "nothing-found"),
        ("open", "1.5M", None, "open", "well", "nothing-found"),
        ("open", "OL@20000", None, "above the range", "take", "undecided"),
        ("open", "0.4 0.5", None, "closed", "fault", "not-right"),
        ("open", "45k", None, "neither open nor closed", "take", "undecided"),
        ("open", "45k OL", None, "open", "well", "nothing-found"),
        ("open", "2.4 2.4", None, "neither open nor closed", "fault", "not-right"),
        ("closed", "0.4", None, "closed", "well", "nothing-found"),
        ("closed", "2.3", None, "closed", "well", "nothing-found"),
        ("closed", "2.4", None, "not clearly closed", "in doubt", "undecided"),
        ("closed", "9.0 9.1", None, "neither open nor closed", "fault", "not-right"),
        ("closed", "OL@200 OL@200", None, "open", "fault", "not-right"),
        ("closed", "jumping", None, "unsteady", "take", "undecided"),
    ],
)
def test_findings(  # noqa: PLR0913, PLR0917 - one row of the table above
    wants: str, attempts: str, limit: Limit | None, finding: str, stand: str, kind: str
) -> None:
    item = replace(BAND, wants=Wants(wants))
    found = judged(item, attempts, limit=limit)
    (result,) = found.results
    assert (result.finding.value, result.stand.value, found.kind.value) == (finding, stand, kind)
    assert found.take == ("x.part" if stand == "take" else "")


def test_without_a_band_or_limits_only_an_open_part_is_told() -> None:
    plain = replace(BAND, usual=())
    assert judged(plain, "110").results[0].finding is Finding.READS
    assert judged(plain, "OL OL").kind is PartKind.FAULT


def test_a_reading_left_out_decides_nothing() -> None:
    left_out = {"left_out": frozenset({"x.part"})}
    for attempts, stand in (("", Stand.LEFT_OUT), ("OL", Stand.LEFT_OUT), ("OL@20000", Stand.IN_DOUBT)):
        found = judged(BAND, attempts, **left_out)
        assert (found.results[0].stand, found.kind, found.take) == (stand, PartKind.UNDECIDED, "")
    assert judged(BAND, "5.1k", **left_out).kind is PartKind.WELL
    assert judged(BAND, "").take == "x.part"


def test_nothing_open_is_condemned_through_leads_that_nothing_has_proven() -> None:
    for leads in (None, reading("OL")):
        found = judged(BAND, "OL OL", leads=leads)
        assert (found.results[0].stand, found.kind) == (Stand.LEADS, PartKind.UNDECIDED)
    assert judged(BAND, "120k 121k", leads=None).kind is PartKind.FAULT  # a value came through them
    assert judged(BAND, "60 60", leads=None, limit=LIMITS).kind is PartKind.FAULT


def test_leads_are_taken_off_and_share_the_gain_of_their_range() -> None:
    closed = replace(BAND, wants=Wants.CLOSED)
    measured = judged(closed, "0.7").results[0].measured
    assert measured is not None
    assert measured.value_ohm == Decimal("0.4")
    less = judged(closed, "0.1").results[0].measured
    assert less is not None
    assert less.value_ohm == Decimal("0.1"), "leads that read more than the part are not believed"


def test_an_earlier_worse_reading_was_contact() -> None:
    assert judged(BAND, "OL 5.1k").results[0].contact
    assert not judged(BAND, "5.1k").results[0].contact
    assert not judged(BAND, "OL OL").results[0].contact
    assert judged(BAND, "OL@20000 5.1k").results[0].contact, "it lies well within the range it was above"
    assert not judged(BAND, "OL@20000 31k").results[0].contact


def test_limits_are_held_at_their_temperature() -> None:
    at_20 = Limit(Decimal(100), Decimal(110), Decimal(20))
    cold, hot = (judged(BAND, "120.0", limit=at_20, part_at_c=at).results[0] for at in (Decimal(20), Decimal(60)))
    assert cold.finding is Finding.OUTSIDE
    assert hot.finding is Finding.INSIDE
    assert hot.conformity is not None
    assert round(hot.conformity.referred.value_ohm, 1) == Decimal("103.4")  # (234.5 + 20) / (234.5 + 60) of 119.7 Ω


@pytest.mark.no_cover
@settings(deadline=None)
@given(
    attempts=st.lists(st.sampled_from(["0.4", "5.1k", "45k", "120k", "OL", "OL@20000", "OL@2000000", "jumping"])),
    wants=st.sampled_from(Wants),
)
def test_whatever_was_read_nothing_is_condemned_on_a_single_reading(attempts: list[str], wants: Wants) -> None:
    found = judged(replace(BAND, wants=wants), " ".join(attempts))
    if found.kind is PartKind.FAULT:
        assert len(attempts) > 1
        assert found.results[0].finding in AGAINST[wants]
        assert not found.take


@pytest.mark.no_cover
@settings(deadline=None)
@given(value=st.decimals(Decimal(0), Decimal(400), places=1), wants=st.sampled_from([Wants.BAND, Wants.CLOSED]))
def test_a_worse_meter_never_decides_more(value: Decimal, wants: Wants) -> None:
    """What this meter leaves in doubt, one with ten times its percentage and counts leaves in doubt too."""
    worse = replace(
        POCKET, ranges=tuple(replace(one, percent=one.percent * 10, counts=one.counts * 10) for one in POCKET.ranges)
    )
    item = replace(BAND, wants=wants, usual=())
    case = PartCase("x", "part", POCKET, (item,), (readings(f"{value} {value}"),), reading("0.3"), LIMITS)
    better, less = judge_part(case).kind, judge_part(replace(case, meter=worse)).kind
    assert less in (better, PartKind.UNDECIDED)


@pytest.mark.parametrize(
    ("wants", "attempts", "limit", "turned"),
    [
        ("band", "4.00k", None, True),  # less the leads, 0.3 Ω below 4 kΩ, where a usual band begins
        ("band", "4.01k", None, False),
        ("band", "4.00k 4.50k", None, False),  # the last one counts, and nothing speaks against the one before
        ("band", "100.0k 100.1k", None, True),
        ("band", "100.0k 100.3k", None, True),  # less the leads and half a digit more, the first would be open too
        ("band", "100.2k 100.3k", None, False),
        ("band", "150", LIMITS, False),
        ("band", "102", LIMITS, True),  # half an ohm less, and it is within its U of the limit
        ("band", "101", LIMITS, False),  # in doubt and stays so
        ("closed", "2.3", None, True),
        ("closed", "2.1", None, False),
        ("closed", "2.4", None, True),  # 2.1 Ω less the leads; half a digit less, and half a digit more of the leads
        ("band", "100.3", LIMITS, False),  # in doubt on either side of the limit
        ("closed", "OL OL", None, False),
        ("open", "1.00M", None, True),
        ("open", "2.3 2.3", None, True),
        ("open", "jumping jumping", None, False),
    ],
)
def test_what_half_a_digit_would_turn_is_said(wants: str, attempts: str, limit: Limit | None, *, turned: bool) -> None:
    found = judged(replace(BAND, wants=Wants(wants)), attempts, limit=limit)
    assert found.results[0].half_a_digit is turned
    (reason,) = check_wording.because(found)
    assert ("Half a last digit more or less" in reason) is turned


@dataclass(frozen=True, slots=True)
class Exactly:
    """A quantity whose value is not what its digits say: what the meter would have shown with more of them."""

    ohms: Decimal
    step_ohms: Decimal


def moved(shown: Reading, share: Decimal, meter: Meter) -> Reading:
    """The same reading with a value that lies elsewhere within half the last digit of its display."""
    if shown.quantity is None:
        return shown
    step_ohms = max(shown.quantity.step_ohms, meter.range_for(shown).resolution_ohm)
    value = max(Decimal(0), shown.quantity.ohms + share * step_ohms / 2)
    return replace(shown, quantity=Exactly(value, step_ohms))  # type: ignore[arg-type]


_NEAR = st.one_of(
    st.decimals("0.0", "3.0", places=1).map(str),
    st.decimals("95.0", "110.0", places=1).map(str),
    st.decimals("590", "610", places=0).map(str),
    st.decimals("3.90", "4.10", places=2).map("{}k".format),
    st.decimals("99.0", "101.0", places=1).map("{}k".format),
    st.decimals("0.980", "1.020", places=3).map("{}M".format),
    st.sampled_from(["OL", "OL@20000", "jumping"]),
)


@pytest.mark.no_cover
@settings(deadline=None)
@given(
    attempts=st.lists(_NEAR, min_size=1, max_size=3),
    leads=st.sampled_from(["", "0.0", "0.3", "1.9"]),
    wants=st.sampled_from(Wants),
    limit=st.sampled_from([None, LIMITS]),
    shares=st.lists(st.decimals("-1", "1", places=2), min_size=4, max_size=4),
)
def test_within_half_a_last_digit_nothing_changes_unless_it_says_so(
    attempts: list[str], leads: str, wants: Wants, limit: Limit | None, shares: list[Decimal]
) -> None:
    """Every reading and the leads anywhere within half their last digit: the same outcome, or "within the meter's doubt"."""
    taken, item = readings(" ".join(attempts)), replace(BAND, wants=wants)
    told = PartCase("x", "part", POCKET, (item,), (taken,), reading(leads) if leads else None, limit)
    elsewhere = replace(
        told,
        attempts=(tuple(moved(one, share, POCKET) for one, share in zip(taken, shares[1:], strict=False)),),
        leads=None if told.leads is None else moved(told.leads, shares[0], POCKET),
    )
    before, after = judge_part(told), judge_part(elsewhere)
    if (before.kind, before.take, before.results[0].stand) != (after.kind, after.take, after.results[0].stand):
        assert "within the meter's doubt" in " ".join(check_wording.because(before))


@pytest.mark.parametrize("row", rows("cap_arithmetic", "coil_plus_caps"))
def test_the_caps_makers_print_lie_in_a_usual_band(row: CheckRow) -> None:
    (cap, _) = load_bench(read_files()).checks["cap"].items
    assert any(low <= row.number("cap_low_ohm") and row.number("cap_high_ohm") <= high for low, high in cap.usual)


# ---- the spark


@pytest.mark.parametrize("row", rows("spark_gap", "aiee_table", "fit_against_table"))
def test_the_tables_are_those_that_were_published(row: CheckRow) -> None:
    points = dict(NEEDLES if row["electrode"] == "needles" else SPHERES_25MM)
    gap_mm = row.maybe("expected_gap_mm") or row.number("gap_mm")
    peak_kv = row.maybe("peak_kv") or row.number("expected_peak_kv")
    if gap_mm <= GAPS_MM[1] + 2:
        assert points[gap_mm] == peak_kv
    else:
        assert not is_gap(gap_mm), "beyond what is asked for"


@pytest.mark.parametrize("row", rows("spark_gap", "published_test_gap"))
def test_the_gaps_of_published_tests_give_a_range(row: CheckRow) -> None:
    found = across(row.number("expected_gap_mm"))
    tolerance = row.number("tolerance_kv")
    assert abs(found.needles_kv - row.number("expected_low_kv_needles")) <= tolerance
    assert abs(found.spheres_kv - row.number("expected_high_kv_spheres_25mm")) <= tolerance


@pytest.mark.no_cover
@settings(deadline=None)
@given(st.decimals(*GAPS_MM, places=2))
def test_a_gap_always_gives_a_true_range_that_grows_with_it(gap_mm: Decimal) -> None:
    found, more = across(gap_mm), across(GAPS_MM[1])
    assert 0 < found.needles_kv < found.spheres_kv
    assert found.needles_kv <= more.needles_kv
    assert found.spheres_kv <= more.spheres_kv


@pytest.mark.parametrize("gap", ["0", "1.29", "11.71", "100"])
def test_nothing_is_said_about_other_gaps(gap: str) -> None:
    assert not is_gap(Decimal(gap))
    with pytest.raises(ValueError, match=r"only from 1\.3 to 11\.7 mm"):
        across(Decimal(gap))


@pytest.mark.parametrize(
    ("jumped", "kind"),
    [
        ((), PartKind.UNDECIDED),
        ((True,), PartKind.WELL),
        ((False,), PartKind.UNDECIDED),
        ((False, True), PartKind.UNDECIDED),
        ((False, False), PartKind.FAULT),
    ],
)
def test_no_spark_counts_only_twice(jumped: tuple[bool, ...], kind: PartKind) -> None:
    case = PartCase("spark", "spark", METERS["auto"], gap_mm=Decimal(6), jumped=jumped)
    found = judge_part(case)
    assert found.kind is kind
    assert found.gap == across(Decimal(6))
    assert judge_part(replace(case, gap_mm=None)).gap is None
