"""The data files that travel with the program, found the same way in a checkout and after an install."""

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent
_INSIDE = ("procedures", "meters")
_BESIDE = ("grammar", "models", "recordings")


def folder(kind: str) -> Path:
    """The folder of one kind of data file: `grammar`, `models`, `recordings`, `procedures` or `meters`.

    An installed copy carries the first three inside the package (`_data`); a checkout keeps them beside it.
    """
    if kind in _INSIDE:
        return _PACKAGE / kind
    if kind not in _BESIDE:
        raise ValueError(f"no such kind of data: {kind!r}")
    installed = _PACKAGE / "_data" / kind
    return installed if installed.is_dir() else _PACKAGE.parent / kind


def texts(kind: str) -> dict[str, str]:
    """The text of every `.toml` file of one kind, by file name without its ending, in name order. Raises OSError, UnicodeDecodeError."""
    return {path.stem: path.read_text(encoding="utf-8") for path in sorted(folder(kind).glob("*.toml"))}
