"""The report page: what stands on it, what the chart shows and where, and that it is one page for a person of any sight."""

import html
import json
import re
import subprocess
import webbrowser
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from check_rows import CheckRow, rows
from coil_cases import POCKET, case, reading, readings
from records_cases import ELECTRONICS, LEFT, SOUND, rewritten, session

from assistant.devices import printer
from assistant.devices.printer import find_engine, pdf_of
from assistant.journal import FILE
from assistant.language import check_wording, page_wording, verdict_wording
from assistant.measure.coil import PRIMARY_PUBLISHED_OHM, SECONDARY_PUBLISHED_OHM, Tap
from assistant.measure.earlier import Agreement, Earlier
from assistant.measure.limits import CoilLimits, Limit
from assistant.measure.parts import Item, Judgement, PartCase, Wants, judge_part
from assistant.measure.verdict import Case, Stroke, judge
from assistant.preflight import load_bench, read_files
from assistant.report.chart import NARROW, Axis, chart
from assistant.report.lanes import Look, Panel, check_panels, panels
from assistant.report.page import PAPERS, page
from assistant.report.sheet import Sheet

_LIMITS = CoilLimits(
    Limit(Decimal("0.8"), Decimal("1.3"), Decimal(20)), Limit(Decimal(3900), Decimal(5100), Decimal(20), cap_on=False)
)
_EARLIER = (
    Earlier(
        Tap.PRIMARY,
        count=3,
        known_good=False,
        median_ohm=Decimal("1.1"),
        low_ohm=Decimal("1.05"),
        high_ohm=Decimal("1.2"),
        agreement=Agreement.NO_VALUE,
        percent=None,
    ),
    Earlier(
        Tap.SECONDARY,
        count=3,
        known_good=True,
        median_ohm=Decimal(4600),
        low_ohm=Decimal(4550),
        high_ohm=Decimal(4650),
        agreement=Agreement.DIFFERS,
        percent=Decimal("202.2"),
    ),
)


def sheet(case: Case, **more: Any) -> Sheet:
    return Sheet(judge(case), case, **{"label": "pump", "started_at": "2026-01-02 03:04", "folder": "f", **more})


def fullest() -> Sheet:
    """As much as one session can put on a page: every kind of line, all symptoms, everything read three times."""
    everything = case(
        "OL@200 850 jumping",
        "4.70k 13.72k 14.1k",
        "OL@20000 3.1M",
        limits=_LIMITS,
        coil_at_c=Decimal(45),
        cap_on=True,
        stroke=Stroke.TWO,
        symptoms=("dies_hot", "hard_restart_hot", "misses_high_speed", "lacks_top_speed", "starts_badly", "no_spark"),
    )
    symptoms = ("dies when hot", "hard to restart when hot", "misses at high speed", "will not reach full speed")
    notes = (page_wording.NOT_FINISHED, page_wording.JUDGED_ANEW)
    label = "a label as long as a label can be, that is forty or sixty"
    return sheet(everything, label=label, symptoms=symptoms, notes=notes, earlier=_EARLIER, recordings=("1.wav",))


_CHECKS = (
    judge_part(
        PartCase(
            "cap",
            "plug cap with its lead",
            POCKET,
            (
                Item("cap.cap", "the plug cap", Wants.BAND, ((Decimal(4000), Decimal(6000)),), "a source"),
                Item("cap.lead", "the lead", Wants.BAND),
            ),
            (readings("OL 5.1k"), readings("OL OL")),
        )
    ),
    judge_part(PartCase("spark", "spark across a known gap", POCKET, gap_mm=Decimal(6), jumped=(False, True))),
)

_TOLD = {
    "cap": ("OL 5.1k 5.12k", "0.4k 0.4k"),
    "kill_switch": ("OL@2000000", "0.4 0.4"),
    "resistor": ("OL 4.9k",),
    "trigger": ("151 150",),
    "charging": ("330 331",),
}


def checked(*names: str) -> tuple[Judgement, ...]:
    """Checks of the program itself, with readings that leave much to say."""
    return tuple(
        judge_part(
            PartCase(
                name,
                check.title,
                POCKET,
                check.items,
                tuple(map(readings, _TOLD.get(name, ()))),
                leads=reading("0.3"),
                limit=Limit(Decimal(100), Decimal(130), Decimal(20)) if name in ("trigger", "charging") else None,
                gap_mm=Decimal(6),
                jumped=(False, True),
            )
        )
        for name, check in load_bench(read_files()).checks.items()
        if name in names
    )


SHEETS: dict[str, Callable[[], Sheet]] = {
    "sound": lambda: sheet(case("1.4", "4.70k", "4.71k")),
    "nothing taken": lambda: sheet(case(leads="")),
    "fullest": fullest,
    "fault": lambda: sheet(case("1.4", "OL OL", "OL OL", limits=_LIMITS)),
    "with checks": lambda: replace(sheet(case("1.4", "4.70k")), checks=_CHECKS),
    "with four checks": lambda: replace(fullest(), checks=checked("cap", "kill_switch", "resistor", "trigger")),
    "with every check": lambda: replace(fullest(), checks=checked(*_TOLD, "spark")),
    "checks alone": lambda: replace(sheet(case()), checks=_CHECKS, coil=False),
}


def text_of(found: str) -> str:
    """What a person reads: no markup, plain spaces."""
    body = re.sub(r"<(style|title)>.*?</\1>", "", found, flags=re.DOTALL)
    return html.unescape(re.sub(r"<[^>]+>", " ", body)).replace("\u00a0", " ")


# ---- what stands on it


@pytest.mark.parametrize("name", SHEETS)
def test_everything_the_verdict_says_stands_on_the_page(name: str) -> None:
    made = SHEETS[name]()
    text = text_of(page(made))
    parts = ("because", "unproven", "next_steps", "cautions")
    sentences = [verdict_wording.say(made.verdict)] if made.coil else []
    sentences += [line for part in parts if made.coil for line in getattr(verdict_wording, part)(made.verdict)]
    for sentence in sentences:
        assert sentence in text
    assert made.label in text
    assert page_wording.FOOT in text
    for note in made.notes:
        assert note in text
    for judgement in made.checks:
        for part in (*parts, *(() if judgement.results else ("readings",))):
            assert all(line in text for line in getattr(check_wording, part)(judgement))


def test_readings_stand_in_a_table_with_what_was_shown_and_what_remains() -> None:
    text = " ".join(text_of(page(sheet(case("2.0 1.4", "4.70k", "OL@20000")))).split())
    assert "Leads, tips together 0.3 Ω – – none" in text
    assert "Primary, core to kill tab 1.4 Ω 1.10 Ω ± 0.34 Ω, less the leads usual 2.0 Ω" in text
    assert "Secondary, core to lead end 4.70 kΩ 4.700 kΩ ± 67 Ω usual none" in text
    assert "Comparison, kill tab to lead end over range on 20 kΩ – open none" in text


def test_readings_of_a_check_stand_in_a_table_of_its_own() -> None:
    text = " ".join(text_of(page(SHEETS["checks alone"]())).split())
    assert "Plug cap 5.1 kΩ 5.100 kΩ ± 91 Ω usual over range" in text
    assert "Lead over range – open over range" in text
    assert "Gap: 6 millimetres No spark jumped A spark jumped" in text


def test_what_was_not_taken_is_said_so() -> None:
    text = " ".join(text_of(page(sheet(case(leads=""), label="", started_at="", folder="f"))).split())
    assert "Leads, tips together not taken – – none" in text
    assert "Primary, core to kill tab not taken – not taken none" in text
    assert "Ignition coil test From the record f" in text
    assert page_wording.DOUBT not in text
    assert page_wording.BEFORE not in text


def test_the_test_itself_is_described() -> None:
    told = case("1.4", "4.7k", limits=_LIMITS, coil_at_c=Decimal(45), stroke=Stroke.FOUR, cap_on=False)
    facts = dict(page_wording.test_facts(told, ("no spark at all", "starts badly")))
    assert facts["Engine"] == "four-stroke"
    assert facts["Plug cap"] == "off"
    assert facts["Coil at"] == "45 °C"
    assert facts["Symptoms"] == "no spark at all, starts badly"
    assert facts["Maker's limits"] == "primary 0.8 Ω to 1.3 Ω at 20 °C; secondary 3.9 kΩ to 5.1 kΩ at 20 °C"
    bare = dict(page_wording.test_facts(case(), ()))
    assert bare["Maker's limits"] == "not given"
    assert bare["Symptoms"] == "none"
    assert "Coil at" not in bare


@pytest.mark.parametrize(
    ("limit", "text"),
    [
        (Limit(Decimal(1), None), "at least 1 Ω"),
        (Limit(None, Decimal(7100), Decimal(20)), "at most 7.1 kΩ at 20 °C"),
        (Limit(Decimal(5), Decimal(5)), "5 Ω"),
    ],
)
def test_limits_with_one_side_are_printed_as_such(limit: Limit, text: str) -> None:
    assert page_wording.limit_span(limit) == text


def test_the_error_budget_is_listed_part_by_part() -> None:
    made = sheet(case("1.4", "4.70k"))
    text = " ".join(text_of(page(made)).split())
    measured = made.verdict.secondary.measured
    assert measured is not None
    assert [part.name.split()[0] for part in measured.parts] == ["gain", "display", "gain", "display"]
    for part in measured.parts:
        assert f"Secondary {part.name} {part.u_ohm:.3g}" in text


def test_earlier_readings_of_the_coil_stand_beside_the_present_ones() -> None:
    text = " ".join(text_of(page(fullest())).split())
    assert "Primary, core to kill tab 3 1.1 Ω 1.05 Ω to 1.2 Ω shows no value now" in text
    assert "3, known good 4.6 kΩ 4.55 kΩ to 4.65 kΩ +202.2 %: differs beyond meter" in text
    assert "say more than any general band" in text
    assert "only show whether it still reads the same" in page_wording.earlier_rule(_EARLIER[:1])


def test_what_people_typed_cannot_become_markup() -> None:
    nasty = "<script>alert(1)</script> & \"q\" 'x'"
    made = page(sheet(case("1.4", "4.7k"), label=nasty, folder=nasty, symptoms=(nasty,), recordings=("a b<i>.wav",)))
    assert "<script" not in made
    assert "<i>" not in made
    assert text_of(made).count(nasty) == 3
    assert 'href="a%20b%3Ci%3E.wav"' in made


def test_the_page_needs_nothing_from_elsewhere_and_runs_nothing() -> None:
    made = page(fullest())
    assert "default-src 'none'" in made
    assert not re.search(r"(src|url)\s*[=(]\s*[\"']?(?!#)\w", made)
    assert re.findall(r'href="([^"]*)"', made) == ["1.wav"]
    assert not re.search(r"\son\w+=", made)


def test_landmarks_headings_and_table_heads_are_there() -> None:
    made = page(fullest())
    assert made.startswith('<!DOCTYPE html>\n<html lang="en">')
    assert "<title>Ignition coil test: a label" in made
    for landmark in ("header", "main", "footer"):
        assert made.count(f"<{landmark}>") == 1
    assert made.count("<h1>") == 1
    named = re.findall(r'aria-labelledby="([^"]+)"', made)
    assert len(named) > 8
    for name in (*named, "chart-words"):
        assert made.count(f'id="{name}"') == 1
    assert made.count("<caption>") == made.count("<table>") == 3
    assert made.count('<th scope="row">') == 4 + 2 + made.count("gain of") + made.count("display at") + made.count(
        "digits left"
    )


# ---- the chart


def marks(panel: Panel) -> dict[str, Any]:
    return {lane.name: lane for lane in panel.lanes}


def test_bands_and_readings_share_an_axis() -> None:
    told = case("1.4", "4.70k", "4.71k", limits=_LIMITS, coil_at_c=Decimal(45), stroke=Stroke.FOUR)
    primary, secondary = panels(sheet(told, earlier=_EARLIER))
    assert list(marks(primary)) == [
        "Makers' span",
        "Usual band",
        "Maker's limits",
        "Read here before",
        "Primary",
        "Primary at 20 °C",
    ]
    lanes = marks(secondary)
    assert list(lanes) == [
        "Makers' span",
        "Usual band",
        "Maker's limits",
        "Known good here",
        "Secondary",
        "Secondary at 20 °C",
        "Kill tab to lead",
    ]
    assert (lanes["Usual band"].low_ohm, lanes["Usual band"].high_ohm) == (2500, 5000)
    assert lanes["Known good here"].middle_ohm == 4600
    less_leads = Decimal("4699.7")
    assert lanes["Secondary"].middle_ohm == less_leads
    assert lanes["Secondary"].high_ohm - less_leads == pytest.approx(Decimal("66.5"), abs=Decimal("0.1"))
    assert lanes["Secondary at 20 °C"].middle_ohm == pytest.approx(less_leads * Decimal("254.5") / Decimal("279.5"))


def test_a_band_of_earlier_readings_says_for_which_temperature_it_holds() -> None:
    at_room = tuple(replace(one, at_c=Decimal(20)) for one in _EARLIER)
    for earlier, told in ((_EARLIER, "4.55 kΩ to 4.65 kΩ"), (at_room, "4.55 kΩ to 4.65 kΩ as at 20 °C")):
        _, secondary = panels(sheet(case("1.4", "4.70k"), earlier=earlier))
        assert marks(secondary)["Known good here"].text == told
        assert f"Known good here: {told}." in secondary.in_words


def test_hot_readings_stand_below_the_cold_ones() -> None:
    told = replace(case("1.4", "4.70k"), warm=readings("OL 5.90k"), warm_primary=readings("OL"))
    primary, secondary = panels(sheet(told))
    assert (primary.lanes[-1].name, primary.lanes[-1].look) == ("Primary, hot", Look.ABOVE)
    assert (secondary.lanes[-1].name, secondary.lanes[-1].middle_ohm) == ("Secondary, hot", Decimal("5899.7"))
    assert [lane.name for lane in secondary.lanes[-2:]] == ["Secondary", "Secondary, hot"]


def part(wants: Wants, attempts: str, limit: Limit | None = None, *usual: tuple[int, int]) -> Judgement:
    bands = tuple((Decimal(low), Decimal(high)) for low, high in usual)
    item = Item("x.one", "the part", wants, bands, "a source")
    leads = reading("0.3")
    return judge_part(PartCase("x", "part", POCKET, (item,), (readings(attempts),), leads, limit, Decimal(45)))


@pytest.mark.parametrize(
    ("judgement", "lanes", "words"),
    [
        (
            part(Wants.BAND, "5.1k", None, (0, 10), (4000, 6000)),
            [
                (Look.USUAL, Decimal(0), Decimal(10)),
                (Look.USUAL, Decimal(4000), Decimal(6000)),
                (Look.READING, Decimal("5008.8"), Decimal("5190.6")),
            ],
            "Usual band: 0 Ω to 10 Ω. Usual band: 4 kΩ to 6 kΩ. The reading: 5.100 kΩ ± 91 Ω.",
        ),
        (
            part(Wants.BAND, "OL OL", Limit(Decimal(100), Decimal(200), Decimal(20))),
            [(Look.LIMITS, Decimal(100), Decimal(200)), (Look.ABOVE, None, None)],
            "Maker's limits: 100 Ω to 200 Ω at 20 °C. The reading: over range.",
        ),
        (
            part(Wants.BAND, "150", Limit(Decimal(100), None, Decimal(20))),
            [
                (Look.LIMITS, Decimal(100), None),
                (Look.READING, Decimal("148.0"), Decimal("151.4")),
                (Look.READING, Decimal("132.8"), Decimal("139.8")),
            ],
            "Maker's limits: at least 100 Ω at 20 °C. The reading: 149.7 Ω ± 1.7 Ω. The reading at 20 °C: 136.3 Ω ± 3.5 Ω.",
        ),
        (
            part(Wants.OPEN, "OL"),
            [(Look.USUAL, Decimal(1_000_000), None), (Look.ABOVE, None, None)],
            "Open: 1 MΩ and more. The reading: over range.",
        ),
        (
            part(Wants.CLOSED, "jumping"),
            [(Look.USUAL, None, Decimal(2)), (Look.UNSTEADY, None, None)],
            "Closed: up to 2 Ω. The reading: unsteady.",
        ),
        (part(Wants.CLOSED, ""), [(Look.USUAL, None, Decimal(2))], "Closed: up to 2 Ω. Nothing was read."),
    ],
)
def test_a_check_is_drawn_with_its_bands_and_its_reading(judgement: Judgement, lanes: list[Any], words: str) -> None:
    (panel,) = check_panels(judgement)
    assert panel.title == "Part"
    for lane, (look, low, high) in zip(panel.lanes, lanes, strict=True):
        assert lane.look is look
        for found, wanted in ((lane.low_ohm, low), (lane.high_ohm, high)):
            assert found == (wanted if wanted is None else pytest.approx(wanted, abs=Decimal("0.1")))
    assert " ".join(panel.in_words) == words
    axis = Axis(panel)
    assert axis.low_ohm <= min((float(edge) for lane in panel.lanes for edge in lane.edges_ohm), default=1e9)
    text = " ".join(text_of(page(replace(sheet(case()), checks=(judgement,)))).split())
    assert f"Part. {words}" in text


def test_a_check_of_several_parts_has_an_axis_for_each() -> None:
    cap, lead = check_panels(_CHECKS[0])
    assert (cap.title, lead.title) == ("Plug cap", "Lead")
    assert (Axis(cap).low_ohm, Axis(cap).high_ohm) == (2_000, 20_000)
    assert (Axis(lead).low_ohm, Axis(lead).high_ohm) == (100, 10_000)
    assert check_panels(_CHECKS[1]) == ()


def test_every_chart_of_a_page_has_its_own_title_and_words() -> None:
    found = page(SHEETS["with checks"]())
    for name in ("chart", "chart-cap"):
        assert f'aria-labelledby="{name}-title" aria-describedby="{name}-words"' in found
        assert found.count(f'id="{name}-title"') == found.count(f'id="{name}-words"') == 1
    ids = re.findall(r' id="([^"]+)"', found)
    assert len(set(ids)) == len(ids)


def test_a_cap_left_on_is_taken_off_the_reading_beside_the_makers_band() -> None:
    _, secondary = panels(fullest())
    found = marks(secondary)
    assert (found["Maker's limits"].low_ohm, found["Maker's limits"].high_ohm) == (3900, 5100)
    assert "Secondary at 20 °C without a cap of 7.5 to 12.5 kΩ" in found


@pytest.mark.parametrize(
    ("attempt", "look", "text"),
    [
        ("OL@200", Look.ABOVE, "over range, more than 200 Ω"),
        ("OL", Look.ABOVE, "over range"),
        ("jumping", Look.UNSTEADY, "unsteady"),
    ],
)
def test_a_reading_without_a_value_has_a_mark_of_its_own(attempt: str, look: Look, text: str) -> None:
    primary, _ = panels(sheet(case(attempt, "4.7k")))
    lane = primary.lanes[-1]
    assert (lane.look, lane.text) == (look, text)
    assert f"Primary reads {text}." in primary.in_words


def test_bounds_that_were_named_are_drawn() -> None:
    between = replace(reading("jumping"), low=reading("1M").quantity, high=reading("3M").quantity)
    primary, _ = panels(sheet(replace(case(), primary=(between,))))
    lane = primary.lanes[-1]
    assert (lane.low_ohm, lane.high_ohm, lane.text) == (
        Decimal(1_000_000),
        Decimal(3_000_000),
        "unsteady (1 MΩ to 3 MΩ)",
    )
    assert Axis(primary).high_ohm >= 3_000_000


@pytest.mark.parametrize("name", SHEETS)
def test_the_chart_in_words_tells_every_lane(name: str) -> None:
    for panel in panels(SHEETS[name]()):
        words = " ".join(panel.in_words)
        for lane in panel.lanes:
            assert lane.name in words
            assert lane.text in words


def test_places_on_the_axis_are_logarithmic_and_stay_on_it() -> None:
    primary, _ = panels(sheet(case("1.4", "4.7k")))
    axis = Axis(primary)
    assert (axis.low_ohm, axis.high_ohm) == (0.05, 10)
    left, middle, right = (axis.x(Decimal(ohm), 0) for ohm in ("0.05", "0.5", "5"))
    assert middle - left == pytest.approx(right - middle, abs=0.2)
    assert axis.x(Decimal("0.05"), 0) == axis.x(Decimal(0), 0) == axis.x(Decimal(-3), 0) == axis.x(Decimal("0.001"), 0)
    assert axis.x(Decimal(10), 0) == axis.x(Decimal(10**9), 0)
    assert axis.x(None, 7.5) == 7.5
    assert [str(tick) for tick in axis.ticks()] == ["0.05", "0.1", "0.2", "0.5", "1", "2", "5", "1E+1"]


@pytest.mark.parametrize("attempt", ["0.0", "0.4", "9.99", "1000", "3.2M"])
def test_any_value_fits_on_its_axis_between_ticks(attempt: str) -> None:
    primary, _ = panels(sheet(case(attempt, "4.7k")))
    axis = Axis(primary)
    value = primary.lanes[-1].middle_ohm
    assert value is not None
    ticks = [float(tick) for tick in axis.ticks()]
    assert ticks == sorted(ticks)
    assert 2 <= len(ticks) <= 12
    assert axis.low_ohm <= max(float(value), axis.low_ohm) <= axis.high_ohm


@pytest.mark.parametrize("name", SHEETS)
def test_the_drawing_is_well_formed_and_stays_inside_its_frame(name: str) -> None:
    root = ET.fromstring(chart(panels(SHEETS[name]())))  # noqa: S314 - our own drawing
    width, height = (float(side) for side in root.attrib["viewBox"].split()[2:])
    for shape in root.iter("rect"):
        if "x" in shape.attrib:
            assert 0 <= float(shape.attrib["x"]) <= width
            assert float(shape.attrib["x"]) + float(shape.attrib["width"]) <= width
    for text in root.iter("text"):
        assert text.text
        assert 0 <= float(text.attrib["x"]) <= width
    assert height == sum(20 + 21 * len(panel.lanes) + 22 for panel in panels(SHEETS[name]()))


@pytest.mark.parametrize("judgement", checked(*_TOLD), ids=lambda judgement: judgement.check)
def test_the_narrow_chart_of_a_check_has_room_for_its_words(judgement: Judgement) -> None:
    root = ET.fromstring(chart(check_panels(judgement), shape=NARROW))  # noqa: S314 - our own drawing
    for text in root.iter("text"):
        words, x = text.text or "", float(text.attrib["x"])
        room_left, room_right = {"start": (0, 1), "end": (1, 0), "middle": (0.5, 0.5)}[
            text.attrib.get("text-anchor", "start")
        ]
        assert x - 6 * len(words) * room_left >= 0
        assert x + 6 * len(words) * room_right <= NARROW.width + 6


def test_every_look_is_told_apart_without_colour() -> None:
    drawn = chart(panels(fullest()))
    colours = set(re.findall(r"\"(#[0-9a-f]{3,6})\"", drawn))
    assert colours <= {"#000", "#fff", "#777", "#555", "#bbb"}


def test_the_published_spans_are_those_of_the_makers_table() -> None:
    found = [row for one in rows("coil_limits_published") if isinstance(row := one.values[0], CheckRow)]

    def edges(winding: str) -> tuple[Decimal, Decimal]:
        # limits that hold with caps on are no span of bare coils
        bare = [row for row in found if winding == "primary" or not row["cap_state"].startswith("on")]
        lows = [row.maybe(f"{winding}_low_ohm") for row in bare]
        highs = [row.maybe(f"{winding}_high_ohm") for row in bare]
        return min(low for low in lows if low), max(high for high in highs if high)

    assert edges("primary") == PRIMARY_PUBLISHED_OHM
    assert edges("secondary") == SECONDARY_PUBLISHED_OHM


# ---- the command


def test_report_writes_a_page_beside_the_record_and_says_where(run: Any, tmp_path: Path) -> None:
    folder = session(tmp_path, *ELECTRONICS, label="water pump")
    (folder / "002.wav").write_bytes(b"")
    result = run("report", "water pump", "--data", str(tmp_path), "--no-pdf")
    assert result.json == {"html": str(folder / "report.html"), "pdf": None}
    made = (folder / "report.html").read_text(encoding="utf-8")
    assert "Ignition coil test: water pump" in made
    assert "no spark at all" in made
    assert 'href="002.wav"' in made
    assert "four-stroke" in made


@pytest.mark.slow
@pytest.mark.parametrize("how", ["label", "name", "path"])
def test_a_job_is_found_by_label_folder_name_or_path(run: Any, tmp_path: Path, how: str) -> None:
    folder = session(tmp_path, *SOUND, label="mower 7")
    job = {"label": "mower 7", "name": folder.name, "path": str(folder)}[how]
    assert run("report", job, "--data", str(tmp_path), "--no-pdf").json["html"] == str(folder / "report.html")


@pytest.mark.slow
def test_a_page_can_be_written_elsewhere_and_opened(run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = session(tmp_path, *SOUND)
    (folder / "1.wav").write_bytes(b"")
    opened: list[str] = []

    def open_once(url: str) -> bool:
        opened.append(url)
        return len(opened) == 1

    monkeypatch.setattr(webbrowser, "open", open_once)
    to = tmp_path / "out.html"
    for told in ("", "No browser could be started"):
        result = run("report", "pump", "--data", str(tmp_path), "--no-pdf", "--to", str(to), "--open")
        assert result.status == 0
        assert told in result.err
    assert opened == [to.as_uri(), to.as_uri()]
    assert ".wav" not in to.read_text(encoding="utf-8")


def test_an_unfinished_session_says_so_on_its_page(run: Any, tmp_path: Path) -> None:
    folder = session(tmp_path, *LEFT)
    assert run("report", "pump", "--data", str(tmp_path), "--no-pdf").status == 0
    assert page_wording.NOT_FINISHED in (folder / "report.html").read_text(encoding="utf-8")


@pytest.mark.slow
def test_a_record_that_would_be_answered_otherwise_today_says_so_on_its_page(run: Any, tmp_path: Path) -> None:
    folder = session(tmp_path, *SOUND)
    rewritten(folder / FILE, "Four-stroke.", "Fore-stroke.")
    assert run("report", "pump", "--data", str(tmp_path), "--no-pdf").status == 0
    assert page_wording.JUDGED_ANEW in (folder / "report.html").read_text(encoding="utf-8")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (("nowhere",), "'nowhere': no record of that label, folder name or path"),
        (("",), "no record of that label"),
        (("../x",), "no record of that label"),
        (("pump", "--to", "/nowhere/at/all.html"), "/nowhere/at/all.html: cannot be written"),
        (("pump", "--browser", "no-such-browser"), "--browser 'no-such-browser': no such program"),
        (("pump", "--paper", "A3"), "invalid choice"),
    ],
)
def test_a_report_that_cannot_be_made_gets_one_line(
    run: Any, tmp_path: Path, arguments: tuple[str, ...], line: str
) -> None:
    session(tmp_path, *SOUND)
    result = run("report", *arguments, "--data", str(tmp_path))
    assert result.status == 2
    assert line in result.err
    assert result.err.count("\n") == 1


def test_a_damaged_record_and_a_missing_folder_get_one_line(run: Any, tmp_path: Path) -> None:
    folder = session(tmp_path, *SOUND)
    (folder / FILE).write_bytes((folder / FILE).read_bytes().replace(b"ready", b"reedy"))
    assert "damaged" in run("report", "pump", "--data", str(tmp_path)).err
    assert "no record" in run("report", "pump", "--data", str(tmp_path / "none")).err


def test_without_a_browser_there_is_a_page_and_a_word_about_it(
    run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    session(tmp_path, *SOUND)
    monkeypatch.setattr(printer, "ENGINES", ("no-such-browser",))
    result = run("report", "pump", "--data", str(tmp_path))
    assert result.json["pdf"] is None
    assert "No PDF: none of no-such-browser" in result.err


@pytest.mark.slow
@pytest.mark.parametrize(
    ("program", "why"),
    [
        ("#!/bin/sh\nexit 3\n", "ended with status 3"),
        ("#!/bin/sh\nexec sleep 60\n", "within 0.2 seconds"),
        ("not a program at all", "cannot be started"),
    ],
)
def test_a_browser_that_does_not_deliver_is_told(tmp_path: Path, program: str, why: str) -> None:
    engine = tmp_path / "engine"
    engine.write_text(program, encoding="utf-8")
    engine.chmod(0o755)
    found = pdf_of("<p>page", str(engine), wait_s=0.2 if "sleep" in program else 20)
    assert isinstance(found, str)
    assert why in found


@pytest.mark.slow
def test_a_browser_that_fails_leaves_the_page(run: Any, tmp_path: Path) -> None:
    session(tmp_path, *SOUND)
    engine = tmp_path / "engine"
    engine.write_text("#!/bin/sh\nexit 3\n", encoding="utf-8")
    engine.chmod(0o755)
    result = run("report", "pump", "--data", str(tmp_path), "--browser", str(engine))
    assert result.json["pdf"] is None
    assert "ended with status 3" in result.err


# ---- in a real browser engine


@pytest.fixture(scope="module")
def engine() -> str:
    found = find_engine()
    if found is None:
        pytest.skip(f"no browser engine on this machine: none of {', '.join(printer.ENGINES)}")
    return found


@pytest.mark.slow
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", SHEETS)
def test_a_report_prints_on_one_sheet_with_many_checks_on_both_its_sides(engine: str, name: str, paper: str) -> None:
    found = pdf_of(page(SHEETS[name](), paper), engine)
    assert isinstance(found, bytes), found
    assert len(re.findall(rb"/Type\s*/Page\b", found)) == (2 if name in ("with four checks", "with every check") else 1)
    width = {"A4": 595, "letter": 612}[paper]
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([0-9.]+)", found)
    assert box is not None
    assert float(box[1]) == pytest.approx(width, abs=1.5)


@pytest.mark.slow
def test_report_makes_the_pdf_too(engine: str, run: Any, tmp_path: Path) -> None:
    folder = session(tmp_path, *SOUND)
    result = run("report", "pump", "--data", str(tmp_path), "--browser", engine, "--paper", "letter")
    assert result.json["pdf"] == str(folder / "report.pdf")
    assert (folder / "report.pdf").read_bytes().startswith(b"%PDF")


_RUN_AXE = """<script>{axe}</script><script>
axe.run(document).then(found => {{
  document.title = "axe";
  document.body.innerHTML = "<pre id=found>" + JSON.stringify({{
    passes: found.passes.length,
    violations: found.violations.map(v => [v.id, v.help, v.nodes.map(n => n.html.slice(0, 200))]),
  }}).replace(/</g, "&lt;") + "</pre>";
}});
</script></body>"""


@pytest.mark.slow
@pytest.mark.parametrize("name", SHEETS)
def test_an_automatic_accessibility_check_finds_nothing(engine: str, name: str, tmp_path: Path) -> None:
    axe = find_spec("axe_core_python")
    if axe is None or not axe.submodule_search_locations:
        pytest.skip("axe-core-python is not installed (it is in the test extra)")
    script = Path(axe.submodule_search_locations[0], "axe.min.js").read_text(encoding="utf-8")
    # the page forbids scripts, the check's too: that one line is taken out of the copy that is checked
    checked = re.sub(r"<meta http-equiv=[^>]*>", "", page(SHEETS[name]()))
    copy = tmp_path / "page.html"
    copy.write_text(checked.replace("</body>", _RUN_AXE.format(axe=script)), encoding="utf-8")
    command = [engine, "--headless", "--disable-gpu", "--no-sandbox", f"--user-data-dir={tmp_path}/profile"]
    command += ["--virtual-time-budget=20000", "--dump-dom", copy.as_uri()]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)
    found = re.search(r'<pre id="found">(.*?)</pre>', done.stdout, flags=re.DOTALL)
    assert found is not None, done.stdout[-500:]
    result = json.loads(html.unescape(found[1]))
    assert result["violations"] == []
    assert result["passes"] >= 15
