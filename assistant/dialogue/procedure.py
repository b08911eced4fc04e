"""Procedures: the steps of a test as data, read from TOML and checked as a whole."""

import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from enum import Enum
from typing import Any

from assistant.errors import BadData, Problem


class StepKind(Enum):
    """What kind of answer a step takes."""

    ACKNOWLEDGE = "acknowledge"
    CHOICE = "choice"
    MANY = "many"
    READING = "reading"
    LIMIT = "limit"
    NUMBER = "number"
    LENGTH = "length"
    TEXT = "text"


@dataclass(frozen=True, slots=True)
class Step:
    """One step. `next`, `skip` and the values of `goto` are step names, or route names with a leading @; `skip` empty: never skipped.

    `range` is empty, `lowest`, or a full scale in ohms as text; `plausible_ohm` are bounds outside which the reading is asked back.
    """

    name: str
    title: str
    kind: StepKind
    expect: str
    ask: str
    wrong: str
    next: str
    skip: str
    caution: str = ""
    do: str = ""
    given: str = ""
    range: str = ""
    plausible_ohm: tuple[Decimal, Decimal] | None = None
    goto: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Procedure:
    """A whole test. `settle_ms` is the window in which "no" replaces a reading; `remind_ms` the silence before a reminder; 0 is off."""

    title: str
    first: str
    settle_ms: int
    remind_ms: int
    steps: tuple[Step, ...]

    def step(self, name: str) -> Step:
        """The step of that name; KeyError when there is none (the loader has checked every name that stands in the file)."""
        for step in self.steps:
            if step.name == name:
                return step
        raise KeyError(name)


_TEXTS = ("title", "kind", "expect", "ask", "wrong", "next")
_OPTIONAL = ("skip", "caution", "do", "given", "range")
_GIVEN = ("", "label", "leads", "meter")


def load_procedure(file: str, text: str, expectations: Collection[str], routes: Collection[str]) -> Procedure:
    """The procedure in one TOML text. Raises BadData with every fault found: wrong keys, wrong types, names that lead nowhere."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadData((Problem(file, str(error), "valid TOML"),)) from error
    reader = Reader(file, expectations, routes)
    head, timing, tables = (reader.table(data, key) for key in ("procedure", "timing", "step"))
    for key in sorted(set(data) - {"procedure", "timing", "step"}):
        reader.fault(key, "an unknown table", "procedure, timing or step.NAME")
    steps = tuple(step for name, table in tables.items() if (step := reader.step(name, table)) is not None)
    reader.check_links(head.get("first"), steps, set(tables))
    settle_ms, remind_ms = (reader.milliseconds(timing, key) for key in ("settle_ms", "remind_ms"))
    title = reader.text("procedure.title", head.get("title"))
    if reader.problems:
        raise BadData(tuple(reader.problems))
    return Procedure(title, head["first"], settle_ms, remind_ms, steps)


class Reader:
    """Reads one file's tables and collects what is wrong with them: a faulty piece comes back empty."""

    def __init__(self, file: str, expectations: Collection[str], routes: Collection[str]) -> None:
        self.file = file
        self.expectations = expectations
        self.routes = routes
        self.problems: list[Problem] = []

    def fault(self, key: str, found: str, expected: str) -> None:
        """Note one fault."""
        self.problems.append(Problem(f"{self.file}: {key}", found, expected))

    def table(self, data: Mapping[str, Any], key: str) -> dict[str, Any]:
        """A table that must be there."""
        found = data.get(key)
        if isinstance(found, dict):
            return found
        self.fault(key, "nothing" if found is None else repr(found), f"a table [{key}]")
        return {}

    def text(self, key: str, value: object) -> str:
        """A text that is not empty."""
        if isinstance(value, str) and value:
            return value
        self.fault(key, "nothing" if value is None else repr(value), "a text in quotes")
        return ""

    def milliseconds(self, timing: Mapping[str, Any], key: str) -> int:
        """A time that may be switched off."""
        value = timing.get(key)
        if isinstance(value, int) and not isinstance(value, bool) and value >= 0:
            return value
        self.fault(f"timing.{key}", repr(value), "milliseconds as a whole number, 0 for off")
        return 0

    def step(self, name: str, table: object) -> Step | None:
        """One step; None when anything in it is wrong."""
        key = f"step.{name}"
        if not isinstance(table, dict):
            self.fault(key, repr(table), "a table")
            return None
        before = len(self.problems)
        known = {*_TEXTS, *_OPTIONAL, "plausible", "goto"}
        for other in sorted(set(table) - known):
            self.fault(f"{key}.{other}", "an unknown key", "one of " + ", ".join(sorted(known)))
        texts = {part: self.text(f"{key}.{part}", table.get(part)) for part in _TEXTS}
        optional = {part: self._optional(f"{key}.{part}", table.get(part, "")) for part in _OPTIONAL}
        self._check_values(key, texts, optional)
        plausible = self.bounds(f"{key}.plausible", table.get("plausible"))
        goto = table.get("goto", {})
        if not isinstance(goto, dict) or not all(isinstance(value, str) for value in goto.values()):
            self.fault(f"{key}.goto", repr(goto), "a table of answer = step")
        if len(self.problems) > before:
            return None
        if "skip" not in table:  # a step without it goes on to where it would have gone anyway
            optional["skip"] = texts["next"]
        kind = StepKind(texts.pop("kind"))
        return Step(name=name, kind=kind, **texts, **optional, plausible_ohm=plausible, goto=tuple(goto.items()))

    def _optional(self, key: str, value: object) -> str:
        if isinstance(value, str):
            return value
        self.fault(key, repr(value), "a text in quotes")
        return ""

    def _check_values(self, key: str, texts: Mapping[str, str], optional: Mapping[str, str]) -> None:
        kinds = [kind.value for kind in StepKind]
        if texts["kind"] and texts["kind"] not in kinds:
            self.fault(f"{key}.kind", repr(texts["kind"]), "one of " + ", ".join(kinds))
        if texts["expect"] and texts["expect"] not in self.expectations:
            self.fault(f"{key}.expect", repr(texts["expect"]), "an entry of grammar/expectations.toml")
        if optional["given"] not in _GIVEN:
            self.fault(f"{key}.given", repr(optional["given"]), "label, leads or meter")
        scale = optional["range"]
        if scale not in ("", "lowest") and not scale.isdecimal():
            self.fault(f"{key}.range", repr(scale), "lowest, or ohms as digits in quotes")

    def bounds(self, key: str, value: object) -> tuple[Decimal, Decimal] | None:
        """Two numbers of ohms, the lower first; None where there are none."""
        if value is None:
            return None
        texts = value if isinstance(value, list) and all(isinstance(text, str) for text in value) else []
        try:
            low, high = (Decimal(text) for text in texts)
        except (ValueError, InvalidOperation):
            low, high = Decimal(1), Decimal(0)
        if low.is_finite() and high.is_finite() and low <= high:
            return low, high
        self.fault(key, repr(value), 'two numbers of ohms in quotes, the lower first, as ["0.05", "10"]')
        return None

    def check_links(self, first: object, steps: tuple[Step, ...], names: Collection[str]) -> None:
        """Note every name that leads nowhere."""
        if first not in names:
            self.fault("procedure.first", repr(first), "the name of a step")
        expected = "a step, or one of " + ", ".join(sorted(self.routes))
        for step in steps:
            links = [("next", step.next), ("skip", step.skip), *((f"goto.{name}", to) for name, to in step.goto)]
            for key, to in links:
                if to and to not in names and to not in self.routes:
                    self.fault(f"step.{step.name}.{key}", repr(to), expected)
