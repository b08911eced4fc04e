"""The letters: a small network over the encoder of the built-in recogniser, learned on the same sounds as the Vosk model.

The encoder stays as it is: many real people taught it, which is what synthetic voices cannot do. Its weights are read from the
package that brings them and run here by PyTorch; the program runs the same by CTranslate2. `assistant/devices/letters.py` runs
what is learned here, with numpy.
"""

import copy
import math
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import torch
from faster_whisper.feature_extractor import FeatureExtractor
from torch import Tensor, nn
from torch.nn import functional

from assistant.devices.letters import DILATIONS, STATES, SYMBOLS, TAPS, codes, greedy
from assistant.devices.network import LEAD_S, PEAK, TAIL_S
from assistant.devices.ports import RATE_HZ
from assistant.devices.tuned import stored
from models.recipe import places, voices
from models.recipe.sounds import Bank, Sound
from models.recipe.train import CHECK_EVERY, ROUND, Draws, Plan, in_order, keep, move, pace

WIDTH = 288
PACE = 2e-3
DECAY = 0.02
DROP = 0.15
UNSURE = 0.2
"""Noise on what the encoder gives (standard deviation): the program runs it in eight bits, training in more."""
GONE_FRAMES, GONE_NUMBERS = 3, 1
"""In every sound so many stretches of up to 4 frames, and of up to 47 of a frame's numbers, are put to 0."""
_HEADS = 6


class Encoder(nn.Module):
    """Sound at RATE_HZ, (sounds, samples), to 384 numbers fifty times a second, (sounds, frames, 384)."""

    def __init__(self, path: Path, parts: tuple[str, ...] = ("encoder/",)) -> None:
        """`path` is the model.bin of the package that brings the weights. Raises ValueError for another kind of file."""
        super().__init__()
        try:
            for name, values in stored(path.read_bytes()):
                if name.startswith(parts) and values.ndim:
                    self.register_buffer(plain(name), torch.from_numpy(values.astype(np.float32)))
        except ValueError as error:
            raise ValueError(f"{path}: {error}; expected the weights that the package brings") from None
        self.register_buffer(
            "bins", torch.from_numpy(FeatureExtractor.get_mel_filters(RATE_HZ, 400, 80).astype(np.float32))
        )
        self.register_buffer("window", torch.hann_window(400))

    def forward(self, sound: Tensor) -> Tensor:
        power = torch.stft(sound, 400, 160, window=self.window, return_complex=True)[..., :-1].abs().pow(2)
        mels = (self.bins @ power).clamp_min(1e-10).log10()
        mels = (torch.maximum(mels, mels.amax((1, 2), keepdim=True) - 8) + 4) / 4
        wide = functional.conv1d(
            mels, self.changed("encoder/conv1/weight"), self.changed("encoder/conv1/bias"), padding=1
        )
        weight, bias = self.changed("encoder/conv2/weight"), self.changed("encoder/conv2/bias")
        hidden = functional.gelu(functional.conv1d(functional.gelu(wide), weight, bias, stride=2, padding=1)).transpose(
            1, 2
        )
        hidden = hidden + self.changed("encoder/position_encodings/encodings")[: hidden.shape[1]]
        layer = 0
        while hasattr(self, plain(f"encoder/layer_{layer}/ffn/linear_0/weight")):
            hidden = self.with_itself(hidden, f"encoder/layer_{layer}/self_attention", causal=False)
            hidden = self.fed(hidden, f"encoder/layer_{layer}/ffn")
            layer += 1
        return self.normal(hidden, "encoder/layer_norm")

    def changed(self, name: str) -> Tensor:
        """The stored numbers of that name; another network may learn changes of them."""
        return self.get_buffer(plain(name))

    def with_itself(self, hidden: Tensor, name: str, *, causal: bool) -> Tensor:
        """Self-attention, added to what goes in; `causal` where no place may look at later ones."""
        seen = self.linear(self.normal(hidden, f"{name}/layer_norm"), f"{name}/linear_0")
        return hidden + self.linear(self.attended(*self.heads(seen, 3), causal=causal), f"{name}/linear_1")

    def fed(self, hidden: Tensor, name: str) -> Tensor:
        """The two wide layers after it, added to what goes in."""
        wide = functional.gelu(self.linear(self.normal(hidden, f"{name}/layer_norm"), f"{name}/linear_0"))
        return hidden + self.linear(wide, f"{name}/linear_1")

    @staticmethod
    def heads(joined: Tensor, parts: int) -> Tensor:
        """(sounds, places, parts * 384) to (parts, sounds, heads, places, 64)."""
        return joined.unflatten(-1, (parts, _HEADS, -1)).permute(2, 0, 3, 1, 4)

    @staticmethod
    def attended(asked: Tensor, keys: Tensor, values: Tensor, *, causal: bool) -> Tensor:
        """What every place finds among the values, (sounds, places, 384)."""
        found = functional.scaled_dot_product_attention(asked, keys, values, is_causal=causal)
        return found.transpose(1, 2).flatten(2)

    def linear(self, hidden: Tensor, name: str) -> Tensor:
        """One matrix and its bias."""
        return functional.linear(hidden, self.changed(f"{name}/weight"), self.changed(f"{name}/bias"))

    def normal(self, hidden: Tensor, name: str) -> Tensor:
        """Layer normalisation."""
        return functional.layer_norm(hidden, (STATES,), self.changed(f"{name}/gamma"), self.changed(f"{name}/beta"))


def plain(name: str) -> str:
    """A stored name as PyTorch lets a buffer be named."""
    return name.replace("/", "__")


class Letters(nn.Module):
    """The network of `assistant/devices/letters.py`: convolutions, each of which sees the sum of those before it.

    Takes (sounds, frames, 384) and gives the natural-log chance of every symbol in every frame, (sounds, frames, 29).
    """

    def __init__(self) -> None:
        super().__init__()
        self.norm0 = nn.LayerNorm(STATES)
        for layer, (taps, dilation) in enumerate(zip(TAPS, DILATIONS, strict=True), 1):
            before, reach = STATES if layer == 1 else WIDTH, taps // 2 * dilation
            setattr(self, f"conv{layer}", nn.Conv1d(before, WIDTH, taps, padding=reach, dilation=dilation))
            setattr(self, f"norm{layer}", nn.LayerNorm(WIDTH))
        self.out = nn.Linear(WIDTH, len(SYMBOLS))

    def forward(self, states: Tensor) -> Tensor:
        hidden, kept = self.norm0(states), torch.zeros((), device=states.device)
        for layer in range(1, len(TAPS) + 1):
            seen = functional.dropout(hidden, DROP, self.training).transpose(1, 2)
            kept = kept + torch.relu(getattr(self, f"conv{layer}")(seen).transpose(1, 2))
            hidden = getattr(self, f"norm{layer}")(kept)
        chances: Tensor = self.out(hidden).log_softmax(-1)
        return chances


def framed(heard: Tensor, lengths: Sequence[int]) -> Tensor:
    """The sounds much as the program gives them to the encoder: at one level, silence before and after, whole seconds.

    All are as long as the longest needs, so shorter ones have more silence behind them than there.

    `heard` is (sounds, samples), `lengths` how many of them count.
    """
    before = round(LEAD_S * RATE_HZ)
    size = math.ceil(heard.shape[1] / RATE_HZ + LEAD_S + TAIL_S) * RATE_HZ
    live = torch.arange(heard.shape[1], device=heard.device)[None] < torch.tensor(lengths, device=heard.device)[:, None]
    counted = heard * live
    level = counted * (PEAK / counted.abs().amax(1, keepdim=True).clamp_min(1e-4))
    return functional.pad(level, (before, size - before - heard.shape[1]))


def train(encoder: Encoder, work: Path, plan: Plan) -> None:
    """Learns as planned, with a running mean of the weights, kept in WORK/letters.npz and WORK/letters.pt."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(plan.seed)
    encoder, network = encoder.to(device).eval(), Letters().to(device)
    mean = copy.deepcopy(network)
    optimiser = torch.optim.AdamW(network.parameters(), PACE, weight_decay=DECAY)
    parts: dict[str, nn.Module | torch.optim.Optimizer] = {"network": network, "mean": mean, "optimiser": optimiser}
    kept, done, spent = work / "letters.pt", 0, 0.0
    if kept.exists():
        state = torch.load(kept, map_location=device)
        for name, part in parts.items():
            part.load_state_dict(state[name])
        done, spent = state["done"], state["spent"]
    began, losses = time.monotonic() - spent, list[Tensor]()

    def share() -> float:
        return max(done / plan.steps, (time.monotonic() - began) / 60 / plan.minutes)

    while share() < 1:
        speech = voices.read(work / "speech")
        bank, held = (Bank(*speech, held=held) for held in (False, True))
        samples = torch.from_numpy(bank.samples).to(device)
        network.train()
        for number, sounds in in_order(Draws(bank, plan.seed, plan.seconds), done, done + ROUND, plan.workers):
            now = share()
            if now >= 1:
                break
            heard = places.heard(samples, bank.crowd, sounds, np.random.default_rng([plan.seed, number, 1]))
            loss = loss_of(network, worn(_encoded(encoder, heard, sounds)), sounds)
            for group in optimiser.param_groups:
                group["lr"] = PACE * plan.rate * pace(now)
            optimiser.zero_grad()
            loss.backward()  # type: ignore[no-untyped-call]
            nn.utils.clip_grad_norm_(network.parameters(), 1.0)
            optimiser.step()
            losses.append(loss.detach())
            done += 1
            move(mean, network, done)
            if done % CHECK_EVERY == 0:
                spent = time.monotonic() - began
                figures = f"letters, step {done}: loss {float(torch.stack(losses).mean()):.4f}, {spent:.0f} s"
                sys.stderr.write(f"{figures}, held {checked(encoder, mean, held, plan.seed)}\n")
                losses.clear()
                keep(kept, parts, done, spent)
    keep(kept, parts, done, time.monotonic() - began)
    save(mean, work / "letters.npz")


def _encoded(encoder: Encoder, heard: Tensor, sounds: Sequence[Sound]) -> Tensor:
    with torch.no_grad():
        states: Tensor = encoder(framed(heard, [sound.length for sound in sounds]))
    return states


def worn(states: Tensor) -> Tensor:
    """What the encoder gave, with noise and with some of it gone."""
    count, frames, numbers = states.shape
    states = states + UNSURE * torch.randn_like(states)

    def gone(size: int, longest: int) -> Tensor:
        first = torch.randint(size, (count, 1), device=states.device)
        length = torch.randint(longest + 1, (count, 1), device=states.device)
        at = torch.arange(size, device=states.device)[None]
        return (at >= first) & (at < first + length)

    for _ in range(GONE_FRAMES):
        states = states.masked_fill(gone(frames, 4)[:, :, None], 0)
    for _ in range(GONE_NUMBERS):
        states = states.masked_fill(gone(numbers, 47)[:, None, :], 0)
    return states


def loss_of(network: Letters, states: Tensor, sounds: Sequence[Sound]) -> Tensor:
    """Minus the natural-log chance of the texts by CTC, for each letter, the mean over sounds."""
    wanted = [codes(sound.text) or [] for sound in sounds]
    chances = network(states).transpose(0, 1)
    flat = torch.tensor([code for each in wanted for code in each], device=states.device)
    frames = torch.full((len(sounds),), len(chances), dtype=torch.long)
    sizes = torch.tensor([len(each) for each in wanted])
    return functional.ctc_loss(chances, flat, frames, sizes, zero_infinity=True)


def checked(encoder: Encoder, network: Letters, bank: Bank, seed: int) -> str:
    """The loss, and the share spelled right, on sounds of people and voices that were held out; the same every time."""
    device = next(network.parameters()).device
    network.eval()
    chance = np.random.default_rng(seed)
    every = [bank.sound(chance) for _ in range(768)]
    samples = torch.from_numpy(bank.samples).to(device)
    found = []
    for engine in sorted({sound.engine for sound in every} - {"none"}):
        sounds = [sound for sound in every if sound.engine == engine][:96]
        with torch.no_grad():
            states = _encoded(encoder, places.heard(samples, bank.crowd, sounds, np.random.default_rng(seed)), sounds)
            loss = float(loss_of(network, states, sounds))
            spelled = [greedy(chances) for chances in network(states).cpu().numpy()]
        right = sum(text == sound.text for text, sound in zip(spelled, sounds, strict=True))
        found.append(f"{engine} {loss:.3f} {right}/{len(sounds)}")
    return ", ".join(found)


def save(network: Letters, path: Path) -> None:
    """The weights in half precision, whole or not at all."""
    arrays = {name: value.cpu().numpy().astype(np.float16) for name, value in network.state_dict().items()}
    with path.with_suffix(".part").open("wb") as stream:
        np.savez_compressed(stream, **arrays)  # type: ignore[arg-type]
    path.with_suffix(".part").replace(path)


def load(network: Letters, path: Path) -> None:
    """Weights that were saved."""
    with np.load(path) as arrays:
        network.load_state_dict({name: torch.from_numpy(arrays[name].astype(np.float32)) for name in arrays.files})
