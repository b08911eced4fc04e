"""Letters: spells what the built-in recogniser's encoder heard, in step with the sound.

A decoder may drop one of two like digits or say it once more; this network cannot, since it gives every fiftieth of a second
its own letter. It is used as a witness: how well does a text that others heard fit the sound? `models/letters/CARD.md`
tells what the weights were trained on and how well they judge.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from assistant.devices.arrays import arrays as read_arrays
from assistant.errors import BadData, Problem

Floats = npt.NDArray[np.float32]

SYMBOLS = "_ 'abcdefghijklmnopqrstuvwxyz"
"""What a frame can be, in the order of the network's output; the first stands for no new letter."""
STATES = 384
"""Width of the encoder's output."""
TAPS = (1, 5, 5, 5, 5)
"""Frames that each convolution looks at, the first to the last."""
DILATIONS = (1, 1, 2, 4, 1)
"""How far apart they lie, in frames."""

_CODES = {symbol: code for code, symbol in enumerate(SYMBOLS) if code}
_TINY = 1e-5
"""Added to a variance, as in training."""
_RAISED_EVERY = 4
"""Frames: four of them cannot make a chance so small that it is lost."""
_LEAST = 1e-308
_AGAIN = "Take models/letters/letters.npz anew, or make it with models/recipe"


class Letters:
    """The network with the weights of one file. Raises BadData when the file is missing or does not hold them."""

    def __init__(self, path: Path) -> None:
        arrays = _arrays(path)
        self._first = (arrays["norm0.weight"], arrays["norm0.bias"])
        self._layers = [
            (
                arrays[f"conv{layer}.weight"].transpose(2, 1, 0).reshape(-1, arrays[f"conv{layer}.bias"].size).copy(),
                arrays[f"conv{layer}.bias"],
                arrays[f"norm{layer}.weight"],
                arrays[f"norm{layer}.bias"],
            )
            for layer in range(1, len(DILATIONS) + 1)
        ]
        self._last = (arrays["out.weight"].T.copy(), arrays["out.bias"])

    def log_probabilities(self, states: Floats) -> Floats:
        """The natural-log chance of every symbol in every frame, shape (frames, 29).

        `states` is the encoder's output for the sound alone, without joined silence, shape (frames, 384), 50 frames a second.
        """
        hidden = _normal(np.asarray(states, dtype=np.float32), *self._first)
        kept: Floats = np.float32(0) * hidden[:, :1]
        for (weights, bias, scale, shift), taps, dilation in zip(self._layers, TAPS, DILATIONS, strict=True):
            kept = kept + np.maximum(_convolved(hidden, weights, taps, dilation) + bias, np.float32(0))
            hidden = _normal(kept, scale, shift)
        weights, bias = self._last
        output = hidden @ weights + bias
        output = output - output.max(axis=1, keepdims=True)
        return np.asarray(output - np.log(np.exp(output).sum(axis=1, keepdims=True)), dtype=np.float32)


def codes(text: str) -> list[int] | None:
    """The places of the text's letters in SYMBOLS; None when it holds anything else, as a digit or `[unk]`."""
    found = [_CODES.get(letter, 0) for letter in text]
    return None if 0 in found else found


def score(log_probabilities: Floats, text: str) -> float:
    """The natural-log chance of the text: the sum over every way to lay its letters along the frames (CTC).

    Minus infinity when the sound has too few frames for it, or when it holds what is no letter, apostrophe or single space.
    An empty text is the chance that nothing is said.
    """
    return scores(log_probabilities, (text,))[0]


def scores(log_probabilities: Floats, texts: Sequence[str]) -> list[float]:
    """`score` of every text, all at once: a dozen take about twice as long as one."""
    coded = [codes(text) for text in texts]
    known = [code for code in coded if code is not None]
    if not known:
        return [-np.inf] * len(coded)
    # A text of n letters has 2n + 1 places: each letter, and "no new letter" around every one. Two places lie unused in front.
    places = 2 * max(map(len, known)) + 1
    symbols = np.zeros((len(known), places), dtype=np.intp)
    for row, code in enumerate(known):
        symbols[row, 1 : 2 * len(code) : 2] = code
    # Between two different letters the "no new letter" may be left out; between two like ones it may not.
    skips = np.zeros((len(known), places))
    skips[:, 2:] = (symbols[:, 2:] != 0) & (symbols[:, 2:] != symbols[:, :-2])
    # Chances themselves, not their logarithms, which would cost thrice the time; brought up again before they get too small.
    frames = np.exp(np.asarray(log_probabilities, dtype=np.float64))
    chances = np.zeros((len(known), places + 2))
    here = chances[:, 2:]
    logs = np.zeros(len(known))
    if len(frames):
        here[:, :2] = frames[0][symbols[:, :2]]
    else:
        here[:, 0] = 1.0
    for number, frame in enumerate(frames[1:], 1):
        total = here + chances[:, 1:-1]
        total += chances[:, :-2] * skips
        total *= frame[symbols]
        if number % _RAISED_EVERY == 0:
            top = total.max(axis=1)
            top[top == 0] = 1.0
            total /= top[:, None]
            logs += np.log(top)
        here[...] = total
    ends = np.array([2 * len(code) for code in known])
    rows = np.arange(len(known))
    last = here[rows, ends] + np.where(ends > 0, here[rows, ends - 1], 0.0)
    whole = iter(np.where(last > 0, np.log(np.maximum(last, _LEAST)) + logs, -np.inf).tolist())
    return [-np.inf if code is None else next(whole) for code in coded]


def greedy(log_probabilities: Floats) -> str:
    """The best symbol of every frame, runs joined and "no new letter" left out, with single spaces between words."""
    best = log_probabilities.argmax(axis=1)
    changed = np.flatnonzero(np.diff(best, prepend=0))
    return " ".join("".join(SYMBOLS[code] for code in best[changed] if code).split())


def _normal(hidden: Floats, scale: Floats, shift: Floats) -> Floats:
    """Every frame at mean 0 and variance 1, then scaled and shifted."""
    centred = hidden - hidden.mean(axis=1, keepdims=True)
    spread = np.sqrt(np.square(centred).mean(axis=1, keepdims=True) + np.float32(_TINY))
    return np.asarray(centred / spread * scale + shift, dtype=np.float32)


def _convolved(hidden: Floats, weights: Floats, taps: int, dilation: int) -> Floats:
    """`taps` frames around every frame, `dilation` apart and zero beyond the ends, times weights of shape (taps * width, new width)."""
    frames = len(hidden)
    padded = np.pad(hidden, ((taps // 2 * dilation,) * 2, (0, 0)))
    seen = [padded[tap * dilation : tap * dilation + frames] for tap in range(taps)]
    return np.asarray(np.concatenate(seen, axis=1) @ weights, dtype=np.float32)


def _arrays(path: Path) -> dict[str, Floats]:
    """Every array of the file, checked by name and shape."""
    arrays = read_arrays(path, np.float32, "weights of the letters (.npz)", _AGAIN)
    width = arrays["conv1.bias"].size if "conv1.bias" in arrays else 0
    shapes: dict[str, tuple[int, ...]] = {"norm0.weight": (STATES,), "norm0.bias": (STATES,)}
    for layer, taps in enumerate(TAPS, 1):
        shapes[f"conv{layer}.weight"] = (width, STATES if layer == 1 else width, taps)
        shapes |= {f"{part}": (width,) for part in (f"conv{layer}.bias", f"norm{layer}.weight", f"norm{layer}.bias")}
    shapes |= {"out.weight": (len(SYMBOLS), width), "out.bias": (len(SYMBOLS),)}
    faults = [
        Problem(f"{path}: {name}", str(arrays[name].shape) if name in arrays else "nothing", f"shape {shape}", _AGAIN)
        for name, shape in shapes.items()
        if name not in arrays or arrays[name].shape != shape
    ]
    if faults:
        raise BadData(tuple(faults))
    return arrays
