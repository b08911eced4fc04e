"""Slips of a hand in `measure` that other tests pass by; each was found by changing the code (DEVELOPERS.md, Tests)."""

from dataclasses import replace
from decimal import Decimal

import pytest
from coil_cases import METERS, POCKET, case, quantity, reading, readings

from assistant.measure.classify import classify
from assistant.measure.coil import Class, Tap
from assistant.measure.explain import _doubt_ohm
from assistant.measure.limits import CoilLimits, Limit, Points, Zone
from assistant.measure.measured import Measured
from assistant.measure.parts import Finding, Item, ItemResult, PartCase, PartKind, Stand, Wants, judge_part
from assistant.measure.spark_gap import across
from assistant.measure.verdict import Because, Case, Electronics, Prepare, Reason, VerdictKind, judge
from assistant.measure.warm import Warm, breaks_twice, seen_warm, wants_again

P, S, K = Tap


def because(told: Case) -> list[Because]:
    return [reason.because for reason in judge(told).reasons]


# ---- the coil


def test_what_a_rough_primary_may_add_counts_its_own_last_digit() -> None:
    """K is 1 kΩ above the sum; a primary said to a kilo-ohm may be that much more."""
    assert classify(case("2k", "4.20k", "7.2k")).last(K).kind is Class.HIGH
    assert classify(case("2000", "4.20k", "7.2k")).last(K).kind is Class.DIFFERENT


def test_a_difference_is_explained_without_a_primary_too() -> None:
    told = judge(case("", "4.20k", "9.20k"))
    assert Reason(Because.CAP_BETWEEN, K, Decimal(5000)) in told.reasons
    assert Because.BODY_BESIDE not in {reason.because for reason in told.reasons}


def test_nothing_is_explained_beside_a_primary_that_tells_nothing() -> None:
    assert Because.CAP_BETWEEN not in because(case("850 850", "4.20k", "9.20k"))


def test_the_finer_digit_is_that_of_the_range_where_the_dial_stands() -> None:
    """1.60 kΩ is read on the 20 k range, whose last digit is 10 Ω: 1 Ω would do."""
    told = judge(
        case("1.4", "1.60k", coil_at_c=Decimal(20), limits=CoilLimits(None, Limit(Decimal(1550), Decimal(1650))))
    )
    assert Reason(Because.CANNOT_DECIDE, S) in told.reasons
    assert Reason(Because.FINER_METER, S, Decimal(1)) in told.reasons


@pytest.mark.parametrize(("value", "leads"), [("1.4", "0.0"), ("1.4", "0.3"), ("150.0", "0.5")])
def test_the_doubt_foretold_for_a_meter_is_the_doubt_it_has(value: str, leads: str) -> None:
    range_ = POCKET.lowest
    with_leads, without = (POCKET.measured(quantity(text), range_, text) for text in (value, leads))
    left = with_leads - without
    assert _doubt_ohm(range_, left.value_ohm, without.value_ohm) == pytest.approx(left.u_ohm)


@pytest.mark.parametrize(
    ("told", "reason"),
    [
        (case("", "OL 4.20k"), Reason(Because.FIRST_WAS_CONTACT, S)),
        (case("1.4", "4.20k OL 4.20k"), Reason(Because.FIRST_WAS_CONTACT, S)),
        (case("1.4", "9.20k", cap_on=True), Reason(Because.CAP_COUNTED, S)),
        (case("1.4", "9.20k", cap_on=True), Reason(Because.CLASS, S, Decimal(6_500), Decimal(16_000))),
        (case("1.4", "300k"), Reason(Because.BODY_ALONE, S)),
        (
            case("1.4", "50k 50k", limits=CoilLimits(None, Limit(Decimal(4_000), Decimal(5_000)))),
            Reason(Because.LIMITS_ALONE, S),
        ),
    ],
)
def test_a_reason_names_its_points(told: Case, reason: Reason) -> None:
    assert reason in judge(told).reasons


@pytest.mark.parametrize(
    ("primary", "secondary", "row", "take"),
    [
        ("45", "", "secondary-missing", (S,)),
        ("45", "1.2k", "primary-raised", (P,)),
        ("", "1.2k", "primary-missing", (P,)),
    ],
)
def test_what_is_asked_for_first(primary: str, secondary: str, row: str, take: tuple[Tap, ...]) -> None:
    found = judge(case(primary, secondary))
    assert (found.row, found.take) == (row, take)


@pytest.mark.parametrize(
    ("primary", "secondary", "killtab", "row", "kind"),
    [
        ("850 850", "12.0k", "OL OL", "primary-fault", VerdictKind.PRIMARY_FAULT),
        ("850 850", "12.0k", "2.0k 2.0k", "killtab-unexplained", VerdictKind.UNDECIDED),
        ("850 850", "OL OL", "OL OL", "winding-fault", VerdictKind.WINDING_FAULT),
        ("90.0 90.0", "1.520k", "1.605k 1.605k", "killtab-unexplained", VerdictKind.UNDECIDED),
        ("45 45", "4.20k", "jumping jumping", "killtab-unexplained", VerdictKind.UNDECIDED),
    ],
)
def test_a_coil_without_electronics(primary: str, secondary: str, killtab: str, row: str, kind: VerdictKind) -> None:
    found = judge(case(primary, secondary, killtab, electronics=Electronics.NO))
    assert (found.row, found.kind, found.take) == (row, kind, ())


_CORE, _TAB, _OFF = Prepare.CLEAN_CORE, Prepare.CLEAN_TAB, Prepare.LEAD_AND_CAP_OFF
_HIGH = CoilLimits(None, Limit(Decimal(15_000), Decimal(19_800)))


@pytest.mark.parametrize(
    ("told", "row", "prepare"),
    [
        (case("45", "4.20k"), "primary-raised", (_CORE, _TAB)),
        (case("1.4", "1.2k"), "secondary-low", (Prepare.SAY_UNIT,)),
        (case("1.4", "50k"), "secondary-raised", (_OFF, _CORE)),
        (case("1.4", "OL@20000"), "secondary-beyond", (Prepare.HIGHER_RANGE, _OFF, _CORE)),
        (case("1.4", "4.20k", "4.32k"), "killtab-unclear", (_TAB,)),
        (case("300", "19.00k", "19.00k"), "killtab-blind", (_CORE, _TAB)),
        (case("1.4", "4.20k", "OL"), "contradiction", (_TAB, _CORE)),
        (case("850", "4.20k", "4.20k"), "primary-contact", (_CORE, _TAB)),
        (case("850", "4.20k", "OL", electronics=Electronics.NO), "primary-fault", (_CORE, _TAB)),
        (case("850", "4.20k", "2.0k", electronics=Electronics.NO), "killtab-unexplained", (_TAB, _CORE)),
        (case("1.4", "OL", "4.20k"), "core-contact", (_CORE,)),
        (case("1.4", "OL", "50k"), "secondary-unclear", (_OFF, _CORE)),
        (case("1.4", "OL", "OL@20000", limits=_HIGH), "secondary-unclear", (_OFF, _CORE)),
        (case("1.4", "OL", "OL"), "secondary-fault", (_OFF, _CORE)),
        (case("850", "OL", "OL"), "winding-fault", (_CORE, _OFF)),
    ],
)
def test_what_is_done_before_a_reading_is_taken_again(told: Case, row: str, prepare: tuple[Prepare, ...]) -> None:
    found = judge(told)
    assert (found.row, found.prepare) == (row, prepare)


@pytest.mark.parametrize(
    "told", [case("1.4", "OL OL", "OL"), case("850 850", "4.20k", "2.0k 2.0k 2.0k"), case("1.4", "4.20k")]
)
def test_where_nothing_is_taken_again_nothing_is_to_be_done_before_it(told: Case) -> None:
    found = judge(told)
    assert (found.take, found.prepare) == ((), ())


def test_beside_a_comparison_that_stays_between_the_secondary_is_taken_again() -> None:
    found = judge(case("1.4", "OL", "50k 50k"))
    assert (found.row, found.take) == ("secondary-unclear", (S,))


def test_a_cap_shifts_the_secondary_alone() -> None:
    """A cap in the path is no part of the primary, whose limits stay."""
    limit = Limit(Decimal("0.8"), Decimal("1.3"))
    on, off = (judge(case("1.4", "9.20k", cap_on=cap, limits=CoilLimits(limit, None))).primary for cap in (True, None))
    assert on.conformity is not None
    assert on.conformity.zone is Zone.INSIDE_IN_DOUBT
    assert on.conformity == off.conformity


# ---- hot


def test_what_half_a_digit_would_turn_is_said_of_a_hot_primary_by_its_own_edge() -> None:
    told = judge(case("1.4", "4.20k", warm_primary=readings("100.3 100.3")))
    assert Reason(Because.HALF_A_DIGIT, P) in told.reasons
    clear = judge(case("1.4", "4.20k", warm_primary=readings("101.0 101.0")))
    assert Reason(Because.HALF_A_DIGIT, P) not in clear.reasons
    assert clear.kind is VerdictKind.PRIMARY_FAULT


def test_a_verdict_with_hot_readings_still_says_what_the_cold_ones_leave_open() -> None:
    told = judge(case("0.3", "4.20k", warm=readings("4.90k"), symptoms=("dies_hot",)))
    assert told.kind is VerdictKind.SOUND
    assert {"primary short", "no comparison"} <= set(told.unproven)
    assert "leads" not in told.next
    compared = judge(case("1.4", "4.20k", "4.20k", warm=readings("4.90k"), symptoms=("dies_hot",)))
    assert not {"primary short", "no comparison"} & set(compared.unproven)


def test_a_cap_left_on_is_named_beside_the_secondary() -> None:
    told = judge(case("1.4", "9.20k", cap_on=True, warm=readings("OL OL")))
    assert Reason(Because.CAP_BEFORE_FAULT, S) in told.reasons


def test_over_a_range_that_ends_where_copper_does_says_nothing() -> None:
    """10 kΩ at 20 °C (15 at least) is 20 kΩ at 254.5 °C (264.5 at most)."""
    told = case("1.4", "10.00k", leads="", coil_at_c=Decimal(20), warm_at_c=Decimal("254.5"))
    cold = Measured(Decimal(10_000))
    assert seen_warm(told, cold, reading("OL@20000")) is Warm.BEYOND
    assert seen_warm(told, cold, reading("OL@20001")) is Warm.OPEN


def test_exactly_as_far_as_contacts_scatter_is_as_copper_does() -> None:
    """9799 Ω is the most for copper; 2 % of 10 kΩ and 1 Ω lead to 10 kΩ."""
    told = case("1.4", "4.90k", leads="", coil_at_c=Decimal(20), warm_at_c=Decimal("254.5"))
    cold = Measured(Decimal("4899.5"))
    assert seen_warm(told, cold, reading("10.000k")) is Warm.AS_COPPER
    assert seen_warm(told, cold, reading("10.001k")) is Warm.UNCLEAR


def test_the_last_two_of_three_hot_readings_count() -> None:
    cold = Measured(Decimal(4200))
    told = case("1.4", "4.20k", warm=readings("OL OL OL"))
    assert breaks_twice(told, cold)
    assert not breaks_twice(case("1.4", "4.20k", warm=readings("OL 4.90k OL")), cold)


def test_a_hot_reading_is_asked_for_three_times_at_most() -> None:
    cold = Measured(Decimal(4200))
    assert wants_again(case("1.4", "4.20k", warm=readings("4.90k OL")), cold)
    assert not wants_again(case("1.4", "4.20k", warm=readings("OL 4.90k OL")), cold)


def test_a_hot_primary_is_asked_for_again_by_its_own_edge() -> None:
    told = case("1.4", "4.20k", warm_primary=readings("150"))
    assert wants_again(told, Measured(Decimal("1.1")), P)


# ---- parts


def part(wants: Wants, attempts: str, leads: str = "0.3", limit: Limit | None = None) -> ItemResult:
    item = Item("x.one", "the one", wants, ((Decimal(600), Decimal(1100)),), "a source")
    told = PartCase("x", "part", POCKET, (item,), (readings(attempts),), reading(leads) if leads else None, limit)
    found = judge_part(told)
    assert (found.check, found.title) == ("x", "part")
    (result,) = found.results
    assert (result.item, result.attempts) == (item, readings(attempts))
    return result


def test_a_spark_keeps_its_name_and_its_tries() -> None:
    found = judge_part(PartCase("spark", "the gap", POCKET, gap_mm=Decimal(6), jumped=(True, False)))
    assert (found.check, found.title, found.jumped, found.kind) == (
        "spark",
        "the gap",
        (True, False),
        PartKind.UNDECIDED,
    )
    assert found.gap == across(Decimal(6))
    assert across(Decimal(6)).gap_mm == Decimal(6)


def test_readings_without_an_item_are_a_mistake_of_the_caller() -> None:
    item = Item("x.one", "the one", Wants.CLOSED)
    with pytest.raises(ValueError, match="zip"):
        judge_part(PartCase("x", "part", POCKET, (item,), ((), ())))


def test_what_was_not_taken_is_called_so() -> None:
    result = part(Wants.BAND, "")
    assert (result.finding, result.stand, result.conformity) == (Finding.NOT_TAKEN, Stand.TAKE, None)


def test_the_makers_limits_bear_on_bands_alone() -> None:
    limit = Limit(Decimal(1), Decimal(2))
    assert (part(Wants.OPEN, "2.0M", limit=limit).conformity, part(Wants.OPEN, "2.0M", limit=limit).limit) == (
        None,
        None,
    )
    assert part(Wants.BAND, "OL", limit=limit).conformity is None
    assert part(Wants.BAND, "OL", limit=limit).limit == part(Wants.BAND, "", limit=limit).limit == limit
    assert part(Wants.BAND, "1.5", limit=limit).conformity is not None


def test_leads_that_nothing_proves_are_asked_of_the_last_reading() -> None:
    assert part(Wants.BAND, "OL OL@20000 OL", leads="").stand is Stand.LEADS
    assert part(Wants.BAND, "OL OL@20000 OL").stand is Stand.FAULT


def test_a_range_was_contact_only_where_the_last_value_would_have_fitted() -> None:
    assert part(Wants.BAND, "OL@20000 5.1k").contact
    assert not part(Wants.BAND, "OL@20000 5.1k 30k").contact
    assert not part(Wants.BAND, "OL@200 200.0", leads="").contact
    assert part(Wants.BAND, "OL@200 199.9", leads="").contact


def test_the_most_that_is_believed_is_still_a_value() -> None:
    assert part(Wants.BAND, "1000M").measured is not None
    assert part(Wants.BAND, "1000.1M").measured is None


def test_the_parts_of_a_part_have_names() -> None:
    measured = part(Wants.BAND, "150.0").measured
    assert measured is not None
    gain, *own = (one.name for one in measured.parts)
    assert gain == "gain of pocket on 200 Ω"
    assert own == ["display at x.one", "display at leads"]


def test_as_much_as_the_leads_is_nothing() -> None:
    measured = part(Wants.CLOSED, "0.3").measured
    assert measured is not None
    assert measured.value_ohm == 0


@pytest.mark.parametrize(
    ("wants", "attempts", "finding"),
    [
        (Wants.OPEN, "1000k", Finding.OPEN),
        (Wants.OPEN, "999k", Finding.PARTLY),
        (Wants.OPEN, "OL@1000000", Finding.OPEN),
        (Wants.OPEN, "OL@999999", Finding.BEYOND),
        (Wants.BAND, "100k", Finding.OPEN),
        (Wants.BAND, "99.9k", Finding.OTHER),
        (Wants.BAND, "600", Finding.USUAL),
        (Wants.BAND, "599", Finding.OTHER),
        (Wants.BAND, "1100", Finding.USUAL),
        (Wants.BAND, "1101", Finding.OTHER),
    ],
)
def test_edges_of_a_part_belong_to_the_milder_side(wants: Wants, attempts: str, finding: Finding) -> None:
    assert part(wants, attempts, leads="").finding is finding


def test_moved_values_are_never_below_zero() -> None:
    """Half a digit below a display of nought there is nothing."""
    assert POCKET.measured(quantity("0.0"), POCKET.lowest, "x", -1).value_ohm == 0
    assert POCKET.measured(quantity("0.2"), POCKET.lowest, "x", -1).value_ohm == Decimal("0.15")
    assert POCKET.measured(quantity("2"), POCKET.lowest, "x", 1).value_ohm == Decimal("2.5")


def test_the_same_case_moved_is_another_case() -> None:
    told = case("1.4", "4.20k")
    up = classify(replace(told, moved=replace(told.moved, windings=1, leads=-1)))
    primary, secondary = up.last(P).measured, up.last(S).measured
    assert primary is not None
    assert secondary is not None
    assert (primary.value_ohm, secondary.value_ohm) == (Decimal("1.2"), Decimal("4204.75"))


# ---- prefixes, caps, and what a comparison bears out


def test_a_prefix_of_the_comparison_is_offered_where_it_fits() -> None:
    for shown in ("4.20", "4.20M"):
        assert Reason(Because.PREFIX_FITS, K, Decimal(4200)) in judge(case("1.4", "4.20k", shown)).reasons
        # beside a primary that tells nothing, too
        assert Because.PREFIX_FITS in because(case("OL OL", "4.20k", shown))
    assert Because.PREFIX_FITS not in because(case("1.4", "4.20k", "5.20"))
    assert Because.PREFIX_FITS not in because(case("1.4", "4.20k", "OL"))


def test_no_prefix_of_the_primary_is_offered_that_the_comparison_refutes() -> None:
    assert Because.PREFIX_FITS in because(case("1.4k 1.4k", "4.20k"))
    assert Because.PREFIX_FITS in because(case("1.4k 1.4k", "4.20k", "4.20k"))
    assert Because.PREFIX_FITS not in because(case("1.4k 1.4k", "4.20k", "5.60k"))


@pytest.mark.parametrize("killtab", ["OL", "jumping"])
def test_a_comparison_without_a_value_bears_no_prefix_out(killtab: str) -> None:
    assert Because.PREFIX_FITS in because(case("1.4k 1.4k", "4.20k", killtab))


def test_a_comparison_that_agrees_either_way_bears_no_prefix_out() -> None:
    """600 Ω are little beside 19 kΩ: 19.3 kΩ is as near to 19.0 as to 19.6."""
    told = judge(case("600 600", "19.00k", "19.30k"))
    assert told.killtab.kind is Class.BLIND
    assert Because.PREFIX_FITS in {reason.because for reason in told.reasons}


def test_digits_that_were_not_said_do_not_refute_a_prefix() -> None:
    """1.4 and 4.2 kΩ may be 5.7 together and 6.0 may be 5.95: as near as contacts are."""
    assert Because.PREFIX_FITS not in because(case("1.4k 1.4k", "4.2k", "6.0k"))


@pytest.mark.parametrize(("shown", "fits"), [("4.49", True), ("4.50", True), ("4.51", False), ("4.32", False)])
def test_a_prefix_of_the_comparison_fits_within_what_contacts_differ_by(
    shown: str,
    fits: bool,  # noqa: FBT001 - a parameter of the test
) -> None:
    """Of 4410.8 Ω together they differ by 2 % and 1 Ω: 4321.6 to 4500.0 Ω."""
    told = case("1.40", "4.41k", shown, leads="0.30", meter=METERS["fine"])
    assert (Because.PREFIX_FITS in because(told)) is fits


def test_a_prefix_is_looked_for_behind_the_cap_that_stayed_on() -> None:
    """11.5 Ω may be 11.5 kΩ: 6.5 kΩ and a cap of 5; without a cap that would be too much."""
    limits = CoilLimits(secondary=Limit(Decimal(5900), Decimal(7100)))
    assert (
        Reason(Because.PREFIX_FITS, S, Decimal(11_200))
        in judge(case("1.4", "11.5", cap_on=True, limits=limits)).reasons
    )
    assert Because.PREFIX_FITS not in because(case("1.4", "11.5", cap_on=False, limits=limits))


def test_a_comparison_that_agrees_either_way_tells_nothing_of_the_primary() -> None:
    for shown in ("4.20k", "4.24k", "4.25k"):
        told = judge(case("45 45", "4.20k", shown))
        assert told.killtab.kind is Class.BLIND
        assert (told.kind, told.take) == (VerdictKind.UNDECIDED, ())
    assert judge(case("400 400", "4.20k", "4.20k")).kind is VerdictKind.BAD_CONTACT


def test_a_comparison_just_above_the_secondary_may_hold_the_primary() -> None:
    """4.28 kΩ is within contacts of 4.20 alone, and of 4.20 with the 90 Ω of the primary too."""
    assert judge(case("90 90", "4.20k", "4.28k")).killtab.kind is Class.BLIND


def test_a_primary_said_roughly_may_be_too_little_to_be_missed() -> None:
    """0.2 kΩ may be 150 Ω, which 4.2 kΩ does not show; 200 Ω it would."""
    assert judge(case("0.2k 0.2k", "4.20k", "4.20k")).killtab.kind is Class.BLIND
    assert judge(case("200 200", "4.20k", "4.20k")).killtab.kind is Class.SAME


@pytest.mark.parametrize(("secondary", "killtab"), [("6.50k", "6.50k"), ("OL OL", "6.50k"), ("OL OL", "300k")])
def test_limits_from_kill_tab_to_lead_end_are_held_against_the_comparison_alone(secondary: str, killtab: str) -> None:
    limit = Limit(Decimal(5900), Decimal(7100), Decimal(20), points=Points.KILLTAB)
    told = judge(case("1.4", secondary, killtab, limits=CoilLimits(None, limit)))
    assert told.secondary.conformity is None
    assert told.killtab.conformity is not None
    assert told.killtab.conformity.limit == limit
    assert (told.killtab.conformity.zone is Zone.OUTSIDE) is (killtab == "300k")
    assert Reason(Because.LIMITS_ELSEWHERE, S) in told.reasons
    assert Reason(Because.AGAINST_LIMITS, K) in told.reasons
    assert Reason(Because.AGAINST_LIMITS, S) not in told.reasons


def test_limits_between_other_points_are_held_against_nothing() -> None:
    limit = Limit(Decimal(5900), Decimal(7100), points=Points.OTHER)
    told = judge(case("1.4", "4.20k", "4.20k", limits=CoilLimits(None, limit)))
    assert told.secondary.conformity is told.killtab.conformity is None
    assert [reason for reason in told.reasons if reason.because is Because.LIMITS_ELSEWHERE] == [
        Reason(Because.LIMITS_ELSEWHERE, S)
    ]
    core = replace(limit, points=Points.CORE)
    assert Because.LIMITS_ELSEWHERE not in because(case("1.4", "4.20k", "4.20k", limits=CoilLimits(None, core)))


def test_beside_limits_a_cap_is_taken_off_and_not_counted() -> None:
    limits = CoilLimits(None, Limit(Decimal(5900), Decimal(7100)))
    assert Because.CAP_COUNTED not in because(case("1.4", "11.5k", cap_on=True, limits=limits))


def test_a_plug_cap_in_doubt_is_named_and_not_the_meter() -> None:
    limits = {on: CoilLimits(secondary=Limit(Decimal(5900), Decimal(7100), cap_on=on)) for on in (True, False)}
    for read_on, limits_on, shown, named in (
        (True, False, "11.5k", Because.CAP_IN_DOUBT),
        (False, True, "1.50k", Because.CAP_OFF_IN_DOUBT),
        (None, True, "5.00k", Because.CAP_NOT_SAID),
    ):
        found = judge(case("1.4", shown, cap_on=read_on, limits=limits[limits_on])).reasons
        assert Reason(named, S) in found
        assert Because.CANNOT_DECIDE not in {reason.because for reason in found}
    at_room = judge(case("1.4", "6.50k", coil_at_c=Decimal(30), limits=limits[False]))
    assert Reason(Because.LIMITS_AT_ROOM, S) in at_room.reasons
