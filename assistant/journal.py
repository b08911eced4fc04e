"""The journal of a session: one canonical JSON object per line (sorted keys, no spaces), appended before anything is done about it.

Line 1 is the header: version, when, the data files' whole contents, the engine. Every further line is an event that came
in (`"in"`) or an effect that went out (`"out"`). Each line ends with a check that chains it to the line before, so that a
cut or an altered line is found and named. Format version 1; unknown keys are ignored by readers.
"""

import functools
import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from decimal import Decimal
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.devices.ports import Store
from assistant.dialogue.events import Effect, Event
from assistant.errors import BadRecord

if TYPE_CHECKING:
    from cattrs import Converter

VERSION = 1
FILE = "journal.jsonl"
_CHECK_DIGITS = 12


@dataclass(frozen=True, slots=True)
class Header:
    """What a session started with: enough to replay it on another machine after the files have changed."""

    at: str
    engine: str
    files: Mapping[str, Mapping[str, str]]
    """Contents of the data files: kind (`grammar`, `procedures`, `meters`) -> name -> text."""
    version: int = VERSION


@dataclass(frozen=True, slots=True)
class Entry:
    """One event and the lines of the effects it had, as they stand in the journal."""

    line: int
    event: Event
    effects: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Record:
    """A journal as read. `kept_bytes` is where its last whole line ends; `cut_bytes` counts what follows it, half-written."""

    header: Header
    entries: tuple[Entry, ...]
    kept_bytes: int
    cut_bytes: int
    check: str


def _plain(value: object) -> Any:  # noqa: ANN401 - whatever JSON can hold
    """The same of what JSON knows: a value of ours as an object with its fields, an Enum as its value, a Decimal as its digits."""
    if is_dataclass(value):
        # what came to a value after records of it were made stands in them only where it says something
        told = [each for each in fields(value) if not (each.metadata and getattr(value, each.name) == each.default)]
        return {each.name: _plain(getattr(value, each.name)) for each in told}
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, Enum):
        return value.value
    return str(value) if isinstance(value, Decimal) else value


def _tagged(value: Event | Effect) -> dict[str, object]:
    return {"type": type(value).__name__, **_plain(value)}


@functools.cache
def _converter() -> "Converter":
    """Makes values of what `_plain` made of them. Only reading needs it, and its library takes longer to import than all else here."""
    from cattrs import Converter  # noqa: PLC0415 - as said above
    from cattrs.strategies import configure_tagged_union  # noqa: PLC0415 - the same

    converter = Converter(forbid_extra_keys=False)
    configure_tagged_union(Event, converter, tag_name="type")
    return converter


def event_body(event: Event, at_ms: int) -> str:
    """The canonical text of an event, `at_ms` after the session began or was taken up."""
    return _canonical({"at_ms": at_ms, "in": _tagged(event)})


def effect_body(effect: Effect) -> str:
    """The canonical text of an effect."""
    return _canonical({"out": _tagged(effect)})


def _canonical(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


def _chained(check: str, body: str) -> str:
    return hashlib.sha256((check + body).encode()).hexdigest()[:_CHECK_DIGITS]


def read(folder: Path) -> Record:
    """The journal in a session's folder. A half-written last line is left out; anything else wrong raises BadRecord with its line."""
    path = folder / FILE
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise BadRecord(f"{path}: cannot be read ({error.strerror}); expected the journal of a session") from error
    whole, newline, cut = raw.rpartition(b"\n")
    lines = list(_bodies(path, (whole + newline).decode("utf-8", "replace")))
    if not lines:
        raise BadRecord(f"{path}: no whole line in it; expected a journal header")
    header = _header(path, lines[0][1])
    return Record(header, tuple(_entries(path, lines[1:])), len(whole) + len(newline), len(cut), lines[-1][2])


def _bodies(path: Path, text: str) -> Iterator[tuple[int, str, str]]:
    check = ""
    for number, line in enumerate(text.split("\n")[:-1], start=1):
        body, mark, end = line.rpartition(',"~":"')
        check = _chained(check, body + "}")
        if not mark or end != f'{check}"}}':
            raise BadRecord(
                f"{path}: line {number} is damaged or was altered: its check does not match. "
                f"The {number - 1} lines before it are sound."
            )
        yield number, body + "}", check


def _header(path: Path, body: str) -> Header:
    data = json.loads(body).get("ohmaloud", {})
    if data.get("version") != VERSION:
        raise BadRecord(f"{path}: line 1: found format version {data.get('version')!r}, expected {VERSION}")
    return _converter().structure(data, Header)


def _entries(path: Path, lines: list[tuple[int, str, str]]) -> Iterator[Entry]:
    event: tuple[int, Event] | None = None
    effects: list[str] = []
    for number, body, _ in lines:
        data = json.loads(body)
        if "in" in data:
            if event:
                yield Entry(*event, tuple(effects))
            try:
                event, effects = (number, _converter().structure(data["in"], Event)), []  # type: ignore[arg-type]
            except (KeyError, TypeError, ValueError, ExceptionGroup) as error:
                raise BadRecord(f"{path}: line {number}: an event that this version does not know") from error
        elif "out" in data:
            effects.append(body)
    if event:
        yield Entry(*event, tuple(effects))


class Journal:
    """Appends turns to a store: an event and its effects go to disk together, before the effects are performed."""

    def __init__(self, store: Store, check: str = "") -> None:
        self._store = store
        self._check = check

    def begin(self, header: Header) -> None:
        """Write the header. Raises OSError."""
        self._append((_canonical({"ohmaloud": _plain(header)}),))

    def turn(self, event: Event, effects: tuple[Effect, ...], at_ms: int) -> None:
        """Write an event and what follows from it: all or nothing. Raises OSError."""
        self._append((event_body(event, at_ms), *(effect_body(effect) for effect in effects)))

    def owed(self, effects: tuple[Effect, ...]) -> None:
        """Write effects of the last event that a killed process did not come to write. Raises OSError."""
        self._append(tuple(effect_body(effect) for effect in effects))

    def _append(self, bodies: tuple[str, ...]) -> None:
        check, lines = self._check, []
        for body in bodies:
            check = _chained(check, body)
            lines.append(f'{body[:-1]},"~":"{check}"}}')
        self._store.append(tuple(lines))
        self._check = check
