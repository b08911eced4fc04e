"""How much evidence an engine must give before its words are taken without a question: grammar/certainty.toml, checked."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from assistant.language.toml_reader import TomlReader

_FILE = "certainty"
_LEAST_FLOOR = 1e-6
"""At 0 a single listen that missed a meaning would rule it out."""


class Kind(Enum):
    """What sort of meaning is weighed; engines differ in what they hear well."""

    VALUE = "value"
    """A value with its unit, or two digits and more without one."""
    LONE = "lone"
    """A single digit or "half" without a unit: other short words sound like it, and nothing can be done with it but ask."""
    WORD = "word"
    """An answer, a command, a unit, over range, unsteady."""


@dataclass(frozen=True, slots=True)
class Thresholds:
    """How one engine's evidence is weighed, and its bounds by kind of meaning."""

    longest_s: float
    """Sound as long as this was cut off by the end-pointer: its end is missing."""
    weights: Mapping[str, float]
    """By way of listening, the first word of an alternative's `source`; one without a weight does not count."""
    floors: Mapping[str, float]
    """Added to every share, by way of listening: how much a meaning loses that its few best alternatives do not hold."""
    at_once: float
    """The belief that a first listen must reach to spare a second one, whatever the kind of meaning."""
    bounds: Mapping[Kind, float]
    """The belief, from 0 to 1, that a meaning of each kind must reach to be sure."""
    witnesses: int = 1
    """How many ways of listening must have a number before every other meaning, each by itself."""


def thresholds(reader: TomlReader) -> dict[str, Thresholds]:
    """The engines of grammar/certainty.toml by name; faults are noted in the reader."""
    kinds = [kind.value for kind in Kind]
    reader.keys(_FILE, "", reader.files[_FILE], ("engine",))
    found: dict[str, Thresholds] = {}
    for name in reader.table(_FILE, "engine"):
        key = f"engine.{name}"
        table = reader.table(_FILE, key)
        reader.keys(_FILE, key, table, ("longest_s", "weights", "floors", "measured", "at_once", "witnesses", *kinds))
        for source in reader.table(_FILE, f"{key}.weights").keys() - reader.table(_FILE, f"{key}.floors").keys():
            reader.fault(_FILE, f"{key}.floors.{source}", "nothing", "a floor for every listen that has a weight")
        ways = max(1, len(reader.table(_FILE, f"{key}.weights")))
        found[name] = Thresholds(
            longest_s=_number(reader, f"{key}.longest_s", table.get("longest_s"), 1.0, 60.0),
            weights=_tuned(_by_source(reader, f"{key}.weights", 0.0, 100.0)),
            floors=_tuned(_by_source(reader, f"{key}.floors", _LEAST_FLOOR, 1.0)),
            at_once=_number(reader, f"{key}.at_once", table.get("at_once"), 0.0, 1.0),
            bounds={kind: _number(reader, f"{key}.{kind.value}", table.get(kind.value), 0.0, 1.0) for kind in Kind},
            # Files kept with older sessions have none.
            witnesses=_whole(reader, f"{key}.witnesses", table.get("witnesses", 1), ways),
        )
    return found


def _tuned(by_source: dict[str, float]) -> dict[str, float]:
    """The same, with a number for the way of listening that took the place of another one.

    A session begun before goes on by its own file, which does not have it.
    """
    return {"tuned": by_source["limited"], **by_source} if "limited" in by_source else by_source


def _by_source(reader: TomlReader, key: str, low: float, high: float) -> dict[str, float]:
    return {
        source: _number(reader, f"{key}.{source}", value, low, high)
        for source, value in reader.table(_FILE, key).items()
    }


def _whole(reader: TomlReader, key: str, value: object, most: int) -> int:
    if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= most:
        return value
    reader.fault(_FILE, key, repr(value), f"a whole number from 1 to {most}, which is how many ways have a weight")
    return 1


def _number(reader: TomlReader, key: str, value: object, low: float, high: float) -> float:
    if isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high:
        return float(value)
    reader.fault(_FILE, key, repr(value), f"a number from {low:g} to {high:g}")
    return low
