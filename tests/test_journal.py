"""The journal: what is written can be read again, what is damaged is named by its line."""

import json
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from coil_cases import POCKET, case, reading
from depth import any_text
from hypothesis import given
from hypothesis import strategies as st

from assistant.devices.store import FolderStore
from assistant.dialogue.events import (
    Checked,
    Decided,
    DeviceBack,
    DeviceFailed,
    Event,
    Heard,
    InputEnded,
    Listen,
    Say,
    SpeechEnded,
    Started,
    TakenUp,
    TimerFired,
    Typed,
)
from assistant.errors import BadRecord
from assistant.journal import FILE, Header, Journal, effect_body, event_body, read
from assistant.language.meaning import Alternative, Expectation, Hearing, Word
from assistant.measure.parts import Item, PartCase, Wants, judge_part
from assistant.measure.verdict import judge

HEADER = Header("2026-01-02T03:04:05+01:00", "none", {"grammar": {"a": "text = 'Ω'"}})
WORDS = st.builds(Word, any_text(8), st.none() | st.floats(0, 1), st.none(), st.none())
ALTERNATIVES = st.builds(Alternative, st.lists(WORDS, max_size=3).map(tuple), st.none() | st.floats(-99, 0))
EVENTS: st.SearchStrategy[Event] = st.one_of(
    st.builds(Started, any_text(5), any_text(5), any_text(5), st.booleans()),
    st.builds(Typed, any_text(40)),
    st.builds(Heard, st.builds(Hearing, st.lists(ALTERNATIVES, max_size=2).map(tuple), any_text(5))),
    st.builds(TimerFired, st.sampled_from(["settle", "quiet"])),
    st.builds(DeviceFailed, any_text(5), any_text(5)),
    st.builds(DeviceBack, any_text(5)),
    st.just(SpeechEnded()),
    st.just(TakenUp()),
    st.just(InputEnded()),
)


def written(folder: Path, *events: Event) -> Path:
    journal = Journal(FolderStore(folder, FILE))
    journal.begin(HEADER)
    for event in events:
        journal.turn(event, (Say("yes\u2028\n\x85"), Say("no", whole=True)), 7)
    return folder / FILE


@pytest.mark.no_cover
@given(st.lists(EVENTS, max_size=6))
def test_every_event_comes_back_as_it_was(tmp_path_factory: pytest.TempPathFactory, events: list[Event]) -> None:
    folder = tmp_path_factory.mktemp("journal")
    written(folder, *events)
    record = read(folder)
    assert [entry.event for entry in record.entries] == events
    assert record.header == HEADER
    assert all(len(entry.effects) == 2 for entry in record.entries)
    assert record.cut_bytes == 0


def test_lines_are_canonical_json(tmp_path: Path) -> None:
    path = written(tmp_path, Typed("4.7 kΩ"))
    for line in path.read_text(encoding="utf-8").split("\n")[:-1]:
        data = json.loads(line)
        check = data.pop("~")
        body = json.dumps(data, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        assert line == f'{body[:-1]},"~":"{check}"}}'
    assert event_body(Typed("a"), 3) == '{"at_ms":3,"in":{"text":"a","type":"Typed"}}'


def test_values_of_ours_are_written_as_what_json_knows() -> None:
    expect = Expectation("primary", 200, (Decimal("0.050"), Decimal(10)))
    assert effect_body(Listen(expect)) == (
        '{"out":{"expect":{"name":"primary","plausible_ohm":["0.050","10"],"range_ohm":200,"resolution_ohm":null},"type":"Listen"}}'
    )
    verdict = json.loads(effect_body(Decided(judge(case("1.40", "4.20k")))))["out"]["verdict"]
    assert (verdict["kind"], verdict["take"]) == ("sound", [])
    assert verdict["secondary"]["reading"]["quantity"] == {"numeral": {"text": "4.20"}, "unit": 3}
    event = Heard(Hearing((Alternative((Word("one", 0.5),), -1.5),), "built-in"))
    assert json.loads(event_body(event, 0))["in"]["hearing"]["alternatives"][0]["words"][0]["text"] == "one"


@pytest.mark.parametrize("cut", range(1, 60, 7))
def test_a_line_cut_short_is_left_out_and_counted(tmp_path: Path, cut: int) -> None:
    path = written(tmp_path, Typed("a"), Typed("b"))
    whole = path.read_bytes()
    path.write_bytes(whole[:-cut])
    record = read(tmp_path)
    assert record.kept_bytes + record.cut_bytes == len(whole) - cut
    assert [entry.event for entry in record.entries] == [Typed("a"), Typed("b")]
    assert len(record.entries[-1].effects) == 1
    FolderStore(tmp_path, FILE, record.kept_bytes)
    assert read(tmp_path).cut_bytes == 0


@pytest.mark.parametrize("line", range(1, 8))
def test_an_altered_line_is_named(tmp_path: Path, line: int) -> None:
    path = written(tmp_path, Typed("a"), Typed("b"))
    lines = path.read_bytes().split(b"\n")
    lines[line - 1] = lines[line - 1].replace(b'"', b"'", 1) if line % 2 else lines[line - 1][:-20] + b'"}'
    path.write_bytes(b"\n".join(lines))
    with pytest.raises(BadRecord, match=f"line {line} is damaged"):
        read(tmp_path)


def test_a_line_taken_out_is_named(tmp_path: Path) -> None:
    path = written(tmp_path, Typed("a"), Typed("b"))
    lines = path.read_bytes().split(b"\n")
    path.write_bytes(b"\n".join(lines[:3] + lines[4:]))
    with pytest.raises(BadRecord, match="line 4 is damaged"):
        read(tmp_path)


def test_bytes_that_are_no_text_are_named_by_their_line(tmp_path: Path) -> None:
    path = written(tmp_path, Typed("abc"))
    path.write_bytes(path.read_bytes().replace(b"abc", b"a\xffc"))
    with pytest.raises(BadRecord, match="line 2 is damaged"):
        read(tmp_path)


def test_what_is_no_journal_gets_one_clear_line(tmp_path: Path) -> None:
    with pytest.raises(BadRecord, match="cannot be read"):
        read(tmp_path)
    (tmp_path / FILE).write_bytes(b"")
    with pytest.raises(BadRecord, match="no whole line"):
        read(tmp_path)


def chained(folder: Path, *bodies: str) -> None:
    """A journal with these raw lines, sound in itself."""
    journal = Journal(FolderStore(folder, FILE))
    journal._append(bodies)  # noqa: SLF001 - to write what no version of the program writes


def test_another_version_and_an_unknown_event_are_named(tmp_path: Path) -> None:
    chained(tmp_path, '{"ohmaloud":{"version":99}}')
    with pytest.raises(BadRecord, match="format version 99"):
        read(tmp_path)
    header = '{"ohmaloud":{"at":"","engine":"","files":{},"version":1,"later":true}}'
    (tmp_path / FILE).unlink()
    chained(tmp_path, header, '{"in":{"type":"Sung"}}')
    with pytest.raises(BadRecord, match="line 2: an event that this version does not know"):
        read(tmp_path)


def test_unknown_kinds_of_lines_and_keys_are_passed_over(tmp_path: Path) -> None:
    header = '{"ohmaloud":{"at":"","engine":"","files":{},"version":1,"later":true}}'
    chained(
        tmp_path, header, '{"later":1}', '{"at_ms":1,"in":{"text":"a","type":"Typed","new":2}}', '{"out":{}}', '{"x":0}'
    )
    assert [(entry.line, entry.event) for entry in read(tmp_path).entries] == [(3, Typed("a"))]


def test_what_came_to_a_value_later_stands_in_a_record_only_where_it_says_something() -> None:
    """So the effects of sessions that were recorded before it came are the same now, and their replay is."""
    item = Item("cap.lead", "the plug lead", Wants.CLOSED)
    told = PartCase("cap", "plug lead", POCKET, (item,), ((reading("0.4"),),), reading("0.3"))
    clear, near = judge_part(told), judge_part(replace(told, attempts=((reading("2.3"),),)))
    assert [found.results[0].half_a_digit for found in (clear, near)] == [False, True]
    assert "half_a_digit" not in effect_body(Checked(clear))
    assert '"half_a_digit":true' in effect_body(Checked(near))
