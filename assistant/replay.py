"""A journal through `step` again: the same events, and the first line in which the effects differ."""

from dataclasses import dataclass
from itertools import zip_longest

from assistant.dialogue.events import Effect, Hush
from assistant.dialogue.state import Bench, State
from assistant.dialogue.step import step
from assistant.journal import Entry, Record, effect_body

HUSH = effect_body(Hush())
"""Came to the answer to "stop" after the first sessions were recorded; it changes nothing in the record."""


@dataclass(frozen=True, slots=True)
class Difference:
    """Where a replay parts from the record: the journal line of the event, and one effect as recorded and as it would be now."""

    line: int
    event: str
    recorded: str
    now: str


@dataclass(frozen=True, slots=True)
class Replayed:
    """The state after all events, the effects of the last one that are missing in the record, and the first difference."""

    state: State
    missing: tuple[Effect, ...]
    events: int
    difference: Difference | None


def replay(bench: Bench, record: Record) -> Replayed:
    """Run a record's events through `step`. Effects missing after the last event are no difference: it was killed there.

    Neither is a `Hush` that is missing: sessions were recorded before there was one. Every other effect must be there.
    """
    state = State()
    missing: tuple[Effect, ...] = ()
    difference: Difference | None = None
    last = len(record.entries) - 1
    for index, entry in enumerate(record.entries):
        state, effects = step(bench, state, entry.event)
        if entry.effects and HUSH not in entry.effects:
            effects = tuple(effect for effect in effects if effect != Hush())
        now = tuple(effect_body(effect) for effect in effects)
        cut = index == last and now[: len(entry.effects)] == entry.effects
        missing = effects[len(entry.effects) :] if cut else ()
        if now != entry.effects and not cut and difference is None:
            difference = _difference(entry, now)
    return Replayed(state, missing, len(record.entries), difference)


def _difference(entry: Entry, now: tuple[str, ...]) -> Difference:
    pairs = list(zip_longest(entry.effects, now, fillvalue="nothing"))
    at = next(index for index, (recorded, instead) in enumerate(pairs) if recorded != instead)
    return Difference(entry.line + 1 + at, type(entry.event).__name__, *pairs[at])
