"""The letters: chances of texts against every way to lay them, the greedy reading, broken files, the shipped weights."""

import itertools
import math
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.data import folder
from assistant.devices.letters import DILATIONS, STATES, SYMBOLS, TAPS, Floats, Letters, greedy, score, scores
from assistant.devices.network import Network, spoken_part
from assistant.errors import BadData

WIDTH = 6


def chances(frames: int, seed: int, allowed: str = SYMBOLS) -> Floats:
    """Random log probabilities; what is not allowed has none, so that few ways are left to count."""
    values = np.random.default_rng(seed).normal(size=(frames, len(SYMBOLS)))
    values[:, [symbol not in allowed for symbol in SYMBOLS]] = -np.inf
    return np.asarray(values - np.log(np.exp(values).sum(axis=1, keepdims=True)), dtype=np.float32)


def said(symbols: tuple[str, ...]) -> str:
    return "".join(symbol for symbol, _ in itertools.groupby(symbols)).replace("_", "")


@pytest.mark.parametrize("text", ["a", "ab", "aa", "a b", "aab", "", "b'", "ba", "abab"])
@pytest.mark.parametrize("frames", [1, 3, 5])
def test_a_score_is_the_sum_over_every_way(text: str, frames: int) -> None:
    found = chances(frames, seed=frames, allowed="_ 'ab")
    ways = (way for way in itertools.product("_ 'ab", repeat=frames) if said(way) == text)
    total = sum(math.exp(sum(found[at, SYMBOLS.index(symbol)] for at, symbol in enumerate(way))) for way in ways)
    expected = math.log(total) if total else -math.inf
    assert score(found, text) == pytest.approx(expected, abs=1e-5)


def test_many_texts_score_as_each_alone() -> None:
    found = chances(40, seed=7)
    texts = ["one five zero", "one five five zero", "", "4.7", "no", "[unk]", "x" * 60]
    together = scores(found, texts)
    assert together == pytest.approx([score(found, text) for text in texts])
    assert [math.isinf(value) for value in together] == [False, False, False, True, False, True, True]


def test_no_text_scores_above_one_and_all_short_ones_sum_to_one() -> None:
    found = chances(3, seed=2, allowed="_ab")
    texts = ["".join(letters) for length in range(4) for letters in itertools.product("ab", repeat=length)]
    assert sum(math.exp(value) for value in scores(found, texts)) == pytest.approx(1.0, abs=1e-5)


def test_without_frames_only_silence_is_possible() -> None:
    assert scores(chances(0, seed=1), ["", "a"]) == [0.0, -math.inf]


@pytest.mark.parametrize(
    ("frames", "text"),
    [
        ("oo_nne", "one"),
        ("__f_i_v_e__ _o_h", "five oh"),
        ("b_ee_e", "bee"),
        (" _a  _ b ", "a b"),
        ("____", ""),
        ("", ""),
    ],
)
def test_the_greedy_reading_joins_runs(frames: str, text: str) -> None:
    found = np.full((len(frames), len(SYMBOLS)), -9.0, dtype=np.float32)
    found[range(len(frames)), [SYMBOLS.index(symbol) for symbol in frames]] = 0.0
    assert greedy(found) == text


def weights() -> dict[str, Floats]:
    random = np.random.default_rng(3)
    shapes: dict[str, tuple[int, ...]] = {"norm0.weight": (STATES,), "norm0.bias": (STATES,)}
    for layer, taps in enumerate(TAPS, 1):
        shapes[f"conv{layer}.weight"] = (WIDTH, STATES if layer == 1 else WIDTH, taps)
        shapes |= dict.fromkeys((f"conv{layer}.bias", f"norm{layer}.weight", f"norm{layer}.bias"), (WIDTH,))
    shapes |= {"out.weight": (len(SYMBOLS), WIDTH), "out.bias": (len(SYMBOLS),)}
    return {name: random.normal(size=shape).astype(np.float32) for name, shape in shapes.items()}


def saved(path: Path, arrays: dict[str, Floats]) -> Path:
    with path.open("wb") as file:
        np.savez(file, allow_pickle=False, **arrays)
    return path


def test_every_frame_gets_chances_that_sum_to_one_and_look_as_far_as_the_taps(tmp_path: Path) -> None:
    letters = Letters(saved(tmp_path / "letters.npz", weights()))
    states = np.random.default_rng(4).normal(size=(60, STATES)).astype(np.float32)
    found = letters.log_probabilities(states)
    assert found.shape == (60, len(SYMBOLS))
    assert np.exp(found).sum(axis=1) == pytest.approx(1.0, abs=1e-4)
    changed = states.copy()
    changed[30] += 1.0
    moved = np.flatnonzero(np.abs(letters.log_probabilities(changed) - found).max(axis=1) > 0)
    reach = sum(taps // 2 * dilation for taps, dilation in zip(TAPS, DILATIONS, strict=True))
    assert moved.min() >= 30 - reach
    assert moved.max() <= 30 + reach


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(
        BadData, match=r"letters\.npz: found No such file or directory, expected weights of the letters"
    ):
        Letters(tmp_path / "letters.npz")


@pytest.mark.parametrize("content", [b"", b"no weights at all", b"PK\x03\x04 cut off"])
def test_a_file_that_is_no_weights_is_named(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "letters.npz"
    path.write_bytes(content)
    with pytest.raises(BadData, match=r"letters\.npz: found a file that is no weights"):
        Letters(path)


def test_every_wrong_array_is_named_at_once(tmp_path: Path) -> None:
    arrays = weights()
    del arrays["norm2.bias"]
    arrays["out.bias"] = np.zeros(5, dtype=np.float32)
    with pytest.raises(BadData) as caught:
        Letters(saved(tmp_path / "letters.npz", arrays))
    where = [problem.where.rpartition(": ")[2] for problem in caught.value.problems]
    assert where == ["norm2.bias", "out.bias"]
    assert [problem.found for problem in caught.value.problems] == ["nothing", "(5,)"]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("file", "truth", "others"),
    [
        (
            "cultivator/13-four-point-seven-k.flac",
            "four point seven k",
            ["four point seven", "four seven k", "five point seven k"],
        ),
        (
            "cultivator/16-four-point-seven-one.flac",
            "four point seven one",
            ["four point seven", "four point seven one one"],
        ),
        (
            "water-pump/11-one-point-two-kilo-ohms.flac",
            "one point two kilo ohms",
            ["one point two ohms", "one point two two kilo ohms", "nine point two kilo ohms"],
        ),
    ],
)
def test_the_shipped_weights_prefer_the_truth(file: str, truth: str, others: list[str]) -> None:
    sound, _ = soundfile.read(folder("recordings") / file, dtype="float32")
    letters = Letters(folder("models") / "letters" / "letters.npz")
    found = letters.log_probabilities(Network(tuned=True).states(spoken_part(sound))[0])
    right, *wrong = scores(found, [truth, *others])
    assert right > max(wrong)
    assert greedy(found) == truth
