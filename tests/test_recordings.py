"""The recorded sessions: table and files agree, the words mean what the table says, and the real recogniser hears them."""

import importlib.util
import re
from itertools import groupby
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import soundfile

from assistant import data
from assistant.devices.engines import open_recogniser
from assistant.devices.recordings import Recordings
from assistant.dialogue.events import Decided, Effect, Event, Finished, Heard, Say, Started, Typed
from assistant.dialogue.state import Bench, State
from assistant.dialogue.step import step
from assistant.language.certainty import decide
from assistant.language.meaning import Hearing, Meaning, NotUnderstood, SaidAnswers, SaidCommand, SaidReading
from assistant.language.readback import printed
from assistant.language.understand import understand

FOLDER = data.folder("recordings")
VERDICTS = {"cultivator": "sound", "hedge-trimmer": "electronics", "water-pump": "secondary-fault"}
ASKED_AGAIN = "asked again"


def _script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_recordings", FOLDER / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


make = _script()
ROWS: list[dict[str, str]] = make.turns()
SESSIONS = {name: list(rows) for name, rows in groupby(ROWS, key=lambda row: row["session"])}


def described(meaning: Meaning) -> str:
    """A meaning as the table writes it."""
    match meaning:
        case SaidReading(reading):
            return printed(reading)
        case SaidAnswers(names):
            return " ".join(names)
        case SaidCommand(name):
            return name
        case NotUnderstood():
            return ASKED_AGAIN
        case _:
            return repr(meaning)


class Told:
    """A session that recordings or their words are put to."""

    def __init__(self, bench: Bench, label: str) -> None:
        self.bench, self.state, self.effects = bench, State(), list[Effect]()
        self.take(Started("2026-01-02 03:04", label))

    def take(self, event: Event) -> tuple[Effect, ...]:
        self.state, effects = step(self.bench, self.state, event)
        self.effects += effects
        return effects

    def taken(self, row: dict[str, str], meaning: Meaning) -> str:
        """What a turn was taken for, as the table writes it: its own meaning, or for a correction the reading that now stands."""
        correction = isinstance(meaning, SaidReading) and meaning.correction
        assert correction == (row["kind"] == "correction")
        return printed(self.state.facts.readings[-1].reading) if correction else described(meaning)

    @property
    def verdict(self) -> str:
        """The last verdict of a session that is finished."""
        assert self.effects[-1] == Finished(complete=True)
        return [effect.verdict.kind.value for effect in self.effects if isinstance(effect, Decided)][-1]


# ---- table and files


def test_there_are_the_three_sessions_whole_and_in_order() -> None:
    assert list(SESSIONS) == list(VERDICTS)
    for rows in SESSIONS.values():
        assert [row["turn"] for row in rows] == [str(number) for number in range(1, len(rows) + 1)]
        assert [row["file"] for row in rows] == sorted(row["file"] for row in rows)
        assert len({row["voice"] for row in rows}) == 1


def test_every_row_has_its_file_and_every_file_its_row() -> None:
    files = {path.relative_to(FOLDER).as_posix() for path in FOLDER.rglob("*.flac")}
    assert files == {row["file"] for row in ROWS}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["file"])
def test_a_file_is_named_for_what_it_holds_and_is_short_clean_mono(row: dict[str, str]) -> None:
    folder, name = row["file"].split("/")
    words = "-".join(re.findall("[a-z]+", row["words"].lower().replace("'", "")))
    assert (folder, name) == (row["session"], f"{int(row['turn']):02d}-{words}.flac")
    samples, rate_hz = soundfile.read(FOLDER / row["file"], dtype="float32")
    assert (rate_hz, samples.ndim) == (16_000, 1)
    assert 0.9 < samples.size / rate_hz < 3.5
    assert 0.2 < np.abs(samples).max() < 0.9
    if row["kind"] != "mumbled":
        assert np.abs(samples[:3_000]).max() < 0.05  # quiet at first, and at the end for long enough to be noticed
        assert np.abs(samples[-7_000:]).max() < 0.05


def test_the_folder_is_small_and_says_whose_voices_these_are() -> None:
    assert sum(path.stat().st_size for path in FOLDER.rglob("*.flac")) < 3_000_000
    remarks = " ".join(line for line in (FOLDER / "turns.tsv").read_text().splitlines() if line.startswith("#"))
    assert "synthetic" in remarks
    assert "Apache License 2.0" in remarks
    assert all(row["voice"] in remarks for row in ROWS)
    assert all(f"{name}:" in remarks for name in SESSIONS)


def test_each_way_to_be_wrong_on_the_way_is_there() -> None:
    kinds = {name: {row["kind"] for row in rows} for name, rows in SESSIONS.items()}
    assert kinds["cultivator"] == {"answer", "command", "reading", "correction"}
    assert "command" in kinds["hedge-trimmer"]
    assert kinds["water-pump"] >= {"mumbled", "correction"}


def test_a_table_with_a_missing_column_is_refused(tmp_path: Path) -> None:
    table = tmp_path / "turns.tsv"
    for line in (
        "cultivator\t1\ta.flac\tready\tanswer\tsafety\tready",
        "\t".join("abcdefghi"),
        "\t".join("abcdefg") + "\t",
    ):
        table.write_text("# remark\n" + "\t".join(make.COLUMNS) + "\n" + line + "\n")
        with pytest.raises(ValueError, match="exactly the columns"):
            make.turns(table)


# ---- the words


@pytest.mark.parametrize("name", SESSIONS)
def test_the_words_mean_what_the_table_says_and_lead_to_the_verdict(bench: Bench, name: str) -> None:
    told = Told(bench, name)
    for row in SESSIONS[name]:
        assert told.state.step == row["step"], row
        if row["kind"] == "mumbled":
            continue
        understood = understand(row["words"].replace(",", ""), told.state.expect, bench.lexicon, typed=False)
        told.take(Typed(row["words"]))
        assert told.taken(row, understood.meaning) == row["expected"]
    assert told.verdict == VERDICTS[name]


def test_the_wrong_unit_is_asked_about_and_corrected(bench: Bench) -> None:
    told = Told(bench, "water-pump")
    rows = [row for row in SESSIONS["water-pump"] if row["kind"] != "mumbled"]
    at = next(number for number, row in enumerate(rows) if row["expected"] == "1.2 kΩ")
    for row in rows[:at]:
        told.take(Typed(row["words"]))
    asked = told.take(Typed(rows[at]["words"]))
    assert any(isinstance(effect, Say) and effect.text.endswith("Is that what the meter shows?") for effect in asked)
    assert rows[at + 1]["kind"] == "correction"
    told.take(Typed(rows[at + 1]["words"]))
    assert [printed(reading) for reading in told.state.facts.at("primary")] == ["1.2 Ω"]


# ---- the sound


@pytest.mark.slow
@pytest.mark.parametrize("name", SESSIONS)
def test_the_recordings_are_heard_as_the_table_says(bench: Bench, name: str) -> None:
    recogniser = open_recogniser("both", bench.lexicon)
    told = Told(bench, name)
    for row in SESSIONS[name]:
        utterances = list(Recordings((FOLDER / row["file"],)).utterances())
        assert len(utterances) == 1, f"{row['file']}: cut into {len(utterances)}"
        assert told.state.step == row["step"], row
        hearing: Hearing = recogniser.hear(utterances[0].samples, told.state.expect)
        understood = decide(hearing, told.state.expect, bench.lexicon)
        before = told.state.facts
        told.take(Heard(hearing))
        if row["kind"] == "mumbled":
            assert not understood.sure or isinstance(understood.meaning, NotUnderstood), hearing
            assert told.state.facts == before
        else:
            assert (told.taken(row, understood.meaning), understood.sure) == (row["expected"], True), hearing
    assert told.verdict == VERDICTS[name]


# ---- the script


def test_sound_keeps_its_pitch_and_strength_at_the_file_rate() -> None:
    tone = np.sin(2 * np.pi * 1_000 * np.arange(24_000) / 24_000).astype("float32")
    same = np.sin(2 * np.pi * 1_000 * np.arange(16_000) / 16_000)
    assert np.allclose(make.at_file_rate(tone), same, atol=1e-3)


def test_silence_around_speech_is_made_even() -> None:
    quiet = np.zeros(9_000, dtype="float32")
    tone = np.sin(np.arange(8_000) / 5).astype("float32") * 0.1
    even = make.trimmed(np.concatenate([quiet, tone, quiet]))
    assert even.dtype == np.float32
    assert np.flatnonzero(even)[0] == pytest.approx(0.25 * 16_000 + 320, abs=5)
    assert np.abs(even).max() == pytest.approx(0.5)
    assert not even[-8_000:].any()


def test_mumbling_is_the_same_each_time_and_takes_the_clear_sound_away() -> None:
    clear = np.sin(2 * np.pi * 2_000 * np.arange(16_000) / 16_000).astype("float32")
    once, again, other = (make.mumbled(clear, seed) for seed in (1, 1, 2))
    assert np.array_equal(once, again)
    assert not np.array_equal(once, other)
    assert np.abs(once).max() == pytest.approx(0.25)
