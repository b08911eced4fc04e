"""How much evidence an engine must give before its words are taken without a question: grammar/certainty.toml, checked."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from assistant.language.toml_reader import TomlReader

_FILE = "certainty"


class Kind(Enum):
    """What sort of meaning is weighed; engines differ in what they hear well."""

    VALUE = "value"
    """A value with its unit, or two digits and more without one."""
    LONE = "lone"
    """A single digit or "half" without a unit: other short words sound like it, and nothing can be done with it but ask."""
    WORD = "word"
    """An answer, a command, a unit, over range, unsteady."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """What a meaning of one kind must reach to be sure.

    `weights` has a share for each way of listening (an alternative's `source`); a source without one does not count.
    """

    belief: float
    """Least weighted share of all evidence."""
    agree: float
    """Least weight of the listens that put the meaning first, of the weight of all listens made."""
    weights: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Thresholds:
    """One engine's bounds by kind of meaning."""

    longest_s: float
    """Sound as long as this was cut off by the end-pointer: its end is missing."""
    bounds: Mapping[Kind, Bounds]


def thresholds(reader: TomlReader) -> dict[str, Thresholds]:
    """The engines of grammar/certainty.toml by name; faults are noted in the reader."""
    kinds = [kind.value for kind in Kind]
    reader.keys(_FILE, "", reader.files[_FILE], ("engine",))
    found: dict[str, Thresholds] = {}
    for name in reader.table(_FILE, "engine"):
        key = f"engine.{name}"
        table = reader.table(_FILE, key)
        reader.keys(_FILE, key, table, ("longest_s", "measured", *kinds))
        found[name] = Thresholds(
            longest_s=_number(reader, f"{key}.longest_s", table.get("longest_s"), 1.0, 60.0),
            bounds={kind: _bounds(reader, f"{key}.{kind.value}") for kind in Kind},
        )
    return found


def _bounds(reader: TomlReader, key: str) -> Bounds:
    table = reader.table(_FILE, key)
    reader.keys(_FILE, key, table, ("belief", "agree", "weights"))
    weights = reader.table(_FILE, f"{key}.weights")
    return Bounds(
        belief=_number(reader, f"{key}.belief", table.get("belief"), 0.0, 1.0),
        agree=_number(reader, f"{key}.agree", table.get("agree"), 0.0, 1.0),
        weights={
            source: _number(reader, f"{key}.weights.{source}", weight, 0.0, 100.0) for source, weight in weights.items()
        },
    )


def _number(reader: TomlReader, key: str, value: object, low: float, high: float) -> float:
    if isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high:
        return float(value)
    reader.fault(_FILE, key, repr(value), f"a number from {low:g} to {high:g}")
    return low
