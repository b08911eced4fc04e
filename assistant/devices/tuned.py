"""The built-in recogniser's weights with small changes of our own, made in memory: the package's file stays as it is.

To a matrix is added the product of two thin ones; `models/recipe/tuned.py` learns them, `models/tuned/CARD.md` tells from what.
"""

import io
import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt

from assistant.devices.arrays import arrays as read_arrays
from assistant.errors import BadData, Problem

Halves = npt.NDArray[np.float16]

_HALF = 4
"""How the file of the weights marks numbers of 16 bits."""
_AGAIN = "Take models/tuned/tuned.npz anew, or make it with models/recipe"


def stored(content: bytes | bytearray) -> Iterator[tuple[str, Halves]]:
    """Every array of 16-bit numbers in a file of weights of CTranslate2, with its name; views of `content`, not copies.

    Raises ValueError where the content is no such file.
    """
    stream = io.BytesIO(content)

    def number(kind: str) -> int:
        return int(struct.unpack(f"<{kind}", stream.read(struct.calcsize(f"<{kind}")))[0])

    def text() -> str:
        return stream.read(number("H")).rstrip(b"\0").decode()

    try:
        number("I"), text(), number("I")
        for _ in range(number("I")):
            name = text()
            shape = [number("I") for _ in range(number("B"))]
            kind, size = number("B"), number("I")
            if kind == _HALF:
                yield name, np.frombuffer(content, np.float16, size // 2, stream.tell()).reshape(shape)
            stream.seek(size, io.SEEK_CUR)
    except (struct.error, UnicodeDecodeError) as error:
        raise ValueError(str(error)) from None


def changed(weights: bytes, changes: Path, place: Path) -> bytes:
    """The content of a file of weights with the changes of the file `changes`: to a matrix NAME is added `up NAME` times `down NAME`.

    Raises BadData where the two do not fit; `place` names the weights in it.
    """
    pairs = _pairs(changes)
    content = bytearray(weights)
    try:
        for name, matrix in stored(content):
            if name in pairs:
                matrix[...] += _product(name, *pairs.pop(name), matrix.shape)
    except ValueError as error:
        raise BadData((Problem(f"{changes}", str(error), f"changes that fit {place}", _AGAIN),)) from None
    if pairs:
        raise BadData((Problem(str(changes), f"changes of {min(pairs)}", f"names of matrices in {place}", _AGAIN),))
    return bytes(content)


def _product(name: str, up: Halves, down: Halves, shape: tuple[int, ...]) -> Halves:
    """Raises ValueError where the product has another shape than the matrix: adding it would repeat a row of it for all."""
    if (len(up), *down.shape[1:]) != shape:
        raise ValueError(f"{name}: {up.shape} times {down.shape}, expected {shape}")
    return (up.astype(np.float32) @ down.astype(np.float32)).astype(np.float16)


def _pairs(path: Path) -> dict[str, tuple[Halves, Halves]]:
    """The two thin matrices by the name of the one that they change."""
    arrays = read_arrays(path, np.float16, "changes of weights (.npz)", _AGAIN)
    names = [name.partition(" ")[2] for name in arrays if name.startswith("up ")]
    lacking = [name for name in names if f"down {name}" not in arrays]
    if not names or lacking:
        found = f"no down {lacking[0]}" if lacking else "no changes"
        raise BadData((Problem(str(path), found, "an up and a down for every matrix that changes", _AGAIN),))
    return {name: (arrays[f"up {name}"], arrays[f"down {name}"]) for name in names}
