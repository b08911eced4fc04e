"""The Vosk recogniser: a small model, held to sentences that make sense now.

The grammar given to Vosk is the list of generated sentences of the expectation plus `[unk]` for all other speech; it
learns from them which word follows which. One recogniser is kept for each expectation: changing the grammar of one
that has heard something may end the process.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import vosk

from assistant.devices.ports import RATE_HZ, Samples
from assistant.devices.vosk_folder import fault
from assistant.errors import BadInput
from assistant.language.lexicon import Lexicon
from assistant.language.meaning import Alternative, Expectation, Hearing, Word
from assistant.language.sentences import sentences

_OTHER_SPEECH = "[unk]"
_ALTERNATIVES = 8
_LONGEST_S = 9.0
"""On long other speech the search for alternatives grows without bounds; no utterance of ours is longer."""
_PEAK = 0.5
_SILENCE_S = 0.2


class Vosk:
    """Satisfies `ports.Recogniser`. Raises BadInput, one line, for a folder that is no usable model.

    `missing_words` are words of the lexicon that the model cannot hear; the sentences with them are left out. Models write
    words in small letters, capitals, or with a capital first; it is given them as it writes them, and heard in small letters.
    """

    def __init__(self, place: Path, lexicon: Lexicon, *, alternatives: int = _ALTERNATIVES) -> None:
        unusable = fault(place)
        if unusable:
            raise BadInput(unusable)
        vosk.SetLogLevel(-1)
        try:
            self._model = vosk.Model(str(place))
        except Exception:  # noqa: BLE001 - the library raises nothing narrower
            raise BadInput(f"{place}: this Vosk model cannot be loaded; unpack or fetch it again") from None
        self._name = f"vosk {place.resolve().name}"
        self._lexicon = lexicon
        self._alternatives = alternatives
        self._recognisers: dict[str, Any] = {}
        self._fed_s: dict[str, float] = {}
        self._written: dict[str, str | None] = {}
        self.missing_words = tuple(word for word in lexicon.vocabulary if not self.knows(word))

    @property
    def name(self) -> str:
        """Engine and model folder: `vosk numbers-prototype`."""
        return self._name

    def hear(self, samples: Samples, expectation: Expectation) -> Hearing:
        """Alternatives within the sentences of the expectation, best first. Only the first `_LONGEST_S` seconds are heard."""
        duration_s = len(samples) / RATE_HZ
        finite = np.nan_to_num(samples[: round(_LONGEST_S * RATE_HZ)], nan=0.0, posinf=0.0, neginf=0.0)
        peak = float(np.abs(finite).max(initial=0.0))
        if not peak:
            return Hearing((), self._name, duration_s)
        margin = np.zeros(round(_SILENCE_S * RATE_HZ))
        level = np.concatenate([margin, finite * (_PEAK / peak), margin])
        recogniser = self._recogniser(expectation)
        recogniser.AcceptWaveform((level * 32767).astype("<i2").tobytes())
        result = json.loads(recogniser.FinalResult())
        before_s = self._fed_s.get(expectation.name, 0.0)
        self._fed_s[expectation.name] = before_s + len(level) / RATE_HZ
        return Hearing(tuple(_alternatives(result, before_s)), self._name, duration_s)

    def _recogniser(self, expectation: Expectation) -> Any:  # noqa: ANN401 - the library has no types
        if expectation.name not in self._recognisers:
            lines = (
                [self._as_written(word) for word in line.split(" ")] for line in sentences(self._lexicon, expectation)
            )
            said = (" ".join(filter(None, words)) for words in lines if all(words))
            # Without ensure_ascii=False a word in another script reaches the model as an escape, and is "missing".
            grammar = json.dumps([*said, _OTHER_SPEECH], ensure_ascii=False)
            recogniser = vosk.KaldiRecognizer(self._model, RATE_HZ, grammar)
            recogniser.SetWords(True)  # noqa: FBT003 - the library's own signature
            recogniser.SetMaxAlternatives(self._alternatives)
            self._recognisers[expectation.name] = recogniser
        return self._recognisers[expectation.name]

    def knows(self, word: str) -> bool:
        """Whether the model can hear the word, however it writes it."""
        return self._as_written(word) is not None

    def _as_written(self, word: str) -> str | None:
        if word not in self._written:
            ways = (word, word.upper(), word.capitalize())
            self._written[word] = next((way for way in ways if self._model.vosk_model_find_word(way) >= 0), None)
        return self._written[word]


def _alternatives(result: dict[str, Any], before_s: float) -> list[Alternative]:
    """The alternatives of a result, word times from the start of the utterance: the library counts on from all it ever heard."""
    return [
        Alternative(
            tuple(
                Word(
                    word["word"].lower(),
                    word.get("conf"),
                    _within(word["start"] - before_s),
                    _within(word["end"] - before_s),
                )
                for word in choice.get("result", ())
            ),
            choice.get("confidence"),
            "vosk",
        )
        for choice in result.get("alternatives", ())
        if choice.get("text")
    ]


def _within(time_s: float) -> float:
    return round(max(0.0, time_s - _SILENCE_S), 3)
