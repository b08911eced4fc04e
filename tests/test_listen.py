"""Sessions whose answers are recordings: heard by the real recogniser, answered in text and as WAV files, kept."""

import io
import json
import wave
from pathlib import Path

import pytest

from assistant import data
from assistant.__main__ import main
from assistant.commands import Terminal
from assistant.devices.speaker import Silent

RECORDINGS = data.folder("recordings")


class Moody:
    """A speaker that fails on demand; satisfies ports.Speaker."""

    def __init__(self) -> None:
        self.trouble: str | None = None
        self.closed = False

    def render(self, text: str, rate_wpm: int) -> bytes | None:
        return None if self.trouble else f"{text} {rate_wpm}".encode()

    def next_voice(self) -> str | None:
        return None

    def close(self) -> None:
        self.closed = True


def test_replies_are_numbered_after_those_that_are_there(tmp_path: Path) -> None:
    (tmp_path / "007.wav").write_bytes(b"old")
    outlet = Terminal(Moody(), tmp_path, io.StringIO())
    outlet.voice(225, 100)
    outlet.say("Hello.", whole=False)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["007.wav", "008.wav"]
    assert (tmp_path / "008.wav").read_bytes() == b"Hello. 225"


def test_a_voice_that_fails_is_told_once_and_tried_again(tmp_path: Path) -> None:
    lines, speaker = io.StringIO(), Moody()
    outlet = Terminal(speaker, tmp_path, lines)
    for trouble in ("It died.", "It died.", None, None):
        speaker.trouble = trouble
        outlet.say("Hello.", whole=True)
    assert lines.getvalue().splitlines() == ["Hello.", "It died.", "Hello.", "Hello.", "The voice is back.", "Hello."]
    assert len(list(tmp_path.iterdir())) == 2


def test_a_folder_that_takes_no_files_ends_the_speaking_not_the_session(tmp_path: Path) -> None:
    lines, speaker = io.StringIO(), Moody()
    outlet = Terminal(speaker, tmp_path / "gone", lines)
    outlet.say("Hello.", whole=False)
    outlet.say("Hello again.", whole=False)
    assert speaker.closed
    assert "cannot be written" in lines.getvalue()
    assert lines.getvalue().endswith("Hello again.\n")
    Terminal(Silent(), None, lines).say("Only text.", whole=False)


@pytest.mark.slow
def test_the_demo_hears_three_sessions_and_keeps_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["demo", "--data", str(tmp_path), "--engine", "built-in"]) == 0
    captured = capsys.readouterr()
    verdicts = [json.loads(line)["verdict"] for line in captured.out.splitlines()]
    assert verdicts == ["sound", "electronics", "secondary-fault"]
    assert "Do not replace the coil" in captured.err
    assert "\x1b" not in captured.err
    for session in ("cultivator", "hedge-trimmer", "water-pump"):
        replies = sorted((tmp_path / f"replies-{session}").glob("*.wav"))
        assert len(replies) > 20
        with wave.open(str(replies[0])) as first:
            assert first.getnframes() > first.getframerate()  # the caution takes more than a second
    folders = [folder for folder in tmp_path.iterdir() if (folder / "journal.jsonl").exists()]
    assert len(folders) == 3
    for folder in folders:
        assert main(["replay", str(folder)]) == 0
        assert (folder / "report.txt").stat().st_size > 500


@pytest.mark.slow
def test_a_recorded_session_ends_where_its_recordings_end_and_is_taken_up(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = [str(path) for path in sorted((RECORDINGS / "cultivator").glob("*.flac"))]
    given = ["--data", str(tmp_path), "--job", "7", "--engine", "built-in"]
    assert main(["listen", *files[:5], *given]) == 0
    assert "No more answers came" in capsys.readouterr().err
    assert main(["listen", *files[5:], *given, "--say-to", str(tmp_path / "replies")]) == 0
    captured = capsys.readouterr()
    assert "Taking up job 7" in captured.err
    assert json.loads(captured.out)["verdict"] == "sound"
    assert list((tmp_path / "replies").glob("*.wav"))


@pytest.mark.slow
def test_hear_goes_on_after_a_file_that_cannot_be_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "text.wav").write_text("not sound")
    good = next(iter(sorted((RECORDINGS / "cultivator").glob("*four-point-seven-k.flac"))))
    assert main(["hear", str(tmp_path / "text.wav"), str(tmp_path), str(good), "--engine", "built-in"]) == 2
    captured = capsys.readouterr()
    found = [json.loads(line) for line in captured.out.splitlines()]
    assert [(line["file"], line["meaning"]["ohms"], line["sure"]) for line in found] == [(str(good), "4700", True)]
    assert captured.err.count("\n") == 2
    assert "text.wav: this is not a sound file" in captured.err


def test_nothing_is_begun_with_recordings_of_which_one_cannot_be_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "text.wav").write_text("not sound")
    good = next(iter(sorted((RECORDINGS / "cultivator").glob("*.flac"))))
    for bad, why in (("text.wav", "this is not a sound file"), ("", "this is a folder"), ("no.wav", "no such file")):
        assert main(["listen", str(good), str(tmp_path / bad), "--data", str(tmp_path / "jobs")]) == 2
        captured = capsys.readouterr()
        assert why in captured.err
        assert "expected" in captured.err
        assert captured.err.count("\n") == 1
    assert not (tmp_path / "jobs").exists()


@pytest.mark.parametrize(
    ("option", "line"), [("--data", "cannot be used for records"), ("--say-to", "give another folder with --say-to")]
)
def test_a_demo_that_has_no_place_names_the_option(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, option: str, line: str
) -> None:
    monkeypatch.setattr("assistant.commands._recogniser", lambda *_: None)
    (tmp_path / "file").write_text("")
    assert main(["demo", "--data", str(tmp_path), option, str(tmp_path / "file")]) == 2
    captured = capsys.readouterr()
    assert line in captured.err
    assert captured.err.count("\n") == 1


@pytest.mark.parametrize("command", ["listen", "hear"])
def test_an_engine_that_is_not_there_gets_one_line(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("OHMALOUD_VOSK_MODEL", str(tmp_path))
    good = str(next(iter((RECORDINGS / "cultivator").glob("*.flac"))))
    assert main([command, good, "--engine", "vosk"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
