"""What was told in a check, as its judgement wants it, and which checks can be started where."""

from dataclasses import replace
from typing import TypeVar

from assistant.dialogue.case import last_ohms, meter_of, number_at
from assistant.dialogue.state import Bench, Facts, State
from assistant.language.meaning import Expectation
from assistant.measure.limits import Limit
from assistant.measure.parts import PartCase
from assistant.measure.units import Reading

ANSWER = "check_{}"
"""The answer that starts a check, by the check's name."""
T = TypeVar("T")


def answers(bench: Bench) -> dict[str, str]:
    """Which answer starts which check."""
    return {ANSWER.format(name): name for name in bench.checks}


def offered(bench: Bench, state: State, expect: Expectation) -> tuple[str, ...]:
    """The answers that start a check which may help here: one on the verdict's ladder, and not done yet."""
    live = bench.lexicon.expects(expect).answers
    done = {judgement.check for judgement in state.facts.judged}
    rungs = None if state.verdict is None else state.verdict.next
    fit = {
        name for name, check in bench.checks.items() if name not in done and (rungs is None or check.ladder in rungs)
    }
    return tuple(answer for answer, name in answers(bench).items() if answer in live and name in fit)


def begun(facts: Facts, check: str) -> Facts:
    """The same with a check begun: what it may have been told before no longer counts."""

    def others(told: tuple[tuple[str, T], ...]) -> tuple[tuple[str, T], ...]:
        return tuple((step, value) for step, value in told if not step.startswith(f"{check}."))

    return replace(
        facts,
        check=check,
        check_from=len(facts.readings),
        answers=others(facts.answers),
        numbers=others(facts.numbers),
        left_out=frozenset(step for step in facts.left_out if not step.startswith(f"{check}.")),
        judged=tuple(judgement for judgement in facts.judged if judgement.check != check),
    )


def part_case(bench: Bench, facts: Facts) -> PartCase:
    """Everything told in the check that is on, as the judgement wants it."""
    check = bench.checks[facts.check]
    leads = leads_of(facts)
    tries = [answer for step in check.tries if (answer := "".join(facts.answer(step))) in {"yes", "no"}]
    return PartCase(
        check=check.name,
        title=check.title,
        meter=meter_of(bench, facts),
        items=check.items,
        attempts=tuple(since(facts, item.name) for item in check.items),
        leads=leads[-1] if leads else None,
        limit=_limit(facts, check.name),
        part_at_c=number_at(facts, f"{check.name}.part_at"),
        left_out=facts.left_out,
        gap_mm=number_at(facts, f"{check.name}.gap"),
        jumped=tuple(answer == "yes" for answer in tries),
    )


def leads_of(facts: Facts) -> tuple[Reading, ...]:
    """What the leads read, in whichever test of the session they were read."""
    return tuple(taken.reading for taken in facts.readings if taken.step.rpartition(".")[2] == "leads")


def since(facts: Facts, step: str) -> tuple[Reading, ...]:
    """The readings taken at a step since the check began."""
    return tuple(taken.reading for taken in facts.readings[facts.check_from :] if taken.step == step)


def limits_in_order(facts: Facts) -> bool:
    """Whether the maker's limits of the check do not stand the wrong way round."""
    low, high = (last_ohms(since(facts, f"{facts.check}.{side}")) for side in ("low", "high"))
    return low is None or high is None or low <= high


def _limit(facts: Facts, check: str) -> Limit | None:
    low, high = (last_ohms(since(facts, f"{check}.{side}")) for side in ("low", "high"))
    if (low is None and high is None) or not limits_in_order(facts):
        return None
    return Limit(low, high, number_at(facts, f"{check}.limits_at"))
