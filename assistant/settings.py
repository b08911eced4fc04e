"""Settings of this user: one TOML file, every key checked, a mistake named and passed over. What a command's options say counts more."""

import codecs
import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from assistant.devices.ports import ENGINES
from assistant.devices.vosk_folder import fault as fault_of_model
from assistant.errors import BadInput, Problem

VARIABLE = "OHMALOUD_SETTINGS"
"""Names another settings file."""

Value = str | int | float | bool


@dataclass(frozen=True, slots=True)
class Key:
    """One setting: what it holds when nobody says anything, what it may hold, what it is for."""

    default: Value
    expected: str
    meaning: str
    low: float = 0
    high: float = 0
    names: tuple[str, ...] = ()


KEYS: Mapping[str, Key] = {
    "input": Key("", "the name of a microphone, or a part of it", "microphone; empty: the system's own choice"),
    "output": Key("", "the name of a loudspeaker, or a part of it", "loudspeaker; empty: the system's own choice"),
    "voice": Key("", "the name of a voice of this system", "voice; empty: the first English one"),
    "rate": Key(175, "words a minute from 120 to 450", "how fast it speaks, words a minute", 120, 450),
    "volume": Key(100, "percent from 10 to 200", "how loud it speaks, percent", 10, 200),
    "meter": Key("", "the name of a meter profile", "meter; empty: it is asked"),
    "engine": Key("", "one of " + ", ".join(ENGINES), "recogniser; empty: the best that is there", names=ENGINES),
    "vosk_model": Key("", "the folder of a Vosk model", "Vosk model; empty: one under models/"),
    "headset": Key(default=False, expected="true or false", meaning="ears stay open while it speaks"),
    "tones": Key(default=True, expected="true or false", meaning="short tones beside the text"),
    "audio": Key(default=True, expected="true or false", meaning="what is heard is kept as sound beside the record"),
    "large": Key(default=True, expected="true or false", meaning="question and reading in large type on a screen"),
    "hard_words": Key(
        "",
        "words with spaces between, as `ohmaloud check --voice` writes them",
        "words this voice and microphone get wrong: others are asked for; empty: none",
    ),
    "patience": Key(
        1.0, "a number from 1 to 10", "how many times longer the pauses may be before speech counts as ended", 1, 10
    ),
}
"""Every setting there is."""


@dataclass(frozen=True, slots=True)
class Setting:
    """A value and where it comes from."""

    value: Value
    source: str


@dataclass(frozen=True, slots=True)
class Settings:
    """What holds now, the file it was looked for in, and every mistake found there."""

    path: Path
    values: Mapping[str, Setting]
    problems: tuple[Problem, ...] = ()

    def text(self, key: str) -> str:
        """A setting that is text."""
        return str(self.values[key].value)

    def whole(self, key: str) -> int:
        """A setting that is a whole number."""
        return int(self.values[key].value)

    def number(self, key: str) -> float:
        """A setting that is a number."""
        return float(self.values[key].value)

    def on(self, key: str) -> bool:
        """A setting that is true or false."""
        return bool(self.values[key].value)

    def source(self, key: str) -> str:
        """Where a setting comes from."""
        return self.values[key].source


def settings_path() -> Path:
    """Where this user's settings are."""
    from platformdirs import user_config_path  # noqa: PLC0415 - only these commands need it

    named = os.environ.get(VARIABLE)
    return Path(named) if named else user_config_path("ohmaloud", appauthor=False) / "settings.toml"


def load(given: Mapping[str, Value | None], path: Path | None = None) -> Settings:
    """What options say (`given`, None: not given), else the file, else the default. Never raises: mistakes are in `problems`."""
    path = path or settings_path()
    file, problems = _read(path)
    values = {key: Setting(known.default, "default") for key, known in KEYS.items()}
    for key, value in file.items():
        problem = _fault(path, key, value)
        if problem is None:
            values[key] = Setting(value, str(path))
        else:
            problems.append(problem)
    values |= {key: Setting(value, f"--{key}") for key, value in given.items() if value is not None}
    return Settings(path, values, tuple(problems))


def _read(path: Path) -> tuple[dict[str, Value], list[Problem]]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return {}, []
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else "bytes that are no UTF-8"
        return {}, [Problem(str(path), why, "a file that can be read", "All settings are as usual.")]
    try:
        return tomllib.loads(text), []
    except tomllib.TOMLDecodeError as error:
        return {}, [Problem(str(path), str(error), "TOML, as: rate = 200", "All settings are as usual.")]


def _fault(path: Path, key: str, value: object) -> Problem | None:
    known = KEYS.get(key)
    if known is None:
        return Problem(f"{path}: {key}", "an unknown setting", "one of " + ", ".join(KEYS), "It is passed over.")
    if _fits(known, value):
        why = _model_fault(str(value)) if key == "vosk_model" else ""
        found = f"{value!r} ({why})"
        return Problem(f"{path}: {key}", found, known.expected, "The usual one is used.") if why else None
    usual = repr(known.default) if known.default != "" else "empty"
    return Problem(f"{path}: {key}", repr(value), known.expected, f"It stays as usual ({usual}).")


def _model_fault(folder: str) -> str:
    place = Path(folder)
    try:
        return fault_of_model(place).removeprefix(f"{place}: ").partition("; ")[0] if folder else ""
    except OSError as error:
        return error.strerror or "it cannot be read"


def _fits(known: Key, value: object) -> bool:
    if isinstance(known.default, bool):
        return isinstance(value, bool)
    if isinstance(known.default, str):
        return isinstance(value, str) and (not known.names or value in ("", *known.names))
    if not isinstance(value, int | float) or isinstance(value, bool):
        return False
    return known.low <= value <= known.high and (isinstance(known.default, float) or isinstance(value, int))


def remember(path: Path, changes: Mapping[str, Value]) -> None:
    """Keep these values in the file, everything else in it untouched.

    Raises OSError where it cannot be written, BadInput, one line, for a file with mistakes in it, which is left alone.
    What is valid TOML stays so.
    """
    import tomlkit  # noqa: PLC0415 - only a changed setting needs it
    from tomlkit.exceptions import TOMLKitError  # noqa: PLC0415 - the same

    try:
        old = path.read_bytes()
    except FileNotFoundError:
        old = b"# Settings of ohmaloud; `ohmaloud settings` shows all of them.\n"
    try:
        text = old.decode("utf-8-sig")
        wanted = {**tomllib.loads(text), **changes}
    except ValueError:  # bytes that are no UTF-8 are one too
        raise BadInput(
            f"{path}: has mistakes in it and was left alone; mend it, then what is changed can be kept"
        ) from None
    try:
        document = tomlkit.parse(text)
        document.update(changes)
        new = tomlkit.dumps(document)
        kept = tomllib.loads(new) == wanted  # tomllib has the last word on what is in a file
    except (ValueError, TOMLKitError):
        kept = False
    if not kept:
        raise BadInput(
            f"{path}: {', '.join(changes)} cannot be changed without touching the rest; write it there yourself"
        )
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.new")
    beside.write_bytes((codecs.BOM_UTF8 if old.startswith(codecs.BOM_UTF8) else b"") + new.encode())
    beside.replace(path)
