"""What was said in which recording: a table of rows, checked as a whole, and what each must be taken for.

Columns, separated by tabs: file, words, kind; and where they are there: step, expected, range, speaker. Lines that begin
with # are remarks, other columns are left alone.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from assistant.dialogue.state import Bench
from assistant.errors import BadData, BadInput, Problem
from assistant.language.meaning import (
    Ask,
    Expectation,
    Meaning,
    NotUnderstood,
    SaidAnswers,
    SaidCommand,
    SaidNumber,
    SaidReading,
    SaidText,
    SaidUnit,
    Understood,
)
from assistant.language.understand import understand
from assistant.measure.units import Shown, Unit

NEEDED = ("file", "words", "kind")
OTHER = ("chatter", "background")
"""Kinds that must not be taken for anything: other talk, and sound without speech."""
SPOKEN = ("reading", "event", "command", "answer", "digit", "digit string")
"""Kinds that must be taken for what they are. Digits and strings of them are readings without a unit."""
KINDS = (*SPOKEN, *OTHER)

_SHOWN = {Shown.OVER_RANGE: "open", Shown.UNSTEADY: "unsteady"}
_NAMES = {"over range": "open", "ol": "open", "none": ""}
_OHMS = re.compile(r"[0-9]+(\.[0-9]+)?")
_RANGE = re.compile(r"([0-9]+)([kM]?)")
_SCALE = {"": 1, "k": 1_000, "M": 1_000_000}


@dataclass(frozen=True, slots=True)
class Case:
    """One recording: where it is, who speaks, what is expected when it is said, and what it must be taken for."""

    file: str
    path: Path
    words: str
    kind: str
    speaker: str
    expectation: Expectation
    truth: str
    """The value as `value` puts it; empty when nothing must be taken."""

    def agrees(self, meaning: Meaning) -> bool:
        """Whether that is what was meant. A number whose unit was not said agrees with the ohms of any unit: it will be asked."""
        found = value(meaning)
        if found == self.truth:
            return bool(found)
        wanted = self.truth.removesuffix(" ohms")
        if not isinstance(meaning, Ask) or wanted == self.truth:
            return False
        return any(Decimal(meaning.numeral.text).scaleb(unit.value) == Decimal(wanted) for unit in Unit)


def value(meaning: Meaning) -> str:
    """The meaning as one text in which only value, unit and kind count: `4700 ohms`, `open`, `stop`; empty for a refusal."""
    writer: Callable[[Any], str] = _VALUES[type(meaning)]
    return writer(meaning)


def _reading(meaning: SaidReading) -> str:
    quantity = meaning.reading.quantity
    return f"{_plain(quantity.ohms)} ohms" if quantity else _SHOWN[meaning.reading.shown]


_VALUES: Mapping[type[Any], Callable[[Any], str]] = {
    SaidReading: _reading,
    SaidCommand: lambda meaning: str(meaning.name),
    SaidAnswers: lambda meaning: " and ".join(meaning.names),
    SaidUnit: lambda meaning: f"only {meaning.unit.symbol}",
    Ask: lambda meaning: f"number {meaning.numeral.text}",
    SaidNumber: lambda meaning: f"number {meaning.text}" + (" °F" if meaning.fahrenheit else ""),
    SaidText: lambda meaning: f"number {meaning.text}",
    NotUnderstood: lambda _meaning: "",
}


def read_manifest(path: Path, audio: Path, bench: Bench) -> tuple[Case, ...]:
    """Every row. Raises BadInput for a file that cannot be read, BadData with all mistakes at once, by line."""
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
        raise BadInput(f"{path}: cannot be read ({reason}); expected a table with tabs between its columns") from None
    numbered = [(number, line) for number, line in enumerate(lines, 1) if line.strip() and not line.startswith("#")]
    if len(numbered) < 2:  # noqa: PLR2004 - the heads and a row
        raise BadInput(f"{path}: holds no rows; expected a line of column names and a line for each recording")
    heads = tuple(head.strip() for head in numbered[0][1].split("\t"))
    missing = [name for name in NEEDED if name not in heads]
    if missing:
        raise BadInput(f"{path}: line {numbered[0][0]} names no column {', '.join(missing)}; found {', '.join(heads)}")
    if not audio.is_dir():
        raise BadInput(f"{audio}: no such folder; expected the one with the recordings that {path.name} names")
    problems: list[Problem] = []
    cases = []
    for number, line in numbered[1:]:
        cells = tuple(cell.strip() for cell in line.split("\t"))
        where = f"{path}: line {number}"
        if len(cells) != len(heads):
            problems.append(Problem(where, f"{len(cells)} columns", f"{len(heads)}, as in line {numbered[0][0]}"))
            continue
        row = dict(zip(heads, cells, strict=True))
        faults = [Problem(where, *fault) for fault in _faults(row, audio, bench)]
        problems += faults
        if not faults:
            cases.append(_case(row, audio, bench))
    if problems:
        raise BadData(tuple(problems))
    return tuple(cases)


def _faults(row: Mapping[str, str], audio: Path, bench: Bench) -> Iterator[tuple[str, str]]:
    """What was found in a row, and what was expected."""
    kind, expected = row["kind"], row.get("expected", "")
    if not row["file"] or not (audio / row["file"]).is_file():
        yield f"no recording {row['file']!r} in {audio}", "the name of a file in it"
    if kind not in KINDS:
        yield f"kind {kind!r}", "one of " + ", ".join(KINDS)
    if kind in SPOKEN and not row["words"]:
        yield "no words", "what is said in the recording"
    if kind in OTHER and expected not in ("", "none"):
        yield f"expected {expected!r} for {kind}", "none: it must not be taken for anything"
    if _expectation(row, bench) is None:
        yield f"step {row.get('step')!r}", "a step of the procedure or an entry of grammar/expectations.toml"
    if row.get("range") and not _RANGE.fullmatch(row["range"]):
        yield f"range {row['range']!r}", "full scale of the dial, as 200, 20k or 2M"
    if kind in SPOKEN and expected and _truth(expected, bench) is None:
        yield f"expected {expected!r}", "ohms, open, unsteady, the name of an answer or a command, or none"


def _case(row: Mapping[str, str], audio: Path, bench: Bench) -> Case:
    expectation = _expectation(row, bench) or Expectation("any")
    kind, expected = row["kind"], row.get("expected", "")
    truth = ""
    if kind in SPOKEN:
        meant = understand(row["words"], expectation, bench.lexicon, typed=False)
        # "none" is also an answer by name; for every other kind it says that nothing may be taken
        named = "none" if kind == "answer" and expected == "none" else _truth(expected, bench) or ""
        truth = named if expected else value(meant.meaning)
    speaker = row.get("speaker") or row.get("voice") or ""
    return Case(row["file"], audio / row["file"], row["words"], kind, speaker, expectation, truth)


def _expectation(row: Mapping[str, str], bench: Bench) -> Expectation | None:
    """What is expected at the row's step; None for a step that is not known.

    The dial stands where the row says, or where the step wants it; without either a number must have its unit.
    """
    name = row.get("step") or "any"
    match = _RANGE.fullmatch(row.get("range", ""))
    full_ohm = int(match[1]) * _SCALE[match[2]] if match else None
    step = next((step for step in bench.procedure.steps if step.name == name), None)
    if step is None:
        return Expectation(name, full_ohm) if name in bench.lexicon.expectations else None
    meter = bench.meters[bench.default_meter]
    if full_ohm is None and step.range:
        full_ohm = meter.lowest.full_ohm if step.range == "lowest" else int(step.range)
    return Expectation(step.expect, full_ohm)


def _truth(expected: str, bench: Bench) -> str | None:
    """What a row expects as `value` puts it; None when it is nothing that can be meant."""
    text = expected.strip()
    if _OHMS.fullmatch(text):
        return f"{_plain(Decimal(text))} ohms"
    if text.casefold() in _NAMES:
        return _NAMES[text.casefold()]
    if text in {"open", "unsteady", *bench.lexicon.answer_names, *bench.lexicon.command_help}:
        return text
    if all(name in bench.lexicon.answer_names for name in text.split(" and ")):
        return text
    with_unit = understand(text, Expectation("any"), bench.lexicon, typed=True).meaning
    return value(with_unit) or None


def _plain(ohms: Decimal) -> str:
    text = format(ohms, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def plainly(understood: Understood) -> str:
    """What was taken, for a list of mistakes: the value, or the words when they mean nothing."""
    return value(understood.meaning) or understood.words or "nothing"
