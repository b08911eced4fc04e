"""What a verdict leaves open, what to do next, what to beware of.

All are names of sentences; the sentences stand in language/verdict_wording.py.
"""

from assistant.measure.case import FAULTS, Case, VerdictKind
from assistant.measure.coil import Class, Tap

LADDER = (
    "plug",
    "cap and lead",
    "kill switch",
    "air gap",
    "magnet and key",
    "ground straps",
    "trigger",
    "spark gap",
    "known-good coil",
)
"""Shortest first (common practice, no source)."""

_AFTER_FAULT = ("cap and lead", "spark gap", "known-good coil")
"""Before money is spent on a coil that was condemned: what else looks the same, and what confirms it."""

_FITTING = {
    "dies_hot": ("plug", "cap and lead", "kill switch", "ground straps", "trigger", "spark gap", "known-good coil"),
    "hard_restart_hot": (
        "plug",
        "cap and lead",
        "kill switch",
        "ground straps",
        "trigger",
        "spark gap",
        "known-good coil",
    ),
    "misses_high_speed": ("plug", "cap and lead", "kill switch", "air gap", "trigger", "spark gap", "known-good coil"),
    "lacks_top_speed": ("plug", "cap and lead", "air gap", "magnet and key", "trigger", "known-good coil"),
    "starts_badly": ("plug", "cap and lead", "kill switch", "air gap", "magnet and key", "trigger", "known-good coil"),
    "no_spark": LADDER,
}
"""Which steps fit a symptom (common practice, no source)."""

SYMPTOMS = frozenset(_FITTING)
"""The symptoms that a ladder is known for, by the names the grammar gives them."""

_HOT = frozenset({"dies_hot", "hard_restart_hot"})

_BEFORE_A_READING = ("stopped engine",)
_ON_THE_LADDER = ("spark voltage", "lead open", "fuel vapour", "turning parts", "piercing", "manual first")
"""Every ladder comes to spark, turning parts and leads before its end."""


def next_for(kind: VerdictKind, symptoms: tuple[str, ...], *, waiting: bool, leads_first: bool) -> tuple[str, ...]:
    """The ladder for a verdict and its symptoms; empty while a reading is still to be taken.

    `leads_first`: the coil was not condemned only because the leads may be what read open.
    """
    if waiting:
        return ()
    if kind in FAULTS:
        return ("manual", *_AFTER_FAULT)
    fitting = {step for symptom in symptoms for step in _FITTING.get(symptom, ())} or set(LADDER)
    warm = ("warm again",) if _HOT.intersection(symptoms) else ()
    manual = ("manual",) if kind is VerdictKind.UNDECIDED else ()
    leads = ("leads",) if leads_first else ()
    return (*leads, *manual, *warm, *(step for step in LADDER if step in fitting))


def unproven_for(kind: VerdictKind, p: Class, k: Class, case: Case) -> tuple[str, ...]:
    """What these readings cannot show."""
    open_ = ["rest of engine"] if kind in FAULTS else ["shorted turns", "insulation"]
    if kind is VerdictKind.SOUND and p is Class.TOO_SMALL:
        open_.insert(0, "primary short")
    if kind is VerdictKind.ELECTRONICS:
        open_.append("electronics work")
    if kind is VerdictKind.SOUND and k is Class.NOT_TAKEN:
        open_.append("no comparison")
    if _HOT.intersection(case.symptoms):
        open_.append("cold only")
    if case.limits.at(Tap.PRIMARY) is None or case.limits.at(Tap.SECONDARY) is None:
        open_.append("general bands")
    return tuple(open_)


def cautions_for(*, waiting: bool) -> tuple[str, ...]:
    """The cautions that come with what is to be done next: a reading, or the ladder."""
    return _BEFORE_A_READING if waiting else _ON_THE_LADDER
