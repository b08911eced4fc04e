"""The network in PyTorch: read from the donor's file, and written back.

Features are 40 cepstra, a hundred a second; the output has a row for every third of them. The donor was trained to see the
speaker too, as an i-vector of 100 numbers. Here that is its mean for everybody: folded into a bias, so that none is needed.
"""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import torch
from torch import Tensor, nn
from torch.nn import functional

from models.recipe.nnet3 import Chain, Component, Model

LAYERS = tuple(range(2, 16))
FULL_RATE = frozenset({2, 3, 4, 5})
"""Layers that run a hundred times a second; those above run for every third frame."""
CONTEXT = 34
"""Frames that the output of a frame depends on, before it and after it."""
SUBSAMPLING = 3
BYPASS = 0.66
EPSILON = 1e-3
CEPSTRA = 40
IVECTOR = 100
_OUT = "output.affine"
"""The output layer of a model written here. The donor's has the sounds of another language and is not taken."""

Doubles = npt.NDArray[np.float64]


class Cepstra(nn.Module):
    """Sound at 16 kHz in the units of 16-bit samples, (..., samples), to features (..., frames, 40), as the recogniser's.

    25 ms windows every 10 ms, only whole ones; pre-emphasis 0.97, "povey" window, 40 mel bins from 20 to 7600 Hz, lifter 22.
    """

    def __init__(self) -> None:
        super().__init__()
        window = (0.5 - 0.5 * np.cos(2 * math.pi * np.arange(400) / 399)) ** 0.85
        self.register_buffer("window", torch.tensor(window, dtype=torch.float32))
        self.register_buffer("bins", torch.tensor(_mel_bins().T.astype(np.float32)))
        order = np.arange(CEPSTRA)[:, None]
        cosines = np.sqrt(2 / CEPSTRA) * np.cos(math.pi / CEPSTRA * (np.arange(CEPSTRA)[None] + 0.5) * order)
        cosines[0] = np.sqrt(1 / CEPSTRA)
        lifter = 1 + 11 * np.sin(math.pi * order / 22)
        self.register_buffer("cosines", torch.tensor((cosines * lifter).T.astype(np.float32)))

    def forward(self, sound: Tensor, dither: float = 1.0) -> Tensor:
        frames = sound.unfold(-1, 400, 160)
        if dither:
            frames = frames + dither * torch.randn_like(frames)
        frames = frames - frames.mean(-1, keepdim=True)
        frames = torch.cat([frames[..., :1] * 0.03, frames[..., 1:] - 0.97 * frames[..., :-1]], -1) * self.window
        power = torch.fft.rfft(functional.pad(frames, (0, 112))).abs().pow(2)
        cepstra: Tensor = (power @ self.bins).clamp_min(1.1920929e-07).log() @ self.cosines
        return cepstra


def _mel_bins() -> Doubles:
    """Triangles of equal width in mels over the power spectrum of 512 points; shape (bins, 257)."""
    low, high = (1127 * math.log(1 + hz / 700) for hz in (20, 7600))
    width = (high - low) / (CEPSTRA + 1)
    mels = 1127 * np.log(1 + np.arange(257) * 16_000 / 512 / 700)
    bins = np.zeros((CEPSTRA, 257))
    for number in range(CEPSTRA):
        left = low + number * width
        bins[number] = np.maximum(0, np.minimum(mels - left, left + 2 * width - mels) / width)
    bins[:, 256] = 0
    return bins


class Normalise(nn.Module):
    """Batch normalisation with the statistics it has: a fixed scale and shift."""

    def __init__(self, component: Component) -> None:
        super().__init__()
        self.register_buffer("mean", torch.tensor(np.asarray(component["StatsMean"], np.float32)))
        self.register_buffer("variance", torch.tensor(np.asarray(component["StatsVar"], np.float32)))

    def forward(self, hidden: Tensor) -> Tensor:
        scale = (self.variance + EPSILON).rsqrt()
        return torch.addcmul(-self.mean * scale, hidden, scale)


class Factored(nn.Module):
    """One TDNN-F layer: two frames to 64 numbers, two of those to 768, relu, normalise, and the input beside it.

    Takes (frames, 768). At an offset of 0 only, as many frames come out; else one less at each end.
    """

    def __init__(self, components: dict[str, Component], name: str) -> None:
        super().__init__()
        linear, affine = components[f"{name}.linear"], components[f"{name}.affine"]
        self.offsets = (tuple(linear["TimeOffsets"]), tuple(affine["TimeOffsets"]))
        self.linear = nn.Parameter(_tensor(linear["LinearParams"]))
        self.affine = nn.Parameter(_tensor(affine["LinearParams"]))
        self.bias = nn.Parameter(_tensor(affine["BiasParams"]))
        self.normalise = Normalise(components[f"{name}.batchnorm"])
        self.reach = int(len(self.offsets[0]) > 1)

    def forward(self, hidden: Tensor) -> Tensor:
        narrow = functional.linear(self._pairs(hidden), self.linear)
        wide = torch.relu(functional.linear(self._pairs(narrow), self.affine, self.bias))
        kept = hidden[self.reach : len(hidden) - self.reach]
        return self.normalise(wide) + BYPASS * kept

    def _pairs(self, hidden: Tensor) -> Tensor:
        return torch.cat([hidden[:-1], hidden[1:]], 1) if self.reach else hidden


class Network(nn.Module):
    """Cepstra of sounds, (sounds, frames, 40), to a score for every pdf and every third frame, (sounds, rows, pdfs)."""

    def __init__(self, components: dict[str, Component], pdfs: int, layers: Sequence[int] = LAYERS) -> None:
        """`components` are the donor's, or those of a model that was written; `layers` may leave out its upper ones."""
        super().__init__()
        weight, bias = first_affine(components)
        self.numbers = tuple(layers)
        self.weight = nn.Parameter(_tensor(weight))
        self.bias = nn.Parameter(_tensor(bias))
        self.normalise = Normalise(components["tdnn1.batchnorm"])
        self.layers = nn.ModuleList(Factored(components, f"tdnnf{layer}") for layer in self.numbers)
        self.narrow = nn.Parameter(_tensor(components["prefinal-l"]["Params"]))
        ours = "prefinal.affine" in components
        last = "prefinal" if ours else "prefinal-chain"
        self.wide = _linear(components[f"{last}.affine"])
        self.normalise1 = Normalise(components[f"{last}.batchnorm" if ours else f"{last}.batchnorm1"])
        self.last = nn.Parameter(_tensor(components[f"{last}.linear"]["Params"]))
        self.normalise2 = Normalise(components[f"{last}.batchnorm2"])
        self.out = _linear(components[_OUT]) if ours else nn.Linear(64, pdfs)
        self.drop = 0.0

    def hidden(self, cepstra: Tensor) -> Tensor:
        """What the output layer reads, (sounds, rows, 64).

        The sounds run through the layers one behind another, each with the frames that its ends need, in one long row.
        """
        count, frames, _ = cepstra.shape
        rows = -(-frames // SUBSAMPLING)
        around = 2 * CONTEXT + -(frames + 2 * CONTEXT) % SUBSAMPLING
        first, last = cepstra[:, :1], cepstra[:, -1:]
        padded = torch.cat([first.expand(-1, CONTEXT, -1), cepstra, last.expand(-1, around - CONTEXT, -1)], 1)
        each = padded.shape[1]
        flat = torch.cat([padded.reshape(count * each, CEPSTRA), padded.new_zeros(2 * CONTEXT, CEPSTRA)])
        triples = torch.cat([flat[:-2], flat[1:-1], flat[2:]], 1)
        states: Tensor = self.normalise(torch.relu(functional.linear(triples, self.weight, self.bias)))
        for layer, module in zip(self.numbers, self.layers, strict=True):
            if layer - 1 in FULL_RATE and layer not in FULL_RATE:
                states = states[::SUBSAMPLING]
            states = module(states)
            if self.training:  # the same numbers everywhere in a step: chance is dear
                states = states * functional.dropout(states.new_ones(states.shape[1]), self.drop)
        wide = torch.relu(self.wide(functional.linear(states, self.narrow)))
        hidden = self.normalise2(functional.linear(self.normalise1(wide), self.last))
        return hidden[: count * each // SUBSAMPLING].reshape(count, each // SUBSAMPLING, -1)[:, :rows]

    def forward(self, cepstra: Tensor) -> Tensor:
        scores: Tensor = self.out(self.hidden(cepstra))
        return scores


def first_affine(components: dict[str, Component]) -> tuple[Doubles, Doubles]:
    """Weight (768, 120) and bias of the first layer with the fixed transform before it and the mean i-vector in it.

    The transform takes off the mean of its input and rotates; so the mean is where it gives 0.
    """
    if "lda" not in components:
        affine = components["tdnn1.affine"]
        return affine["LinearParams"].astype(np.float64), affine["BiasParams"].astype(np.float64)
    rotation = components["lda"]["LinearParams"].astype(np.float64)
    shift = components["lda"]["BiasParams"].astype(np.float64)
    seen = rotation.shape[1] - IVECTOR
    mean = np.linalg.solve(rotation, -shift)
    shift = shift + rotation[:, seen:] @ mean[seen:]
    weight = components["tdnn1.affine"]["LinearParams"].astype(np.float64)
    return weight @ rotation[:, :seen], weight @ shift + components["tdnn1.affine"]["BiasParams"]


def written(network: Network, chain: Chain) -> Model:
    """The network as a model of the recogniser: no i-vector, no dropout, no second output."""
    config, components = ["input-node name=input dim=40"], dict[str, Component]()

    def add(name: str, component: Component, source: str) -> str:
        components[name] = component
        config.append(f"component-node name={name} component={name} input={source}")
        return name

    def relu(name: str, source: str, normalise: Normalise) -> str:
        source = add(f"{name}.relu", {"type": "RectifiedLinearComponent", "Dim": len(normalise.mean)}, source)
        return add(f"{name}.batchnorm", _normalised(normalise), source)

    triple = "Append(Offset(input, -1), input, Offset(input, 1))"
    last = relu("tdnn1", add("tdnn1.affine", _affine(network.weight, network.bias), triple), network.normalise)
    for layer, module in zip(network.numbers, network.layers, strict=True):
        name = f"tdnnf{layer}"
        offsets = module.offsets
        narrow = {"type": "TdnnComponent", "TimeOffsets": offsets[0], "LinearParams": _array(module.linear)}
        wide = {"type": "TdnnComponent", "TimeOffsets": offsets[1], "LinearParams": _array(module.affine)}
        made = add(f"{name}.affine", {**wide, "BiasParams": _array(module.bias)}, add(f"{name}.linear", narrow, last))
        made = relu(name, made, module.normalise)
        joined = f"Sum(Scale({BYPASS}, {last}), {made})"
        last = add(f"{name}.noop", {"type": "NoOpComponent", "Dim": 768}, joined)
    last = add("prefinal-l", {"type": "LinearComponent", "Params": _array(network.narrow)}, last)
    last = add("prefinal.affine", _affine(network.wide.weight, network.wide.bias), last)
    last = relu("prefinal", last, network.normalise1)
    last = add("prefinal.linear", {"type": "LinearComponent", "Params": _array(network.last)}, last)
    last = add("prefinal.batchnorm2", _normalised(network.normalise2), last)
    last = add("output.affine", _affine(network.out.weight, network.out.bias), last)
    config.append(f"output-node name=output input={last} objective=linear")
    return Model(chain, tuple(config), components, CONTEXT, CONTEXT)


def _affine(weight: Tensor, bias: Tensor) -> Component:
    return {"type": "NaturalGradientAffineComponent", "LinearParams": _array(weight), "BiasParams": _array(bias)}


def _normalised(module: Normalise) -> Component:
    size = len(module.mean)
    statistics = {"StatsMean": _array(module.mean), "StatsVar": _array(module.variance)}
    return {"type": "BatchNormComponent", "Dim": size, "BlockDim": size, **statistics}


def _array(values: Tensor) -> npt.NDArray[np.float32]:
    found: npt.NDArray[np.float32] = values.detach().cpu().numpy()
    return found


def _linear(component: Component) -> nn.Linear:
    weight = _tensor(component["LinearParams"])
    made = nn.Linear(weight.shape[1], weight.shape[0])
    made.weight.data, made.bias.data = weight, _tensor(component["BiasParams"])
    return made


def _tensor(values: Sequence[float] | npt.NDArray[Any]) -> Tensor:
    return torch.tensor(np.asarray(values, dtype=np.float32))
