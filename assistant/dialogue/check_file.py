"""Checks beside the coil test, each read from a procedure file of its own.

A check's steps live beside the coil test's under the check's name, `cap.reading`, so one session may go from the one to
the other: same journal, same commands, same way back.
"""

import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Any

from assistant.dialogue.procedure import Reader, Step, StepKind
from assistant.errors import BadData, Problem
from assistant.measure.guidance import LADDER
from assistant.measure.parts import Item, Wants


@dataclass(frozen=True, slots=True)
class Check:
    """One check. Step names carry its name and a point before them; `ladder` is the rung of the ladder that it climbs.

    `items` are the readings that are judged; `tries` the questions whether a spark jumped, empty where none is wanted.
    """

    name: str
    title: str
    first: str
    ladder: str
    steps: tuple[Step, ...]
    items: tuple[Item, ...] = ()
    tries: tuple[str, ...] = ()


def load_check(name: str, text: str, expectations: Collection[str], routes: Collection[str]) -> Check:
    """The check in one TOML text. Raises BadData with every fault found."""
    file = f"procedures/{name}.toml"
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadData((Problem(file, str(error), "valid TOML"),)) from error
    reader = Reader(file, expectations, routes)
    head, tables = reader.table(data, "check"), reader.table(data, "step")
    for key in sorted(set(data) - {"check", "step", "item"}):
        reader.fault(key, "an unknown table", "check, item.NAME or step.NAME")
    for key in sorted(set(head) - {"title", "first", "ladder"}):
        reader.fault(f"check.{key}", "an unknown key", "title, first or ladder")
    steps = tuple(step for step_name, table in tables.items() if (step := reader.step(step_name, table)) is not None)
    reader.check_links(head.get("first"), steps, set(tables))
    needed = ("after", "again") if "item" in data else ("after",)
    for step_name in sorted(set(needed) - set(tables)):
        reader.fault(f"step.{step_name}", "nothing", "a table")
    title = reader.text("check.title", head.get("title"))
    if head.get("ladder") not in LADDER:
        reader.fault("check.ladder", repr(head.get("ladder")), "one of " + ", ".join(LADDER))
    items = tuple(_item(reader, steps, item, table) for item, table in data.get("item", {}).items())
    if reader.problems:
        raise BadData(tuple(reader.problems))
    items = tuple(replace(item, name=f"{name}.{item.name}") for item in items)
    tries = tuple(f"{name}.{step.name}" for step in steps if step.kind is StepKind.CHOICE and step.expect == "yes_no")
    moved = tuple(_moved(name, step, set(tables)) for step in steps)
    return Check(name, title, f"{name}.{head['first']}", head["ladder"], moved, items, () if items else tries)


def _moved(check: str, step: Step, own: Collection[str]) -> Step:
    """A step and its links under the check's name; routes are everybody's."""

    def there(target: str) -> str:
        return f"{check}.{target}" if target in own else target

    goto = tuple((answer, there(target)) for answer, target in step.goto)
    return replace(step, name=f"{check}.{step.name}", next=there(step.next), skip=there(step.skip), goto=goto)


def _item(reader: Reader, steps: tuple[Step, ...], name: str, table: Mapping[str, Any]) -> Item:
    key = f"item.{name}"
    step = next((step for step in steps if step.name == name and step.kind is StepKind.READING), None)
    if step is None:
        reader.fault(key, repr(name), "the name of a step that is a reading")
    for other in sorted(set(table) - {"wants", "usual", "source"}):
        reader.fault(f"{key}.{other}", "an unknown key", "wants, usual or source")
    wanted = table.get("wants")
    wants = next((one for one in Wants if one.value == wanted), None)
    if wants is None:
        reader.fault(f"{key}.wants", repr(wanted), "one of " + ", ".join(one.value for one in Wants))
    spans = [reader.bounds(f"{key}.usual", span) for span in table.get("usual", [])]
    # a figure without its source is of no use to anybody
    source = reader.text(f"{key}.source", table.get("source")) if spans else ""
    usual = tuple(span for span in spans if span is not None)
    return Item(name, step.title if step else "", wants or Wants.BAND, usual, source)
