"""Our own changes of the built-in recogniser's weights: added to the right matrices, and refused where they do not fit."""

import io
import struct
from pathlib import Path

import numpy as np
import pytest

from assistant.devices.tuned import changed, stored
from assistant.devices.weights import checked, manifest
from assistant.errors import BadData

HALF, BYTES = 4, 1
PLACE = Path("model.bin")


def file_of_weights(**arrays: np.ndarray) -> bytes:
    """A file as CTranslate2 lays it out: version, kind, revision, then name, shape, kind and content of every array."""

    def text(words: str) -> bytes:
        return struct.pack("<H", len(words) + 1) + words.encode() + b"\0"

    content = struct.pack("<I", 6) + text("WhisperSpec") + struct.pack("<II", 3, len(arrays))
    for name, values in arrays.items():
        kind = HALF if values.dtype == np.float16 else BYTES
        content += text(name.replace("__", "/")) + struct.pack("<B", values.ndim)
        content += b"".join(struct.pack("<I", size) for size in values.shape)
        content += struct.pack("<BI", kind, values.nbytes) + values.tobytes()
    return content


MATRIX = np.arange(6, dtype=np.float16).reshape(3, 2)
OTHER = np.full((2, 2), 7, dtype=np.float16)
WEIGHTS = file_of_weights(name__bytes=np.array([1, 2], np.int8), a__weight=MATRIX, b__weight=OTHER)


def changes(path: Path, **arrays: np.ndarray) -> Path:
    with (path / "tuned.npz").open("wb") as stream:
        np.savez(stream, **{name.replace("_", " ", 1).replace("__", "/"): value for name, value in arrays.items()})  # type: ignore[arg-type]
    return path / "tuned.npz"


def test_the_product_is_added_to_its_matrix_and_to_nothing_else(tmp_path: Path) -> None:
    up, down = np.array([[1], [0], [2]], np.float16), np.array([[10, 1]], np.float16)
    made = changed(WEIGHTS, changes(tmp_path, up_a__weight=up, down_a__weight=down), PLACE)
    found = dict(stored(made))
    assert found.keys() == {"a/weight", "b/weight"}
    assert found["a/weight"].tolist() == [[10, 2], [2, 3], [24, 7]]
    assert np.array_equal(found["b/weight"], OTHER)
    first, last = WEIGHTS.index(MATRIX.tobytes()), WEIGHTS.index(MATRIX.tobytes()) + MATRIX.nbytes
    assert (made[:first], made[last:]) == (WEIGHTS[:first], WEIGHTS[last:])


UP, DOWN = np.zeros((3, 1), np.float16), np.zeros((1, 2), np.float16)


@pytest.mark.parametrize(
    ("arrays", "said"),
    [
        ({}, "no changes"),
        ({"up_a__weight": UP}, "no down a/weight"),
        ({"up_c__weight": UP, "down_c__weight": DOWN}, "changes of c/weight"),
        ({"up_a__weight": UP, "down_a__weight": DOWN.T}, "tuned.npz"),
        ({"up_b__weight": UP, "down_b__weight": DOWN}, "expected (2, 2)"),
        ({"up_a__weight": UP[:1], "down_a__weight": DOWN}, "expected (3, 2)"),
    ],
)
def test_changes_that_do_not_fit_are_refused(tmp_path: Path, arrays: dict[str, np.ndarray], said: str) -> None:
    with pytest.raises(BadData) as refusal:
        changed(WEIGHTS, changes(tmp_path, **arrays), PLACE)
    assert said in str(refusal.value)


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04", b"nonsense" * 20])
def test_a_file_of_changes_that_is_none_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "tuned.npz").write_bytes(content)
    with pytest.raises(BadData, match="a file that is no weights"):
        changed(WEIGHTS, tmp_path / "tuned.npz", PLACE)
    with pytest.raises(BadData, match="No such file"):
        changed(WEIGHTS, tmp_path / "none.npz", PLACE)


@pytest.mark.parametrize("size", [3, 20, 60])
def test_weights_that_are_cut_short_are_refused(tmp_path: Path, size: int) -> None:
    path = changes(tmp_path, up_a__weight=UP, down_a__weight=DOWN)
    with pytest.raises(BadData, match=r"tuned\.npz"):
        changed(WEIGHTS[:size], path, PLACE)


@pytest.mark.slow
def test_every_change_that_is_shipped_finds_its_matrix() -> None:
    listed = manifest()
    model = checked(listed["built-in"]) / "model.bin"
    before = dict(stored(model.read_bytes()))
    after = dict(stored(changed(model.read_bytes(), checked(listed["tuned"]) / "tuned.npz", model)))
    with np.load(io.BytesIO((checked(listed["tuned"]) / "tuned.npz").read_bytes())) as arrays:
        names = {name.partition(" ")[2] for name in arrays.files}
    moved = {name for name in before if not np.array_equal(before[name], after[name])}
    assert moved == names
    assert all(name.endswith("/weight") and "linear" in name for name in moved)
