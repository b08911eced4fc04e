"""Checks beside the coil test as a person meets them: the command line, the record, the list of jobs, the report page."""

import json
from pathlib import Path
from typing import Any

import pytest
from records_cases import SOUND, session

from assistant.records.story import sheet, story
from assistant.report.page import page

SWITCH = ("ready", "done", "0.2", "45k", "yes", "done", "44k", "0.4")
"""A kill wire that conducts, read twice; its switch is good."""
SPARK = ("ready", "6", "ready", "yes")


def chat(run: Any, folder: Path, *lines: str, check: str = "", job: str = "pump") -> Any:
    typed = "".join(f"{line}\n" for line in lines)
    return run(
        *("chat", "--data", str(folder), "--job", job, "--meter", "pocket"),
        *(("--check", check) if check else ()),
        typed=typed,
    )


def test_a_check_from_a_pipe_to_its_result_then_replay(run: Any, tmp_path: Path) -> None:
    result = chat(run, tmp_path, *SWITCH, "done", check="kill_switch")
    assert result.status == 0
    found = json.loads(result.out)
    assert (found["check"], found["result"]) == ("kill_switch", "not-right")
    assert found["run"]["shown"] == ["45 kΩ", "44 kΩ"]
    assert found["run"]["finding"] == "neither open nor closed"
    assert found["stop"]["ohms"] == "0.2"
    assert "keeps" not in found["say"]
    (folder,) = (path for path in tmp_path.iterdir() if path.is_dir())
    assert "44 kΩ" in (folder / "check-kill_switch.txt").read_text(encoding="utf-8")
    assert run("replay", str(folder)).status == 0
    assert run("replay", str(folder), "--today").status == 0


def test_the_spark_as_json_is_a_range_and_never_one_figure(run: Any, tmp_path: Path) -> None:
    found = json.loads(chat(run, tmp_path, *SPARK, "done", check="spark").out)
    assert (found["gap_mm"], found["needles_kv"], found["spheres_25mm_kv"]) == ("6", 7.1, 20.6)
    assert found["jumped"] == [True]
    unknown = json.loads(chat(run, tmp_path, "ready", "not known", "ready", "yes", "done", check="spark", job="2").out)
    assert "gap_mm" not in unknown


def test_limits_and_what_was_not_taken_are_in_the_json(run: Any, tmp_path: Path) -> None:
    lines = ("ready", "yes", "100 ohms", "130 ohms", "not known", "done", "0.2", "110 ohms", "done")
    found = json.loads(chat(run, tmp_path, *lines, check="trigger").out)
    assert found["coil"]["limits"]["outcome"] == "inside"
    skipped = json.loads(chat(run, tmp_path, "ready", "done", "0.2", "skip", "done", check="resistor", job="2").out)
    assert skipped["resistor"] == {"finding": "not taken", "shown": []}


def test_a_check_nobody_knows_gets_one_line(run: Any, tmp_path: Path) -> None:
    result = chat(run, tmp_path, check="mood")
    assert result.status == 2
    assert result.err.splitlines()[-1] == (
        "ohmaloud chat: no check 'mood': there are resistor, cap, kill_switch, charging, trigger, spark"
    )
    assert not list(tmp_path.glob("*/"))


def test_a_job_left_unfinished_is_finished_before_a_check(run: Any, tmp_path: Path) -> None:
    chat(run, tmp_path, "ready")
    result = chat(run, tmp_path, check="spark")
    assert "left unfinished: it is finished first" in result.err
    assert "two-stroke or a four-stroke" in result.err


def test_a_check_that_was_left_is_taken_up_by_its_label(run: Any, tmp_path: Path) -> None:
    chat(run, tmp_path, "ready", "done", check="cap")
    result = chat(run, tmp_path, "0.3", "5.1k", "0.4", "done", check="cap")
    assert "Taking up job pump" in result.err
    assert json.loads(result.out)["result"] == "nothing-found"


@pytest.fixture
def shop(tmp_path: Path, run: Any) -> Path:
    """A coil test with two checks after it, a check alone, and one that was left."""
    switch = [line for line in SWITCH if line != "0.2"]  # the leads are known
    session(tmp_path, *SOUND[:-1], "check the kill switch", *switch, "check the spark", *SPARK, "done", label="both")
    chat(run, tmp_path, *SWITCH, "done", check="kill_switch", job="switch")
    chat(run, tmp_path, "ready", "done", "0.2", "5.1k", check="cap", job="left")
    return tmp_path


@pytest.mark.slow
def test_the_list_of_jobs_holds_readings_and_results_of_checks(run: Any, shop: Path) -> None:
    out = run("jobs", "--data", str(shop), "--json").out
    jobs = {job["label"]: job for job in map(json.loads, out.splitlines())}
    assert {label: job["verdict"] for label, job in jobs.items()} == {
        "both": "sound",
        "switch": "not-right",
        "left": "",
    }
    assert jobs["switch"]["checks"] == "kill switch with its wire: not-right (44 kΩ, 0.4 Ω)"
    assert jobs["both"]["checks"].endswith("; spark across a known gap: nothing-found (a spark jumped)")
    assert jobs["left"]["checks"] == "plug cap with its lead: undecided (5.1 kΩ, not taken)"
    assert jobs["both"]["primary_shown"] == "1.4 Ω"
    plain = run("jobs", "--data", str(shop), "--verdict", "not-right").out
    assert "kill switch with its wire: not-right (44 kΩ, 0.4 Ω)" in plain
    assert "checks" in run("jobs", "--data", str(shop), "--csv").out.splitlines()[0].split(",")


def test_the_gravest_result_stands_for_several_checks(run: Any, tmp_path: Path) -> None:
    chat(run, tmp_path, *SWITCH, "check the spark", *SPARK, "done", check="kill_switch")
    (job,) = map(json.loads, run("jobs", "--data", str(tmp_path), "--json").out.splitlines())
    assert job["verdict"] == "not-right"


@pytest.mark.slow
def test_the_page_of_a_coil_test_has_its_checks_after_it(shop: Path) -> None:
    (folder,) = shop.glob("*both*")
    html = page(sheet(story(folder)))
    assert html.index("Ignition coil test: both") < html.index("Check of the kill switch with its wire")
    assert "Chart of the readings" in html
    assert "<td>44.0\u00a0kΩ ±\u00a02.7\u00a0kΩ</td><td>neither open nor closed</td><td>45\u00a0kΩ</td>" in html
    assert "about 7 kilovolts between needle points and about 21 between spheres" in html


@pytest.mark.slow
def test_the_page_of_a_check_alone_says_nothing_about_a_coil(run: Any, shop: Path) -> None:
    (folder,) = shop.glob("*switch*")
    result = run("report", "switch", "--data", str(shop), "--no-pdf")
    assert result.status == 0
    html = (folder / "report.html").read_text(encoding="utf-8")
    assert "<h1>Ignition check: switch</h1>" in html
    assert "Chart of the readings" not in html
    assert "The coil is not condemned" not in html
    assert "not finished" not in html


@pytest.mark.slow
def test_the_page_of_an_unfinished_check_says_so(shop: Path) -> None:
    (folder,) = shop.glob("*left*")
    html = page(sheet(story(folder)))
    assert "This session was not finished." in html
    assert "5.1\u00a0kΩ" in html
    assert '<th scope="row">Lead</th><td>not taken</td><td>–</td><td>not taken</td><td>none</td>' in html


@pytest.mark.slow
def test_checks_travel_with_export_and_are_compared_with_nothing(run: Any, shop: Path, tmp_path: Path) -> None:
    assert run("export", "--all", "--to", str(tmp_path / "all.zip"), "--data", str(shop)).status == 0
    there = tmp_path / "there"
    assert run("import", str(tmp_path / "all.zip"), "--data", str(there)).status == 0
    assert "not-right" in run("jobs", "--data", str(there)).out
    assert run("compare", "switch", "--data", str(there)).status == 0
