"""The words a Vosk model knows: how it writes them, and what it must know to be used at all."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import vosk

from assistant.data import texts
from assistant.devices.engines import open_recogniser
from assistant.devices.ports import RATE_HZ
from assistant.devices.recogniser_vosk import Vosk
from assistant.errors import BadInput
from assistant.language.lexicon import load_lexicon
from assistant.language.meaning import Expectation


class Capitals:
    """Stands for a model that writes every word in capitals."""

    def __init__(self, _place: str) -> None:
        pass

    def vosk_model_find_word(self, word: str) -> int:
        return 0 if word.isupper() else -1


class Listener:
    """Stands for a recogniser that always hears STOP; keeps the grammar it was given."""

    grammar: list[str]

    def __init__(self, _model: Capitals, _rate_hz: int, grammar: str) -> None:
        Listener.grammar = json.loads(grammar)

    def __getattr__(self, _name: str) -> Any:
        return lambda *_: True

    def FinalResult(self) -> str:  # noqa: N802 - the library's own name
        word = {"word": "STOP", "start": 0.3, "end": 0.6}
        return json.dumps({"alternatives": [{"text": "STOP", "confidence": 1.0, "result": [word]}]})


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that looks like a model's, read by the stand-ins."""
    for name in ("am/final.mdl", "conf/mfcc.conf", "graph/HCLr.fst", "graph/Gr.fst"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("a stand-in")
    monkeypatch.setattr(vosk, "Model", Capitals)
    monkeypatch.setattr(vosk, "KaldiRecognizer", Listener)
    return tmp_path


def test_words_are_given_as_the_model_writes_them_and_heard_in_small_letters(place: Path) -> None:
    recogniser = Vosk(place, load_lexicon(texts("grammar")))
    assert recogniser.knows("stop")
    assert not [word for word in recogniser.missing_words if not any(letter.isdigit() for letter in word)]
    hearing = recogniser.hear(np.full(RATE_HZ, 0.1, dtype=np.float32), Expectation("any"))
    assert [heard.text for heard in hearing.alternatives] == ["stop"]
    assert {"STOP", "LAST READING", "[unk]"} <= set(Listener.grammar)


def test_a_model_without_the_essential_words_is_refused_in_one_line(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lexicon = load_lexicon(texts("grammar"))
    assert isinstance(open_recogniser("vosk", lexicon, place), Vosk)
    monkeypatch.setattr(Capitals, "vosk_model_find_word", lambda _self, word: 0 if word == "STOP" else -1)
    for engine in ("vosk", "both"):
        with pytest.raises(
            BadInput, match=r"has no word for digit 0, digit 1, .* and more; use --engine built-in"
        ) as caught:
            open_recogniser(engine, lexicon, place)
        assert "\n" not in str(caught.value)
