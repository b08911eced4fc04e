"""The list of all sessions, kept in one file beside them, so that ten thousand are searched at once.

Nothing stands only here: the file is made from the records, takes in new ones and those that were not over yet whenever
it is asked, and may be deleted at any time.
"""

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from assistant.records.folders import JOURNAL_FILE, refused

if TYPE_CHECKING:
    from assistant.records.summary import Summary

INDEX_FILE = "index.sqlite3"
VERSION = 4
"""Raised when the tables or what is put into them change; an index of another version is made anew."""
_AT_ONCE = 200
"""So many records are read before they are put down: whoever stops in between loses no more."""
_MANY = 1_000
"""From so many records on, every core reads some of them; for fewer, starting processes takes longer than it saves."""

_TABLES = """
CREATE TABLE job (
  folder TEXT PRIMARY KEY, stamp TEXT, at TEXT, at_utc TEXT, label TEXT, coil TEXT, known_good INTEGER, coil_key TEXT,
  engine TEXT, meter TEXT, verdict TEXT, complete INTEGER, trouble TEXT,
  primary_shown TEXT, secondary_shown TEXT, killtab_shown TEXT, checks TEXT, coil_at_c TEXT, cap_on INTEGER
) WITHOUT ROWID;
CREATE INDEX job_coil ON job (coil_key);
CREATE INDEX job_at ON job (at_utc, folder);
CREATE TABLE reading (
  folder TEXT, tap TEXT, value_ohm TEXT, expanded_ohm REAL, PRIMARY KEY (folder, tap)
) WITHOUT ROWID;
"""

OVER = "over"
"""The stamp of a session that is over."""
TAPS = ("primary", "secondary", "killtab")
"""The names of the readings, as Tap has them."""

_PUT_JOB = """
INSERT OR REPLACE INTO job VALUES (
  :folder, :stamp, :at, :at_utc, :label, :coil, :known_good, :coil_key, :engine, :meter, :verdict, :complete, :trouble,
  :primary_shown, :secondary_shown, :killtab_shown, :checks, :coil_at_c, :cap_on
)
"""

Progress = Callable[[int, int], None]
"""Told how many records were read, of how many."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which jobs are asked for; an empty field asks for all. Dates as `2026-01-31`; label and coil are parts of names."""

    since: str = ""
    until: str = ""
    engine: str = ""
    verdict: str = ""
    label: str = ""
    coil: str = ""


class Job(NamedTuple):
    """One line of the list; a tuple, since ten thousand of them are made at once.

    Readings stand as the display showed them, empty when not taken. `trouble` says why a record cannot be read.
    """

    folder: str
    at: str
    label: str
    coil: str
    known_good: int
    engine: str
    meter: str
    verdict: str
    complete: int
    primary_shown: str
    secondary_shown: str
    killtab_shown: str
    checks: str
    trouble: str


class Index:
    """The index of one folder of records, in memory where the folder cannot be written."""

    def __init__(self, data: Path) -> None:
        self.data = data
        self._db = _opened(data)

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()

    def refresh(self, progress: Progress = lambda _done, _of: None) -> None:
        """Take in every record that is new or has changed, and drop those that are gone.

        Where the file turns out to be damaged or cannot be written, everything is read into memory instead.
        """
        try:
            self._follow(progress)
        except sqlite3.DatabaseError as error:
            if not isinstance(error, sqlite3.OperationalError):
                _drop(self.data)  # damaged: the next time it is made anew
            self.close()
            self._db = _made(sqlite3.connect(":memory:"))
            self._follow(progress)

    def _follow(self, progress: Progress) -> None:
        on_disk = _folders(self.data)
        known = dict(self._db.execute("SELECT folder, stamp FROM job"))
        gone = [(folder,) for folder in known.keys() - on_disk]
        if gone:
            with self._db:
                self._db.executemany("DELETE FROM job WHERE folder = ?", gone)
                self._db.executemany("DELETE FROM reading WHERE folder = ?", gone)
        # the journal of a session that is over never changes: only the others are looked at
        stamps = {folder: _stamp(self.data, folder) for folder in on_disk if known.get(folder) != OVER}
        changed = sorted((folder, stamp) for folder, stamp in stamps.items() if stamp and known.get(folder) != stamp)
        done = 0
        for some, found in _summaries(self.data, changed):
            self._take_in(some, found)
            done += len(some)
            progress(done, len(changed))

    def forget(self, folder: str) -> None:
        """Read this job anew the next time: something beside its journal has changed."""
        # an index that cannot be written is held in memory the next time, and read anew anyway
        with suppress(sqlite3.OperationalError), self._db:
            self._db.execute("UPDATE job SET stamp = '' WHERE folder = ?", (folder,))

    def _take_in(self, some: "Some", summaries: "list[Summary]") -> None:
        jobs, readings = [], []
        for (folder, stamp), found in zip(some, summaries, strict=True):
            shown = {f"{tap}_shown": "" for tap in TAPS}
            shown |= {f"{reading.tap}_shown": reading.shown for reading in found.readings}
            key = _key(found.coil or found.label)
            stamp = OVER if found.complete else stamp  # noqa: PLW2901 - see _follow
            jobs.append({**asdict(found), **shown, "stamp": stamp, "at_utc": found.at_utc, "coil_key": key})
            readings += [(folder, one.tap, one.value_ohm, one.expanded_ohm) for one in found.readings]
        with self._db:
            self._db.executemany("DELETE FROM reading WHERE folder = ?", [(folder,) for folder, _ in some])
            self._db.executemany(_PUT_JOB, jobs)
            self._db.executemany("INSERT OR REPLACE INTO reading VALUES (?, ?, ?, ?)", readings)

    def jobs(self, wanted: Wanted = Wanted(), last: int | None = None) -> list[Job]:
        """The jobs asked for, oldest first; only the `last` of them when that is given."""
        tests = {
            "substr(at, 1, 10) >= ?": wanted.since,
            "substr(at, 1, 10) <= ?": wanted.until,
            "engine = ?": wanted.engine,
            "verdict = ?": wanted.verdict,
            "instr(lower(label), lower(?))": wanted.label,
            "instr(coil_key, ?)": _key(wanted.coil),
        }
        used = {test: value for test, value in tests.items() if value}
        where = " AND ".join(used) or "1"
        query = (
            f"SELECT {', '.join(Job._fields)} FROM job WHERE {where} "  # noqa: S608 - fixed pieces only
            "ORDER BY at_utc DESC, folder DESC LIMIT ?"
        )
        found = self._db.execute(query, (*used.values(), -1 if last is None else last)).fetchall()
        return [Job._make(row) for row in reversed(found)]

    def latest(self, label: str) -> str | None:
        """The folder of the latest job of a label, or of that folder name; None when there is none."""
        query = "SELECT folder FROM job WHERE label = ? OR folder = ? ORDER BY folder = ? DESC, at_utc DESC, folder DESC LIMIT 1"
        found = self._db.execute(query, (label, label, label)).fetchone()
        return None if found is None else str(found[0])

    def coil_of(self, folder: str) -> tuple[str, str] | None:
        """What a job's coil is compared by, and when the job began in universal time; None when it has neither label nor coil."""
        query = "SELECT coil_key, at_utc FROM job WHERE folder = ? AND coil_key != ''"
        found: tuple[str, str] | None = self._db.execute(query, (folder,)).fetchone()
        return found

    def value(self, folder: str, tap: str) -> "Read | None":
        """A job's reading of one pair of points; None when not taken."""
        query = f"SELECT {_READ} FROM job JOIN reading USING (folder) WHERE folder = ? AND tap = ?"  # noqa: S608 - fixed
        found = self._db.execute(query, (folder, tap)).fetchone()
        return None if found is None else Read._make(found)

    def values_before(self, folder: str, tap: str) -> "Iterator[Read]":
        """All earlier readings of this job's coil that show a value, oldest first.

        The same coil is one of the same name, else of the same label. Only sessions that came to a verdict count.
        """
        coil = self.coil_of(folder)
        query = (
            f"SELECT {_READ} FROM job JOIN reading USING (folder) "  # noqa: S608 - fixed
            "WHERE coil_key = ? AND tap = ? AND value_ohm IS NOT NULL AND verdict != '' AND (at_utc, folder) < (?, ?) "
            "ORDER BY at_utc, folder"
        )
        if coil is not None:
            yield from map(Read._make, self._db.execute(query, (coil[0], tap, coil[1], folder)))


class Read(NamedTuple):
    """One reading of a job: value and U in ohms, both None where the display showed none, and what is known of the coil."""

    value_ohm: str | None
    expanded_ohm: float | None
    known_good: int
    engine: str
    coil_at_c: str | None
    cap_on: int | None


_READ = ", ".join(Read._fields)

Some = list[tuple[str, str]]
"""Folders with their stamps."""


def _summaries(data: Path, changed: Some) -> "Iterator[tuple[Some, list[Summary]]]":
    """These records in short, some at a time, in their order."""
    if not changed:
        return
    from assistant.records.summary import summaries  # noqa: PLC0415 - heavy, and mostly there is nothing new

    parts = [changed[begin : begin + _AT_ONCE] for begin in range(0, len(changed), _AT_ONCE)]
    names = [[folder for folder, _ in part] for part in parts]
    if len(changed) < _MANY:
        yield from zip(parts, (summaries(data, some) for some in names), strict=True)
        return
    from concurrent.futures import ProcessPoolExecutor  # noqa: PLC0415 - the same
    from multiprocessing import get_context  # noqa: PLC0415 - the same

    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        yield from zip(parts, pool.map(summaries, [data] * len(parts), names), strict=True)


def _opened(data: Path) -> sqlite3.Connection:
    """The index of this version: made anew when it is another's, damaged or not there; in memory when no file can be."""
    for _ in range(2):
        try:
            return _made(sqlite3.connect(data / INDEX_FILE, timeout=10))
        except sqlite3.OperationalError:  # no place for a file
            break
        except sqlite3.DatabaseError:
            _drop(data)
    return _made(sqlite3.connect(":memory:"))


def _made(db: sqlite3.Connection) -> sqlite3.Connection:
    """The same database, with its tables. Raises sqlite3.DatabaseError for another version's or a damaged one."""
    try:
        (version,) = db.execute("PRAGMA user_version").fetchone()
        tables = db.execute("SELECT count(*) FROM sqlite_master").fetchone() != (0,)
        if tables and version != VERSION:
            raise sqlite3.DatabaseError(f"an index of version {version}, expected {VERSION}")
        if not tables:
            db.executescript(f"BEGIN; {_TABLES} PRAGMA user_version = {VERSION}; COMMIT;")
    except sqlite3.Error:
        db.close()
        raise
    return db


def _drop(data: Path) -> None:
    with suppress(OSError):
        (data / INDEX_FILE).unlink()


def rebuilt(data: Path) -> Index:
    """A new index, whatever stood there before."""
    _drop(data)
    return Index(data)


def _folders(data: Path) -> set[str]:
    """The names of everything in a folder of records that may be a session; none when it is not there. Raises BadInput."""
    try:
        return {name for name in os.listdir(data) if not name.startswith((".", INDEX_FILE))}  # noqa: PTH208 - names are enough
    except FileNotFoundError:
        return set()
    except OSError as error:
        raise refused(data, error) from error


def _stamp(data: Path, folder: str) -> str:
    """What changes when the journal grows; empty for what is no session."""
    try:
        journal = os.stat(f"{data}/{folder}/{JOURNAL_FILE}")  # noqa: PTH116 - ten thousand of them: a Path each takes longer
    except OSError:
        return ""
    return f"{journal.st_mtime_ns}:{journal.st_size}"


def _key(name: str) -> str:
    """A coil's name as it is compared: without regard to case and spaces around."""
    return " ".join(name.casefold().split())
