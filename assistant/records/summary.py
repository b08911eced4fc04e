"""A session in short: what the list of jobs shows, and what later readings of the same coil are compared with."""

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from assistant.errors import BadRecord
from assistant.language.check_wording import in_short
from assistant.language.verdict_wording import shown
from assistant.measure.coil import Tap
from assistant.records.folders import label_of
from assistant.records.marks import read_marks
from assistant.records.story import story


@dataclass(frozen=True, slots=True)
class TapSummary:
    """The reading of one pair of points that counts: as shown, its class, and where there is one its value and U in ohms."""

    tap: str
    shown: str
    kind: str
    value_ohm: str | None
    expanded_ohm: float | None


@dataclass(frozen=True, slots=True)
class Summary:
    """One line of the list. `at` is local time with its offset; `verdict` as it was given, empty when there was none.

    `trouble` says why a record cannot be read; then only folder, label and marks are known.
    """

    folder: str
    label: str
    coil: str
    known_good: bool
    at: str = ""
    engine: str = ""
    meter: str = ""
    verdict: str = ""
    complete: bool = False
    readings: tuple[TapSummary, ...] = ()
    coil_at_c: str | None = None
    cap_on: bool | None = None
    checks: str = ""
    """The checks beside the coil test in a few words."""
    trouble: str = ""

    @property
    def at_utc(self) -> str:
        """When the session began in universal time, so that times compare; empty when not known."""
        return dt.datetime.fromisoformat(self.at).astimezone(dt.UTC).isoformat() if self.at else ""


def summary(folder: Path) -> Summary:
    """A session in short; a record that cannot be read is told, never left out."""
    marks = read_marks(folder)
    try:
        found = story(folder)
        dt.datetime.fromisoformat(found.header.at)
    except (BadRecord, ValueError, TypeError, KeyError) as error:
        trouble = str(error).splitlines()[0]
        return Summary(folder.name, label_of(folder), marks.coil, marks.known_good, trouble=trouble)
    case, verdict = found.case, found.verdict
    readings = []
    for tap in Tap:
        result = verdict.result(tap)
        if result.reading is not None:
            measured = result.measured
            value_ohm = None if measured is None else f"{measured.value_ohm:f}"
            expanded_ohm = None if measured is None else measured.expanded_ohm
            readings.append(TapSummary(tap.value, shown(result.reading), result.kind.value, value_ohm, expanded_ohm))
    return Summary(
        folder=folder.name,
        label=found.state.facts.label,
        coil=marks.coil,
        known_good=marks.known_good,
        at=found.header.at,
        engine=case.stroke.value,
        meter=case.meter.name,
        verdict=found.said_kind,
        complete=found.state.complete,
        readings=tuple(readings),
        coil_at_c=None if case.coil_at_c is None else f"{case.coil_at_c:f}",
        cap_on=case.cap_on,
        checks="; ".join(in_short(judgement) for judgement in found.checks),
    )


def summaries(data: Path, folders: list[str]) -> list[Summary]:
    """Several sessions of one folder of records in short."""
    return [summary(data / folder) for folder in folders]
