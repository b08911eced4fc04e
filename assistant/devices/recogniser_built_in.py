"""The built-in recogniser: the tiny.en weights of a Python package, run by CTranslate2. Nothing else to fetch.

It listens in three ways to one encoding of the sound: the decoder held to the words that make values and single-word
answers (`limited`, which spells "four point seven"), the decoder free to write anything (`free`, which writes "4.7"), and
our own network that spells frame by frame (`letters`). Their agreement is the evidence; `language.certainty` weighs it.
"""

import math
from dataclasses import replace

import ctranslate2
import numpy as np
import numpy.typing as npt
from faster_whisper.feature_extractor import FeatureExtractor
from tokenizers import Tokenizer

from assistant.devices.endpoint import FRAME, Pauses, speech_probability
from assistant.devices.letters import Letters
from assistant.devices.ports import RATE_HZ, Samples
from assistant.devices.speller import Speller
from assistant.devices.spelling import spelled
from assistant.devices.weights import checked, manifest
from assistant.language.certainty import sure_at_once
from assistant.language.lexicon import Lexicon
from assistant.language.meaning import Alternative, Expectation, Hearing, Word

_NAME = "built-in"
_LETTERS = "letters"
_FRAMES_PER_S = 100
_STATES_PER_S = 50
_FULL_STATES = 1500
"""The decoder was trained on 30 s of encoder output; on less it repeats itself ("six five six five ...")."""
_START = (50257, 50362)
"""start of transcript, no timestamps: the English-only weights have no language or task token."""
_END = 50256
_VOCABULARY = 51864
_LONGEST_TOKENS = 28
_LEAD_S = 0.3
_TAIL_S = 0.5
_PEAK = 0.5
_QUIETEST = 1e-4
_BEAM = 6
_FASTER = 1.07
_SPEECH = Pauses().speech_above
_STRONG = frozenset({"k", "o"})
"""Single letters that are said in values; others ("a", "r", "n") swallow weak digits and are left to the free pass."""


class BuiltIn:
    """Satisfies `ports.Recogniser`. Raises BadData when weights are missing or are not the listed ones.

    Every sound is heard a second time, a little faster, unless the first listen is sure at once.
    """

    def __init__(self, lexicon: Lexicon, *, threads: int = 2) -> None:
        weights = manifest()[_NAME]
        folder = checked(weights)
        self._name = f"built-in {weights.title} {weights.sha256['model.bin'][:8]}"
        self._lexicon = lexicon
        self._model = ctranslate2.models.Whisper(str(folder), device="cpu", compute_type="int8", intra_threads=threads)
        self._features = FeatureExtractor(feature_size=80)
        self._tokens = Tokenizer.from_file(str(folder / "tokenizer.json"))
        self._letters = Letters(checked(manifest()[_LETTERS]) / "letters.npz")
        self._speller = Speller(lexicon)
        self._suppressed: dict[str, list[int]] = {}
        self._silence = self._encoded(np.zeros(_FULL_STATES // _STATES_PER_S * RATE_HZ, dtype=np.float32))

    @property
    def name(self) -> str:
        """Engine, model and the beginning of its hash: `built-in tiny.en 1a5afae0`."""
        return self._name

    def hear(self, samples: Samples, expectation: Expectation) -> Hearing:
        """Alternatives of every listen, each best first; none when nobody speaks. Scores are log probabilities."""
        duration_s = len(samples) / RATE_HZ
        speech = spoken_part(samples)
        if not len(speech):
            return Hearing((), self._name, duration_s)
        hearing = Hearing(self._listen(speech, expectation, ""), self._name, duration_s)
        if sure_at_once(hearing, expectation, self._lexicon):
            return hearing
        again = self._listen(_faster(speech), expectation, " again")
        return replace(hearing, alternatives=hearing.alternatives + again)

    def _listen(self, speech: Samples, expectation: Expectation, again: str) -> tuple[Alternative, ...]:
        """Both passes of the decoder over one encoding, and what the letters make of the same."""
        states = self.states(speech)
        whole = self._with_silence(states)
        limited = [
            _alternative(text.strip(), score, f"limited{again}")
            for text, score in self._decoded(whole, self._limit(expectation))
        ]
        free = [_alternative(spelled(text), score, f"free{again}") for text, score in self._decoded(whole, None)]
        others = [alternative.text for alternative in (*limited, *free)]
        words = core_words(self._lexicon, expectation)
        spelled_out = self._letters.log_probabilities(states[0])
        letters = self._speller.alternatives(spelled_out, expectation, words, others, f"letters{again}")
        return (*limited, *free, *letters)

    def states(self, speech: Samples) -> npt.NDArray[np.float32]:
        """The encoder's output for the sound with a little silence around it, shape (1, frames, 384), 50 frames a second."""
        seconds = min(math.ceil(len(speech) / RATE_HZ + _LEAD_S + _TAIL_S), _FULL_STATES // _STATES_PER_S)
        sound = np.zeros(seconds * RATE_HZ, dtype=np.float32)
        lead = round(_LEAD_S * RATE_HZ)
        part = speech[: len(sound) - lead]
        sound[lead : lead + len(part)] = part
        return self._encoded(sound)

    def _with_silence(self, states: npt.NDArray[np.float32]) -> ctranslate2.StorageView:
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

    def _decoded(self, states: ctranslate2.StorageView, suppressed: list[int] | None) -> list[tuple[str, float]]:
        result = self._model.generate(
            states,
            [list(_START)],
            beam_size=_BEAM,
            num_hypotheses=_BEAM,
            return_scores=True,
            length_penalty=0,
            max_length=_LONGEST_TOKENS,
            suppress_tokens=[-1] if suppressed is None else suppressed,
        )[0]
        texts = self._tokens.decode_batch(result.sequences_ids)
        return [(text, float(score)) for text, score in zip(texts, result.scores, strict=True) if math.isfinite(score)]

    def _limit(self, expectation: Expectation) -> list[int]:
        """Every token that no core word of the expectation needs; made once for each expectation."""
        if expectation.name not in self._suppressed:
            wanted = {_END}
            for word in core_words(self._lexicon, expectation):
                wanted.update(self._tokens.encode(f" {word}", add_special_tokens=False).ids)
            self._suppressed[expectation.name] = [token for token in range(_VOCABULARY) if token not in wanted]
        return self._suppressed[expectation.name]


def core_words(lexicon: Lexicon, expectation: Expectation) -> tuple[str, ...]:
    """The words of the limited pass: those of numbers, of units and of one-word answers and commands that are live.

    Longer phrases are left to the free pass: with every word of theirs in the list (330 instead of about 100) weak digits
    went to words like "it", and 129 of 150 commands came out right instead of 146.
    """
    wanted = {phrase[0] for phrase in lexicon.phrases(expectation) if len(phrase) == 1}
    wanted |= lexicon.numbers.words | {word for phrase in lexicon.units for word in phrase}
    return tuple(word for word in lexicon.words(expectation) if word in wanted and (len(word) > 1 or word in _STRONG))


def spoken_part(samples: Samples) -> Samples:
    """The stretch that holds speech with a little around it, at an even level; empty when there is none."""
    sound = np.clip(np.nan_to_num(samples, nan=0.0, posinf=1.0, neginf=-1.0), -1.0, 1.0).astype(np.float32)
    if not len(sound):
        return sound
    frames = np.flatnonzero(speech_probability(sound) > _SPEECH)
    if not len(frames):
        return sound[:0]
    margin = round(_LEAD_S * RATE_HZ)
    part = sound[max(0, int(frames[0]) * FRAME - margin) : (int(frames[-1]) + 1) * FRAME + margin]
    return part * np.float32(_PEAK / max(float(np.abs(part).max()), _QUIETEST))


def _faster(speech: Samples) -> Samples:
    """The same sound a little shorter and higher: another look for a network that is easily thrown off."""
    count = round(len(speech) / _FASTER)
    return np.asarray(np.interp(np.arange(count) * _FASTER, np.arange(len(speech)), speech), dtype=np.float32)


def _alternative(text: str, score: float, source: str) -> Alternative:
    return Alternative(tuple(Word(word) for word in text.split()), score, source)
