"""Outside check values: the tables of tests/checks, each row with its source beside it."""

from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import pytest
from _pytest.mark import ParameterSet

_FOLDER = Path(__file__).parent / "checks"


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One row: its columns by name; a blank column is left out."""

    columns: dict[str, str]

    def __getitem__(self, name: str) -> str:
        return self.columns.get(name, "")

    def number(self, name: str) -> Decimal:
        return Decimal(self.columns[name])

    def maybe(self, name: str) -> Decimal | None:
        return Decimal(self.columns[name]) if name in self.columns else None


def rows(table: str, *checks: str) -> list[ParameterSet]:
    """The rows whose `check` is one of these (all of them when none is named), as pytest parameters with their ids."""
    lines = (_FOLDER / f"{table}.tsv").read_text(encoding="utf-8").splitlines()
    head, *rest = (line.split("\t") for line in lines if not line.startswith("#"))
    found = [CheckRow({name: cell for name, cell in zip(head, cells, strict=True) if cell}) for cells in rest]
    chosen = [row for row in found if not checks or row["check"] in checks]
    assert chosen, f"no row of {table} is one of {checks}"
    return [pytest.param(row, id=row["id"]) for row in chosen]


def row_of(parameter: ParameterSet) -> CheckRow:
    """The row that a parameter carries."""
    (row,) = parameter.values
    assert isinstance(row, CheckRow)
    return row
