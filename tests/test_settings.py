"""Settings: where each value comes from, mistakes that are named and passed over, a changed voice that is kept."""

import json
import sys
import tempfile
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
import tomlkit
from depth import any_text
from hearings import vosk_folder
from hypothesis import given
from hypothesis import strategies as st

from assistant.__main__ import main
from assistant.devices import engines, speaker
from assistant.devices.speaker import Silent
from assistant.errors import BadInput
from assistant.language.meaning import Hearing
from assistant.settings import KEYS, VARIABLE, load, remember, settings_path


@pytest.fixture(autouse=True)
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(VARIABLE, str(tmp_path / "own" / "settings.toml"))
    return tmp_path / "own" / "settings.toml"


VALUES = st.booleans() | st.integers(-1000, 1000) | st.floats(allow_nan=False) | any_text(8)


def settings_files() -> st.SearchStrategy[dict[str, Any]]:
    """What may stand in a settings file, wrong things too."""
    keys = st.sampled_from(["rate", "input", "odd", "a b", "[x]", ""])
    inside = st.dictionaries(keys, VALUES | st.lists(VALUES, max_size=2), max_size=3)
    return st.dictionaries(
        keys, VALUES | st.lists(VALUES, max_size=2) | inside | st.lists(inside, max_size=2), max_size=4
    )


def written(path: Path, text: str) -> None:
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")


def test_an_option_counts_more_than_the_file_and_the_file_more_than_the_default(path: Path) -> None:
    written(path, 'rate = 300\ninput = "desk"\npatience = 2\nheadset = true\n')
    found = load({"input": "headset", "output": None})
    assert (found.text("input"), found.source("input")) == ("headset", "--input")
    assert (found.whole("rate"), found.source("rate")) == (300, str(path))
    assert (found.whole("volume"), found.source("volume")) == (100, "default")
    assert (found.number("patience"), found.on("headset"), found.on("tones")) == (2.0, True, True)
    assert found.text("output") == ""
    assert found.problems == ()


def test_no_file_is_no_mistake(path: Path) -> None:
    found = load({})
    assert {key: each.value for key, each in found.values.items()} == {
        key: known.default for key, known in KEYS.items()
    }
    assert found.problems == ()
    assert settings_path() == path


def test_without_the_variable_it_lies_in_the_users_own_folder(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(VARIABLE)
    assert settings_path().name == "settings.toml"
    assert "ohmaloud" in settings_path().parts


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("rate = 50", "rate: found 50, expected words a minute from 120 to 450. It stays as usual (175)."),
        ("rate = 180.5", "rate: found 180.5, expected words a minute"),
        ("rate = true", "rate: found True, expected words a minute"),
        ('rate = "fast"', "rate: found 'fast', expected words a minute"),
        ("headset = 1", "headset: found 1, expected true or false. It stays as usual (False)."),
        ("input = 3", "input: found 3, expected the name of a microphone, or a part of it. It stays as usual (empty)."),
        ('engine = "abacus"', "engine: found 'abacus', expected one of built-in, vosk, both."),
        (
            'vosk_model = "/nope"',
            "vosk_model: found '/nope' (no such folder), expected the folder of a Vosk model. The usual one is used.",
        ),
        ('vosk_model = "/"', "vosk_model: found '/' (this is no usable Vosk model: am/final.mdl, conf/mfcc.conf, "),
        (f'vosk_model = "{"x" * 300}"', "(File name too long), expected the folder of a Vosk model."),
        ("patience = 11", "patience: found 11, expected a number from 1 to 10."),
        ("colour = 1", "colour: found an unknown setting, expected one of input, output, "),
        ("rate = = 1", "expected TOML, as: rate = 200. All settings are as usual."),
    ],
)
def test_a_mistake_is_named_and_everything_else_holds(path: Path, line: str, message: str) -> None:
    written(path, f"volume = 60\n{line}\n")
    found = load({})
    (problem,) = found.problems
    assert message in problem.line()
    assert str(path) in problem.line()
    assert found.whole("volume") == (100 if "= =" in line else 60)
    assert found.whole("rate") == 175


def test_a_file_that_cannot_be_read_is_named(path: Path) -> None:
    path.mkdir(parents=True)
    (problem,) = load({}).problems
    assert "expected a file that can be read" in problem.line()
    path.rmdir()
    path.write_bytes(b"\xff\xfe")
    (problem,) = load({}).problems
    assert "bytes that are no UTF-8" in problem.line()


def test_a_changed_voice_is_kept_and_everything_else_in_the_file_stays(path: Path) -> None:
    remember(path, {"rate": 200})
    assert load({}).whole("rate") == 200
    written(path, '# mine\nrate = 200\ninput = "desk"\n[odd]\nx = 1\n')
    remember(path, {"rate": 250, "volume": 80, "tones": False})
    remember(path, {"input": 'the "desk" Ω'})
    assert (
        path.read_text()
        == '# mine\nrate = 250\ninput = "the \\"desk\\" Ω"\nvolume = 80\ntones = false\n\n[odd]\nx = 1\n'
    )
    assert (load({}).whole("rate"), load({}).whole("volume"), load({}).on("tones")) == (250, 80, False)
    assert load({}).text("input") == 'the "desk" Ω'
    assert list(path.parent.iterdir()) == [path]


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ('"rate" = 200 # quick\n', '"rate" = 225 # quick\n'),
        ("rate=2_00  # quick", "rate=225  # quick"),
        ("odd = [\n[1, 2],\n[3],\n]\n", "odd = [\n[1, 2],\n[3],\n]\nrate = 225\n"),
        ('odd = """\nrate = 200\n"""\n', 'odd = """\nrate = 200\n"""\nrate = 225\n'),
        ("[odd]\nrate = 200\n", "rate = 225\n\n[odd]\nrate = 200\n"),
        ("# mine\r\nrate = 200 # quick\r\nvolume = 80\r\n", "# mine\r\nrate = 225 # quick\r\nvolume = 80\r\n"),
        ("\N{BYTE ORDER MARK}rate = 200\n", "\N{BYTE ORDER MARK}rate = 225\n"),
        ("", "rate = 225\n"),
    ],
)
def test_nothing_but_the_value_changes_in_a_file_written_by_hand(path: Path, before: str, after: str) -> None:
    path.parent.mkdir()
    path.write_bytes(before.encode())
    remember(path, {"rate": 225})
    assert path.read_bytes().decode() == after
    assert load({}).whole("rate") == 225


@given(settings_files(), st.dictionaries(st.sampled_from(["rate", "input", "tones", "patience"]), VALUES, min_size=1))
def test_whatever_is_in_the_file_stays_and_what_is_changed_is_there(
    old: dict[str, Any], changes: dict[str, Any]
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "settings.toml"
        path.write_text(tomlkit.dumps(old), encoding="utf-8")
        remember(path, changes)
        assert tomllib.loads(path.read_text(encoding="utf-8")) == old | changes


def test_what_cannot_be_changed_alone_is_left(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    written(path, "rate = 200\nvolume = 80\n")
    monkeypatch.setattr(tomlkit, "dumps", lambda _: "rate = 225\n")
    with pytest.raises(BadInput, match="rate cannot be changed without touching the rest; write it there yourself"):
        remember(path, {"rate": 225})
    assert path.read_text() == "rate = 200\nvolume = 80\n"


@pytest.mark.parametrize("content", [b"rate = = 1\n", b"rate = 1\nrate = 2\n", b"\xff\xfe"])
def test_a_file_with_mistakes_is_not_written_over(path: Path, content: bytes) -> None:
    path.parent.mkdir()
    path.write_bytes(content)
    with pytest.raises(BadInput, match="has mistakes in it and was left alone"):
        remember(path, {"rate": 250})
    assert path.read_bytes() == content
    assert list(path.parent.iterdir()) == [path]


def test_the_command_shows_every_setting_its_source_and_what_it_is_for(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    written(path, "rate = 300\nrat = 3\n")
    assert main(["settings"]) == 0
    shown = capsys.readouterr()
    assert shown.out == ""
    assert f"rate = 300 (from: {path}): how fast it speaks, words a minute; words a minute from 120 to 450" in shown.err
    assert "tones = true (from: default)" in shown.err
    assert "input = empty (from: default)" in shown.err
    assert "rat: found an unknown setting" in shown.err
    assert all(f"{key} = " in shown.err for key in KEYS)


def test_the_command_gives_machines_one_object(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["settings", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["file"] == str(path)
    assert found["settings"]["rate"] == {"value": 175, "source": "default"}
    assert found["problems"] == []
    assert set(found["settings"]) == set(KEYS)
    assert sys.stdout is not None


def test_a_typed_session_takes_meter_and_rate_from_the_settings(run: Any, path: Path, tmp_path: Path) -> None:
    written(path, 'meter = "fine"\nrate = 300\n')
    done = run("chat", "--data", str(tmp_path / "data"), typed="faster\nstop\n")
    assert "Speaking at 325 words a minute." in done.err
    (record,) = (tmp_path / "data").glob("*/journal.jsonl")
    assert '"meter":"fine"' in record.read_text()
    written(path, 'meter = "sundial"\n')
    done = run("chat", "--data", str(tmp_path / "data"), typed="stop\n")
    assert f"no meter 'sundial' ({path}): there are auto, fine, pocket. It will be asked." in done.err
    assert done.status == 0


@pytest.mark.slow
def test_a_recorded_session_takes_engine_voice_and_rate_from_the_settings(
    run: Any, path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[object] = []

    class Deaf:
        name = "deaf"

        def hear(self, _samples: object, _expectation: object) -> Hearing:
            return Hearing((), self.name)

    def opened(engine: str | None, _lexicon: object, model: Path | None) -> Deaf:
        asked.append((engine, model))
        return Deaf()

    class Mute(Silent):
        def __init__(self, voice: str | None = None, **_: object) -> None:
            asked.append(voice)

        def render(self, text: str, rate_wpm: int) -> bytes | None:  # noqa: ARG002
            asked.append(rate_wpm)
            return None

    monkeypatch.setattr(engines, "open_recogniser", opened)
    monkeypatch.setattr(speaker, "Voice", Mute)
    place = vosk_folder(tmp_path)
    written(path, f'engine = "vosk"\nvosk_model = "{place.as_posix()}"\nvoice = "deep"\nrate = 300\n')
    soundfile.write(tmp_path / "a.wav", np.zeros(16_000, dtype=np.float32), 16_000)
    given = ("listen", str(tmp_path / "a.wav"), "--data", str(tmp_path / "data"), "--say-to", str(tmp_path / "say"))
    assert run(*given).status == 0
    assert asked[:3] == [("vosk", place), "deep", 300]
    asked.clear()
    assert run(*given, "--engine", "built-in").status == 0
    assert asked[0] == ("built-in", place)
