"""What several cells of the table share: remembering a place, going back to it, asking the open question again."""

from dataclasses import dataclass, replace
from typing import TypeVar

from assistant.dialogue.case import meter_of
from assistant.dialogue.events import Effect, Event, Heard, Listen, Say, Typed
from assistant.dialogue.procedure import StepKind
from assistant.dialogue.routes import Outcome, current, enter, expectation
from assistant.dialogue.state import Bench, Phase, Point, State
from assistant.language import wording
from assistant.language.certainty import decide
from assistant.language.meaning import Ask, Expectation, Meaning, NotUnderstood, SaidReading, Understood
from assistant.language.understand import understand
from assistant.measure.units import Reading

M = TypeVar("M", bound=Meaning)
E = TypeVar("E", bound=Event)


@dataclass(frozen=True, slots=True)
class Incoming:
    """An event and, when words came, what they were taken for."""

    event: Event
    understood: Understood | None = None

    @property
    def words(self) -> str:
        """What was heard or typed, cleaned; empty when no words came."""
        return self.understood.words if self.understood else ""


def understood(bench: Bench, state: State, event: Event) -> Understood | None:
    """What the words of an event mean to what is expected now; None for an event without words.

    Asked "did you say ...?", people often just say their answer again: what is no yes or no is then taken as an answer to
    the step's own question, if it is one.
    """
    meant = _understood(bench, state.expect, event)
    if meant is None or state.phase is not Phase.CONFIRMING:
        return meant
    own = expectation(bench, state, current(bench, state))
    stray = isinstance(meant.meaning, SaidReading | Ask) and not bench.lexicon.expects(own).readings
    if not stray and not isinstance(meant.meaning, NotUnderstood):
        return meant
    again = _understood(bench, own, event)
    return again if again is not None and (stray or not isinstance(again.meaning, NotUnderstood)) else meant


def _understood(bench: Bench, expect: Expectation, event: Event) -> Understood | None:
    if isinstance(event, Typed):
        return understand(event.text, expect, bench.lexicon, typed=True)
    if isinstance(event, Heard):
        return decide(event.hearing, expect, bench.lexicon)
    return None


def said(incoming: Incoming, kind: type[M]) -> M:
    """The meaning that came in, which the table promises to be of this kind. Raises TypeError when the table is wrong."""
    meaning = incoming.understood.meaning if incoming.understood else None
    if not isinstance(meaning, kind):
        raise TypeError(f"expected {kind.__name__}, found {meaning!r}")
    return meaning


def came(incoming: Incoming, kind: type[E]) -> E:
    """The event that came in, which the table promises to be of this kind. Raises TypeError when the table is wrong."""
    if not isinstance(incoming.event, kind):
        raise TypeError(f"expected {kind.__name__}, found {incoming.event!r}")
    return incoming.event


def mark(state: State, *, reading: bool = False) -> State:
    """The same with this place remembered, to come back to."""
    point = Point(state.step, state.facts, state.after, reading=reading, verdict=state.verdict)
    return replace(state, past=(*state.past, point))


def return_to(bench: Bench, state: State, index: int) -> Outcome:
    """Back at a remembered place: what was told since is forgotten, the question is asked again."""
    point = state.past[index]
    verdict = point.verdict if state.facts.check else None  # the coil's verdict outlives what is taken back in a check
    state = replace(state, facts=point.facts, after=point.after, past=state.past[:index], verdict=verdict)
    return enter(bench, state, point.step)


def restore_expectation(bench: Bench, state: State) -> State:
    """The same, expecting what the step itself expects."""
    return replace(state, expect=expectation(bench, state, current(bench, state)))


def again(bench: Bench, state: State) -> Outcome:
    """The open question, whichever it is, and ears open; a reading that settles is asked about, not let pass."""
    if state.phase is Phase.SETTLING:
        asked = Say(asked_back(bench, state, state.facts.at(state.step)[-1]))
        return replace(state, last_said=(asked,)), (asked, Listen(state.expect))
    return state, (state.last_said[-1], Listen(state.expect))


def then_ask(bench: Bench, state: State, first: Effect) -> Outcome:
    """One sentence, then the open question again."""
    if state.phase is Phase.PAUSED:
        return state, (first, Listen(state.expect))
    state, effects = again(bench, state)
    return state, (first, *effects)


def whereabouts(bench: Bench, state: State) -> Effect:
    """The step, the phase and the readings so far."""
    readings = tuple(
        (bench.procedure.step(taken.step).title, taken.reading)
        for taken in state.facts.readings
        if is_reading(bench, taken.step)
    )
    return Say(wording.where(current(bench, state).title, readings, state.phase.value))


def can_take_back(bench: Bench, state: State) -> bool:
    """Whether there is a reading to take back, or a maker's limit that was the very last answer."""
    return _last_value(bench, state) is not None


def take_back(bench: Bench, state: State) -> Outcome:
    """The last reading is forgotten and its step entered again; the first effect says so. IndexError when there is none."""
    index = _last_value(bench, state)
    if index is None:
        raise IndexError("there is nothing to take back")
    taken = state.facts.readings[len(state.past[index].facts.readings)].reading
    state, effects = return_to(bench, state, index)
    return state, (Say(wording.taken_back(taken)), *effects)


def _last_value(bench: Bench, state: State) -> int | None:
    last = len(state.past) - 1
    values = [index for index, point in enumerate(state.past) if point.reading]
    # "that was wrong" means a reading; it reaches a maker's limit only while nothing else was answered since
    return next((i for i in reversed(values) if i == last or is_reading(bench, state.past[i].step)), None)


def is_reading(bench: Bench, step: str) -> bool:
    """Whether a step asks what the meter shows (and not for a figure from a manual)."""
    return bench.procedure.step(step).kind is StepKind.READING


def asked_back(bench: Bench, state: State, found: Reading, reason: str = "") -> str:
    """The question whether a value was heard right; what the meter in use cannot show is asked about with its name."""
    if current(bench, state).kind is StepKind.LIMIT:
        return wording.ask_limit(found, reason)
    meter = meter_of(bench, state.facts)
    if meter.too_much(found):
        reason = wording.beyond_meter(meter.title, meter.highest.full_ohm)
    return wording.ask_reading(found, reason)


def ask_guess(state: State, guess: Understood, text: str, expecting: str = "confirm") -> Outcome:
    """Wait for yes or no to something heard; or, when it has a rival, for the choice between the two."""
    expect, asked = replace(state.expect, name=expecting), Say(text)
    state = replace(state, phase=Phase.CONFIRMING, guess=guess, number=None, expect=expect, last_said=(asked,))
    return state, (asked, Listen(expect))
