"""The sentences about a verdict, as people get them, and the same as JSON."""

import json
from decimal import Decimal
from typing import Any

import pytest
from coil_cases import METERS, case, quantity, reading

from assistant.language import report_wording
from assistant.language import verdict_wording as wording
from assistant.language.verdict_wording import ohms, shown, with_doubt
from assistant.measure import guidance
from assistant.measure.limits import CoilLimits, Limit
from assistant.measure.measured import Measured, Part
from assistant.measure.units import Reading, Shown
from assistant.measure.verdict import (
    CLASSES,
    VERDICTS,
    Because,
    Case,
    Class,
    Electronics,
    Prepare,
    Stroke,
    Tap,
    Verdict,
    VerdictKind,
    judge,
)
from assistant.measure.warm import WARM_TAPS
from assistant.report.verdict_json import as_json

_PRIMARY_LIMITS = CoilLimits(primary=Limit(Decimal("0.8"), Decimal("1.3"), Decimal(20)))


def because(verdict: Verdict) -> str:
    return " ".join(wording.because(verdict))


# ---- numbers


@pytest.mark.parametrize(
    ("value", "u_ohm", "text"),
    [
        ("1.1", 0.1688, "1.10 Ω ± 0.34 Ω"),
        ("1.1", 0.0199, "1.100 Ω ± 0.040 Ω"),
        ("4199.7", 42.3, "4.200 kΩ ± 85 Ω"),
        ("4199.7", 423.0, "4.20 kΩ ± 850 Ω"),
        ("2300000", 9300.0, "2.300 MΩ ± 19 kΩ"),
        ("999.96", 2.4, "1.0000 kΩ ± 4.8 Ω"),
        ("0", 0.115, "0.00 Ω ± 0.23 Ω"),
    ],
)
def test_a_value_is_printed_as_far_as_its_doubt_allows(value: str, u_ohm: float, text: str) -> None:
    assert with_doubt(Measured(Decimal(value), (Part("all", u_ohm),))) == text


def test_a_value_without_doubt_is_printed_whole() -> None:
    assert with_doubt(Measured(Decimal("4.20"))) == "4.2 Ω"


@pytest.mark.parametrize(
    ("value", "text"),
    [("0", "0 Ω"), ("0.5", "0.5 Ω"), ("999", "999 Ω"), ("1000", "1 kΩ"), ("5900", "5.9 kΩ"), ("2E6", "2 MΩ")],
)
def test_ohms_with_the_unit_that_fits(value: str, text: str) -> None:
    assert ohms(Decimal(value)) == text


@pytest.mark.parametrize(
    ("shown_as", "text"),
    [
        (reading("4.70k"), "4.70 kΩ"),
        (reading("OL"), "over range"),
        (reading("jumping"), "unsteady"),
        (Reading(Shown.UNSTEADY, low=quantity("1M"), high=quantity("3M")), "unsteady (1 MΩ to 3 MΩ)"),
        (Reading(Shown.UNSTEADY, low=quantity("1M")), "unsteady (1 MΩ)"),
    ],
)
def test_a_reading_is_printed_as_it_was_shown(shown_as: Reading, text: str) -> None:
    assert shown(shown_as) == text


# ---- the verdict


@pytest.mark.parametrize(
    ("given", "text"),
    [
        (case("1.4", "4.2k"), "No open winding and no gross short was found. This does not prove the coil good."),
        (
            case("0.3", "4.2k"),
            "No open winding was found. Whether the primary is shorted, this meter cannot tell. The coil is not proven good.",
        ),
        (
            case("300", "4.2k", "OL"),
            (
                "The meter most likely sees electronics inside the coil block. The windings are not condemned. "
                "Do not replace the coil on these readings."
            ),
        ),
        (case("300", "4.2k"), "Not decided yet: take the kill-tab reading."),
        (case(), "Not decided yet: take the primary and the secondary."),
        (case("1.4", "4.2k", "OL"), "Not decided yet: take the kill-tab reading and the primary again."),
        (
            case("1.4", "OL", "4.7k"),
            "The core contact of the secondary reading was bad. The winding is not condemned. Take the secondary again.",
        ),
        (
            case("300 300", "4.20k", "4.20k"),
            "The probe point of the primary reading was bad. The winding is not condemned.",
        ),
        (case("1.4", "OL OL", "OL"), "Secondary fault: the secondary winding or its connection is open, or nearly so."),
        (case("1.4", "800 800"), "These readings do not decide it. The coil is not condemned."),
    ],
)
def test_the_verdict_is_said(given: Case, text: str) -> None:
    assert wording.say(judge(given)) == text


def test_the_reasons_name_value_doubt_and_band() -> None:
    assert wording.because(judge(case("1.4", "4.20k"))) == (
        (
            "The primary is 1.10 Ω ± 0.34 Ω, less the leads. It lies inside the usual band, 0.5 Ω to 2.5 Ω, "
            "common practice without a source."
        ),
        "The secondary is 4.200 kΩ ± 62 Ω. It lies inside the usual band, 2.5 kΩ to 10 kΩ, common practice without a source.",
    )


def test_nothing_is_said_of_leads_that_were_not_taken_off() -> None:
    assert "less the leads" not in because(judge(case("1.4", "4.20k", leads="")))


def test_a_reading_without_a_value_is_named_as_it_was_shown() -> None:
    assert "The secondary is over range. A whole secondary winding does not read like that." in because(
        judge(case("1.4", "OL"))
    )


@pytest.mark.parametrize(
    ("limits", "coil_at_c", "text"),
    [
        (
            _PRIMARY_LIMITS,
            Decimal(35),
            (
                "Against the maker's limits, 0.8 Ω to 1.3 Ω, the primary (1.04 Ω ± 0.32 Ω at 20 °C) is inside, "
                "but within the meter's doubt; 88 % probability of being inside."
            ),
        ),
        (
            CoilLimits(primary=Limit(None, Decimal("1.3"))),
            None,
            (
                "Against the maker's limits, at most 1.3 Ω, the primary is inside, but within the meter's doubt; "
                "88 % probability of being inside."
            ),
        ),
        (
            CoilLimits(primary=Limit(Decimal(5), None)),
            None,
            "Against the maker's limits, at least 5 Ω, the primary is outside; under 1 % probability of being inside.",
        ),
        (
            CoilLimits(primary=Limit(Decimal("0.1"), Decimal(5))),
            None,
            "Against the maker's limits, 0.1 Ω to 5 Ω, the primary is inside; over 99 % probability of being inside.",
        ),
    ],
)
def test_how_a_reading_meets_the_makers_limits(limits: CoilLimits, coil_at_c: Decimal | None, text: str) -> None:
    found = judge(case("1.4", "4.20k", limits=limits, coil_at_c=coil_at_c))
    assert text in wording.because(found)
    assert "It lies inside the usual band, 0.5 Ω" not in because(found)


def test_a_meter_that_is_too_coarse_is_told_in_these_words() -> None:
    limits = CoilLimits(primary=Limit(Decimal("0.24"), Decimal("0.36")))
    assert "This meter cannot decide whether the primary is inside the maker's limits" in because(
        judge(case("0.5", "6.3k", leads="0.2", limits=limits))
    )


def test_a_cap_that_may_still_be_on_is_asked_for_with_the_value_without_it() -> None:
    limits = CoilLimits(secondary=Limit(Decimal(6_000), Decimal(7_000)))
    found = because(judge(case("1.4", "11.50k", leads="", limits=limits)))
    assert "Is a resistor cap still on? Without it, this would be 5.5 kΩ to 7.5 kΩ." in found


@pytest.mark.parametrize(
    ("s", "stroke", "text"),
    [
        ("9.70k", Stroke.FOUR, "3.7 kΩ to 5.7 kΩ"),
        ("14.50k", Stroke.TWO, "8.5 kΩ to 10.5 kΩ"),
        ("15k", Stroke.TWO, "9.0 kΩ to 11.0 kΩ"),
    ],
)
def test_a_value_without_the_cap_is_no_more_exact_than_it_can_be(s: str, stroke: Stroke, text: str) -> None:
    """The leads, 0.3 Ω, are taken off and must not show in kilo-ohms; nobody said whether a cap is on."""
    found = because(judge(case("1.4", s, stroke=stroke)))
    assert f"Is a resistor cap still on? Without it, this would be {text}." in found


def test_a_doubt_wider_than_a_cap_rounds_it_further() -> None:
    limits = CoilLimits(secondary=Limit(Decimal(90_000), Decimal(110_000)))
    found = because(judge(case("1.4", "117k", limits=limits)))  # ± 1.4 kΩ; 104.5 to 109.5 kΩ less the leads
    assert "Is a resistor cap still on? Without it, this would be 104 kΩ to 109 kΩ." in found


def test_before_a_repeat_it_is_said_what_to_do() -> None:
    verdict = judge(case("1.4", "OL@20000"))
    assert wording.prepare(verdict)[0] == "Turn the dial one range higher."
    assert wording.next_steps(verdict) == (*wording.prepare(verdict), "Take the secondary.")
    assert wording.prepare(judge(case("1.4", "4.2k"))) == ()


def test_the_report_holds_every_part() -> None:
    given = case("1.4", "OL OL", "OL")
    text = report_wording.report(judge(given), given, "pump 3", "2026-01-02 03:04")
    assert text.startswith("Ignition coil test: pump 3\nStarted 2026-01-02 03:04\n\nVerdict\n  Secondary fault:")
    for title in ("Test", "Readings", "Because", "Not proven", "Next", "Cautions"):
        assert f"\n\n{title}\n  " in text
    assert "  Primary: 1.4 Ω, 1.10 Ω ± 0.34 Ω less the leads (usual)\n" in text
    assert "  Secondary: over range (bad); before that: over range\n" in text
    assert text.endswith(".\n")
    given = case("1.4", "4.2k")
    assert report_wording.report(judge(given), given, "", "").startswith("Ignition coil test\n\nVerdict\n")
    assert "  Kill-tab reading: not taken\n" in report_wording.report(judge(given), given, "", "")


@pytest.mark.parametrize(
    ("given", "lines"),
    [
        (
            case("1.4", "4.2k", leads=""),
            (
                "Meter: pocket meter with a dial set by hand",
                "Engine: not known",
                "Electronics inside the coil block: not known",
                "Plug cap: not known",
                "Leads: not taken",
            ),
        ),
        (
            case(
                "45 OL 1.4", "4.2k", leads="0.3", meter=METERS["auto"], stroke=Stroke.FOUR,
                electronics=Electronics.NO, cap_on=False, coil_at_c=Decimal(35),
            ),
            (
                "Meter: meter that finds its range itself",
                "Engine: four-stroke",
                "Electronics inside the coil block: no",
                "Plug cap: off",
                "Coil at 35 °C",
                "Leads: 0.3 Ω",
                "Primary: 1.4 Ω, 1.10 Ω ± 0.83 Ω less the leads (usual); before that: 45 Ω, over range",
            ),
        ),
        (
            case("1.4", "9.2k", leads="OL", stroke=Stroke.TWO, electronics=Electronics.YES, cap_on=True),
            ("Engine: two-stroke", "Electronics inside the coil block: yes", "Plug cap: on", "Leads: over range"),
        ),
    ],
)  # fmt: skip
def test_the_report_tells_what_the_readings_were_taken_with(given: Case, lines: tuple[str, ...]) -> None:
    text = report_wording.report(judge(given), given, "", "")
    for line in lines:
        assert f"  {line}\n" in text
    assert ("Coil at" in text) is (given.coil_at_c is not None)


@pytest.mark.parametrize(
    ("given", "said", "never"),
    [
        (
            case("1.4", "4.2M 4.2M", "4.2M", leads=""),
            "Kill tab to lead end does not read like a good coil either.",
            "does not agree with the other readings",
        ),
        (
            case("OL OL", "OL OL", "OL", leads="OL"),
            "Nothing is condemned through leads like these: they may be what reads open.",
            "It is the secondary that condemns",
        ),
        (case("OL OL", "OL OL", "OL", leads=""), "The leads were not read", "It is the secondary that condemns"),
        (
            case("1.4", "1.2k 1.2k", limits=CoilLimits(secondary=Limit(Decimal(5_900), Decimal(7_100)))),
            "A winding that still conducts is not condemned for its distance from the maker's limits.",
            "Only the maker's figure",
        ),
        (
            case("1.4", "OL", "OL", declined=frozenset({Tap.SECONDARY})),
            "The secondary was not taken again, and without that this cannot be decided.",
            "was left out",
        ),
        (
            case("850", "6.5k", declined=frozenset({Tap.KILLTAB})),
            "Many coils on small engines have electronics inside.",
            "fault",
        ),
        (
            case("850", "6.5k", declined=frozenset({Tap.KILLTAB})),
            "Such a primary alone does not condemn the coil. Do not replace it on that reading.",
            "fault",
        ),
        (
            case("1.4", "18k", limits=CoilLimits(secondary=Limit(Decimal(5_900), Decimal(7_100)))),
            "It lies outside the maker's limits, but that is neither an open winding nor a gross short.",
            "makers print",
        ),
        (
            case("1.4", "12.0k", cap_on=True, limits=CoilLimits(secondary=Limit(Decimal(5_900), Decimal(7_100)))),
            "Against the maker's limits, 5.9 kΩ to 7.1 kΩ, the secondary (7.0 kΩ ± 1.3 kΩ without a cap of 4 to 6 kΩ) is inside",
            "Put the cap on",
        ),
        (
            case(
                "1.4",
                "6.0k",
                cap_on=False,
                limits=CoilLimits(secondary=Limit(Decimal(9_000), Decimal(13_000), cap_on=True)),
            ),
            "Against the maker's limits, 9 kΩ to 13 kΩ, the secondary (11.0 kΩ ± 1.2 kΩ with a cap of 4 to 6 kΩ) is inside",
            "Take the cap off",
        ),
        (
            case(
                "1.4",
                "12.0k",
                cap_on=True,
                limits=CoilLimits(secondary=Limit(Decimal(9_000), Decimal(13_000), cap_on=True)),
            ),
            "Against the maker's limits, 9 kΩ to 13 kΩ, the secondary is inside",
            "a resistor cap",
        ),
        (
            case("1.4", "24.0k", cap_on=True),
            "makers print 1.5 to 19.8 kΩ for coils without a cap",
            "makers print values",
        ),
    ],
)
def test_no_reason_contradicts_the_readings(given: Case, said: str, never: str) -> None:
    found = because(judge(given))
    assert said in found
    assert never not in found


# ---- nothing is missing


def test_every_name_has_its_sentence() -> None:
    """What the judgement can name, the wording can say."""
    said = {**wording._BECAUSE, Because.CLASS: "", Because.AGAINST_LIMITS: ""}  # noqa: SLF001 - the tables are what is tested
    assert set(said) == set(Because)
    assert set(wording._PREPARE) == set(Prepare)  # noqa: SLF001
    assert set(wording._SAY) == set(VerdictKind)  # noqa: SLF001
    assert set(wording._NEXT) == {"leads", "manual", "warm again", *guidance.LADDER}  # noqa: SLF001
    classes = {
        (tap, kind) for tap in (Tap.PRIMARY, Tap.SECONDARY) for kind in CLASSES[tap] if kind is not Class.NOT_TAKEN
    }
    assert set(wording._CLASS) == classes  # noqa: SLF001
    rows = {row.id for row in VERDICTS if VerdictKind.BAD_CONTACT in (row.kind, row.meanwhile)}
    assert set(wording._SAY_ROW) == rows | {way.fault for way in WARM_TAPS.values()}  # noqa: SLF001


def test_cautions_and_open_questions_are_sentences() -> None:
    verdict = judge(case("0.3", "4.2k", symptoms=("dies_hot",)))
    assert len(wording.cautions(verdict)) == len(verdict.cautions)
    assert wording.unproven(verdict)[0] == "A primary that small cannot be told from a short with this meter."
    assert wording.cautions(verdict)[-1].startswith("The maker's manual")


# ---- JSON


def _json(*given: str, **more: Any) -> dict[str, Any]:
    return json.loads(json.dumps(as_json(judge(case(*given, **more)))))  # type: ignore[no-any-return]


def test_a_verdict_as_json() -> None:
    found = _json("1.4", "4.20k", "OL")
    assert list(found) == [
        "verdict", "row", "say", "because", "primary", "secondary", "killtab", "take", "prepare", "unproven", "next", "cautions",
    ]  # fmt: skip
    assert found["verdict"] == "repeat"
    assert found["take"] == ["killtab", "primary"]
    assert found["primary"]["class"] == "usual"
    assert found["primary"]["shown"] == "1.4 Ω"
    assert found["primary"]["ohms"] == "1.1"
    assert found["primary"]["u_ohms"] == pytest.approx(0.3377)
    assert found["primary"]["u_ohms"] == pytest.approx(2 * found["primary"]["standard_u_ohms"], rel=1e-3)
    assert set(found["primary"]["parts"]) == {"gain of pocket on 200 Ω", "display at primary", "display at leads"}
    assert found["killtab"] == {"class": "open", "shown": "over range"}
    assert _json("1.4", "4.20k")["killtab"] == {"class": "not taken"}


def test_limits_as_json() -> None:
    found = _json("1.4", "4.20k", limits=_PRIMARY_LIMITS, coil_at_c=Decimal(35))["primary"]["limits"]
    assert found == {
        "low_ohms": "0.8",
        "high_ohms": "1.3",
        "at_c": "20",
        "source": "the maker's limits",
        "ohms": "1.0388",
        "u_ohms": pytest.approx(0.3197),
        "outcome": "inside, but within the meter's doubt",
        "probability": pytest.approx(0.8812),
        "decidable": False,
    }
    open_ = _json("1.4", "4.20k", limits=CoilLimits(primary=Limit(None, Decimal(5))))["primary"]["limits"]
    assert (open_["low_ohms"], open_["at_c"], open_["decidable"]) == (None, None, True)


def test_a_large_value_stays_digits_in_json() -> None:
    assert _json("1.4", "2.30M", leads="")["secondary"]["ohms"] == "2300000"


def test_every_meter_has_its_name_in_the_parts() -> None:
    for name, meter in METERS.items():
        parts = as_json(judge(case("1.4", "4.2k", meter=meter)))["primary"]
        assert isinstance(parts, dict)
        assert any(part.startswith(f"gain of {name} ") for part in parts["parts"])
