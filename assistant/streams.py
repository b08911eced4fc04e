"""What commands write: results on standard output, talk on standard error; and where records lie."""

import io
import json
import sys
from argparse import Namespace
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path

from assistant.data import user_folder
from assistant.errors import shown

_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def prepare() -> None:
    """Whatever the program was started with: a closed stream counts as empty, a sign without a code in the output is escaped."""
    for name in ("stdin", "stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, io.StringIO())
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # as standard error has it already; `\u03a9` is JSON too


def out(value: object) -> None:
    """One JSON value on one line."""
    print(json.dumps(value, ensure_ascii=False), flush=True)


def out_all(values: Iterable[object]) -> None:
    """Many JSON values, one a line."""
    encode = json.JSONEncoder(ensure_ascii=False).encode  # one for all: json.dumps makes another for each line
    lines = "\n".join(map(encode, values))
    if lines:
        print(lines, flush=True)


def tell(text: str) -> None:
    """A line for the person, not for a program that reads the output. What would command the terminal is shown as its code."""
    print("\n".join(map(shown, text.split("\n"))), file=sys.stderr, flush=True)


def typed_line(*, at_terminal: bool) -> str | None:
    """The next line that is typed or comes through a pipe; None when there are no more. At a terminal it is asked for with `>`."""
    if not at_terminal:
        return sys.stdin.readline() or None
    with suppress(ImportError):  # where there is none, a line is typed without arrow keys
        import readline  # noqa: F401, PLC0415 - input() uses it as soon as it is there
    try:
        return input("> ")
    except EOFError:
        tell("")  # what follows does not stand behind the prompt
        return None
    except KeyboardInterrupt:
        tell("")
        raise


def data_folder(options: Namespace) -> Path:
    """The folder that holds every session's folder: `--data`, else this user's."""
    return Path(options.data) if options.data else user_folder() / "jobs"


def table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Plain columns with two spaces between, one row a line, without control characters."""
    lines = [tuple(heads), *map(tuple, rows)]
    # one look and one pattern for every row: ten thousand of them are printed at once
    if not "".join(map("".join, lines)).isprintable():
        lines = [tuple(map(_printable, line)) for line in lines]
    pattern = "  ".join(f"%-{max(map(len, column))}s" for column in zip(*lines, strict=True))
    text = ((pattern % line).rstrip() for line in lines)
    print("\n".join(text), flush=True)


def comma_separated(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """CSV. A cell that a spreadsheet would take for a formula gets an apostrophe before it."""
    import csv  # noqa: PLC0415 - for this alone

    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(heads)
    writer.writerows(tuple(f"'{cell}" if cell.startswith(_FORMULA) else cell for cell in row) for row in rows)


def _printable(cell: str) -> str:
    return "".join(char if char.isprintable() else " " for char in cell)
