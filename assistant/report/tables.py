"""The two tables that answer "why did it ask that?" and "why that verdict?", made from the code that acts by them.

`python -m assistant.report.tables DEVELOPERS.md` writes them into the document; a test holds the document to it.
"""

import sys
from collections.abc import Iterable
from pathlib import Path

from assistant.dialogue.step import COLUMNS, TABLE
from assistant.measure.verdict import CLASSES, VERDICTS, Class, Electronics, Row, Tap


def phase_table() -> str:
    """What came in × where the conversation is -> the function that answers."""
    head = ("came in", *(phase.name for phase in COLUMNS))
    rows = ((came.value, *(_name(action.__name__) for action in row)) for came, row in TABLE.items())
    return _markdown(head, rows)


def _name(name: str) -> str:
    return "·" if name == "ignore" else name


def verdict_table() -> str:
    """The rows of VERDICTS in their order; the first that fits counts."""
    head = ("row", "primary", "secondary", "kill tab", "electronics", "wants", "twice", "until then", "verdict")
    return _markdown(head, (_verdict_row(row) for row in VERDICTS))


def _verdict_row(row: Row) -> tuple[str, ...]:
    primary = _classes(Tap.PRIMARY, row.p) + (", read once" if row.single is Tap.PRIMARY else "")
    electronics = (
        "any" if row.electronics == frozenset(Electronics) else ", ".join(sorted(e.value for e in row.electronics))
    )
    until = row.meanwhile.value if row.want or row.again else ""
    return (
        row.id,
        primary,
        _classes(Tap.SECONDARY, row.s),
        _classes(Tap.KILLTAB, row.k),
        electronics,
        ", ".join(tap.value for tap in row.want),
        ", ".join(tap.value for tap in row.again),
        until,
        row.kind.value,
    )


def _classes(tap: Tap, classes: frozenset[Class]) -> str:
    possible = CLASSES[tap]
    named = [kind.value for kind in possible if kind in classes]
    return "any" if len(named) == len(possible) else ", ".join(named)


def _markdown(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    lines = [head, tuple("---" for _ in head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def with_tables(document: str) -> str:
    """The document with both tables as they are now, between their markers."""
    for name, table in (("phases", phase_table()), ("verdicts", verdict_table())):
        begin, end = f"<!-- {name}: begin -->\n", f"<!-- {name}: end -->"
        before, _, rest = document.partition(begin)
        document = f"{before}{begin}{table}\n{end}{rest.partition(end)[2]}"
    return document


if __name__ == "__main__":
    path = Path(sys.argv[1])
    path.write_text(with_tables(path.read_text(encoding="utf-8")), encoding="utf-8")
