"""What a shop keeps: the list of its sessions, a coil beside its own past, marks; and an index that may be lost at any time."""

import csv
import datetime as dt
import io
import json
import shutil
import sqlite3
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from records_cases import AT, ELECTRONICS, LEFT, SOUND, TO_METER, Silent, rewritten, session

from assistant import __main__, commands, commands_meter, commands_records, journal
from assistant import session as sessions_module
from assistant.devices.clock import HeldClock
from assistant.dialogue.state import Bench
from assistant.errors import BadInput
from assistant.journal import FILE
from assistant.language.wording import shorten
from assistant.measure.coil import Tap
from assistant.measure.earlier import Agreement
from assistant.measure.parts import PartKind
from assistant.measure.verdict import VerdictKind
from assistant.preflight import load_bench, read_files
from assistant.records import folders
from assistant.records import index as index_module
from assistant.records.beside import Beside, earlier
from assistant.records.folders import find, label_of, sessions
from assistant.records.index import INDEX_FILE, Index, Job, Wanted, rebuilt
from assistant.records.marks import MARKS_FILE, NAME_MOST, Marks, read_marks, write_marks
from assistant.records.story import story


def day(number: int) -> dt.datetime:
    return AT + dt.timedelta(days=number)


def secondary(value: str) -> tuple[str, ...]:
    """A sound session with this secondary and no comparison."""
    return (*TO_METER, "0.3", "1.4", value, "no", "done")


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four sessions on four days."""
    data = tmp_path_factory.mktemp("shop")
    session(data, *SOUND, label="mower 7", at=day(0))
    session(data, *ELECTRONICS, label="Water pump", at=day(1))
    session(data, *LEFT, label="saw", at=day(2))
    session(data, "ready", "two stroke", "no", "none", label="mower 9", at=day(3))
    return data


@pytest.fixture
def shop(kept: Path, tmp_path: Path) -> Path:
    """The same four, to do with as one likes."""
    shutil.copytree(kept, tmp_path, dirs_exist_ok=True)
    return tmp_path


def listed(run: Any, data: Path, *arguments: str) -> list[dict[str, Any]]:
    result = run("jobs", "--json", "--data", str(data), *arguments)
    assert result.status == 0
    return [json.loads(line) for line in result.out.splitlines()]


@pytest.mark.parametrize("command", ["jobs", "report x", "compare x", "mark x --good", "export --all --to unused.zip"])
def test_a_file_in_place_of_the_records_gets_one_line(run: Any, tmp_path: Path, command: str) -> None:
    (tmp_path / "notes.txt").write_text("no folder")
    result = run(*command.split(), "--data", str(tmp_path / "notes.txt"))
    assert (result.status, result.out) == (2, "")
    assert "notes.txt: cannot be read" in result.err
    assert "expected the folder of the records" in result.err
    assert result.err.count("\n") == 1


# ---- names that stand twice


def test_every_command_of_other_modules_is_among_the_commands() -> None:
    assert set(commands_records.COMMANDS) | set(commands_meter.COMMANDS) <= set(commands.COMMANDS)


def test_names_kept_apart_for_speed_are_the_same() -> None:
    assert folders.JOURNAL_FILE == journal.FILE
    assert folders.JOB_FILE == sessions_module.JOB_FILE
    assert tuple(tap.value for tap in Tap) == index_module.TAPS
    assert tuple(dict.fromkeys(kind.value for kind in (*VerdictKind, *PartKind))) == __main__.KINDS


# ---- the list


def test_every_session_is_listed_oldest_first(run: Any, shop: Path) -> None:
    found = listed(run, shop)
    assert [job["label"] for job in found] == ["mower 7", "Water pump", "saw", "mower 9"]
    assert [job["verdict"] for job in found] == ["sound", "electronics", "", ""]
    assert [job["engine"] for job in found] == ["four", "four", "four", "two"]
    assert [job["complete"] for job in found] == [True, True, False, False]
    first = found[0]
    assert first["at"] == "2026-01-02T03:04:05+00:00"
    assert (first["primary_shown"], first["secondary_shown"], first["killtab_shown"]) == ("1.4 Ω", "4.70 kΩ", "4.71 kΩ")
    assert first["meter"] == "pocket"
    assert first["known_good"] is False
    assert found[1]["primary_shown"] == "unsteady"
    assert found[2]["secondary_shown"] == ""


@pytest.mark.slow
@pytest.mark.parametrize(
    ("arguments", "labels"),
    [
        (("--since", "2026-01-03"), ["Water pump", "saw", "mower 9"]),
        (("--until", "2026-01-03"), ["mower 7", "Water pump"]),
        (("--since", "2026-01-03", "--until", "2026-01-03"), ["Water pump"]),
        (("--engine", "two"), ["mower 9"]),
        (("--verdict", "sound"), ["mower 7"]),
        (("--label", "MOWER"), ["mower 7", "mower 9"]),
        (("--label", "mower", "--engine", "four"), ["mower 7"]),
        (("--coil", "water"), ["Water pump"]),
        (("--last", "2"), ["saw", "mower 9"]),
        (("--last", "1", "--label", "mower"), ["mower 9"]),
        (("--label", "%"), []),
    ],
)
def test_the_list_is_narrowed_down(run: Any, shop: Path, arguments: tuple[str, ...], labels: list[str]) -> None:
    assert [job["label"] for job in listed(run, shop, *arguments)] == labels


def test_the_plain_list_has_a_line_for_each(run: Any, shop: Path) -> None:
    head, *lines = run("jobs", "--data", str(shop)).out.splitlines()
    assert head.split()[:3] == ["BEGUN", "LABEL", "COIL"]
    assert len(lines) == 4
    assert lines[1].startswith(
        "2026-01-03 03:04  Water pump        four    electronics  unsteady  4.70 kΩ    over range"
    )
    assert "none yet" in lines[2]


def test_csv_can_be_read_back_and_holds_no_formulas(run: Any, shop: Path) -> None:
    session(shop, *LEFT, label='=1+1,"x"', at=day(5))
    rows = list(csv.DictReader(io.StringIO(run("jobs", "--csv", "--data", str(shop)).out)))
    assert len(rows) == 5
    assert rows[1]["secondary"] == "4.70 kΩ"
    assert rows[1]["complete"] == "yes"
    assert rows[-1]["label"] == '\'=1+1,"x"'


def test_control_characters_do_not_reach_the_screen(run: Any, tmp_path: Path) -> None:
    folder = session(tmp_path, *SOUND, label="pump")
    rewritten(folder / FILE, '"label":"pump"', '"label":"p\\u001b[31mp"')
    out = run("jobs", "--data", str(tmp_path)).out
    assert "\x1b" not in out
    assert "p [31mp" in out


@pytest.mark.slow
def test_nothing_found_is_said(run: Any, shop: Path, tmp_path: Path) -> None:
    result = run("jobs", "--label", "nobody", "--data", str(shop))
    assert (result.status, result.out) == (0, "")
    assert "No such jobs." in result.err
    assert "No jobs in" in run("jobs", "--data", str(tmp_path / "none")).err


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (("--since", "yesterday"), "--since 'yesterday': expected a date, as 2026-01-31"),
        (("--until", "2026-02-30"), "--until '2026-02-30': expected a date"),
        (("--since", "20260131"), "--since '20260131': expected a date"),
        (("--last", "0"), "--last: found '0', expected a whole number from 1"),
        (("--last", "many"), "--last: found 'many', expected a whole number"),
        (("--verdict", "fine"), "invalid choice"),
        (("--json", "--csv"), "not allowed with"),
    ],
)
def test_a_wrong_option_gets_one_line(run: Any, tmp_path: Path, arguments: tuple[str, ...], line: str) -> None:
    result = run("jobs", "--data", str(tmp_path), *arguments)
    assert result.status == 2
    assert line in result.err
    assert result.err.count("\n") == 1


def test_a_record_that_cannot_be_read_is_listed_with_its_trouble(run: Any, shop: Path) -> None:
    folder = next(shop.glob("*mower-7"))
    (folder / FILE).write_bytes((folder / FILE).read_bytes().replace(b"ready", b"reedy"))
    result = run("jobs", "--rebuild", "--data", str(shop))
    assert "cannot be read" in result.out
    assert "is damaged or was altered" in result.err
    found = listed(run, shop)
    assert found[0]["label"] == "mower 7"
    assert "damaged" in found[0]["trouble"]
    assert len(found) == 4


@pytest.mark.slow
def test_a_verdict_is_listed_as_it_was_given(run: Any, shop: Path) -> None:
    folder = next(shop.glob("*mower-7"))
    rewritten(folder / FILE, '"kind":"sound"', '"kind":"undecided"')
    assert listed(run, shop, "--rebuild")[0]["verdict"] == "undecided"
    assert story(folder).differs


# ---- the index


def contents(data: Path) -> list[tuple[Any, ...]]:
    index = Index(data)
    index.refresh()
    found = [tuple(job) for job in index.jobs()]
    index.close()
    return found


@pytest.mark.slow
def test_the_index_follows_sessions_that_go_on_come_and_go(shop: Path) -> None:
    assert [job[7] for job in contents(shop)] == ["sound", "electronics", "", ""]
    left = next(shop.glob("*saw"))
    lines = sessions_module.Jobs(shop)
    opened = lines.open(read_files(), sessions_module.Opening("saw"), HeldClock(), Silent(), day(9))
    for line in ("4.70", "no", "done"):
        opened.type(line)
    opened.end()
    session(shop, *SOUND, label="new", at=day(8))
    for path in sorted(next(shop.glob("*mower-9")).iterdir()):
        path.unlink()
    next(shop.glob("*mower-9")).rmdir()
    assert [(job[2], job[7]) for job in contents(shop)] == [
        ("mower 7", "sound"),
        ("Water pump", "electronics"),
        ("saw", "sound"),
        ("new", "sound"),
    ]
    assert story(left).state.complete


def test_only_what_is_new_is_read(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    contents(shop)
    read: list[int] = []
    monkeypatch.setattr(Index, "_take_in", lambda _self, some, _found: read.append(len(some)))
    contents(shop)
    assert read == []
    session(shop, *SOUND, label="new", at=day(8))
    contents(shop)
    assert read == [1]


@pytest.mark.slow
@pytest.mark.parametrize("harm", ["gone", "no database", "another version", "cut", "tables missing"])
def test_an_index_lost_or_damaged_is_made_anew(shop: Path, harm: str) -> None:
    before = contents(shop)
    file = shop / INDEX_FILE
    if harm == "gone":
        file.unlink()
    elif harm == "no database":
        file.write_bytes(b"this is no database, though it has more than a hundred bytes in it, as a header has " * 3)
    elif harm == "cut":
        file.write_bytes(file.read_bytes()[:5000])
    else:
        db = sqlite3.connect(file)
        db.execute("PRAGMA user_version = 99" if harm == "another version" else "DROP TABLE reading")
        db.commit()
        db.close()
    assert contents(shop) == before
    assert contents(shop) == before


@pytest.mark.slow
def test_a_rebuilt_index_is_the_same(shop: Path) -> None:
    before = contents(shop)
    index = rebuilt(shop)
    assert index.jobs() == []
    index.refresh()
    assert [tuple(job) for job in index.jobs()] == before
    index.close()


@pytest.mark.slow
def test_where_the_index_cannot_be_written_it_is_held_in_memory(shop: Path) -> None:
    before = contents(shop)
    (shop / INDEX_FILE).unlink()
    (shop / INDEX_FILE).mkdir()
    assert contents(shop) == before


@pytest.mark.slow
def test_many_new_records_are_told_about(run: Any, shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(commands_records, "_TELL_FROM", 3)
    assert "Reading records: 4 of 4." in run("jobs", "--data", str(shop)).err
    assert "Reading" not in run("jobs", "--data", str(shop)).err


def test_strange_things_among_the_records_are_passed_over(shop: Path) -> None:
    before = contents(shop)
    (shop / "notes.txt").write_text("mine", encoding="utf-8")
    (shop / "empty").mkdir()
    (shop / ".import-x").mkdir()
    (shop / "link").symlink_to(shop / "nowhere")
    assert contents(shop) == before


# ---- which one is meant


@pytest.mark.slow
def test_the_latest_of_a_label_is_meant(shop: Path) -> None:
    later = session(shop, *SOUND, label="mower 7", at=day(20))
    assert find(shop, "mower 7") == later
    assert find(shop, later.name) == later
    assert find(shop / "elsewhere", str(later)) == later
    index = Index(shop)
    index.refresh()
    assert index.latest("mower 7") == later.name
    assert index.latest(later.name) == later.name
    assert index.latest("nobody") is None
    index.close()
    with pytest.raises(BadInput, match="no record of that label"):
        find(shop, "nobody")
    assert len(sessions(shop)) == 5
    assert sessions(shop / "none") == []
    assert label_of(shop) == ""


def test_records_of_one_time_share_their_bench() -> None:
    first = load_bench(read_files())
    assert isinstance(first, Bench)
    assert load_bench(read_files()) is first
    assert load_bench(read_files(), "auto") is not first


# ---- marks


@pytest.mark.slow
def test_a_coil_is_named_and_known_to_be_good(run: Any, shop: Path) -> None:
    result = run("mark", "mower 7", "--coil", "coil A", "--good", "--data", str(shop))
    folder = next(shop.glob("*mower-7"))
    assert result.json == {"job": folder.name, "coil": "coil A", "known_good": True}
    assert read_marks(folder) == Marks("coil A", known_good=True)
    assert run("mark", "mower 7", "--data", str(shop)).json["coil"] == "coil A"
    assert "coil A, good" in run("jobs", "--data", str(shop)).out
    assert run("mark", "mower 7", "--no-good", "--data", str(shop)).json["known_good"] is False
    assert "coil A, good" not in run("jobs", "--data", str(shop)).out
    run("mark", "mower 7", "--coil", "", "--good", "--data", str(shop))
    assert "good" in run("jobs", "--data", str(shop)).out


@pytest.mark.parametrize("name", [" x", "a\nb", "x" * (NAME_MOST + 1)])
def test_a_name_no_coil_has_gets_one_line(run: Any, shop: Path, name: str) -> None:
    result = run("mark", "mower 7", "--coil", name, "--data", str(shop))
    assert result.status == 2
    assert "expected a name of at most 60 characters" in result.err


@pytest.mark.parametrize("text", ["", "[]", "{", '{"coil": "x"}', '{"coil": 3}'])
def test_marks_that_cannot_be_understood_are_none(tmp_path: Path, text: str) -> None:
    (tmp_path / MARKS_FILE).write_text(text, encoding="utf-8")
    assert read_marks(tmp_path) == Marks()


def test_marks_that_cannot_be_written_get_one_line(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be written"):
        write_marks(tmp_path / "none", Marks("x"))


# ---- a coil beside its own past


def test_a_coil_is_compared_with_its_own_past(run: Any, tmp_path: Path) -> None:
    for number, value in enumerate(("4.60", "4.70", "4.90")):
        session(tmp_path, *secondary(value), label="pump", at=day(number))
    session(tmp_path, *secondary("9.10"), label="another", at=day(1))
    session(tmp_path, *secondary("4.71"), label="Pump", at=day(9))
    result = run("compare", "Pump", "--data", str(tmp_path))
    rows = {row["reading"]: row for row in result.json["beside"]}
    assert list(rows) == ["primary", "secondary"]
    found = rows["secondary"]
    assert (found["earlier"], found["known_good"], found["now"]) == (3, False, "agrees")
    assert (found["low_ohms"], found["median_ohms"], found["high_ohms"]) == ("4599.7", "4699.7", "4899.7")
    assert found["percent"] == pytest.approx(0.21, abs=0.01)
    assert "Secondary, core to lead end: 3, median 4.7 kΩ, 4.6 kΩ to 4.9 kΩ. Now +0.2 %: agrees." in result.err


@pytest.mark.slow
def test_known_good_readings_count_more_than_all_others(run: Any, tmp_path: Path) -> None:
    session(tmp_path, *secondary("4.60"), label="good one", at=day(0))
    session(tmp_path, *secondary("9.60"), label="pump", at=day(1))
    session(tmp_path, *secondary("9.70"), label="pump", at=day(2))
    run("mark", "good one", "--coil", "type 4", "--good", "--data", str(tmp_path))
    for job in sorted(tmp_path.glob("*-pump")):
        run("mark", job.name, "--coil", "Type  4", "--data", str(tmp_path))
    result = run("compare", "pump", "--data", str(tmp_path))
    found = result.json["beside"][1]
    assert (found["earlier"], found["known_good"], found["median_ohms"]) == (1, True, "4599.7")
    assert found["now"] == "differs"
    assert "say more than any general band" in result.err
    run("report", "pump", "--no-pdf", "--data", str(tmp_path))
    page = (max(tmp_path.glob("*-pump")) / "report.html").read_text(encoding="utf-8")
    assert "Known good here" in page
    assert "1, known good" in page


def warm_coil(coil_at: str, shown: str, cap: str = "done") -> tuple[str, ...]:
    """A session to its verdict on a coil whose temperature was told beside the maker's limits."""
    limits = ("yes", "none", "none", "5k", "9k", "20", coil_at, "cap off", "yes")
    return ("ready", "four stroke", "no", "none", *limits, cap, "0.3", "1.4", *shown.split(), "no", "done")


def test_what_copper_makes_of_a_warm_coil_is_no_difference(run: Any, tmp_path: Path) -> None:
    session(tmp_path, *warm_coil("5", "6.00"), at=day(0))
    session(tmp_path, *warm_coil("60", "7.38"), at=day(1))  # exactly copper
    result = run("compare", "pump", "--data", str(tmp_path))
    found = result.json["beside"][1]
    assert found["now"] == "agrees"
    assert float(found["median_ohms"]) == pytest.approx(5999.7 * 254.5 / 239.5)
    assert "are as at 20 °C" in result.err
    session(tmp_path, *warm_coil("60", "6.00"), at=day(2))
    assert run("compare", "pump", "--data", str(tmp_path)).json["beside"][1]["now"] == "differs"


def test_a_cap_that_was_on_for_one_and_off_for_the_other_is_no_difference(run: Any, tmp_path: Path) -> None:
    session(tmp_path, *warm_coil("20", "6.00", "the cap is off"), at=day(0))
    job = session(tmp_path, *warm_coil("20", "11.00", "cap still on"), at=day(1))
    result = run("compare", "pump", "--data", str(tmp_path))
    assert [row["reading"] for row in result.json["beside"]] == ["primary"]
    assert result.json["left_out"] == {"other_engine": 0, "other_cap": 1}
    assert "Not compared: 1 of the secondary, with the plug cap on for the one and off for the other." in result.err
    run("report", "pump", "--no-pdf", "--data", str(tmp_path))
    assert "Not compared: 1 of the secondary" in (job / "report.html").read_text(encoding="utf-8")


def test_another_kind_of_engine_under_one_name_is_another_coil(run: Any, tmp_path: Path) -> None:
    other = ["two stroke" if line == "four stroke" else line for line in secondary("9.50")]
    assert "two stroke" in other
    session(tmp_path, *other, at=day(0))
    job = session(tmp_path, *secondary("3.50"), at=day(1))
    result = run("compare", "pump", "--data", str(tmp_path))
    assert result.json["beside"] == []
    assert "Not compared: 1 under this name, of another kind of engine." in result.err
    assert "No earlier readings" not in result.err
    run("report", "pump", "--no-pdf", "--data", str(tmp_path))
    assert "Not compared: 1 under this name" in (job / "report.html").read_text(encoding="utf-8")


def test_a_label_too_long_to_keep_finds_its_job(run: Any, tmp_path: Path) -> None:
    label = "the pump at the far end of the village pond that nobody wants to carry up the hill again"
    session(tmp_path, *SOUND, label=shorten(label), at=day(0))
    assert run("compare", label, "--data", str(tmp_path)).json["job"]
    assert run("report", label, "--no-pdf", "--data", str(tmp_path)).json["html"]


@pytest.mark.slow
def test_what_is_later_unfinished_or_without_a_value_is_no_past(tmp_path: Path) -> None:
    session(tmp_path, *ELECTRONICS, label="pump", at=day(1))
    now = session(tmp_path, *SOUND, label="pump", at=day(2))
    session(tmp_path, *secondary("9.10"), label="pump", at=day(3))
    session(tmp_path, *LEFT, label="pump", at=day(0))  # last, since one that was left would be taken up
    index = Index(tmp_path)
    index.refresh()
    (found,) = earlier(index, now.name).found
    assert (found.tap, found.count, found.median_ohm) == (Tap.SECONDARY, 1, Decimal("4699.7"))
    assert earlier(index, "nowhere") == Beside()
    index.close()


@pytest.mark.slow
def test_a_reading_without_a_value_now_is_told(tmp_path: Path) -> None:
    session(tmp_path, *SOUND, label="pump", at=day(0))
    now = session(tmp_path, *ELECTRONICS, label="pump", at=day(1))
    index = Index(tmp_path)
    index.refresh()
    assert earlier(index, now.name).found[0].agreement is Agreement.NO_VALUE
    index.close()


@pytest.mark.slow
def test_jobs_without_a_name_have_no_past(run: Any, tmp_path: Path) -> None:
    session(tmp_path, "ready", "14", *SOUND[1:], label="", at=day(0))
    session(tmp_path, "ready", "skip", label="", at=day(1))
    nameless = session(tmp_path, "ready", "skip", label="", at=day(2))
    result = run("compare", nameless.name, "--data", str(tmp_path))
    assert result.json["beside"] == []
    assert "No earlier readings" in result.err
    assert "no job of that label" in run("compare", "nobody", "--data", str(tmp_path)).err


@pytest.mark.slow
def test_a_record_that_lies_elsewhere_is_reported_without_a_past(run: Any, tmp_path: Path) -> None:
    folder = session(tmp_path / "a", *SOUND)
    assert run("report", str(folder), "--no-pdf", "--data", str(tmp_path / "b")).status == 0
    assert not (tmp_path / "a" / INDEX_FILE).exists()
    assert run("mark", str(folder), "--good", "--data", str(tmp_path / "b")).status == 0


def test_wanted_is_everything_by_default(shop: Path) -> None:
    index = Index(shop)
    index.refresh()
    assert index.jobs() == index.jobs(Wanted())
    index.close()


@pytest.mark.slow
def test_many_records_are_read_by_every_core_with_the_same_outcome(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for day in range(3):
        session(tmp_path, *SOUND, label=f"pump {day}", at=AT + dt.timedelta(days=day))
    by_one = _all_of(tmp_path)
    monkeypatch.setattr("assistant.records.index._MANY", 2)
    monkeypatch.setattr("assistant.records.index._AT_ONCE", 2)
    assert _all_of(tmp_path) == by_one
    assert len(by_one) == 3


def _all_of(data: Path) -> list[Job]:
    told: list[tuple[int, int]] = []
    index = rebuilt(data)
    try:
        index.refresh(lambda done, of: told.append((done, of)))
        assert told[-1] == (3, 3)
        return index.jobs()
    finally:
        index.close()
