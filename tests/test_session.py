"""The loop: written before acted upon, killed and taken up, replayed, and a disk that refuses."""

import dataclasses
import datetime as dt
import errno
import json
import os
import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from conversation import TO_LEADS

from assistant.devices.clock import HeldClock, SteadyClock
from assistant.devices.ports import Clock
from assistant.devices.store import FolderStore, MemoryStore
from assistant.dialogue.events import Finished, Say, SpeechEnded, Typed
from assistant.dialogue.state import Bench, State
from assistant.dialogue.step import step
from assistant.errors import BadInput, BadRecord
from assistant.journal import FILE, read
from assistant.measure.parts import Judged
from assistant.preflight import load_bench, read_files
from assistant.records.folders import find
from assistant.replay import HUSH, replay
from assistant.session import JOB_FILE, Jobs, Opening, Session

AT = dt.datetime(2026, 1, 2, 3, 4, 5, tzinfo=dt.UTC)
LINES = (*TO_LEADS, "0.3", "1.9", "no, 1.4", "four seven hundred ohms", "yes", "yes", "4.70", "done")


class Lines:
    """An outlet that keeps what was said, with the journal's length at that moment."""

    def __init__(self, folder: Path | None = None) -> None:
        self.said: list[str] = []
        self.verdicts: list[Judged] = []
        self.rates: list[int] = []
        self.folder = folder

    def say(self, text: str, *, whole: bool) -> None:  # noqa: ARG002
        self.said.append(text)

    def show(self, text: str) -> None:
        self.said.append(text)

    def voice(self, rate_wpm: int, volume_percent: int) -> None:  # noqa: ARG002
        self.rates.append(rate_wpm)

    def decided(self, verdict: Judged) -> None:
        self.verdicts.append(verdict)


def opened(data: Path, outlet: Lines, **opening: str) -> Session:
    return Jobs(data).open(read_files(), Opening(**opening), HeldClock(), outlet, AT)  # type: ignore[arg-type]


def folder_of(data: Path) -> Path:
    (folder,) = (path for path in data.iterdir() if path.is_dir())
    return folder


def test_a_whole_session_leaves_a_record_that_replays_to_the_byte(tmp_path: Path) -> None:
    outlet = Lines()
    session = opened(tmp_path, outlet, label="pump", meter="pocket")
    for line in (
        "ready",
        "four stroke",
        "no",
        "no spark, done",
        "no",
        "done",
        "0.3",
        "1.4",
        "4.70",
        "no",
        "faster",
        "done",
    ):
        session.type(line + "\n")
    assert session.over
    assert session.complete
    session.end()
    folder = folder_of(tmp_path)
    assert folder.name == "20260102-030405-pump"
    assert json.loads((folder / JOB_FILE).read_text()) == {"complete": True, "label": "pump"}
    assert "4.70" in (folder / "report.txt").read_text()
    assert [verdict.kind.value for verdict in outlet.verdicts] == ["sound"]
    assert outlet.rates == [200]
    record = read(folder)
    for bench in (load_bench(record.header.files), load_bench(read_files())):
        done = replay(bench, record)
        assert (done.difference, done.missing) == (None, ())


def test_nothing_is_said_that_is_not_on_disk(tmp_path: Path) -> None:
    class Watching(Lines):
        def say(self, text: str, *, whole: bool) -> None:
            super().say(text, whole=whole)
            assert json.dumps(text, ensure_ascii=False) in (folder_of(tmp_path) / FILE).read_text()

    session = opened(tmp_path, Watching())
    for line in LINES:
        session.type(line)
    session.end()


def test_a_session_recorded_before_stop_silenced_replays_and_one_without_another_effect_does_not(
    tmp_path: Path,
) -> None:
    session = opened(tmp_path, Lines(), label="pump")
    session.type("ready")
    session.type("stop")
    session.end()
    bench = load_bench(read_files())
    record = read(folder_of(tmp_path))
    assert HUSH in record.entries[-1].effects
    for left_out, same in ((HUSH, True), (record.entries[-1].effects[1], False)):
        kept = tuple(effect for effect in record.entries[-1].effects if effect != left_out)
        entries = (*record.entries[:-1], dataclasses.replace(record.entries[-1], effects=kept))
        done = replay(bench, dataclasses.replace(record, entries=entries))
        assert (done.difference is None) == same
        assert done.missing == ()


def test_replay_names_the_first_line_that_differs(tmp_path: Path) -> None:
    session = opened(tmp_path, Lines())
    for line in LINES[:6]:
        session.type(line)
    session.end()
    files = {kind: dict(texts) for kind, texts in read_files().items()}
    files["procedures"]["coil"] = files["procedures"]["coil"].replace("Say two-stroke,", "Tell me two-stroke,")
    files["procedures"]["coil"] = files["procedures"]["coil"].replace("Is the engine a", "Is it a")
    record = read(folder_of(tmp_path))
    found = replay(load_bench(files), record).difference
    assert found is not None
    assert "Is the engine a" in found.recorded
    assert "Is it a" in found.now
    line = (folder_of(tmp_path) / FILE).read_text().split("\n")[found.line - 1]
    assert "Is the engine a" in line


@pytest.mark.parametrize("end", ["stop", None])
def test_a_session_left_is_taken_up_by_its_label_and_one_complete_is_not(tmp_path: Path, end: str | None) -> None:
    session = opened(tmp_path, Lines(), label="pump")
    for line in ("ready", "four stroke", "no", *([end] if end else [])):
        session.type(line)
    session.end()
    assert Jobs(tmp_path).latest_unfinished() == "pump"
    outlet = Lines()
    again = opened(tmp_path, outlet, label="pump")
    assert "Taking up job pump" in outlet.said[0]
    for line in ("none", "no", "pocket", "done", "0.3", "1.4", "4.70", "no", "done"):
        again.type(line)
    again.end()
    assert again.complete
    assert Jobs(tmp_path).latest_unfinished() is None
    third = opened(tmp_path, Lines(), label="pump")
    third.end()
    assert len(list(tmp_path.iterdir())) == 2
    record = read(min(tmp_path.iterdir()))
    assert replay(load_bench(record.header.files), record).difference is None


def test_a_session_without_a_label_is_taken_up_by_its_folder(tmp_path: Path) -> None:
    session = opened(tmp_path, Lines())
    session.type("ready")
    session.end()
    name = Jobs(tmp_path).latest_unfinished()
    assert name == folder_of(tmp_path).name
    outlet = Lines()
    again = opened(tmp_path, outlet, label=name)
    assert "Taking up" in outlet.said[0]
    assert again.state.step == "label"
    again.end()


def test_a_job_whose_record_is_damaged_is_not_taken_up_and_says_what_to_do(tmp_path: Path) -> None:
    opened(tmp_path, Lines(), label="pump").end()
    (folder_of(tmp_path) / FILE).write_text("{}\n")
    with pytest.raises(BadRecord, match=r"line 1 is damaged .* begin it anew under another label\.$"):
        opened(tmp_path, Lines(), label="pump")
    opened(tmp_path, Lines(), label="pump 2").end()


def test_two_windows_cannot_have_one_session(tmp_path: Path) -> None:
    first = opened(tmp_path, Lines(), label="pump")
    with pytest.raises(BadInput, match="open in another window"):
        opened(tmp_path, Lines(), label="pump")
    first.end()


def test_unfit_folders_meters_and_labels_get_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(BadInput, match="another folder with --data"):
        Jobs(tmp_path / "file")
    with pytest.raises(BadInput, match="no meter 'golden'"):
        opened(tmp_path / "jobs", Lines(), meter="golden")
    session = opened(tmp_path / "jobs", Lines(), label="../../é x/\x00")
    session.end()
    assert folder_of(tmp_path / "jobs").parent == tmp_path / "jobs"


def test_a_disk_that_is_full_at_the_start_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as full:
        full.setattr(FolderStore, "append", refuse)
        with pytest.raises(OSError, match="No space left"):
            opened(tmp_path, Lines(), label="pump")
    assert list(tmp_path.iterdir()) == []
    session = opened(tmp_path, Lines(), label="pump")
    assert session.type("ready")
    session.end()


@pytest.mark.parametrize("lines", [1, 2], ids=["header", "first event"])
def test_a_disk_that_fills_up_while_a_session_begins_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lines: int
) -> None:
    outlet = Lines()
    with monkeypatch.context() as filling:
        filling.setattr(FolderStore, "append", Filling(lines - 1).append)
        with pytest.raises(OSError, match="No space left"):
            opened(tmp_path, outlet, label="pump")
    assert (list(tmp_path.iterdir()), outlet.said) == ([], [])
    session = opened(tmp_path, Lines(), label="pump")
    assert session.type("ready")
    session.end()


def test_a_disk_that_is_full_when_a_session_is_taken_up_leaves_it_to_be_taken_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    session = opened(tmp_path, Lines(), label="pump")
    session.type("ready")
    session.end()
    outlet = Lines()
    with monkeypatch.context() as filling:
        filling.setattr(FolderStore, "append", Filling(0).append)
        with pytest.raises(OSError, match="No space left"):
            opened(tmp_path, outlet, label="pump")
    assert outlet.said == []
    again = opened(tmp_path, Lines(), label="pump")
    assert again.type("four stroke")
    again.end()
    record = read(folder_of(tmp_path))
    assert replay(load_bench(record.header.files), record).difference is None


def test_a_job_taken_up_stays_with_its_meter_and_says_so(tmp_path: Path) -> None:
    opened(tmp_path, Lines(), label="pump", meter="pocket").end()
    outlet = Lines()
    again = opened(tmp_path, outlet, label="pump", meter="fine")
    again.end()
    assert "This job was begun with the meter pocket; it stays with it." in outlet.said
    with pytest.raises(BadInput, match="no meter 'golden'"):
        opened(tmp_path, Lines(), label="pump", meter="golden")


def test_a_folder_that_cannot_be_listed_gets_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    jobs = Jobs(tmp_path)

    def refuse(_: Path) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(Path, "iterdir", refuse)
    with pytest.raises(BadInput, match="cannot be read"):
        jobs.latest_unfinished()
    with pytest.raises(BadInput, match="cannot be read"):
        jobs.unfinished("pump")


def test_strange_things_among_the_records_are_passed_over(tmp_path: Path) -> None:
    (tmp_path / "zz").mkdir()
    (tmp_path / "zz" / JOB_FILE).write_text("[]")
    (tmp_path / "zzz").mkdir()
    (tmp_path / "zzz" / JOB_FILE).write_text('{"label": "pump"')
    (tmp_path / "file").write_text("")
    opened(tmp_path, Lines(), label="pump").end()
    assert Jobs(tmp_path).unfinished("pump") is not None
    assert Jobs(tmp_path).unfinished("saw") is None


def test_a_session_whose_little_file_is_lost_or_broken_is_taken_up_all_the_same(tmp_path: Path) -> None:
    opened(tmp_path, Lines(), label="pump").end()
    folder = folder_of(tmp_path)
    for broken in ("{", "[]", '{"label": "pump"}'):
        (folder / JOB_FILE).write_text(broken)
        assert Jobs(tmp_path).unfinished("pump") == folder
        assert find(tmp_path, "pump") == folder
    (folder / JOB_FILE).unlink()
    assert Jobs(tmp_path).latest_unfinished() == "pump"
    assert find(tmp_path, "pump") == folder
    journal = folder / FILE
    journal.write_text(journal.read_text(encoding="utf-8")[:500], encoding="utf-8")
    assert Jobs(tmp_path).unfinished("pump") is None
    with pytest.raises(BadInput, match="no record of that label"):
        find(tmp_path, "pump")


class Filling:
    """A disk that has room for so many appends."""

    def __init__(self, room: int) -> None:
        self.room = room

    def append(self, _lines: tuple[str, ...]) -> None:
        if not self.room:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        self.room -= 1


class Full:
    """A store that refuses while `full`; satisfies ports.Store."""

    def __init__(self) -> None:
        self.kept = MemoryStore()
        self.full = False

    def append(self, lines: tuple[str, ...]) -> None:
        if self.full:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        self.kept.append(lines)

    def save(self, name: str, content: bytes) -> None:
        if self.full:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        self.kept.save(name, content)


def test_on_a_full_disk_the_answer_did_not_happen_and_can_be_given_again(tmp_path: Path) -> None:
    outlet = Lines()
    session = opened(tmp_path, outlet)
    store = Full()
    session.journal._store = session.store = store  # noqa: SLF001 - the disk fills up
    session.type("ready")
    lines, state = list(store.kept.lines), session.state
    store.full = True
    assert not session.type("14")
    assert "No space left" in outlet.said[-1]
    assert "give the answer again" in outlet.said[-1]
    assert (store.kept.lines, session.state) == (lines, state)
    store.full = False
    assert session.type("14")
    assert session.state.facts.label == "14"


def test_a_full_disk_is_told_once_and_again_only_of_a_new_answer(tmp_path: Path) -> None:
    outlet = Lines()
    session = opened(tmp_path, outlet)
    store = Full()
    session.journal._store = session.store = store  # noqa: SLF001 - the disk fills up
    store.full = True
    before = len(outlet.said)
    for _ in range(3):
        assert not session.take(SpeechEnded())
        assert not session.type("")
    (told,) = outlet.said[before:]
    assert told.endswith("Everything so far is safe. Make room on the disk, and it goes on.")
    for answers in (1, 2):
        assert not session.type("ready")
        assert not session.take(SpeechEnded())
        assert len(outlet.said) == before + 1 + answers
    store.full = False
    assert session.take(SpeechEnded())
    store.full = True
    assert not session.take(SpeechEnded())
    assert outlet.said[-1] == told


@pytest.mark.parametrize("how", ["stop", "no more input"])
def test_a_full_disk_keeps_nobody_from_stopping(tmp_path: Path, how: str) -> None:
    outlet = Lines()
    session = opened(tmp_path, outlet, label="pump")
    store = Full()
    session.journal._store = session.store = store  # noqa: SLF001 - the disk fills up
    store.full = True
    assert not session.type("ready")
    assert not session.over
    if how == "stop":
        assert not session.type("stop")
        assert session.over
    session.end()
    assert (session.over, session.complete) == (True, False)
    so_far = "before this answer" if how == "stop" else "so far"
    assert outlet.said[-1] == (
        f"The record cannot be written: No space left on device. Everything {so_far} is safe. "
        "The session ends here and can be taken up again."
    )
    again = opened(tmp_path, Lines(), label="pump")
    assert again.state.step == "safety"
    again.end()


def test_a_report_that_cannot_be_written_is_told_and_the_session_goes_on(tmp_path: Path) -> None:
    outlet = Lines()
    session = opened(tmp_path, outlet)
    for line in (*TO_LEADS, "0.3", "1.4", "4.70"):
        session.type(line)
    (folder_of(tmp_path) / "report.txt").mkdir()
    session.type("no")
    assert any(text.startswith("report.txt could not be written") for text in outlet.said)
    assert "Say repeat" in outlet.said[-1]


# ---- clocks and stores, each by one contract


@pytest.mark.parametrize("clock", [SteadyClock(), HeldClock()])
def test_a_clock_gives_whole_milliseconds_and_never_runs_backwards(clock: Clock) -> None:
    times = [clock.now_ms() for _ in range(1000)]
    assert times == sorted(times)
    assert all(isinstance(now, int) and now >= 0 for now in times)


def test_a_held_clock_moves_only_when_told_and_never_back() -> None:
    clock = HeldClock()
    clock.move(7)
    assert clock.now_ms() == 7
    with pytest.raises(ValueError, match="backwards"):
        clock.move(-1)


@pytest.mark.parametrize("kind", ["folder", "memory"])
def test_a_store_keeps_lines_in_order_and_replaces_files(tmp_path: Path, kind: str) -> None:
    store = FolderStore(tmp_path, "lines") if kind == "folder" else MemoryStore()
    store.append(("a", "Ω"))
    store.append(("c",))
    store.save("file", b"1")
    store.save("file", b"22")
    lines = (tmp_path / "lines").read_text().split("\n")[:-1] if isinstance(store, FolderStore) else store.lines
    file = (tmp_path / "file").read_bytes() if isinstance(store, FolderStore) else store.files["file"]
    assert lines == ["a", "Ω", "c"]
    assert file == b"22"


FILL = """
import resource, signal, sys
from pathlib import Path
from assistant.devices.store import FolderStore
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
store = FolderStore(Path(sys.argv[1]), "lines")
store.append(("x" * 600,))
for action in (lambda: store.append(("y" * 300, "z" * 300)), lambda: store.save("big", b"b" * 2000)):
    try:
        action()
    except OSError:
        print("refused")
store.append(("small",))
"""


@pytest.mark.slow
def test_a_real_file_that_may_not_grow_keeps_all_or_nothing(tmp_path: Path) -> None:
    run = subprocess.run([sys.executable, "-c", FILL, str(tmp_path)], capture_output=True, text=True, check=True)
    assert run.stdout == "refused\nrefused\n"
    assert (tmp_path / "lines").read_text() == "x" * 600 + "\nsmall\n"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["lines"]


# ---- killed


def chat(data: Path) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "assistant", "chat", "--data", str(data), "--job", "pump"]
    return subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, bufsize=1
    )


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(8))
def test_killed_at_any_moment_it_loses_at_most_the_line_in_hand(tmp_path: Path, seed: int) -> None:
    lines = [line for line in LINES if line != "14"]
    chance = random.Random(seed)  # noqa: S311 - chance that can be repeated
    given, rounds = 0, 0
    while rounds < 6 and given < len(lines):
        rounds += 1
        process = chat(tmp_path)
        assert process.stdin is not None
        assert process.stderr is not None
        for line in lines[given:]:
            process.stdin.write(line + "\n")
        read_lines = chance.randint(1, 25)
        seen = [process.stderr.readline() for _ in range(read_lines)]
        process.send_signal(signal.SIGKILL)
        seen += process.stderr.readlines()
        process.stdin.close()
        process.stderr.close()
        process.wait()
        folder = folder_of(tmp_path)
        record = read(folder)
        typed = [entry.event.text for entry in record.entries if isinstance(entry.event, Typed)]
        assert typed == lines[: len(typed)]
        done = replay(load_bench(record.header.files), record)
        assert done.difference is None
        # whatever the person saw is on disk
        said = (folder / FILE).read_text(encoding="utf-8", errors="replace")
        for text in seen[1:]:
            if text.endswith("\n") and text.strip():
                assert json.dumps(text.rstrip("\n"), ensure_ascii=False)[1:-1] in said
        given = len(typed)
        if done.state.complete:
            return
    outlet = Lines()
    session = opened(tmp_path, outlet, label="pump")
    for line in lines[given:]:
        session.type(line)
    assert session.complete
    session.end()


def test_killed_between_an_event_and_its_effects_it_says_what_it_still_owed(tmp_path: Path, bench: Bench) -> None:
    session = opened(tmp_path, Lines(), label="pump")
    session.type("ready")
    session.end()
    path = folder_of(tmp_path) / FILE
    lines = path.read_text().split("\n")
    at = next(index for index, line in enumerate(lines) if '"text":"ready"' in line)
    path.write_text("\n".join(lines[: at + 1]) + "\n" + lines[at + 1][:10])
    (folder_of(tmp_path) / JOB_FILE).write_text('{"complete": false, "label": "pump"}')
    outlet = Lines()
    again = opened(tmp_path, outlet, label="pump")
    _, owed = step(bench, step(bench, State(), read(folder_of(tmp_path)).entries[0].event)[0], Typed("ready"))
    assert outlet.said[: len(owed) - 1] == [effect.text for effect in owed if isinstance(effect, Say)]
    again.end()
    record = read(folder_of(tmp_path))
    assert replay(bench, record).difference is None
    assert Finished(complete=False) in step(bench, again.state, Typed("stop"))[1] or again.over


def test_killed_before_the_first_event_it_begins(tmp_path: Path) -> None:
    opened(tmp_path, Lines(), label="pump").end()
    path = folder_of(tmp_path) / FILE
    path.write_text(path.read_text().split("\n")[0] + "\n")
    outlet = Lines()
    opened(tmp_path, outlet, label="pump").end()
    assert outlet.said[0].startswith("Before touching anything")


@pytest.mark.slow
def test_the_limit_of_open_files_is_not_eaten_by_sessions(tmp_path: Path) -> None:
    open_files = Path("/proc/self/fd")
    if not open_files.is_dir():
        pytest.skip("this system does not list open files in /proc")
    before = len(list(open_files.iterdir()))
    for number in range(20):
        opened(tmp_path, Lines(), label=str(number)).end()
    assert len(list(open_files.iterdir())) <= before + 2
