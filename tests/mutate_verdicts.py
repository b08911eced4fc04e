"""What becomes of the tests when a row of the verdict table is changed: `python tests/mutate_verdicts.py`, some minutes.

mutmut changes what stands inside functions; the table stands outside them. Every change here is one a hand could slip into: a
row left out, two rows in the wrong order, a class or a kind of electronics more or less, another kind, a reading less asked for
or taken twice. Printed: what no test noticed, and the share that was noticed. Nobody counts the test that compares the table
with DEVELOPERS.md: it would notice everything and judge nothing.
"""

import os
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from typing import Any

import pytest
from _pytest.runner import runtestprotocol

from assistant.measure import verdict
from assistant.measure.coil import CLASSES, Class, Electronics, Tap
from assistant.measure.verdict import Row, VerdictKind

TESTS = (
    "tests/test_verdict.py",
    "tests/test_measure_coil.py",
    "tests/test_measure_slips.py",
    "tests/test_verdict_doubt.py",
    "tests/test_verdict_wording.py",
    "tests/test_warm.py",
)
_OTHER = {VerdictKind.UNDECIDED: VerdictKind.SOUND, VerdictKind.REPEAT: VerdictKind.UNDECIDED}
_TOLD = 20
Table = tuple[Row, ...]


def changed_tables(rows: Table) -> Iterator[tuple[str, Table]]:
    """Every changed table with what was changed."""
    for at, row in enumerate(rows):
        before, after = rows[:at], rows[at + 1 :]
        yield f"{row.id}: left out", before + after
        if after:
            yield f"{row.id}: after {after[0].id}", (*before, after[0], row, *after[1:])
        for what, other in changed_rows(row):
            yield f"{row.id}: {what}", (*before, other, *after)


def means(table: Table) -> list[tuple[object, ...]]:
    """What a table makes of every combination of classes, whatever its rows are called."""
    verdict.VERDICTS = table
    return [
        _meant(classes, electronics, twice)
        for classes in product(*(CLASSES[tap] for tap in Tap))
        for electronics in Electronics
        for twice in (frozenset[Tap](), frozenset({Tap.PRIMARY}))
    ]


def _meant(classes: tuple[Class, ...], electronics: Electronics, twice: frozenset[Tap]) -> tuple[object, ...]:
    p, s, k = classes
    try:
        row = verdict.row_for(p, s, k, electronics, twice)
    except StopIteration:  # a row that is left out may leave a hole
        return ()
    return (row.kind, row.meanwhile, row.want, row.again, row.prepare, row.reasons)


def changed_rows(row: Row) -> Iterator[tuple[str, Row]]:
    for name in ("p", "s", "k"):
        classes = getattr(row, name)
        if classes != frozenset(Class):
            for kind in sorted(classes, key=lambda kind: kind.value):
                yield f"{name} without {kind.value}", _with(row, name, classes - {kind})
            yield f"{name} any", _with(row, name, frozenset(Class))
    if row.electronics != frozenset(Electronics):
        yield "electronics any", replace(row, electronics=frozenset(Electronics))
    for name in ("kind", "meanwhile"):
        other = _OTHER.get(getattr(row, name), VerdictKind.UNDECIDED)
        if name == "kind" or row.again or row.want:
            yield f"{name} {other.value}", _with(row, name, other)
    for name in ("want", "again", "prepare", "reasons"):
        for less in getattr(row, name):
            left = tuple(one for one in getattr(row, name) if one is not less)
            yield f"{name} without {less.value}", _with(row, name, left)
    if row.single is not None:
        yield "single none", replace(row, single=None)


def _with(row: Row, name: str, value: object) -> Row:
    changed: dict[str, Any] = {name: value}
    return replace(row, **changed)


class EveryTable:
    """A pytest plugin: the tests are collected once, and run for each table in a process of its own until one fails."""

    def __init__(self) -> None:
        self.done = self.missed = self.same = 0

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """In place of the usual run."""
        items = _spread(session.items)
        whole = verdict.VERDICTS
        now = means(whole)
        for what, table in changed_tables(whole):
            if means(table) == now:
                self.same += 1
                continue
            self.done += 1
            if not noticed(table, items):
                self.missed += 1
                print(f"not noticed: {what}", flush=True)
            if self.done % _TOLD == 0:
                print(f"{self.done - self.missed} of {self.done} so far", flush=True)
        return True


def _spread(items: list[pytest.Item]) -> list[pytest.Item]:
    """One case of every test before the second of any: cases of one test mostly notice the same."""
    seen: Counter[str] = Counter()
    turns = []
    for item in items:
        name = item.nodeid.partition("[")[0]
        turns.append(seen[name])
        seen[name] += 1
    return [item for _, item in sorted(zip(turns, items, strict=True), key=lambda pair: pair[0])]


def noticed(table: Table, items: list[pytest.Item]) -> bool:
    """Whether a test fails with this table."""
    child = os.fork()
    if not child:
        verdict.VERDICTS = table
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        pairs = zip(items, (*items[1:], None), strict=True)
        os._exit(
            any(report.failed for one, after in pairs for report in runtestprotocol(one, log=False, nextitem=after))
        )
    return os.waitpid(child, 0)[1] != 0


def main() -> int:
    run = EveryTable()
    pytest.main(["-q", "-m", "not slow", "-n", "0", "-p", "no:cacheprovider", *TESTS], plugins=[run])
    print(f"{run.done - run.missed} of {run.done} changes of the table noticed; {run.same} more change no outcome")
    return 0


if __name__ == "__main__":
    sys.exit(main())
