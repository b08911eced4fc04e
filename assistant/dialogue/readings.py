"""Cells of the table that take readings: accept, ask back, correct, wait for a unit."""

from dataclasses import replace
from decimal import Decimal

from assistant.dialogue.answers import wrong_kind
from assistant.dialogue.case import meter_of
from assistant.dialogue.events import Listen, Say
from assistant.dialogue.moves import (
    Incoming,
    again,
    ask_guess,
    asked_back,
    can_take_back,
    is_reading,
    mark,
    restore_expectation,
    said,
    take_back,
    then_ask,
)
from assistant.dialogue.procedure import Step, StepKind
from assistant.dialogue.routes import Outcome, current, go
from assistant.dialogue.state import Bench, Phase, State, Taken
from assistant.language import wording
from assistant.language.meaning import Ask, SaidAnswers, SaidReading, SaidUnit, Understood, Why
from assistant.measure.units import Quantity, Reading, Shown

SHIFT_TENS = Decimal("0.02")
"""A value taken anew that is 10, 100, 1000 times the last one, to 5 %, is more likely a slip of the point or the prefix."""


def reading(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """A reading: taken, or asked back when it is easily misheard or implausible, as everything is that speaks against a coil."""
    step = current(bench, state)
    if step.kind not in (StepKind.READING, StepKind.LIMIT):
        return wrong_kind(bench, state, incoming)
    meaning = said(incoming, SaidReading)
    found = meaning.reading
    if step.kind is StepKind.LIMIT and found.shown is not Shown.VALUE:
        return wrong_kind(bench, state, incoming)
    implausible = _implausible(step, found) or beyond_meter(bench, state, found)
    reason = wording.UNUSUAL if implausible and found.shown is Shown.VALUE else at_odds(state, step, found)
    if implausible or reason or meaning.check:
        return ask_guess(
            state, Understood(meaning, sure=True, words=incoming.words), asked_back(bench, state, found, reason)
        )
    return accept(bench, state, found)


def _implausible(step: Step, found: Reading) -> bool:
    if step.plausible_ohm is None or found.quantity is None:
        return found.shown is not Shown.VALUE
    low, high = step.plausible_ohm
    return not low <= found.quantity.ohms <= high


def at_odds(state: State, step: Step, found: Reading) -> str:
    """What speaks against a value beside the readings before it; empty when nothing does. They never change it."""
    if step.kind is StepKind.LIMIT or found.quantity is None:
        return ""
    value_ohm = found.quantity.ohms
    before = state.facts.at(step.name)
    last = before[-1].quantity if before else None
    if last is not None and value_ohm and last.ohms:
        tens = (value_ohm / last.ohms).log10()
        if round(tens) and abs(tens - round(tens)) < SHIFT_TENS:
            return wording.SHIFTED
    leads = state.facts.at("leads")
    alone = leads[-1].quantity if leads and step.name != "leads" else None
    return wording.BELOW_LEADS if alone is not None and value_ohm < alone.ohms else ""


def beyond_meter(bench: Bench, state: State, found: Reading) -> bool:
    """Whether a reading is more than the meter in use shows; a maker's figure may be."""
    return current(bench, state).kind is StepKind.READING and meter_of(bench, state.facts).too_much(found)


def accept(bench: Bench, state: State, found: Reading) -> Outcome:
    """A reading stands: kept, said back, and with a window to contradict where there is time to wait."""
    step = current(bench, state)
    lines = (Say(wording.read_back(step.title, found)), *_about_digits(bench, state, found))
    state = mark(state, reading=True)
    facts = replace(state.facts, readings=(*state.facts.readings, Taken(step.name, found)))
    state = replace(state, facts=facts, number=None, guess=None, tries=0)
    if not state.timed:
        state, effects = go(bench, state, step.next)
        return state, (*lines, *effects)
    state = replace(state, phase=Phase.SETTLING, expect=replace(state.expect, name="confirm"), last_said=lines[:1])
    return state, (*lines, Listen(state.expect))


def _about_digits(bench: Bench, state: State, found: Reading) -> tuple[Say, ...]:
    """A word on digits that the meter in use does not have, with the first reading that has them; a maker's figure may."""
    meter = meter_of(bench, state.facts)
    finest_ohm = meter.finer(found)
    told = (taken.reading for taken in state.facts.readings if is_reading(bench, taken.step))
    if finest_ohm is None or not is_reading(bench, state.step) or any(meter.finer(reading) for reading in told):
        return ()
    return (Say(wording.finer_than_meter(meter.title, finest_ohm)),)


def accept_guess(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """Yes to "is that what the meter shows?"."""
    found = said(Incoming(incoming.event, state.guess), SaidReading).reading
    return accept(bench, replace(state, phase=Phase.ASKING), found)


def choose(bench: Bench, state: State, choice: Reading) -> Outcome:
    """One of two values held up: taken, or asked about once more when the meter in use cannot show it."""
    if beyond_meter(bench, state, choice):
        return ask_guess(state, Understood(SaidReading(choice), sure=True, words=""), asked_back(bench, state, choice))
    return accept(bench, replace(state, phase=Phase.ASKING), choice)


def chosen(state: State, incoming: Incoming) -> Reading | None:
    """Which of two values held up was meant: the first, or the second; None for any other answer, or when one was not asked."""
    meaning = incoming.understood.meaning if incoming.understood else None
    guess = state.guess
    if guess is None or guess.rival is None or not isinstance(guess.meaning, SaidReading):
        return None
    found = {SaidAnswers(("first",)): guess.meaning.reading, SaidAnswers(("second",)): guess.rival}
    return found.get(meaning) if isinstance(meaning, SaidAnswers) else None


def bare(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """A number without its unit: which one? Never guessed."""
    step = current(bench, state)
    if step.kind not in (StepKind.READING, StepKind.LIMIT):
        return wrong_kind(bench, state, incoming)
    meaning = said(incoming, Ask)
    asked = Say(wording.SAID_ONE if meaning.why is Why.ONE_ALONE else wording.ask_unit(meaning.numeral))
    expect = replace(state.expect, name="unit")
    state = replace(state, phase=Phase.UNIT, number=meaning, guess=None, expect=expect, last_said=(asked,))
    return state, (asked, Listen(expect))


def unit(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """The unit that a bare number was waiting for."""
    if state.number is None:
        raise TypeError("no number waits for a unit")
    whole = Reading(Shown.VALUE, Quantity(state.number.numeral, said(incoming, SaidUnit).unit))
    complete = Understood(SaidReading(whole), sure=True, words=f"{state.number.numeral.text} {incoming.words}")
    state = restore_expectation(bench, replace(state, phase=Phase.ASKING))
    return reading(bench, state, Incoming(incoming.event, complete))


def settle(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """Nobody contradicted: on to the next step."""
    return go(bench, replace(state, phase=Phase.ASKING), current(bench, state).next)


def undo(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """The last reading is taken back and asked for again."""
    return (
        take_back(bench, state) if can_take_back(bench, state) else then_ask(bench, state, Say(wording.NOTHING_TO_UNDO))
    )


def doubt_settled(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """Something unclear came while a reading could be contradicted: it is asked, not ignored."""
    return again(bench, state)
