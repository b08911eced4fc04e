"""The network of the built-in recogniser: sound to the encoder's output, and that to texts by its decoder.

Its weights are those of a Python package, run by CTranslate2.
"""

import math
from collections.abc import Iterable

import ctranslate2
import numpy as np
import numpy.typing as npt
from faster_whisper.feature_extractor import FeatureExtractor
from tokenizers import Tokenizer

from assistant.devices.endpoint import FRAME, Pauses, speech_probability
from assistant.devices.ports import RATE_HZ, Samples
from assistant.devices.weights import checked, manifest

_NAME = "built-in"
_FRAMES_PER_S = 100
_STATES_PER_S = 50
_FULL_STATES = 1500
"""The decoder was trained on 30 s of encoder output; on less it repeats itself ("six five six five ...")."""
START = (50257, 50362)
"""start of transcript, no timestamps: the English-only weights have no language or task token."""
END = 50256
_VOCABULARY = 51864
LONGEST_TOKENS = 28
LEAD_S, TAIL_S = 0.3, 0.5
"""Silence that the encoder gets before and after a sound."""
PEAK = 0.5
"""The level that every sound is brought to."""
_QUIETEST = 1e-4
_BEAM = 6
_FASTER = 1.07
_SPEECH = Pauses().speech_above


class Network:
    """Encoder and decoder. Raises BadData when the weights are missing or are not the listed ones."""

    def __init__(self, threads: int = 2) -> None:
        weights = manifest()[_NAME]
        place = checked(weights)
        self._name = f"{weights.title} {weights.sha256['model.bin'][:8]}"
        self._model = ctranslate2.models.Whisper(str(place), device="cpu", compute_type="int8", intra_threads=threads)
        self._features = FeatureExtractor(feature_size=80)
        self._tokens = Tokenizer.from_file(str(place / "tokenizer.json"))
        self._silence = self._encoded(np.zeros(_FULL_STATES // _STATES_PER_S * RATE_HZ, dtype=np.float32))

    @property
    def name(self) -> str:
        """Title of the weights and the beginning of their hash: `tiny.en 1a5afae0`."""
        return self._name

    def states(self, speech: Samples) -> npt.NDArray[np.float32]:
        """The encoder's output for the sound with a little silence around it, shape (1, frames, 384), 50 frames a second."""
        seconds = min(math.ceil(len(speech) / RATE_HZ + LEAD_S + TAIL_S), _FULL_STATES // _STATES_PER_S)
        sound = np.zeros(seconds * RATE_HZ, dtype=np.float32)
        lead = round(LEAD_S * RATE_HZ)
        part = speech[: len(sound) - lead]
        sound[lead : lead + len(part)] = part
        return self._encoded(sound)

    def with_silence(self, states: npt.NDArray[np.float32]) -> ctranslate2.StorageView:
        """The encoder's output for the sound, followed by its output for silence up to the length it was trained on.

        Encoding only what holds sound takes a third of the time of encoding 30 s, and the decoder sees what it knows.
        """
        joined = np.concatenate([states, self._silence[:, states.shape[1] :]], axis=1)
        return ctranslate2.StorageView.from_array(np.ascontiguousarray(joined))

    def _encoded(self, sound: Samples) -> npt.NDArray[np.float32]:
        frames = len(sound) * _FRAMES_PER_S // RATE_HZ
        features = self._features(sound, padding=0)[None, :, :frames]
        states = self._model.encode(
            ctranslate2.StorageView.from_array(np.ascontiguousarray(features, dtype=np.float32))
        )
        return np.array(states, dtype=np.float32)

    def tokens_without(self, words: Iterable[str]) -> list[int]:
        """Every token that spelling one of the words needs not; the end of a text is always needed."""
        wanted = {END}
        for word in words:
            wanted.update(self._tokens.encode(f" {word}", add_special_tokens=False).ids)
        return [token for token in range(_VOCABULARY) if token not in wanted]

    def decoded(
        self, states: ctranslate2.StorageView, suppressed: list[int] | None, after: str = ""
    ) -> list[tuple[str, float]]:
        """The likeliest texts, best first, with their natural-log chances; without the suppressed tokens where there are any.

        `after` is taken as said already: every text begins with it.
        """
        begun = self._tokens.encode(f" {after}", add_special_tokens=False).ids if after else []
        result = self._model.generate(
            states,
            [[*START, *begun]],
            beam_size=_BEAM,
            num_hypotheses=_BEAM,
            return_scores=True,
            length_penalty=0,
            max_length=LONGEST_TOKENS,
            suppress_tokens=[-1] if suppressed is None else suppressed,
        )[0]
        texts = self._tokens.decode_batch(result.sequences_ids)
        return [(text, float(score)) for text, score in zip(texts, result.scores, strict=True) if math.isfinite(score)]


def spoken_part(samples: Samples) -> Samples:
    """The stretch that holds speech with a little around it, at an even level; empty when there is none."""
    sound = np.clip(np.nan_to_num(samples, nan=0.0, posinf=1.0, neginf=-1.0), -1.0, 1.0).astype(np.float32)
    if not len(sound):
        return sound
    frames = np.flatnonzero(speech_probability(sound) > _SPEECH)
    if not len(frames):
        return sound[:0]
    margin = round(LEAD_S * RATE_HZ)
    part = sound[max(0, int(frames[0]) * FRAME - margin) : (int(frames[-1]) + 1) * FRAME + margin]
    return part * np.float32(PEAK / max(float(np.abs(part).max()), _QUIETEST))


def faster(speech: Samples) -> Samples:
    """The same sound a little shorter and higher: another look for a network that is easily thrown off."""
    count = round(len(speech) / _FASTER)
    return np.asarray(np.interp(np.arange(count) * _FASTER, np.arange(len(speech)), speech), dtype=np.float32)
