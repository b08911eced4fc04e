"""The command line: JSON on standard output, everything else on standard error, one clear line for what is wrong."""

import errno
import io
import json
import os
import shlex
import sys
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from conversation import TO_LEADS

from assistant import commands, data
from assistant.__main__ import parser
from assistant.streams import typed_line

# ---- read


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (("4.7k",), {"kind": "reading", "ohms": "4700", "digits": "4.7", "unit": "kΩ"}),
        (
            ("four point seven zero", "--range", "20k"),
            {"kind": "reading", "ohms": "4700", "digits": "4.70", "unit": "kΩ"},
        ),
        (
            ("0.25", "--step", "secondary", "--range", "20k"),
            {"kind": "reading", "ohms": "250", "digits": "0.25", "unit": "kΩ"},
        ),
        (("OL",), {"kind": "over range"}),
        (("it's jumping around",), {"kind": "unsteady"}),
        (("stop",), {"kind": "command", "name": "stop"}),
        (("yes",), {"kind": "answer", "name": "yes"}),
        (("4.7",), {"kind": "ask", "why": "no unit", "digits": "4.7"}),
        (("one", "--range", "20k"), {"kind": "ask", "why": "one alone"}),
        (("four flurbel seven",), {"kind": "not understood", "why": "unknown word", "at": 1}),
        (("four point",), {"kind": "not understood", "why": "unfinished"}),
        (("1e300",), {"kind": "not understood"}),
        (("-4 ohms",), {"kind": "not understood", "why": "negative"}),
        (("-4.7k",), {"kind": "not understood", "why": "negative"}),
        (("NaN",), {"kind": "not understood"}),
    ],
)
def test_read_says_what_a_phrase_means(run: Any, arguments: tuple[str, ...], expected: dict[str, Any]) -> None:
    result = run("read", *arguments)
    assert result.status == 0
    assert expected.items() <= result.json.items()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (("judge", "--killtab", "25M"), "--killtab '25M': found 25 MΩ, but meter pocket shows at most 20 MΩ; give OL"),
        (
            ("judge", "--leads", "41M", "--meter", "auto"),
            "but meter auto shows at most 40 MΩ; give OL if it showed over",
        ),
        (("read",), "ohmaloud read: the following arguments are required: TEXT (see ohmaloud read --help)\n"),
        (("read", "1", "--step", "tertiary"), "no step 'tertiary'"),
        (("read", "1", "--range", "soft"), "--range 'soft'"),
        (("read", "1", "--range", "0"), "--range '0'"),
        (("sing",), "invalid choice: 'sing'"),
        ((), "required: COMMAND"),
        (("judge", "--primary", "banana"), "--primary 'banana'"),
        (("judge", "--primary-limits", "3"), "--primary-limits '3': expected LOW:HIGH"),
        (("judge", "--primary-limits", ":"), "--primary-limits ':': expected LOW:HIGH"),
        (("judge", "--primary-limits", "OL:3"), "--primary-limits 'OL:3'"),
        (("judge", "--primary-limits", "3:2"), "is above the high limit"),
        (("judge", "--limits-at", "warm"), "--limits-at 'warm': expected degrees Celsius"),
        (("judge", "--limits-at", "inf", "--primary-limits", "1:2"), "--limits-at 'inf': expected degrees Celsius"),
        (("judge", "--coil-at", "9999"), "a coil's temperature"),
        (("judge", "--repeated", "first"), "--repeated 'first'"),
        (("judge", "--repeated", "killtab", "--primary", "1.4"), "--repeated 'killtab': that reading is not there"),
        (("judge", "--primary", "-1.4k"), "--primary '-1.4k': expected a reading"),
        (("judge", "--primary-limits", "-1:2"), "--primary-limits '-1': expected a reading"),
        (("read", "4", "--range", "-20k"), "--range '-20k': expected the full scale"),
        (("judge", "--meter", "golden"), "--meter 'golden'"),
        (("judge", "--stroke", "three"), "invalid choice: 'three'"),
        (("replay", "/nowhere/at/all"), "cannot be read"),
        (("listen", "nowhere.wav"), "nowhere.wav: no such file"),
        (("replay", "x", "--play", "0"), "argument --play: found '0', expected a whole number from 1"),
        (("jobs", "--last", "none"), "argument --last: found 'none', expected a whole number from 1"),
        (("meter",), "required: new|list"),
        (("models",), "required: list|get|check"),
        (("listen",), "required: FILE"),
        (("chat", "--meter", "golden", "--data", "unused"), "no meter 'golden'"),
    ],
)
def test_a_wrong_argument_gets_one_line_and_status_2(
    run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], line: str
) -> None:
    monkeypatch.chdir(tmp_path)
    result = run(*arguments, typed="")
    assert result.status == 2
    assert line in result.err
    assert result.err.count("\n") == 1
    assert result.out == ""


@pytest.mark.slow
def test_every_command_has_help_with_an_example_to_be_copied(run: Any) -> None:
    assert run("--help").status == 0
    for name in commands.COMMANDS:
        result = run(name, "--help")
        assert result.status == 0
        example = result.out.splitlines()[-1]
        assert example.startswith(f"Example: ohmaloud {name}")
        for line in example.removeprefix("Example: ").split(" && "):
            parser().parse_args(shlex.split(line)[1:])
        assert name in parser().format_help()


# ---- lines at a terminal


def test_a_line_is_asked_for_and_its_end_leaves_the_prompt_behind(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shown: list[str] = []

    def keys(prompt: str, *, end: type[BaseException] | None = None) -> str:
        shown.append(prompt)
        if end:
            raise end
        return "4.7k"

    monkeypatch.setattr("builtins.input", keys)
    assert typed_line(at_terminal=True) == "4.7k"
    assert (shown, capsys.readouterr().err) == (["> "], "")
    monkeypatch.setattr("builtins.input", partial(keys, end=EOFError))
    assert typed_line(at_terminal=True) is None
    assert capsys.readouterr().err == "\n"
    monkeypatch.setattr("builtins.input", partial(keys, end=KeyboardInterrupt))
    with pytest.raises(KeyboardInterrupt):
        typed_line(at_terminal=True)
    assert capsys.readouterr().err == "\n"


# ---- judge


def test_judge_gives_the_verdict_with_its_reasons(run: Any) -> None:
    found = run("judge", "--stroke", "four", "--leads", "0.3", "--primary", "1.4", "--secondary", "4.2k").json
    assert found["verdict"] == "sound"
    assert found["primary"]["class"] == "usual"
    assert found["primary"]["ohms"] == "1.1"
    assert found["primary"]["u_ohms"] > 0
    assert any("shorted turns" in text for text in found["unproven"])
    for key in ("say", "because", "next", "cautions", "secondary", "killtab"):
        assert found[key]


@pytest.mark.parametrize(
    ("arguments", "verdict"),
    [
        ("--primary 850 --secondary 6.5k", "undecided"),
        ("--primary 850 --secondary 6.5k --killtab OL", "electronics"),
        ("--primary 850 --secondary 6.5k --killtab 6.5k", "bad-contact"),
        ("--primary OL --secondary 6.5k --killtab OL --electronics no", "repeat"),
        ("--primary OL --secondary 6.5k --killtab OL --electronics no --repeated primary,killtab", "primary-fault"),
        ("--primary 1.4 --secondary OL --killtab OL", "repeat"),
        ("--primary 1.4 --secondary OL --killtab OL --repeated secondary", "secondary-fault"),
        ("--primary unsteady --secondary 2M --killtab OL --repeated primary,secondary", "winding-fault"),
        ("--primary 1.4 --secondary OL --killtab 6.5k", "bad-contact"),
        (
            "--primary-limits 0.8:1.3 --secondary-limits 5.9k:7.1k --limits-at 20 --coil-at 30 --primary 1.2 --secondary 6.5k",
            "sound",
        ),
        ("", "undecided"),
    ],
)
def test_judge_by_the_table(run: Any, arguments: str, verdict: str) -> None:
    assert run("judge", *arguments.split()).json["verdict"] == verdict


# ---- chat and replay


def test_chat_from_a_pipe_to_a_verdict_then_replay(run: Any, tmp_path: Path) -> None:
    lines = (*TO_LEADS, "0.3", "1.4", "4.20", "no", "done")
    result = run("chat", "--data", str(tmp_path), typed="\n".join(lines) + "\n")
    assert result.status == 0
    assert result.json["verdict"] == "sound"
    assert "Secondary reading: 4.20 kΩ." in result.err
    assert ">" not in result.err
    (folder,) = tmp_path.iterdir()
    for arguments in ((), ("--today",)):
        result = run("replay", str(folder), *arguments)
        assert (result.status, result.out) == (0, "")
        assert result.err.startswith("Identical")


@pytest.mark.slow
def test_replay_of_a_damaged_or_differing_record(run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run("chat", "--data", str(tmp_path), typed="ready\n14\n")
    (folder,) = tmp_path.iterdir()
    old = data.texts
    monkeypatch.setattr(
        data, "texts", lambda kind: {k: t.replace("shall this job", "will this job") for k, t in old(kind).items()}
    )
    result = run("replay", str(folder), "--today")
    assert result.status == 1
    assert "will this job" in result.json["now"]
    assert run("replay", str(folder)).status == 0
    journal = folder / "journal.jsonl"
    journal.write_bytes(journal.read_bytes()[:-9])
    result = run("replay", str(folder))
    assert (result.status, "cut short" in result.err) == (0, True)
    journal.write_bytes(journal.read_bytes().replace(b"ready", b"reedy"))
    result = run("replay", str(folder))
    assert result.status == 2
    assert "damaged" in result.err


@pytest.mark.slow
def test_chat_tells_of_a_job_left_unfinished_and_takes_it_up(run: Any, tmp_path: Path) -> None:
    run("chat", "--data", str(tmp_path), "--job", "pump", typed="ready\nstop\n")
    assert "Job pump was left unfinished" in run("chat", "--data", str(tmp_path), typed="").err
    result = run("chat", "--data", str(tmp_path), "--job", "pump", typed="two stroke\n")
    assert "Taking up job pump" in result.err
    assert "electronics inside" in result.err


def test_chat_survives_bytes_that_are_no_text(run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        sys, "stdin", io.TextIOWrapper(io.BytesIO(b"ready\n\xff\xfe\x00\n" + b"x" * 1_000_000 + b"\n"), "utf-8")
    )
    result = run("chat", "--data", str(tmp_path))
    assert result.status == 0
    assert "too long" in result.err
    (folder,) = tmp_path.iterdir()
    assert (folder / "journal.jsonl").stat().st_size < 200_000


class FullOutput(io.StringIO):
    """A disk without room behind standard output."""

    def write(self, _: str) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_output_that_finds_no_room_gets_one_line_and_the_record_is_safe(
    run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdout", FullOutput())
    result = run("read", "4.7k")
    assert (result.status, result.err) == (2, "ohmaloud read: the output: No space left on device\n")
    monkeypatch.setattr(sys, "stdout", FullOutput())
    lines = (*TO_LEADS, "0.3", "1.4", "4.20", "no", "done")
    result = run("chat", "--data", str(tmp_path), typed="\n".join(lines) + "\n")
    assert result.status == 2
    assert result.err.endswith("ohmaloud chat: the output: No space left on device\n")
    monkeypatch.undo()
    (folder,) = tmp_path.iterdir()
    assert run("replay", str(folder)).status == 0


def test_signs_that_the_output_has_no_code_for_are_escaped(run: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, "ascii"))
    assert run("read", "4.7k").status == 0
    assert json.loads(raw.getvalue().decode("ascii"))["unit"] == "kΩ"


def test_streams_that_are_closed_count_as_empty(run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", None)
    result = run("chat", "--data", str(tmp_path))
    assert result.status == 0
    assert "No more answers came" in result.err
    monkeypatch.setattr(sys, "stdout", None)
    monkeypatch.setattr(sys, "stderr", None)
    lines = (*TO_LEADS, "0.3", "1.4", "4.20", "no", "done")
    assert run("chat", "--data", str(tmp_path), "--job", "14", typed="\n".join(lines) + "\n").status == 0
    assert json.loads((max(tmp_path.iterdir()) / "job.json").read_text()) == {"complete": True, "label": "14"}


def test_ctrl_c_leaves_the_record_safe(run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Interrupted(io.StringIO):
        def readline(self, *_: object) -> str:  # type: ignore[override]
            raise KeyboardInterrupt

    monkeypatch.setattr(sys, "stdin", Interrupted())
    result = run("chat", "--data", str(tmp_path), "--job", "pump")
    assert result.status == 130
    assert result.err.endswith("Left. Everything recorded so far is kept.\n")
    (folder,) = tmp_path.iterdir()
    assert run("replay", str(folder)).status == 0


def test_faults_in_data_files_are_all_named_at_once(run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    old = data.texts
    broken = {
        "grammar": lambda text: text.replace("[command.stop]", "[command.stop]\nphrase = 3"),
        "meters": lambda text: text.replace("percent", "prozent"),
        "procedures": lambda text: text.replace("[timing]", "[time]"),
    }
    monkeypatch.setattr(data, "texts", lambda kind: {k: broken[kind](t) for k, t in old(kind).items()})
    result = run("chat", "--data", str(tmp_path), typed="")
    assert result.status == 2
    for part in ("command.stop.phrase", "pocket", "fine", "procedures/coil.toml: timing"):
        assert part in result.err
    assert list(tmp_path.iterdir()) == []


def test_names_the_program_acts_by_must_be_in_the_grammar(
    run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = data.texts

    def renamed(kind: str) -> dict[str, str]:
        texts = {"command.stop": "command.stopp", "answer.unknown": "answer.unsure", '"unknown"': '"unsure"'}
        found = old(kind)
        for before, after in texts.items():
            found = {name: text.replace(before, after) for name, text in found.items()}
        return found

    monkeypatch.setattr(data, "texts", renamed)
    result = run("chat", "--data", str(tmp_path), typed="")
    assert result.status == 2
    for part in (
        "command.stop: found nothing",
        "command.stopp: found an unknown command",
        "answer.unknown: found nothing",
    ):
        assert part in result.err


@pytest.mark.parametrize("option", ["--coil-at", "--limits-at"])
def test_a_temperature_alone_is_left_aside_with_a_word(run: Any, option: str) -> None:
    result = run("judge", "--primary", "1.4", "--secondary", "4.2k", option, "60")
    assert result.json["verdict"] == "sound"
    assert f"{option} was left aside" in result.err


def test_judge_holds_limits_against_what_is_read_between_their_points(run: Any) -> None:
    readings = ("judge", "--leads", "0.3", "--primary", "1.4", "--secondary", "9.00k", "--killtab", "9.01k")
    limits = ("--secondary-limits", "8.7k:11.7k", "--limits-points")
    found = {points: run(*readings, *limits, points).json for points in ("core", "killtab", "other")}
    held = {points: [tap for tap in ("secondary", "killtab") if "limits" in one[tap]] for points, one in found.items()}
    assert held == {"core": ["secondary"], "killtab": ["killtab"], "other": []}
    for points in ("killtab", "other"):
        assert any("hold between other points" in reason for reason in found[points]["because"])


@pytest.mark.parametrize(
    ("primary", "told"),
    [
        ("1.4567", "--primary '1.4567': meter pocket shows no digit below 0.1 Ω there; the value is taken as given"),
        ("1.40", ""),
        ("6505", "meter pocket shows no digit below 10 Ω there"),
        ("6500", ""),
    ],
)
def test_digits_that_the_meter_does_not_have_are_told(run: Any, primary: str, told: str) -> None:
    result = run("judge", "--primary", primary)
    assert result.json["primary"]["shown"]
    assert (told in result.err) if told else not result.err


def test_a_long_label_is_taken_up_by_its_long_form(run: Any, tmp_path: Path) -> None:
    label = "the old water pump behind the shed that nobody wanted to carry down to the table"
    run("chat", "--data", str(tmp_path), "--job", label, typed="ready\n")
    assert "Taking up job" in run("chat", "--data", str(tmp_path), "--job", label, typed="").err


def test_data_files_that_cannot_be_read_get_one_line(run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(kind: str) -> dict[str, str]:
        raise PermissionError(13, "Permission denied", kind)

    monkeypatch.setattr(data, "texts", refuse)
    result = run("chat", "--data", str(tmp_path), typed="")
    assert result.status == 2
    assert "Permission denied" in result.err


def test_unknown_kinds_of_data_are_a_programmers_mistake() -> None:
    with pytest.raises(ValueError, match="no such kind"):
        data.folder("sounds")


@pytest.mark.parametrize("command", ["replay", "jobs --data", "read 1 2"])
def test_what_would_command_the_terminal_is_shown_as_its_code(run: Any, tmp_path: Path, command: str) -> None:
    name = tmp_path / "a\x1b[31m\u202eb"
    name.write_text("no folder", encoding="utf-8")
    result = run(*command.split(), str(name))
    assert result.status == 2
    assert r"a\x1b[31m\u202eb" in result.err
    assert result.err.count("\n") == 1
    assert result.err.removesuffix("\n").isprintable()
