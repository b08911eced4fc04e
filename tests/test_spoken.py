"""What is ever said, what a shop does to it, and a sample of both heard again. The whole sets are measured by the scripts."""

import csv
from pathlib import Path

import make_confusable
import measure_closed_loop
import measure_robustness
import numpy as np
import pytest
import spoken_lines
from conditions import at_speed, band_limited, clipped, conditions, cough, coughs, echoing, gain, hum, music
from measure_hearing import SPEECH
from voices import Cast, there

from assistant.data import texts
from assistant.devices.engines import open_recogniser
from assistant.devices.ports import RATE_HZ, Samples
from assistant.dialogue.state import Bench
from assistant.language import device_wording, wording
from assistant.language.lexicon import load_lexicon
from assistant.language.meaning import Expectation
from assistant.score.hearing import Row, clean, heard, speech_power
from assistant.score.manifest import Case, read_manifest

SAMPLE = 14
"""Of about 1,500 things said, so many are heard again by every run of the tests."""


def tone(hz: float, seconds: float = 1.0) -> Samples:
    return np.asarray(0.3 * np.sin(2 * np.pi * hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ), dtype=np.float32)


def power_at(samples: Samples, hz: float) -> float:
    spectrum = np.abs(np.fft.rfft(samples)) ** 2
    return float(spectrum[round(hz * len(samples) / RATE_HZ)] / spectrum.sum())


# ---- what is said


def test_sentences_of_every_source_are_among_what_is_said(bench: Bench) -> None:
    said = spoken_lines.lines(bench)
    for line in (
        wording.NOT_SURE,
        device_wording.MICROPHONE_GONE,
        "Primary reading: 4.70 kΩ.",
        "I got: 1.4 Ω or 50 Ω.",
        "What do the leads read?",
        "This does not prove the coil good.",
        "The primary stayed so when it was taken again.",
        "Say yes or no.",
        "Four-stroke.",
    ):
        assert line in said, line
    assert not [line for line in said if "{" in line or not line.strip()]


@pytest.mark.slow
def test_only_sentences_that_say_an_answer_or_a_value_mean_anything_to_the_ears(bench: Bench) -> None:
    cases = list(spoken_lines.said_cases(bench, "x"))
    meant = {case.words: case.truth for case in cases if case.truth}
    assert meant["Primary reading: 1.4 Ω."] == "1.4 ohms" or "Primary reading: 1.4 Ω." not in meant
    assert meant["Ready."] == "ready"
    assert wording.NOT_SURE not in meant
    # each of these would be taken by ears that are open while the assistant speaks; a new one is looked at before it is let in
    assert len(meant) < 0.15 * len(cases)


@pytest.mark.slow
def test_every_phrase_of_the_grammar_is_among_what_is_heard(bench: Bench) -> None:
    lexicon = bench.lexicon
    said = {case.words for case in spoken_lines.phrase_cases(lexicon, "x")}
    for name in lexicon.expectations:
        for phrase in lexicon.phrases(Expectation(name)):
            assert " ".join(phrase) in said or any(word[0].isdigit() for word in phrase)


@pytest.mark.slow
def test_a_sample_takes_other_things_for_each_voice(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(measure_closed_loop, "there", lambda: ("one", "two"))
    words = [(case.speaker, case.words) for case in measure_closed_loop.cases(bench, 100)]
    ones, twos = ({text for who, text in words if who == voice} for voice in ("one", "two"))
    assert len(ones) > 10
    assert not ones & twos


def test_the_confusable_set_has_both_of_every_pair(bench: Bench) -> None:
    rows = list(make_confusable.rows(load_lexicon(texts("grammar"))))
    pairs = {pair for _, kind, _, pair in rows if kind == "reading"}
    assert {"fifteen, fifty", "thirteen, thirty", "oh, of", "nought, not", "nine, five", "repeated"} <= pairs
    said = {words for words, *_ in rows}
    assert {"fifteen ohms", "fifty ohms", "one oh five ohms", "double four seven ohms"} <= said
    assert {step for _, _, step, _ in rows} <= set(bench.lexicon.expectations)


# ---- what a shop does to it


def test_gain_and_clipping_are_what_they_say() -> None:
    assert np.abs(gain(tone(300), -20)).max() == pytest.approx(0.1)
    assert not gain(np.zeros(5, dtype=np.float32), -20).any()
    assert np.mean(np.abs(clipped(tone(300), 12)) >= 1) > 0.5


def test_a_narrow_band_a_hum_and_a_speed_are_at_their_frequencies() -> None:
    assert power_at(band_limited(tone(5000) + tone(1000), 4000), 5000) < 1e-6
    assert power_at(band_limited(tone(5000) + tone(1000), 4000), 1000) > 0.99
    assert power_at(hum(1.0, 60), 60) > power_at(hum(1.0, 60), 120) > 0.05
    faster = at_speed(tone(400), 1.25)
    assert len(faster) == RATE_HZ / 1.25
    assert power_at(faster, 500) > 0.9


def test_an_echo_goes_on_after_the_sound() -> None:
    burst = np.concatenate([tone(500, 0.2), np.zeros(RATE_HZ, dtype=np.float32)])
    echo = echoing(burst)
    assert len(echo) == len(burst)
    assert np.abs(echo[round(0.3 * RATE_HZ) : round(0.4 * RATE_HZ)]).max() > 0.01
    assert np.abs(echo[RATE_HZ:]).max() < 0.01


@pytest.mark.slow
def test_coughs_and_music_are_bursts_and_chords() -> None:
    one = cough()
    assert np.abs(one[: len(one) // 3]).max() > 5 * np.abs(one[-len(one) // 4 :]).max()
    assert len(coughs(3.0)) == 3 * RATE_HZ
    assert len(music(2.0)) == 2 * RATE_HZ
    assert not np.array_equal(music(2.0, 1), music(2.0, 2))
    assert max(power_at(music(2.0), hz) for hz in (220, 277.5, 329.5, 440)) > 0.02


@pytest.mark.slow
def test_every_condition_changes_the_sound_and_the_same_way_each_time() -> None:
    said = np.concatenate(
        [np.zeros(4000, dtype=np.float32), tone(6000, 0.5) + tone(500, 0.5), np.zeros(4000, dtype=np.float32)]
    )
    found = conditions([tone(900), tone(1100)])
    assert len(found) >= 20
    for name, change in found.items():
        once = change(said, 7)
        assert np.array_equal(once, change(said, 7)), name
        assert once.dtype == np.float32
        assert np.isfinite(once).all(), name
        assert speech_power(once) > 0
        assert np.array_equal(once, said) is (name == "as recorded"), name


@pytest.mark.slow
def test_the_shipped_recordings_are_cases_of_the_robustness_report(bench: Bench) -> None:
    cases = measure_robustness.recordings(bench)
    assert len(cases) > 40
    assert all(case.truth for case in cases)
    assert {case.kind for case in cases} == {"reading", "answer", "command"}
    sounds = list(measure_robustness.alone(1))
    assert [case.file for case, _ in sounds] == ["coughs alone 0", "music alone 0", "hum alone 0"]
    assert all(len(sound) == measure_robustness.ALONE_S * RATE_HZ for _, sound in sounds)
    assert bool(measure_robustness.people(bench)) is (SPEECH / "manifest.tsv").is_file()


def test_the_robustness_report_is_a_row_for_each_condition() -> None:
    part = {"of": 10, "right": {"count": 8, "interval": [0.49, 0.94]}, "wrong": {"count": 0}, "asked": {"count": 2}}
    found = {
        "levels": {
            "room echo": {"said": part, "false_alarms": None},
            "x": {"said": None, "false_alarms": {"count": 1, "of": 3}},
        }
    }
    table = list(measure_robustness.told("people", found))
    assert table[2] == "| room echo | 10 | 8 | 0 | 2 | 49 to 94 % |  |"
    assert table[3] == "| x | 0 | 0 | 0 | 0 |  | 1 of 3 |"


# ---- heard again


@pytest.mark.slow
def test_the_confusable_set_is_made_and_is_a_manifest(
    bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    some = list(make_confusable.rows(load_lexicon(texts("grammar"))))[::20]
    monkeypatch.setattr(make_confusable, "rows", lambda _lexicon: some)
    voice = there()[0]
    assert make_confusable.made(tmp_path, (voice,)) == len(some)
    cases = read_manifest(tmp_path / "manifest.tsv", tmp_path / "audio", bench)
    assert [case.words for case in cases] == [words for words, *_ in some]
    assert all(case.truth for case in cases if case.kind == "reading")
    with (tmp_path / "manifest.tsv").open(encoding="utf-8") as file:
        assert {row["speaker"] for row in csv.DictReader(file, delimiter="\t")} == {f"{voice} (synthetic)"}


@pytest.mark.slow
def test_a_sample_of_all_that_is_said_is_heard_and_means_the_same(bench: Bench) -> None:
    assert len(there()) >= 2
    voices = there()[:2]
    with Cast() as cast:
        everything = [
            case
            for number, voice in enumerate(voices)
            for case in _sample(
                [
                    *spoken_lines.said_cases(bench, voice),
                    *spoken_lines.phrase_cases(bench.lexicon, voice),
                    *spoken_lines.led_cases(bench.lexicon, voice),
                ],
                number,
            )
        ]
        recogniser = open_recogniser(None, bench.lexicon)
        rows = list(
            heard(everything, [clean()], recogniser, bench.lexicon, lambda case: cast.say(case.words, case.speaker))
        )
    assert len(rows) >= 2 * SAMPLE
    assert [_told(row) for row in rows if row.outcome in ("wrong", "taken")] == []
    said = [row for row in rows if row.case.truth]
    assert sum(row.outcome == "right" for row in said) >= 0.5 * len(said)


def _sample(cases: list[Case], number: int) -> list[Case]:
    every = len(cases) // SAMPLE
    return cases[number * 7 % every :: every]


def _told(row: Row) -> str:
    return f"{row.case.file}: {row.heard}"
