"""Everything that stands on one report page, gathered before any of it is drawn."""

from dataclasses import dataclass

from assistant.measure.case import Case, Verdict
from assistant.measure.earlier import Earlier
from assistant.measure.parts import Judgement


@dataclass(frozen=True, slots=True)
class Sheet:
    """One session as a customer reads it.

    `notes` are lines about the record itself, `recordings` names of sound files that lie beside the page, `symptoms`
    the sentences of the grammar, `folder` the name of the record's folder. `earlier_left_out` says which earlier readings of the same name
    were not compared. `checks` are those beside the coil test;
    `coil` is False when nothing but such checks was done.
    """

    verdict: Verdict
    case: Case
    label: str = ""
    started_at: str = ""
    folder: str = ""
    symptoms: tuple[str, ...] = ()
    earlier: tuple[Earlier, ...] = ()
    earlier_left_out: str = ""
    notes: tuple[str, ...] = ()
    recordings: tuple[str, ...] = ()
    checks: tuple[Judgement, ...] = ()
    coil: bool = True
