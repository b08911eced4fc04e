"""Reads all data files and builds the Bench; every fault in every file is found in one go."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from functools import lru_cache

from assistant import data
from assistant.dialogue.case import ANSWERS
from assistant.dialogue.check_file import Check, load_check
from assistant.dialogue.checks import ANSWER
from assistant.dialogue.procedure import Procedure, Step, StepKind, load_procedure
from assistant.dialogue.routes import ROUTES
from assistant.dialogue.state import Bench
from assistant.dialogue.step import COMMANDS
from assistant.errors import BadData, Problem
from assistant.language.lexicon import Lexicon, load_lexicon
from assistant.language.person import Alternatives, adapted, hints, lexicon_for, load_alternatives
from assistant.measure.guidance import LADDER, SYMPTOMS
from assistant.measure.meter import Meter, load_meters
from assistant.settings import load

KINDS = ("grammar", "meters", "procedures")
Files = Mapping[str, Mapping[str, str]]
PROCEDURE = "coil"
PERSON = "person"
"""The kind that holds what is this person's own: `hard_words`, from the settings. Absent when there is nothing."""
VOICE = "voice"
"""The procedure file with the prompts of `check --voice`: no check of a part."""
_KEPT_BENCHES = 8
"""Records of as many versions of the data files are read one after the other without making a Bench twice."""
_Contents = tuple[tuple[str, tuple[tuple[str, str], ...]], ...]


def read_files() -> dict[str, dict[str, str]]:
    """The contents of the data files as they are now. Raises BadData for what cannot be read."""
    problems: list[Problem] = []
    files: dict[str, dict[str, str]] = {}
    for kind in KINDS:
        try:
            files[kind] = data.meters() if kind == "meters" else data.texts(kind)
        except BadData as fault:
            problems += fault.problems
    if problems:
        raise BadData(tuple(problems))
    hard_words = load({}).text("hard_words")
    return files | ({PERSON: {"hard_words": hard_words}} if hard_words else {})


def load_bench(files: Files, default_meter: str = "pocket") -> Bench:
    """The Bench these contents make; records of one time share theirs. Raises BadData with every fault of every file."""
    return _bench(tuple((kind, tuple(texts.items())) for kind, texts in files.items()), default_meter)


@lru_cache(_KEPT_BENCHES)
def _bench(contents: _Contents, default_meter: str) -> Bench:
    files = {kind: dict(texts) for kind, texts in contents}
    problems: list[Problem] = []
    lexicon: Lexicon | None = None
    meters: Mapping[str, Meter] = {}
    procedure: Procedure | None = None
    try:
        lexicon = load_lexicon(files.get("grammar", {}))
    except BadData as fault:
        problems += fault.problems
    try:
        meters = load_meters(files.get("meters", {}))
    except BadData as fault:
        problems += fault.problems
    # with a broken grammar, faults of the procedure's own are still worth naming
    names: Collection[str] = lexicon.expectations if lexicon else _Everything()
    try:
        text = files.get("procedures", {}).get(PROCEDURE, "")
        procedure = load_procedure(f"procedures/{PROCEDURE}.toml", text, names, ROUTES)
    except BadData as fault:
        problems += fault.problems
    checks = _checks(files, lexicon, names, problems)
    if lexicon is not None:
        problems += _names(lexicon, meters)
    if problems or lexicon is None or procedure is None:
        raise BadData(tuple(problems))
    steps = (*procedure.steps, *(step for check in checks.values() for step in check.steps))
    bench = Bench(replace(procedure, steps=steps), lexicon, meters, default_meter, checks)
    return _for_person(bench, files)


def _checks(
    files: Files, lexicon: Lexicon | None, expectations: Collection[str], problems: list[Problem]
) -> dict[str, Check]:
    """The checks beside the coil test, in the order of the ladder; records of older versions have none."""
    checks = []
    for name, text in files.get("procedures", {}).items():
        if name in (PROCEDURE, VOICE):
            continue
        try:
            checks.append(load_check(name, text, expectations, ROUTES))
        except BadData as fault:
            problems += fault.problems
        if lexicon is not None and ANSWER.format(name) not in lexicon.answer_names:
            where = f"grammar/answers.toml: answer.{ANSWER.format(name)}"
            problems.append(Problem(where, "nothing", f"phrases that start the check of procedures/{name}.toml"))
    return {check.name: check for check in sorted(checks, key=lambda check: LADDER.index(check.ladder))}


def _for_person(bench: Bench, files: Files) -> Bench:
    """The same, asking for other words in place of those that this person's voice and microphone get wrong."""
    hard = tuple(files.get(PERSON, {}).get("hard_words", "").split())
    if not hard:
        return bench
    alternatives = load_alternatives(files.get("procedures", {}).get(VOICE, ""))
    steps = tuple(_step_for(step, hard, alternatives) for step in bench.procedure.steps)
    return replace(
        bench, procedure=replace(bench.procedure, steps=steps), lexicon=lexicon_for(bench.lexicon, hard, alternatives)
    )


def _step_for(step: Step, hard: tuple[str, ...], alternatives: Alternatives) -> Step:
    values = step.kind in (StepKind.READING, StepKind.LIMIT)
    do = f"{step.do} {hints(hard, alternatives)}".strip() if values else step.do
    return replace(
        step, do=do, ask=adapted(step.ask, hard, alternatives), wrong=adapted(step.wrong, hard, alternatives)
    )


def _names(lexicon: Lexicon, meters: Mapping[str, Meter]) -> list[Problem]:
    """Names that the program acts by and the grammar lacks, or the other way round."""
    problems = [
        Problem(f"grammar/commands.toml: command.{name}", "nothing", "phrases for this command")
        for name in sorted(set(COMMANDS) - set(lexicon.command_help))
    ]
    problems += [
        Problem(f"grammar/commands.toml: command.{name}", "an unknown command", "one of " + ", ".join(COMMANDS))
        for name in sorted(set(lexicon.command_help) - set(COMMANDS))
    ]
    problems += [
        Problem(f"grammar/answers.toml: answer.{name}", "nothing", "phrases for this answer")
        for name in sorted((ANSWERS | SYMPTOMS) - set(lexicon.answer_names))
    ]
    # a meter of the user's own need not be sayable: it is named when a session begins
    problems += [
        Problem("grammar/expectations.toml: expectation.meter.answers", repr(name), "the name of a file in meters/")
        for name in sorted(_meters_to_say(lexicon) - set(meters) if meters else ())
    ]
    return problems


def _meters_to_say(lexicon: Lexicon) -> set[str]:
    return set(lexicon.expectations["meter"].answers) if "meter" in lexicon.expectations else set()


class _Everything(frozenset[str]):
    """Holds every name."""

    def __contains__(self, name: object) -> bool:
        return True
