"""Small changes of the built-in recogniser's weights, so that it hears numbers and the words of the bench better.

Every matrix of the encoder and of the decoder gets the product of two thin ones added. They are learned on the same sounds as
the Vosk model, together with the letters, which read the changed encoder's output. The decoder learns to write what is said
word for word ("four point seven"), and other talk as the words that it is. The weights that the package brings stay as they are;
`assistant/devices/tuned.py` adds the changes to a copy in memory.
"""

import copy
import math
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import torch
from tokenizers import Tokenizer
from torch import Tensor, nn
from torch.nn import functional

from assistant.devices.letters import greedy
from assistant.devices.network import END, LONGEST_TOKENS, START
from models.recipe import places, voices
from models.recipe.letters import DECAY, Encoder, Letters, framed, loss_of, plain, save, worn
from models.recipe.sounds import Bank, Sound
from models.recipe.train import CHECK_EVERY, ROUND, Draws, Plan, in_order, keep, move, pace

RANK = 16
"""Columns of the thin matrices."""
PACE, LETTERS_PACE = 6e-4, 6e-4
"""Greatest learning rates."""
_NONE = -100
"""Marks a place in a row of tokens that is not counted."""


class Tuned(Encoder):
    """The whole network of the package, encoder and decoder, with the changes that are learned.

    The changes of a matrix (outputs, inputs) are `up` (outputs, RANK) times `down` (RANK, inputs); they begin as nothing.
    """

    def __init__(self, path: Path) -> None:
        """`path` is the model.bin of the package. Raises ValueError for another kind of file."""
        super().__init__(path, parts=("encoder/", "decoder/"))
        self.up, self.down = nn.ParameterDict(), nn.ParameterDict()
        for name, weight in list(self.named_buffers()):
            if "linear" in name and name.endswith("weight"):
                self.up[name] = nn.Parameter(torch.zeros(len(weight), RANK))
                self.down[name] = nn.Parameter(torch.randn(RANK, weight.shape[1]) / math.sqrt(weight.shape[1]))

    def changed(self, name: str) -> Tensor:
        weight = super().changed(name)
        return weight + self.up[plain(name)] @ self.down[plain(name)] if plain(name) in self.up else weight

    def scores(self, states: Tensor, tokens: Tensor) -> Tensor:
        """What may come after each of the tokens: natural logs that are not yet chances, (sounds, tokens, vocabulary).

        `states` is the encoder's output (sounds, frames, 384), `tokens` whole numbers (sounds, tokens).
        """
        words = self.changed("decoder/embeddings/weight")
        hidden = words[tokens] + self.changed("decoder/position_encodings/encodings")[: tokens.shape[1]]
        layer = 0
        while hasattr(self, plain(f"decoder/layer_{layer}/ffn/linear_0/weight")):
            name = f"decoder/layer_{layer}"
            hidden = self.with_itself(hidden, f"{name}/self_attention", causal=True)
            hidden = self._with_sound(hidden, states, f"{name}/attention")
            hidden = self.fed(hidden, f"{name}/ffn")
            layer += 1
        return self.normal(hidden, "decoder/layer_norm") @ words.T

    def _with_sound(self, hidden: Tensor, states: Tensor, name: str) -> Tensor:
        asked = self.linear(self.normal(hidden, f"{name}/layer_norm"), f"{name}/linear_0")
        found = self.attended(
            self.heads(asked, 1)[0], *self.heads(self.linear(states, f"{name}/linear_1"), 2), causal=False
        )
        return hidden + self.linear(found, f"{name}/linear_2")

    def changes(self) -> dict[str, np.ndarray]:
        """The thin matrices by the names of the stored ones, `up NAME` and `down NAME`, in half precision."""
        return {
            f"{kind} {name.replace('__', '/')}": value.detach().cpu().numpy().astype(np.float16)
            for kind, values in (("up", self.up), ("down", self.down))
            for name, value in values.items()
        }


class Learner(nn.Module):
    """What learns: the changes and the letters."""

    def __init__(self, tuned: Tuned, letters: Letters, tokens: Tokenizer) -> None:
        super().__init__()
        self.tuned, self.letters, self.tokens = tuned, letters, tokens

    def losses(self, heard: Tensor, sounds: Sequence[Sound], *, wear: bool) -> tuple[Tensor, Tensor]:
        """Minus the natural-log chance of a token, the mean of all, and of a letter, the mean of sounds."""
        states = self.tuned(framed(heard, [sound.length for sound in sounds]))
        states = worn(states) if wear else states
        given, wanted = (rows.to(states.device) for rows in self.rows(sounds))
        scores = self.tuned.scores(states, given)
        written = functional.cross_entropy(scores.flatten(0, 1), wanted.flatten(), ignore_index=_NONE)
        return written, loss_of(self.letters, states, sounds)

    def rows(self, sounds: Sequence[Sound]) -> tuple[Tensor, Tensor]:
        """The tokens given to the decoder, and those that should come after them."""
        rows = [
            [*START, *(self.tokens.encode(f" {sound.text}", add_special_tokens=False).ids if sound.text else ()), END]
            for sound in sounds
        ]
        size = max(map(len, rows))
        given = torch.tensor([row[:-1] + [END] * (size - len(row)) for row in rows])
        wanted = torch.tensor(
            [[_NONE] * (len(START) - 1) + row[len(START) :] + [_NONE] * (size - len(row)) for row in rows]
        )
        return given, wanted

    def written(self, states: Tensor) -> list[str]:
        """The likeliest texts, token by token."""
        rows = torch.tensor([START] * len(states), device=states.device)
        while rows.shape[1] < LONGEST_TOKENS and not bool((rows == END).any(1).all()):
            rows = torch.cat([rows, self.tuned.scores(states, rows)[:, -1:].argmax(-1)], 1)
        ends = [[*row[len(START) :], END].index(END) for row in rows.tolist()]
        return [
            self.tokens.decode(row[len(START) :][:end]).strip() for row, end in zip(rows.tolist(), ends, strict=True)
        ]


def train(learner: Learner, work: Path, plan: Plan) -> None:
    """Learns as planned, with a running mean of the weights, kept in WORK/tuned.npz and WORK/letters.npz.

    Goes on where it was left; speech that is spoken meanwhile is taken in every ROUND steps.
    """
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.set_float32_matmul_precision("high")
    torch.manual_seed(plan.seed)
    learner = learner.to(device)
    mean = copy.deepcopy(learner)
    groups = [
        {"params": list(learner.tuned.parameters()), "most": PACE},
        {"params": list(learner.letters.parameters()), "most": LETTERS_PACE},
    ]
    optimiser = torch.optim.AdamW(groups, PACE, weight_decay=DECAY)
    parts: dict[str, nn.Module | torch.optim.Optimizer] = {"learner": learner, "mean": mean, "optimiser": optimiser}
    kept, done, spent = work / "tuned.pt", 0, 0.0
    if kept.exists():
        state = torch.load(kept, map_location=device)
        for name, part in parts.items():
            part.load_state_dict(state[name])
        done, spent = state["done"], state["spent"]
    began, losses = time.monotonic() - spent, list[Tensor]()

    def share() -> float:
        return max(done / plan.steps, (time.monotonic() - began) / 60 / plan.minutes)

    def told() -> None:
        figures = ", ".join(f"{value:.4f}" for value in torch.stack(losses).mean(0).tolist())
        held = checked(mean, bank_held, plan.seed)
        sys.stderr.write(f"tuned, step {done}: losses {figures}, {time.monotonic() - began:.0f} s, held {held}\n")

    while share() < 1:
        speech = voices.read(work / "speech")
        bank, bank_held = (Bank(*speech, held=held) for held in (False, True))
        samples = torch.from_numpy(bank.samples).to(device)
        learner.train()
        for number, sounds in in_order(Draws(bank, plan.seed, plan.seconds), done, done + ROUND, plan.workers):
            now = share()
            if now >= 1:
                break
            heard = places.heard(samples, bank.crowd, sounds, np.random.default_rng([plan.seed, number, 1]))
            both = learner.losses(heard, sounds, wear=True)
            for group in optimiser.param_groups:
                group["lr"] = group["most"] * plan.rate * pace(now)
            optimiser.zero_grad()
            sum(both).backward()  # type: ignore[union-attr]
            nn.utils.clip_grad_norm_(learner.parameters(), 1.0)
            optimiser.step()
            losses.append(torch.stack(both).detach())
            done += 1
            move(mean, learner, done)
            if done % CHECK_EVERY == 0:
                told()
                losses.clear()
                keep(kept, parts, done, time.monotonic() - began)
                _saved(mean, work)
    keep(kept, parts, done, time.monotonic() - began)
    _saved(mean, work)


def _saved(learner: Learner, work: Path) -> None:
    save(learner.letters, work / "letters.npz")
    with (work / "tuned.part").open("wb") as stream:
        np.savez_compressed(stream, **learner.tuned.changes())  # type: ignore[arg-type]
    (work / "tuned.part").replace(work / "tuned.npz")


def checked(learner: Learner, bank: Bank, seed: int) -> str:
    """For people and voices held out: both losses, and how many sounds are written and spelled right; always the same sounds."""
    device = next(learner.parameters()).device
    learner.eval()
    chance = np.random.default_rng(seed)
    every = [bank.sound(chance) for _ in range(768)]
    samples = torch.from_numpy(bank.samples).to(device)
    found = []
    for engine in sorted({sound.engine for sound in every} - {"none"}):
        sounds = [sound for sound in every if sound.engine == engine][:96]
        heard = places.heard(samples, bank.crowd, sounds, np.random.default_rng(seed))
        with torch.no_grad():
            losses = learner.losses(heard, sounds, wear=False)
            states = learner.tuned(framed(heard, [sound.length for sound in sounds]))
            written = learner.written(states)
            spelled = [greedy(chances) for chances in learner.letters(states).cpu().numpy()]
        right = [
            sum(text == sound.text for text, sound in zip(texts, sounds, strict=True)) for texts in (written, spelled)
        ]
        found.append(f"{engine} {losses[0]:.3f} {losses[1]:.3f} {right[0]}+{right[1]}/{len(sounds)}")
    return ", ".join(found)
