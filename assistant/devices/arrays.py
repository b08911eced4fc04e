"""Files of arrays (.npz), read with one clear line for whatever may be wrong with one."""

import zipfile
import zlib
from pathlib import Path

import numpy as np
import numpy.typing as npt

from assistant.errors import BadData, Problem

_BROKEN = (ValueError, EOFError, NotImplementedError, zipfile.BadZipFile, zlib.error, TypeError, AttributeError)
"""What numpy raises of a file that is none, or damaged."""


def arrays(path: Path, kind: type[np.floating], expected: str, again: str) -> dict[str, npt.NDArray[np.floating]]:
    """Every array of the file by its name, as numbers of that kind. Raises BadData: what was `expected`, and how to have it `again`."""
    try:
        with path.open("rb") as stream, np.load(stream, allow_pickle=False) as file:
            return {name: np.asarray(file[name], dtype=kind) for name in file.files}
    except OSError as error:
        found = error.strerror or "a file that is no weights"
    except _BROKEN:
        found = "a file that is no weights"
    raise BadData((Problem(str(path), found, expected, again),))
