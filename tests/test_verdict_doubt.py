"""Which verdicts say that they are within the meter's doubt, and of what: exact edges, beside the properties that hold for any."""

from decimal import Decimal
from typing import Any

import pytest
from coil_cases import case, readings

from assistant.language import verdict_wording
from assistant.measure.coil import Class, Tap
from assistant.measure.verdict import Because, Case, Electronics, Reason, VerdictKind, judge

P, S, K = Tap
DOUBT = "within the meter's doubt"


def turned(told: Case) -> list[Tap | None]:
    """What half a last digit would make count otherwise, in order; None for the leads."""
    about = (Because.HALF_A_DIGIT, Because.LEADS_HALF_A_DIGIT)
    return [reason.tap for reason in judge(told).reasons if reason.because in about]


@pytest.mark.parametrize(
    ("read", "taps"),
    [
        (("10.3 10.3", "4.20k", ""), [P]),
        (("10.5 10.5", "4.20k", ""), []),  # less the leads 10.2 Ω: two halves of a last digit do not reach 10 Ω
        (("100.3 100.3", "4.20k", ""), [P]),
        (("2.8", "4.20k", ""), []),  # usual or near: neither is a cause
        (("0.8", "4.20k", ""), []),
        (("1.4", "10.00k", ""), []),
        (("1.4", "1.50k", ""), [S]),
        (("1.4", "1.51k", ""), []),
        (("1.4", "20.0k 20.0k", ""), [S]),
        (("1.4", "4.20k", "4.30k"), [K]),
        (("1.4", "4.20k", "4.28k"), []),
        (("1.4", "4.20k", "4.20k"), []),
        (("10.3 10.3", "20.0k 20.0k", ""), [P, S]),
        (("10.8 10.8", "4.20k", "OL"), [P]),  # its U just does not reach 10 Ω
        (("10.9 10.9", "4.20k", "OL"), []),
        (("1.4", "101.2k 101.2k", "OL"), [S]),
        (("1.4", "101.3k 101.3k", "OL"), []),
    ],
)
def test_what_half_a_digit_would_turn_is_said(read: tuple[str, str, str], taps: list[Tap]) -> None:
    assert turned(case(*read)) == taps
    names = {P: "primary", S: "secondary", K: "kill-tab reading"}
    said = [sentence for sentence in verdict_wording.because(judge(case(*read))) if DOUBT in sentence]
    assert said == [
        f"Half a last digit more or less would make the {names[tap]} count otherwise: the verdict is {DOUBT}."
        for tap in taps
    ]


@pytest.mark.parametrize(
    ("hot", "taps"),
    [
        ({"warm_primary": readings("100.3 100.3")}, [P]),
        ({"warm_primary": readings("101.0 101.0")}, []),
        ({"warm": readings("100.0k 100.0k")}, [S]),
        ({"warm": readings("101.0k 101.0k")}, []),
        ({"warm": readings("4.90k")}, []),
        ({"warm": readings("4.20k"), "coil_at_c": Decimal(20), "warm_at_c": Decimal(60)}, []),
        ({"warm": readings("5.23k"), "coil_at_c": Decimal(20), "warm_at_c": Decimal(60)}, [S]),
    ],
)
def test_what_half_a_digit_would_turn_of_a_hot_coil_is_said(hot: dict[str, Any], taps: list[Tap]) -> None:
    assert turned(case("1.4", "4.20k", **hot)) == taps


@pytest.mark.parametrize(("leads", "taps"), [("1.0", [None]), ("0.9", []), ("1.1", []), ("1.2", [])])
def test_leads_about_to_be_too_much_are_said_beside_a_fault_alone(leads: str, taps: list[Tap | None]) -> None:
    """Above 1 Ω nothing is condemned through leads unless a winding reads well: here nothing does."""
    assert turned(case("OL OL", "OL OL", "OL OL", leads=leads)) == taps
    assert turned(case("2.5", "4.20k", "4.20k", leads=leads)) == []
    assert turned(case("OL", "OL", "OL", leads=leads)) == []  # all three are asked for again in any case


def test_doubts_name_the_edge_that_they_reach_across() -> None:
    raised = judge(case("10.5 10.5", "4.20k", "OL"))
    assert Reason(Because.IN_DOUBT, P, high_ohm=Decimal(10)) in raised.reasons
    high = judge(case("100.5 100.5", "4.20k", "OL OL", electronics=Electronics.NO))
    assert Reason(Because.IN_DOUBT, P, high_ohm=Decimal(100)) in high.reasons
    secondary = judge(case("1.4", "100.1k 100.1k", "OL"))
    assert Reason(Because.IN_DOUBT, S, high_ohm=Decimal(100_000)) in secondary.reasons
    assert {found.kind for found in (raised, high, secondary)} == {VerdictKind.UNDECIDED}


def test_leads_are_told_with_what_they_read_and_only_beside_a_primary() -> None:
    assert Reason(Because.LEADS_HIGH, low_ohm=Decimal("1.1")) in judge(case("2.5", "4.20k", leads="1.1")).reasons
    without = {reason.because for reason in judge(case("", "4.20k", leads="")).reasons}
    assert Because.LEADS_NOT_TAKEN not in without
    assert judge(case("", "4.20k", leads="")).secondary.kind is Class.USUAL


def test_what_the_meters_doubt_reaches_across_is_said() -> None:
    """Just above the edges that carry a condemning verdict, and clear of them."""
    for near, clear in (
        (("850", "100.1k", "OL"), ("850", "150k", "OL")),
        (("100.5", "4.70k", "OL"), ("300", "4.70k", "OL")),
    ):
        for texts, doubt in ((near, True), (clear, False)):
            twice = [f"{text} {text}" for text in texts]
            said = " ".join(verdict_wording.because(judge(case(*twice, electronics=Electronics.NO))))
            assert (DOUBT in said) is doubt, texts
