"""The network of the built-in recogniser: sound to the encoder's output, and that to texts by its decoder.

Its weights are those of a Python package, as they are or with our own changes, run by CTranslate2.
"""

import math
from functools import cached_property

import ctranslate2
import numpy as np
import numpy.typing as npt
from faster_whisper.feature_extractor import FeatureExtractor
from tokenizers import Tokenizer

from assistant.devices.endpoint import FRAME, Pauses, speech_probability
from assistant.devices.ports import RATE_HZ, Samples
from assistant.devices.tuned import changed
from assistant.devices.weights import checked, manifest

_NAME, _TUNED = "built-in", "tuned"
_FILE = "model.bin"
_FRAMES_PER_S = 100
_STATES_PER_S = 50
_FULL_STATES = 1500
"""The decoder was trained on 30 s of encoder output; on less it repeats itself ("six five six five ...")."""
START = (50257, 50362)
"""start of transcript, no timestamps: the English-only weights have no language or task token."""
END = 50256
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
    """Encoder and decoder, as the package brings them or `tuned`. Raises BadData when weights are missing or are not the listed ones."""

    def __init__(self, threads: int = 2, *, tuned: bool = False) -> None:
        weights = manifest()
        place = checked(weights[_NAME])
        self._name = f"{weights[_NAME].title} {weights[_NAME].sha256[_FILE][:8]}"
        # What lies in memory is named beside the folder, which is then not looked into.
        files = {path.name: path.read_bytes() for path in place.iterdir() if path.is_file()} if tuned else None
        if files:
            changes = checked(weights[_TUNED]) / "tuned.npz"
            files[_FILE] = changed(files[_FILE], changes, place / _FILE)
            self._name = f"{weights[_TUNED].title} {weights[_TUNED].sha256[changes.name][:8]}"
        self._model = ctranslate2.models.Whisper(
            str(place), device="cpu", compute_type="int8", intra_threads=threads, files=files
        )
        self._features = FeatureExtractor(feature_size=80)
        self._tokens = Tokenizer.from_file(str(place / "tokenizer.json"))

    @property
    def name(self) -> str:
        """Title of the weights and the beginning of their hash: `tiny.en 1a5afae0`, of our changes where they are tuned."""
        return self._name

    @cached_property
    def silence(self) -> npt.NDArray[np.float32]:
        """The encoder's output for silence of the length that it was trained on, shape (1, 1500, 384)."""
        return self._encoded(np.zeros(_FULL_STATES // _STATES_PER_S * RATE_HZ, dtype=np.float32))

    def states(self, speech: Samples) -> npt.NDArray[np.float32]:
        """The encoder's output for the sound with a little silence around it, shape (1, frames, 384), 50 frames a second."""
        seconds = min(math.ceil(len(speech) / RATE_HZ + LEAD_S + TAIL_S), _FULL_STATES // _STATES_PER_S)
        sound = np.zeros(seconds * RATE_HZ, dtype=np.float32)
        lead = round(LEAD_S * RATE_HZ)
        part = speech[: len(sound) - lead]
        sound[lead : lead + len(part)] = part
        return self._encoded(sound)

    def with_silence(self, states: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        """The encoder's output for the sound, followed by its output for silence up to the length it was trained on.

        Encoding only what holds sound takes a third of the time of encoding 30 s, and the decoder sees what it knows.
        The tuned decoder was taught without.
        """
        return np.concatenate([states, self.silence[:, states.shape[1] :]], axis=1)

    def _encoded(self, sound: Samples) -> npt.NDArray[np.float32]:
        frames = len(sound) * _FRAMES_PER_S // RATE_HZ
        features = self._features(sound, padding=0)[None, :, :frames]
        states = self._model.encode(
            ctranslate2.StorageView.from_array(np.ascontiguousarray(features, dtype=np.float32))
        )
        return np.array(states, dtype=np.float32)

    def decoded(self, states: npt.NDArray[np.float32]) -> list[tuple[str, float]]:
        """The likeliest texts, best first, with their natural-log chances."""
        result = self._model.generate(
            ctranslate2.StorageView.from_array(np.ascontiguousarray(states)),
            [list(START)],
            beam_size=_BEAM,
            num_hypotheses=_BEAM,
            return_scores=True,
            length_penalty=0,
            max_length=LONGEST_TOKENS,
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
