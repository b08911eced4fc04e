"""Cells of the table that take every other answer, and those that refuse: not sure, not understood, not this question."""

from dataclasses import replace
from decimal import Decimal

from assistant.dialogue.case import is_length, is_temperature
from assistant.dialogue.checks import answers as starting
from assistant.dialogue.events import Listen, Say
from assistant.dialogue.moves import (
    Incoming,
    again,
    ask_guess,
    asked_back,
    mark,
    restore_expectation,
    return_to,
    said,
    then_ask,
)
from assistant.dialogue.procedure import Step, StepKind
from assistant.dialogue.routes import Outcome, current, go, sentences, start_check
from assistant.dialogue.state import Bench, Phase, State
from assistant.language import wording
from assistant.language.meaning import (
    NotUnderstood,
    SaidAnswers,
    SaidCommand,
    SaidNumber,
    SaidReading,
    SaidText,
    Understood,
    Why,
)
from assistant.measure.limits import in_celsius
from assistant.measure.verdict import Tap

_TRIES_BEFORE_HINT = 2
_WHICH = "which"
"""What is expected while two values are held up; files of older records do not have it, and are asked about one."""
_TAPS = {tap.value: tap for tap in Tap}
_NUMBERS = {
    StepKind.NUMBER: (is_temperature, wording.NO_TEMPERATURE, wording.degrees),
    StepKind.LENGTH: (is_length, wording.NO_GAP, wording.millimetres),
}


def answer(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """Answers by name."""
    meaning = said(incoming, SaidAnswers)
    step = current(bench, state)
    if step.kind is StepKind.ACKNOWLEDGE:
        return _acknowledge(bench, state, step, meaning.names)
    if step.kind is StepKind.MANY:
        return _many(bench, state, step, meaning.names)
    if step.kind is StepKind.LIMIT or step.kind in _NUMBERS:
        none = set(meaning.names) <= {"none", "unknown"}
        there = dict(step.goto).get(meaning.names[0], step.next)
        return go(bench, mark(state), there) if none else wrong_kind(bench, state, incoming)
    if step.kind is not StepKind.CHOICE:
        return wrong_kind(bench, state, incoming)
    if "not_yet" in meaning.names:
        return then_ask(bench, state, Say(wording.TAKE_YOUR_TIME))
    state = mark(state)
    state = replace(state, facts=state.facts.with_answer(step.name, meaning.names))
    if step.given == "meter":
        state = replace(state, facts=replace(state.facts, meter=meaning.names[0]))
    line = Say(wording.answered(tuple(bench.lexicon.answer_names[name] for name in meaning.names)))
    state, effects = go(bench, state, dict(step.goto).get(meaning.names[0], step.next))
    return state, (line, *effects)


def _acknowledge(bench: Bench, state: State, step: Step, names: tuple[str, ...]) -> Outcome:
    if set(names) <= {"ready", "yes", "done"}:
        return go(bench, mark(state), step.next)
    if names[0] in starting(bench):
        return start_check(bench, mark(state), starting(bench)[names[0]])
    return then_ask(bench, state, Say(wording.TAKE_YOUR_TIME))


def _many(bench: Bench, state: State, step: Step, names: tuple[str, ...]) -> Outcome:
    told = tuple(name for name in names if name not in ("done", "none", "ready"))
    so_far = dict.fromkeys((*state.facts.answer(step.name), *told))
    over = len(told) < len(names)
    if over:
        state = mark(state)
    state = replace(state, facts=state.facts.with_answer(step.name, tuple(so_far)), tries=0)
    lines = (Say(wording.answered(tuple(bench.lexicon.answer_names[name] for name in told))),) if told else ()
    if over:
        state, effects = go(bench, state, step.next)
        return state, (*lines, *effects)
    return state, (*lines, Say(wording.MORE_OR_DONE), Listen(state.expect))


def number(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """A plain number: a temperature, a gap, or a job's label."""
    meaning = said(incoming, SaidNumber)
    step = current(bench, state)
    if step.kind is StepKind.TEXT:
        return _label(bench, state, step, meaning.text)
    if step.kind not in _NUMBERS:
        return wrong_kind(bench, state, incoming)
    possible, refused, said_back = _NUMBERS[step.kind]
    text = _in_unit_of_question(meaning)
    if not possible(text):
        return then_ask(bench, state, Say(refused))
    state = mark(state)
    state = replace(state, facts=state.facts.with_number(step.name, text))
    state, effects = go(bench, state, step.next)
    line = wording.degrees_fahrenheit(meaning.text, text) if meaning.fahrenheit else said_back(text)
    return state, (Say(line), *effects)


def _in_unit_of_question(meaning: SaidNumber) -> str:
    return f"{in_celsius(Decimal(meaning.text)):f}" if meaning.fahrenheit else meaning.text


def text(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """Free text: a job's label."""
    step = current(bench, state)
    if step.kind is not StepKind.TEXT:
        return wrong_kind(bench, state, incoming)
    return _label(bench, state, step, wording.shorten(said(incoming, SaidText).text))


def _label(bench: Bench, state: State, step: Step, label: str) -> Outcome:
    state = mark(state)
    state = replace(state, facts=replace(state.facts, label=label))
    state, effects = go(bench, state, step.next)
    return state, (Say(wording.labelled(label)), *effects)


def denied(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """No to "is that right?": asked anew, nothing kept."""
    state = restore_expectation(bench, replace(state, phase=Phase.ASKING, guess=None, number=None))
    step = current(bench, state)
    return replace(state, last_said=sentences(bench, state, step)), (Say(step.ask), Listen(state.expect))


def skip(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """On without an answer, where the step allows it; a reading left out is remembered as declined."""
    step = current(bench, state)
    if not step.skip:
        return then_ask(bench, state, Say(wording.CANNOT_SKIP))
    state = mark(replace(state, phase=Phase.ASKING, number=None, guess=None))
    if step.name in _TAPS:
        state = replace(state, facts=replace(state.facts, declined=state.facts.declined | {_TAPS[step.name]}))
    if state.facts.check and step.kind is StepKind.READING:
        state = replace(state, facts=replace(state.facts, left_out=state.facts.left_out | {step.name}))
    state, effects = go(bench, state, step.skip)
    return state, (Say(wording.SKIPPED), *effects)


def back(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """The step before, as it stood before it was answered."""
    if not state.past:
        return then_ask(bench, state, Say(wording.FIRST_STEP))
    # whoever goes back wants to hear again what is to be done there
    told = state.told - {state.past[-1].step}
    return return_to(bench, replace(state, told=told), len(state.past) - 1)


# ---- not sure, not understood


def not_understood(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """What was heard, why it is not taken, and what is wanted; after a few tries, other ways to answer."""
    state = replace(state, tries=state.tries + 1)
    line = f"{wording.refusal(said(incoming, NotUnderstood), incoming.words)} {current(bench, state).wrong}"
    hint = (Say(wording.TYPE_INSTEAD),) if state.tries > _TRIES_BEFORE_HINT else ()
    return state, (Say(line), *hint, Listen(state.expect))


def wrong_kind(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """A clear answer to another question."""
    refused = NotUnderstood(Why.WRONG_KIND, 0, incoming.words)
    return not_understood(bench, state, Incoming(incoming.event, Understood(refused, sure=True, words=incoming.words)))


def doubt(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """Heard, but not surely: asked back, never taken."""
    guess = incoming.understood
    readings = current(bench, state).kind in (StepKind.READING, StepKind.LIMIT)
    if guess is not None and isinstance(guess.meaning, SaidReading) and readings and not guess.meaning.correction:
        if guess.rival is not None and _WHICH in bench.lexicon.expectations:
            return ask_guess(state, guess, wording.ask_which(guess.meaning.reading, guess.rival), _WHICH)
        return ask_guess(state, guess, asked_back(bench, state, guess.meaning.reading))
    if guess is not None and isinstance(guess.meaning, SaidCommand | SaidAnswers):
        return ask_guess(state, guess, wording.ask_guess(guess.words))
    return not_caught(bench, state, incoming)


def not_caught(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """Too unsure even to ask about: the open question again."""
    state, effects = again(bench, state)
    return state, (Say(wording.NOT_SURE), *effects)


def doubt_again(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """Unsure again where yes or no was wanted: an answer said once more is asked back in its turn."""
    guess = incoming.understood
    held_up_two = state.expect.name == _WHICH
    if held_up_two and not (guess is not None and isinstance(guess.meaning, SaidReading)):
        return not_caught(bench, state, incoming)
    if guess is None or guess.meaning in (SaidAnswers(("yes",)), SaidAnswers(("no",))):
        return yes_or_no(bench, state, incoming)
    return doubt(bench, state, incoming)


def yes_or_no(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """Something else than yes or no, or than one of two values held up: asked again."""
    state, effects = again(bench, state)
    return state, effects if state.expect.name == _WHICH else (Say(wording.YES_OR_NO), *effects)


def unfit(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """What was got and why it is not taken, then the open question again."""
    state, effects = again(bench, state)
    return state, (Say(wording.refusal(said(incoming, NotUnderstood), incoming.words)), *effects)


def ask_again(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """The open question once more."""
    return again(bench, state)


def listen(_bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """Nothing was said: ears open again, without a word."""
    return state, (Listen(state.expect),)
