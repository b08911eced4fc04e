"""What becomes of the tests when a row of the verdict table is changed: `python tests/mutate_verdicts.py`, some minutes.

mutmut changes what stands inside functions; the table stands outside them. Every change here is one a hand could slip into: a
row left out, two rows in the wrong order, a class or a kind of electronics more or less, another kind, a reading less asked for
or taken twice. Printed: what no test noticed, and the share that was noticed. Nobody counts the test that compares the table
with DEVELOPERS.md: it would notice everything and judge nothing.
"""

import os
import sys
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from assistant.measure import verdict
from assistant.measure.coil import Class, Electronics
from assistant.measure.verdict import Row, VerdictKind

TESTS = ("tests/test_verdict.py", "tests/test_measure_coil.py", "tests/test_verdict_wording.py", "tests/test_warm.py")
_OTHER = {VerdictKind.UNDECIDED: VerdictKind.SOUND, VerdictKind.REPEAT: VerdictKind.UNDECIDED}
_TOLD = 20
Table = tuple[Row, ...]


def changed_tables() -> Iterator[tuple[str, Table]]:
    """Every changed table with what was changed."""
    rows = verdict.VERDICTS
    for at, row in enumerate(rows):
        before, after = rows[:at], rows[at + 1 :]
        yield f"{row.id}: left out", before + after
        if after:
            yield f"{row.id}: after {after[0].id}", (*before, after[0], row, *after[1:])
        for what, other in changed_rows(row):
            yield f"{row.id}: {what}", (*before, other, *after)


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


def noticed(table: Table) -> bool:
    """Whether a test fails with this table, in a process of its own."""
    child = os.fork()
    if not child:
        verdict.VERDICTS = table
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        os._exit(int(pytest.main(["-x", "-q", "-m", "not slow", "-n", "0", "-p", "no:cacheprovider", *TESTS])))
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == pytest.ExitCode.TESTS_FAILED


def main() -> int:
    done = missed = 0
    for what, table in changed_tables():
        done += 1
        if not noticed(table):
            missed += 1
            print(f"not noticed: {what}", flush=True)
        if done % _TOLD == 0:
            print(f"{done - missed} of {done} so far", flush=True)
    print(f"{done - missed} of {done} changes of the table noticed")
    return 0


if __name__ == "__main__":
    sys.exit(main())
