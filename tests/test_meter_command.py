"""A meter of one's own: described by options or by answers, checked like every other, used in sessions and judgements."""

import json
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from records_cases import SOUND, TO_METER
from voices import ESPEAK, Cast

from assistant import data
from assistant.devices.ports import RATE_HZ, Utterance
from assistant.devices.recordings import Recordings
from assistant.language.meaning import Alternative, Hearing, Word
from assistant.measure.meter import load_meters

_RANGES = ("--range", "200:0.1:0.8:2", "--range", "20k:10:1:3", "--range", "200M:100k:5:10:1M")


@pytest.fixture(autouse=True)
def own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """An empty folder for this user's things."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    return tmp_path / "ohmaloud" / "meters"


def test_a_meter_is_described_by_options(run: Any, own: Path) -> None:
    result = run("meter", "new", "workshop", *_RANGES, "--title", 'the "big" one')
    assert result.json == {"name": "workshop", "file": str(own / "workshop.toml")}
    assert "chat --meter workshop" in result.err
    found = load_meters(data.meters())["workshop"]
    assert (found.title, found.hand_set) == ('the "big" one', True)
    assert [(r.full_ohm, str(r.resolution_ohm), str(r.percent), r.counts, int(r.offset_ohm)) for r in found.ranges] == [
        (200, "0.1", "0.8", 2, 0),
        (20_000, "10", "1", 3, 0),
        (200_000_000, "100000", "5", 10, 1_000_000),
    ]


def test_a_meter_is_described_by_answers_and_wrong_ones_are_asked_again(run: Any, own: Path) -> None:
    answers = [
        "",
        "Workshop meter",
        "maybe",
        "no",
        "done",
        "two hundred",
        "200",
        "0.1",
        "0,8",
        "0.8",
        "2",
        "20 kΩ",
        "10",
        "1",
        "3",
        "done",
    ]
    result = run("meter", "new", "mine", typed="\n".join(answers) + "\n")
    assert result.status == 0, result.err
    for told in ("I need a name.", "I need yes or no.", "A meter has one range at least.", "I need a number, as 0.8."):
        assert told in result.err
    found = load_meters(data.meters())["mine"]
    assert (found.title, found.hand_set, [r.full_ohm for r in found.ranges]) == ("Workshop meter", False, [200, 20_000])
    assert own.is_dir()


def test_a_meter_is_described_in_words_and_each_range_is_said_back(run: Any) -> None:
    answers = (
        *("Workshop", "yes", "two hundred ohm range", "resolution point one ohm", "nought point eight percent"),
        *("plus three counts", "twenty kilo ohm range", "ten ohms", "one percent of the reading", "two digits", "none"),
    )
    result = run("meter", "new", "mine", typed="\n".join(answers) + "\n")
    assert result.status == 0, result.err
    assert "Set by hand: yes." in result.err
    assert "Range 200 Ω: last digit 0.1 Ω, 0.8 percent, 3 counts." in result.err
    assert "Range 20 kΩ: last digit 10 Ω, 1 percent, 2 counts." in result.err
    found = load_meters(data.meters())["mine"]
    assert found.hand_set
    assert [(r.full_ohm, str(r.resolution_ohm), str(r.percent), r.counts) for r in found.ranges] == [
        (200, "0.1", "0.8", 3),
        (20_000, "10", "1", 2),
    ]


@pytest.mark.parametrize(
    ("answer", "offset_ohm", "told"),
    [
        ("1M", 1_000_000, ", 1 MΩ with the leads shorted."),
        ("it shows one meg-ohm", 1_000_000, ", 1 MΩ with the leads shorted."),
        ("none", 0, "10 counts."),
        ("no", 0, "10 counts."),
        ("0", 0, "10 counts."),
    ],
)
def test_only_a_very_high_range_is_asked_what_it_shows_with_the_leads_shorted(
    run: Any, answer: str, offset_ohm: int, told: str
) -> None:
    answers = ("W", "yes", *("20M", "10k", "1", "5"), *("200M", "100k", "5", "10", "ten percent", answer), "done")
    result = run("meter", "new", "wide", typed="\n".join(answers) + "\n")
    assert result.status == 0, result.err
    assert result.err.count("with the leads shorted, as 1M?") == 2
    assert "I need ohms, as 1M, or one meg-ohm; or none." in result.err
    (line,) = (line for line in result.err.splitlines() if line.startswith("Range 200 MΩ"))
    assert line.endswith(told)
    assert [r.offset_ohm for r in load_meters(data.meters())["wide"].ranges] == [0, offset_ohm]


def test_a_number_in_words_without_its_unit_is_asked_again(run: Any) -> None:
    result = run("meter", "new", "mine", typed="Workshop\nyes\ntwo hundred\n")
    assert result.status == 2
    assert "I need ohms, as 200 or 20k, or two hundred ohms." in result.err


class Heard:
    """A recogniser that hears the next of these lines; what ends in a question mark is not sure."""

    def __init__(self, *lines: str) -> None:
        self.lines = iter(lines)

    def hear(self, _samples: object, _expectation: object) -> Hearing:
        line = next(self.lines)
        words = tuple(Word(word) for word in line.rstrip("?").split())
        engine = "an engine without bounds" if line.endswith("?") else "built-in"
        return Hearing(tuple(Alternative(words, 0.0, source) for source in ("held", "free")), engine, 1.0)


def hears(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    monkeypatch.setattr("assistant.devices.engines.open_recogniser", lambda _engine, _lexicon: Heard(*lines))
    utterances = [SimpleNamespace(samples=None) for _ in lines]
    monkeypatch.setattr(Recordings, "utterances", lambda _self: iter(utterances))


def test_a_meter_is_described_by_recordings(run: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = ("yes", "two hundred ohms", "zero point one ohms", "zero point eight", "three", "none")
    hears(monkeypatch, *lines)
    result = run("meter", "new", "mine", "--from", "answers.flac")
    assert result.status == 0, result.err
    found = load_meters(data.meters())["mine"]
    assert (found.title, found.hand_set) == ("mine", True)
    assert [(r.full_ohm, str(r.percent), r.counts) for r in found.ranges] == [(200, "0.8", 3)]


def test_what_was_not_heard_surely_is_asked_again_and_nothing_is_guessed(
    run: Any, own: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hears(monkeypatch, "yes", "two hundred ohms?", "two hundred")
    result = run("meter", "new", "mine", "--from", "answers.flac")
    assert result.status == 2
    assert "I am not sure of what I heard (two hundred ohms)." in result.err
    assert "no more answers" in result.err
    assert not own.exists()


def test_answers_that_end_keep_nothing(run: Any, own: Path) -> None:
    result = run("meter", "new", "mine", typed="Workshop\nyes\n200\n")
    assert result.status == 2
    assert "no more answers; expected ohms, as 0.1. Nothing was kept" in result.err
    assert not own.exists()


@pytest.mark.slow
def test_it_is_used_by_judge_and_in_a_session_and_travels_with_the_record(run: Any, own: Path, tmp_path: Path) -> None:
    run("meter", "new", "rough", "--range", "200:1:5:5", "--range", "20k:100:5:5")
    plain = run("judge", "--primary", "2", "--secondary", "4.2k").json
    rough = run("judge", "--primary", "2", "--secondary", "4.2k", "--meter", "rough").json
    assert rough["secondary"]["u_ohms"] > 4 * plain["secondary"]["u_ohms"]
    jobs = str(tmp_path / "jobs")
    typed = "\n".join(SOUND[: len(TO_METER)]) + "\n0\n2\n4.2\nno\ndone\n"
    assert run("chat", "--meter", "rough", "--job", "pump", "--data", jobs, typed=typed).status == 0
    (own / "rough.toml").unlink()
    (folder,) = (path for path in Path(jobs).iterdir() if path.is_dir())
    assert run("replay", str(folder)).status == 0
    assert "Meter</dt><dd>rough" in (
        (run("report", "pump", "--no-pdf", "--data", jobs), folder / "report.html")[1].read_text(encoding="utf-8")
    )


def test_meters_are_listed(run: Any) -> None:
    run("meter", "new", "workshop", *_RANGES, "--auto")
    found = {line["name"]: line for line in map(json.loads, run("meter", "list").out.splitlines())}
    assert set(found) == {"auto", "fine", "pocket", "workshop"}
    assert [name for name, line in found.items() if line["own"]] == ["workshop"]
    assert found["workshop"]["hand_set"] is False
    assert found["workshop"]["ranges"][2] == {
        "full_ohms": 200_000_000,
        "last_digit_ohms": "100000",
        "percent": "5",
        "counts": 10,
        "offset_ohms": "1000000",
    }


def test_one_of_ones_own_is_replaced_only_when_told_so(run: Any, own: Path) -> None:
    run("meter", "new", "mine", *_RANGES)
    before = (own / "mine.toml").read_bytes()
    assert "is there already" in run("meter", "new", "mine", "--range", "200:1:1:1").err
    assert (own / "mine.toml").read_bytes() == before
    assert run("meter", "new", "mine", "--range", "200:1:1:1", "--replace").status == 0
    assert (own / "mine.toml").read_bytes() != before


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (("new",), "'': expected a name for the meter"),
        (("new", "../x", *_RANGES), "'../x': expected a name"),
        (("new", "Mine", *_RANGES), "'Mine': expected a name"),
        (("new", "pocket", *_RANGES), "'pocket': a meter of that name comes with the program"),
        (("new", "mine", "--range", "200"), "--range '200': expected FULL:LAST-DIGIT:PERCENT:COUNTS"),
        (("new", "mine", "--range", "200M:100k:5:10:"), "as 200M:100k:5:10:1M"),
        (("new", "mine", "--range", "200:x:1:2"), "--range '200:x:1:2': expected"),
        (("new", "mine", "--range", "200:0.1:-1:2"), "--range '200:0.1:-1:2': expected"),
        (("new", "mine", "--range", "200:0.1:0.8:2:1:1"), "--range '200:0.1:0.8:2:1:1': expected"),
        (("new", "mine", "--range", "200.5:0.1:0.8:2"), "meters/mine.toml: range[0]"),
        (("new", "mine", "--range", "200:300:0.8:2"), "meters/mine.toml: range[0].resolution_ohm"),
        (("new", "mine", "--range", "200:0.1:99:2"), "meters/mine.toml: range[0].percent"),
        (("new", "mine", "--range", "20k:10:1:2", "--range", "200:0.1:1:2"), "meters/mine.toml: range[1].full_ohm"),
        (("list", "mine"), "list takes no name"),
        (("sell",), "invalid choice: 'sell'"),
    ],
)
def test_a_wrong_description_gets_one_line_and_keeps_nothing(
    run: Any, own: Path, arguments: tuple[str, ...], line: str
) -> None:
    result = run("meter", *arguments, typed="")
    assert result.status == 2
    assert line in result.err
    assert result.err.count("\n") == 1
    assert not own.exists()


def test_a_folder_that_cannot_be_made_gets_one_line(run: Any, own: Path) -> None:
    own.parent.parent.joinpath("ohmaloud").write_bytes(b"")
    assert "cannot be written" in run("meter", "new", "mine", *_RANGES).err


@pytest.mark.slow
def test_a_damaged_meter_of_ones_own_is_named_by_every_session(run: Any, own: Path, tmp_path: Path) -> None:
    run("meter", "new", "mine", *_RANGES)
    (own / "mine.toml").write_text("title = 3", encoding="utf-8")
    result = run("chat", "--data", str(tmp_path / "jobs"), typed="")
    assert result.status == 2
    assert "meters/mine.toml: title" in result.err


def test_every_meter_that_comes_with_the_program_can_be_said(bench: Any) -> None:
    assert set(data.texts("meters")) == set(bench.lexicon.expectations["meter"].answers)


def test_a_range_that_cannot_be_is_asked_anew_and_the_others_stay(run: Any) -> None:
    answers: tuple[str, ...] = ("Workshop", "yes", *("200", "0.1", "1", "2"), *("20k", "50k", "1", "2"))
    answers += ("100", "1", "1", "2", *("20k", "10", "1", "2"), "done")
    result = run("meter", "new", "mine", typed="\n".join(answers) + "\n")
    assert result.status == 0, result.err
    assert result.err.count("This range once more.") == 2
    assert "range[1].resolution_ohm: found 50000, expected ohms from 0.000001 and below full scale" in result.err
    assert "range[1].full_ohm: found 100, expected more than 200" in result.err
    assert [r.full_ohm for r in load_meters(data.meters())["mine"].ranges] == [200, 20_000]


MOST_ANSWERS = 60
ALOUD = {
    "Do you set its range with a dial": ("yes",),
    "Full scale": ("two hundred ohms", "twenty kilo ohms", "done"),
    "What is its last digit worth": ("resolution point one ohm", "ten ohms"),
    "Its accuracy": ("plus or minus one point two percent", "plus or minus one point five percent"),
    "And how many counts": ("plus two counts", "plus three counts"),
}
IN_SHORT = {**ALOUD, "What is its last digit worth": ("zero point one ohms", "ten ohms")}
"""What the person says who was asked again."""


@pytest.mark.slow
def test_a_meter_is_described_aloud(
    run: Any, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A synthetic voice that nothing here has learned from says what stands in a manual, again where it is asked again.

    espeak-ng says no sentence twice alike, so how often it is asked again differs; what is kept does not.
    """

    def said(cast: Cast) -> Iterator[Utterance]:
        ranges = 0
        for _ in range(MOST_ANSWERS):
            told = capsys.readouterr().err
            ranges += told.count("Range ")
            answers = IN_SHORT if "not sure" in told else ALOUD
            lines = next(lines for question, lines in answers.items() if told.splitlines()[-1].startswith(question))
            sound = cast.say(lines[min(ranges, len(lines) - 1)], ESPEAK[0])
            yield Utterance(sound, 0.0, len(sound) / RATE_HZ)

    with Cast() as cast:
        monkeypatch.setattr(Recordings, "utterances", lambda _self: said(cast))
        result = run("meter", "new", "aloud", "--from", "a person at the bench")
    assert result.status == 0, result.err
    found = load_meters(data.meters())["aloud"]
    assert found.hand_set
    assert [(r.full_ohm, str(r.resolution_ohm), str(r.percent), r.counts) for r in found.ranges] == [
        (200, "0.1", "1.2", 2),
        (20_000, "10", "1.5", 3),
    ]


@pytest.mark.parametrize(
    "arguments", [("meter", "list"), ("judge", "--primary", "1.4", "--secondary", "4.2k"), ("chat",)]
)
def test_own_meters_that_cannot_be_read_are_named_all_at_once(
    run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...]
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    meters = tmp_path / "ohmaloud" / "meters"
    meters.mkdir(parents=True)
    (meters / "mine.toml").write_bytes(b'title = "M\xfcller"\n')
    (meters / "yours.toml").mkdir()
    done = run(*arguments, typed="")
    assert done.status == 2
    first, second = (line for line in done.err.splitlines() if "meters" in line)
    assert "mine.toml: found byte 0xfc at 10, which is no UTF-8, expected a text in UTF-8" in first
    assert first.endswith("Save it as UTF-8, or move it away.")
    assert "yours.toml: found Is a directory" in second
