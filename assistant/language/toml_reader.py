"""Typed pieces out of a set of TOML texts, with every fault noted instead of the first one raised."""

import tomllib
from collections.abc import Iterable, Mapping
from typing import Any

from assistant.errors import Problem

Phrase = tuple[str, ...]
"""Words in their order, lower case."""


class TomlReader:
    """The parsed files of one folder, by name without ending, and the faults found so far. A faulty piece comes back empty."""

    def __init__(self, folder: str, texts: Mapping[str, str], files: tuple[str, ...]) -> None:
        self.folder = folder
        self.problems: list[Problem] = []
        self.files: dict[str, dict[str, Any]] = {name: {} for name in files}
        self.readable: set[str] = set()
        for name in sorted(set(texts) - set(files)):
            self.fault(name, "", "a file of another name", "one of " + ", ".join(f"{file}.toml" for file in files))
        for name in files:
            if name not in texts:
                self.fault(name, "", "no such file", "the file")
                continue
            try:
                self.files[name] = tomllib.loads(texts[name])
                self.readable.add(name)
            except tomllib.TOMLDecodeError as error:
                self.fault(name, "", str(error), "valid TOML")

    def fault(self, file: str, key: str, found: str, expected: str) -> None:
        """Note one fault."""
        self.problems.append(Problem(f"{self.folder}/{file}.toml" + (f": {key}" if key else ""), found, expected))

    def keys(self, file: str, key: str, table: Mapping[str, Any], expected: Iterable[str]) -> None:
        """Note every key of `table` that is not expected."""
        for name in sorted(set(table) - set(expected)):
            self.fault(file, f"{key}.{name}" if key else name, "an unknown key", "one of " + ", ".join(expected))

    def table(self, file: str, key: str) -> Mapping[str, Any]:
        """A table that must be there, by its dotted key."""
        value: Any = self.files[file]
        for part in key.split("."):
            value = value.get(part) if isinstance(value, dict) else None
        if isinstance(value, dict):
            return value
        if file in self.readable:
            self.fault(file, key, "nothing" if value is None else repr(value), "a table")
        return {}

    def phrase(self, file: str, key: str, value: object) -> Phrase:
        """Lower-case words of letters, digits and apostrophes with single spaces."""
        if not isinstance(value, str) or not value.strip():
            self.fault(file, key, repr(value), "a phrase of at least one word")
            return ()
        if value != value.lower():
            self.fault(file, key, repr(value), "lower-case words")
        elif value != " ".join(value.split()) or not all(char.isalnum() or char in " '" for char in value):
            self.fault(file, key, repr(value), "words of letters and apostrophes with single spaces")
        return tuple(value.lower().split())

    def word(self, file: str, key: str, value: object) -> str:
        """One lower-case word."""
        phrase = self.phrase(file, key, value)
        if len(phrase) > 1:
            self.fault(file, key, repr(value), "one word")
        return phrase[0] if phrase else ""

    def phrases(self, file: str, key: str, value: object) -> tuple[Phrase, ...]:
        """A list of phrases, each once."""
        found: dict[Phrase, None] = {}
        for index, item in enumerate(self.list(file, key, value, "a list of phrases")):
            phrase = self.phrase(file, f"{key}[{index}]", item)
            if phrase in found:
                self.fault(file, f"{key}[{index}]", repr(item), "a phrase that is not in the list already")
            if phrase:
                found.setdefault(phrase)
        return tuple(found)

    def list(self, file: str, key: str, value: object, expected: str) -> list[Any]:
        """A list of anything."""
        if isinstance(value, list):
            return value
        if file in self.readable:
            self.fault(file, key, "nothing" if value is None else repr(value), expected)
        return []

    def text(self, file: str, key: str, value: object) -> str:
        """A text that is not empty."""
        if isinstance(value, str) and value.strip():
            return value
        self.fault(file, key, "nothing" if value is None else repr(value), "a text")
        return ""

    def choice(self, file: str, key: str, value: object, expected: Iterable[object], what: str) -> bool:
        """Whether the value is one of those expected; a fault when it is not."""
        fits = value in tuple(expected)
        if not fits:
            self.fault(file, key, repr(value), what)
        return fits
