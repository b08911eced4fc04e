"""Where the conversation goes next: entering a step, and the functions that procedure files name with an @.

A procedure file holds no conditions; every decision about the way is one of these functions, and which reading is wanted
next is the judgement's own answer (`Verdict.take`).
"""

from collections.abc import Callable, Mapping
from dataclasses import replace

from assistant.dialogue.case import WARM_STEPS, case_of, dial_range, last_ohms, leads_too_high, leads_useless
from assistant.dialogue.checks import begun, leads_of, limits_in_order, offered, part_case, since
from assistant.dialogue.events import Checked, Decided, Effect, Finished, Listen, Save, Say
from assistant.dialogue.procedure import Step
from assistant.dialogue.state import Bench, Facts, Phase, State
from assistant.language import check_wording, report_wording, verdict_wording, wording
from assistant.language.meaning import Expectation
from assistant.measure.parts import Judgement, judge_part
from assistant.measure.verdict import Tap, Verdict, judge, warm_beside
from assistant.measure.warm import WARM_TAPS, wants_again

Outcome = tuple[State, tuple[Effect, ...]]
Route = Callable[[Bench, State], Outcome]

REPORT = "report.txt"
CHECK_REPORT = "check-{}.txt"
_LEADS_TRIES = 2  # a third time would only annoy: what the leads read, if it is a value, is recorded and subtracted


def current(bench: Bench, state: State) -> Step:
    """The step the conversation is at."""
    return bench.procedure.step(state.step)


def go(bench: Bench, state: State, target: str) -> Outcome:
    """On to a step, or through a route to wherever it leads."""
    return ROUTES[target](bench, state) if target.startswith("@") else enter(bench, state, target)


def enter(bench: Bench, state: State, name: str) -> Outcome:
    """Arrive at a step: what it has to say once, its question, ears open. A step that is already answered is passed over."""
    step = bench.procedure.step(name)
    if step.given and _given(state.facts)[step.given]:
        return go(bench, state, step.next)
    first = name not in state.told
    state = replace(
        state,
        phase=Phase.ASKING,
        step=name,
        told=state.told | {name},
        expect=expectation(bench, state, step),
        number=None,
        guess=None,
        tries=0,
        reminded=False,
    )
    everything = sentences(bench, state, step)
    # a reading that is taken again may want another range; the rest is said once and repeated on demand
    said = everything if first else everything[-2 if step.range else -1 :]
    return replace(state, last_said=everything), (*said, Listen(state.expect))


def _given(facts: Facts) -> Mapping[str, bool]:
    leads = leads_of(facts)
    return {"label": bool(facts.label), "meter": bool(facts.meter), "leads": bool(leads and leads[-1].quantity)}


def sentences(bench: Bench, state: State, step: Step) -> tuple[Say, ...]:
    """Everything a step has to say: caution, what to do, where the dial stands, which checks could follow, the question."""
    texts = (step.caution, step.do, _dial(bench, state, step), _checks(bench, state, step), step.ask)
    return tuple(Say(text, whole=text == step.caution) for text in texts if text)


def _dial(bench: Bench, state: State, step: Step) -> str:
    if not step.range:
        return ""
    range_ = dial_range(bench, state.facts, step)
    return wording.AUTO_DIAL if range_ is None else wording.dial(range_.full_ohm)


def _checks(bench: Bench, state: State, step: Step) -> str:
    names = bench.lexicon.answer_names
    phrases = tuple(names[answer] for answer in offered(bench, state, Expectation(step.expect)))
    return wording.can_check(phrases) if phrases else ""


def expectation(bench: Bench, state: State, step: Step) -> Expectation:
    """What may sensibly be said at a step."""
    range_ = dial_range(bench, state.facts, step)
    if range_ is None:
        return Expectation(step.expect, plausible_ohm=step.plausible_ohm)
    return Expectation(step.expect, range_.full_ohm, step.plausible_ohm, range_.resolution_ohm)


def _leads(bench: Bench, state: State) -> Outcome:
    readings = state.facts.at("leads")
    if readings and leads_too_high(readings[-1]) and (leads_useless(readings[-1]) or len(readings) < _LEADS_TRIES):
        return enter(bench, state, "leads_bad")
    return _readings(bench, state)


def _readings(bench: Bench, state: State) -> Outcome:
    verdict = judge(case_of(bench, state.facts))
    if verdict.take:
        tap = verdict.take[0]
        if not verdict.prepare:
            return enter(bench, state, tap.value)
        said = tuple(Say(text) for text in verdict_wording.prepare(verdict))
        state, effects = enter(bench, replace(state, after=tap.value), "prepare")
        return replace(state, last_said=said + state.last_said), said + effects
    open_taps = {tap for tap in Tap if tap not in state.facts.declined and not state.facts.at(tap.value)}
    if open_taps == {Tap.KILLTAB} and state.facts.at(Tap.PRIMARY.value) and state.facts.at(Tap.SECONDARY.value):
        return enter(bench, state, "killtab_offer")
    return _verdict(bench, state)


def _wanted(bench: Bench, state: State) -> Outcome:
    return enter(bench, state, state.after)


def _wanted_declined(bench: Bench, state: State) -> Outcome:
    return _decline(bench, state, Tap(state.after))


def _decline_killtab(bench: Bench, state: State) -> Outcome:
    return _decline(bench, state, Tap.KILLTAB)


def _decline(bench: Bench, state: State, tap: Tap) -> Outcome:
    facts = replace(state.facts, declined=state.facts.declined | {tap})
    return _readings(bench, replace(state, facts=facts))


def _limit_order(bench: Bench, state: State) -> Outcome:
    winding = state.step.removesuffix("_high")
    low, high = (last_ohms(state.facts.at(f"{winding}_{side}")) for side in ("low", "high"))
    if low is not None and high is not None and low > high:
        index = max(number for number, point in enumerate(state.past) if point.step == f"{winding}_low")
        state = replace(state, facts=state.past[index].facts, past=state.past[:index])
        state, effects = enter(bench, state, f"{winding}_low")
        return state, (Say(wording.NOT_IN_ORDER), *effects)
    if winding == "primary":
        return enter(bench, state, "secondary_low")
    given = any(taken.step in LIMIT_STEPS for taken in state.facts.readings)
    return enter(bench, state, "limits_at" if given else "meter")


def _coil_temperature(bench: Bench, state: State) -> Outcome:
    known = "limits_at" in dict(state.facts.numbers)
    return enter(bench, state, "coil_at") if known else _limits_cap(bench, state)


def _limits_cap(bench: Bench, state: State) -> Outcome:
    secondary = any(state.facts.at(f"secondary_{side}") for side in ("low", "high"))
    return enter(bench, state, "limits_cap" if secondary else "meter")


def _verdict(bench: Bench, state: State) -> Outcome:
    case = case_of(bench, state.facts)
    verdict = judge(case)
    said = verdict_sentences(verdict)
    report = report_wording.report(verdict, case, state.facts.label, state.started_at)
    effects: tuple[Effect, ...] = (Decided(verdict), Save(REPORT, report), *said)
    after = "warm_offer" if _warm_wanted(bench, state, verdict) else "after"
    state, asked = enter(bench, replace(state, verdict=verdict), after)
    return replace(state, last_said=said + state.last_said), effects + asked


def _warm_wanted(bench: Bench, state: State, verdict: Verdict) -> bool:
    """Whether the hot reading is offered: it may show something, and was neither taken nor declined."""
    told = state.facts.answer("warm_offer") or any(state.facts.at(step) for step in WARM_STEPS.values())
    cold = verdict.secondary.kind in WARM_TAPS[Tap.SECONDARY].cold
    return _knows(bench, "warm_offer") and cold and not told and "warm again" in verdict.next


def _warm(bench: Bench, state: State) -> Outcome:
    """After a hot reading: once more, on to the other winding, or to the temperature they were taken at."""
    case = case_of(bench, state.facts)
    verdict = judge(case)
    tap = next(tap for tap, step in WARM_STEPS.items() if step == state.step)
    cold = warm_beside(case, verdict, tap)
    if cold is not None and wants_again(case, cold, tap):
        state, effects = enter(bench, state, state.step)
        return state, (Say(wording.WARM_AGAIN), *effects)
    return _after_warm(bench, state)


def _after_warm(bench: Bench, state: State) -> Outcome:
    """The hot primary after the hot secondary, where there is a cold one to compare it with; then how hot the coil was."""
    primary = WARM_STEPS[Tap.PRIMARY]
    kind = judge(case_of(bench, state.facts)).primary.kind
    if state.step != primary and _knows(bench, primary) and kind in WARM_TAPS[Tap.PRIMARY].cold:
        return enter(bench, state, primary)
    taken = any(state.facts.at(step) for step in WARM_STEPS.values())
    return enter(bench, state, "warm_at") if taken else _verdict(bench, state)


def _after_warm_at(bench: Bench, state: State) -> Outcome:
    """How cold it was before: where there is a hot value to hold against copper, and it was not asked beside the limits."""
    case = case_of(bench, state.facts)
    value = any(case.hot(tap) and case.hot(tap)[-1].quantity is not None for tap in WARM_TAPS)
    wanted = value and case.warm_at_c is not None and "coil_at" not in state.told
    return enter(bench, state, "cold_at") if wanted else _verdict(bench, state)


def _knows(bench: Bench, name: str) -> bool:
    """Whether the procedure has a step; records of older versions do not know the newer ones."""
    return any(step.name == name for step in bench.procedure.steps)


def start_check(bench: Bench, state: State, name: str) -> Outcome:
    """On to a check beside the coil test, from its first caution, whether or not it was done before."""
    told = frozenset(step for step in state.told if not step.startswith(f"{name}."))
    state = replace(state, facts=begun(state.facts, name), told=told)
    return enter(bench, state, bench.checks[name].first)


def _check(bench: Bench, state: State) -> Outcome:
    check = bench.checks[state.facts.check]
    case = part_case(bench, state.facts)
    judgement = judge_part(case)
    if judgement.take:
        if not since(state.facts, judgement.take):
            return enter(bench, state, judgement.take)
        again = f"{check.name}.again"  # said in full each time: it may be another reading
        return enter(bench, replace(state, after=judgement.take, told=state.told - {again}), again)
    said = check_sentences(judgement)
    report = check_wording.report(judgement, case, state.facts.label, state.started_at)
    effects: tuple[Effect, ...] = (Checked(judgement), Save(CHECK_REPORT.format(check.name), report), *said)
    facts = replace(state.facts, judged=(*state.facts.judged, judgement))
    state, asked = enter(bench, replace(state, facts=facts), f"{check.name}.after")
    return replace(state, last_said=said + state.last_said), effects + asked


def check_sentences(judgement: Judgement) -> tuple[Say, ...]:
    """The judgement of a check as it is spoken; what it came to, what it does not prove and the cautions are never cut off."""
    parts = (
        ((check_wording.say(judgement),), True),
        (check_wording.because(judgement), False),
        (check_wording.unproven(judgement), True),
        (check_wording.next_steps(judgement), False),
        (check_wording.cautions(judgement), True),
    )
    return tuple(Say(text, whole=whole) for texts, whole in parts for text in texts)


def _check_declined(bench: Bench, state: State) -> Outcome:
    facts = replace(state.facts, left_out=state.facts.left_out | {state.after})
    return _check(bench, replace(state, facts=facts))


def _check_limits(bench: Bench, state: State) -> Outcome:
    check = state.facts.check
    if not limits_in_order(state.facts):
        index = max(number for number, point in enumerate(state.past) if point.step == f"{check}.low")
        state = replace(state, facts=state.past[index].facts, past=state.past[:index])
        state, effects = enter(bench, state, f"{check}.low")
        return state, (Say(wording.NOT_IN_ORDER), *effects)
    given = any(since(state.facts, f"{check}.{side}") for side in ("low", "high"))
    return enter(bench, state, f"{check}.{'limits_at' if given else 'prepare'}")


def verdict_sentences(verdict: Verdict) -> tuple[Say, ...]:
    """The verdict as it is spoken: what it is, why, what it does not prove, what to do next, what to beware of.

    The verdict, what it does not prove and the cautions are never cut off; the rest may be.
    """
    whole = (verdict_wording.say(verdict), *verdict_wording.unproven(verdict), *verdict_wording.cautions(verdict))
    parts = (verdict_wording.because, verdict_wording.unproven, verdict_wording.next_steps, verdict_wording.cautions)
    texts = (verdict_wording.say(verdict), *(text for part in parts for text in part(verdict)))
    return tuple(Say(text, whole=text in whole) for text in texts)


def _finish(_bench: Bench, state: State) -> Outcome:
    return replace(state, phase=Phase.CLOSED, complete=True), (Say(wording.FINISHED), Finished(complete=True))


LIMIT_STEPS = ("primary_low", "primary_high", "secondary_low", "secondary_high")

ROUTES: Mapping[str, Route] = {
    "@leads": _leads,
    "@readings": _readings,
    "@wanted": _wanted,
    "@wanted_declined": _wanted_declined,
    "@decline_killtab": _decline_killtab,
    "@limit_order": _limit_order,
    "@coil_temperature": _coil_temperature,
    "@limits_cap": _limits_cap,
    "@verdict": _verdict,
    "@warm": _warm,
    "@after_warm": _after_warm,
    "@after_warm_at": _after_warm_at,
    "@check": _check,
    "@check_declined": _check_declined,
    "@check_limits": _check_limits,
    "@finish": _finish,
}
