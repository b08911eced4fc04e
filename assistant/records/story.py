"""One session read back from its record: what was told, what was read, the verdict; and the report page made from it."""

import json
from dataclasses import dataclass
from pathlib import Path

from assistant.dialogue.case import case_of
from assistant.dialogue.checks import part_case
from assistant.dialogue.state import Bench, State
from assistant.errors import BadData, BadRecord
from assistant.journal import Header, Record, read
from assistant.language import page_wording
from assistant.measure.case import Case, Verdict
from assistant.measure.earlier import Earlier
from assistant.measure.parts import Judgement, PartKind, judge_part
from assistant.measure.verdict import judge
from assistant.preflight import load_bench
from assistant.replay import replay
from assistant.report.sheet import Sheet

SOUNDS = (".wav", ".flac")
_GRAVEST = (PartKind.FAULT, PartKind.UNDECIDED, PartKind.WELL)


@dataclass(frozen=True, slots=True)
class Story:
    """A session after its last event.

    `differs`: this version of the program would have answered some event otherwise. `said_kind`: the kind of the last
    verdict about the coil as it was given and recorded, else the gravest of the checks; empty when there was neither.
    """

    folder: Path
    header: Header
    bench: Bench
    state: State
    differs: bool
    said_kind: str

    @property
    def case(self) -> Case:
        """Everything told and read, as the judgement wants it."""
        return case_of(self.bench, self.state.facts)

    @property
    def verdict(self) -> Verdict:
        """The verdict that was reached, else what the readings so far amount to."""
        return self.state.verdict or judge(self.case)

    @property
    def coil(self) -> bool:
        """Whether the coil was tested, and not only other parts."""
        return self.state.verdict is not None or not self.state.facts.check

    @property
    def checks(self) -> tuple[Judgement, ...]:
        """The checks beside the coil test; one that was not finished, as far as it came."""
        facts = self.state.facts
        unfinished = bool(facts.check) and not self.state.decided
        return (*facts.judged, *((judge_part(part_case(self.bench, facts)),) if unfinished else ()))


def story(folder: Path) -> Story:
    """Read a session back. Raises BadRecord with what is wrong with its record."""
    record = read(folder)
    try:
        bench = load_bench(record.header.files)
    except BadData as error:
        raise BadRecord(f"{folder}: the data files kept in this record do not suit this version: {error}") from error
    done = replay(bench, record)
    return Story(folder, record.header, bench, done.state, done.difference is not None, _said_kind(record))


def _said_kind(record: Record) -> str:
    coil, checks = "", {}
    for entry in record.entries:
        for effect in entry.effects:
            out = json.loads(effect)["out"]
            if out.get("type") == "Decided":
                coil = str(out["verdict"]["kind"])
            elif out.get("type") == "Checked":
                checks[out["judgement"]["check"]] = out["judgement"]["kind"]
    return coil or next((kind.value for kind in _GRAVEST if kind.value in checks.values()), "")


def sheet(found: Story, earlier: tuple[Earlier, ...] = (), earlier_left_out: str = "") -> Sheet:
    """What the report page of a session shows."""
    facts, lexicon = found.state.facts, found.bench.lexicon
    notes = [] if found.state.decided else [page_wording.NOT_FINISHED]
    notes += [page_wording.JUDGED_ANEW] if found.differs else []
    symptoms = tuple(lexicon.answer_names[name] for name in facts.answer("symptoms") if name in lexicon.answer_names)
    sounds = sorted(path.name for path in found.folder.iterdir() if path.suffix.lower() in SOUNDS)
    return Sheet(
        verdict=found.verdict,
        case=found.case,
        label=facts.label,
        started_at=found.state.started_at,
        folder=found.folder.resolve().name,
        symptoms=tuple(text for text in symptoms if text not in ("done", "none")),
        earlier=earlier,
        earlier_left_out=earlier_left_out,
        notes=tuple(notes),
        recordings=tuple(sounds),
        checks=found.checks,
        coil=found.coil,
    )
