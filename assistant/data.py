"""The data files that travel with the program, found the same way in a checkout and after an install."""

from collections.abc import Iterable
from pathlib import Path

from assistant.errors import BadData, Problem

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
    """The text of every `.toml` file of one kind, by file name without its ending, in name order.

    Raises BadData with every file that cannot be read.
    """
    return _read(folder(kind).glob("*.toml"), "Install the program again.")


def _read(paths: Iterable[Path], mend: str) -> dict[str, str]:
    found: dict[str, str] = {}
    faults = []
    for path in sorted(paths):
        try:
            found[path.stem] = path.read_text(encoding="utf-8")
        except UnicodeDecodeError as error:
            what = f"byte 0x{error.object[error.start]:02x} at {error.start}, which is no UTF-8"
            faults.append(Problem(str(path), what, "a text in UTF-8", mend))
        except OSError as error:
            faults.append(Problem(str(path), error.strerror or "an unreadable file", "a file that can be read", mend))
    if faults:
        raise BadData(tuple(faults))
    return found


def user_folder() -> Path:
    """Where everything lies that the program keeps for this user: records, meters of their own."""
    from platformdirs import user_data_path  # noqa: PLC0415 - only where it is asked for

    return user_data_path("ohmaloud", appauthor=False)


def own_meters_folder() -> Path:
    """Where `ohmaloud meter new` puts the meters that this user described."""
    return user_folder() / "meters"


def own_models_folder() -> Path:
    """Where `ohmaloud models get` puts the models that this user fetched."""
    return user_folder() / "models"


def meters() -> dict[str, str]:
    """The meters that come with the program and those of this user, as `texts` gives them. A name of ours is never theirs."""
    return _read(own_meters_folder().glob("*.toml"), "Save it as UTF-8, or move it away.") | texts("meters")
