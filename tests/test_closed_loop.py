"""A session by ear, whole: the program speaks into a loudspeaker that is none, a synthetic person hears it and answers aloud.

Real parts throughout: the process as a person starts it, PortAudio, end-pointing, recogniser, voice. The person's words are
the shipped recordings (synthetic voices).
"""

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pulse
import pytest
import soundfile
from person import Talk

from assistant import data
from assistant.__main__ import main
from assistant.devices.ports import Samples

pytestmark = [pytest.mark.slow, pytest.mark.skipif(bool(pulse.missing()), reason=pulse.missing() or "it runs")]
RECORDINGS = data.folder("recordings")
FAST = ("--rate", "450", "--meter", "pocket", "--job", "pump")
"""With the engines that a session has by itself."""
NOISE = 0.005
"""Mean square root of the noise in the microphone, all the time; the words have about twenty times as much."""


@pytest.fixture(scope="module")
def bench() -> Iterator[pulse.Bench]:
    with pulse.running() as made:
        yield made


def words(name: str) -> Samples:
    """A shipped recording, without the silence after the last word."""
    path = next(iter(sorted(RECORDINGS.glob(f"*/{name}.flac"))))
    samples, rate_hz = soundfile.read(path, dtype="float32")
    assert rate_hz == pulse.RATE_HZ
    return np.asarray(samples[: np.flatnonzero(np.abs(samples) > 0.02)[-1]], dtype=np.float32)


def answer(talk: Talk, name: str, question: str) -> None:
    """Wait for the tone after this question (read-backs have one too), say that."""
    asked = [talk.my_turn()]
    while question not in asked[-1]:
        assert len(asked) < 3, asked
        asked.append(talk.my_turn())
    talk.voice.say(words(name))


def pulled_in_mid_reading(talk: Talk, bench: pulse.Bench, name: str, question: str) -> None:
    """The microphone is pulled out while this is said, and plugged in again once that was noticed."""
    answer(talk, name, question)
    talk.until(lambda: talk.voice.left_s < len(words(name)) / pulse.RATE_HZ / 2, 10, "the middle of the reading")
    bench.microphone.pull()
    talk.wait_for("microphone sends nothing any more")
    bench.microphone.plug()
    talk.voice.again()
    talk.hear_out("The microphone is back.")


def record(talk: Talk) -> Path:
    (folder,) = (path.parent for path in talk.data.glob("*/journal.jsonl"))
    return folder


def test_a_whole_session_by_ear_with_a_correction_a_pause_noise_and_pulled_plugs(
    bench: pulse.Bench, tmp_path: Path
) -> None:
    with Talk(bench, tmp_path, FAST) as talk:
        talk.voice.noise = NOISE
        answer(talk, "01-im-ready", "Say ready")
        answer(talk, "02-a-four-stroke-engine", "two-stroke or a four-stroke")
        answer(talk, "03-no", "Are there electronics")
        talk.wait_for("Which symptoms")
        talk.type("no spark, done")  # typed in the middle of a spoken session
        answer(talk, "06-no", "Do you have the maker's limits")
        talk.wait_for("Say done when that is ready")
        talk.type("pause")
        talk.wait_for("Paused.")
        talk.type("resume")
        talk.wait_for("Going on.")
        answer(talk, "09-done", "Say done when that is ready")
        pulled_in_mid_reading(talk, bench, "10-zero-point-two-ohms", "What do the leads read?")
        answer(talk, "10-zero-point-two-ohms", "What do the leads read?")
        answer(talk, "11-one-point-five-ohms", "What does the primary read?")
        answer(talk, "12-no-one-point-four", "Primary reading: 1.5 Ω")
        talk.wait_for("What does the secondary read?")
        bench.loudspeaker.pull()
        talk.wait_for("The loudspeaker", limit_s=60)
        bench.loudspeaker.plug()
        talk.ear.again()
        talk.hear_out("The loudspeaker is back.")
        answer(talk, "13-four-point-seven-k", "What does the secondary read?")
        answer(talk, "06-no", "Will you take it?")
        talk.wait_for("No open winding", limit_s=60)
        talk.type("stop")
        talk.until(lambda: talk.process.poll() is not None, 30, "the end")
        assert talk.process.returncode == 0
    assert "Taken back: 1.5 Ω." in talk.lines
    assert "Primary reading: 1.4 Ω." in talk.lines
    assert not any("Expression" in line or "ALSA" in line for line in talk.lines)
    assert talk.process.stdout is not None
    folder = record(talk)
    assert main(["replay", str(folder)]) == 0
    events = [json.loads(line) for line in (folder / "journal.jsonl").read_text().splitlines()]
    heard = [event["in"] for event in events if event.get("in", {}).get("type") == "Heard"]
    kept = sorted(folder.glob("heard-*.flac"))
    assert len(kept) == len(heard) >= 8
    assert "4.7" in (folder / "report.txt").read_text()


def test_with_a_headset_a_word_cuts_the_question_short_but_not_the_caution(bench: pulse.Bench, tmp_path: Path) -> None:
    with Talk(bench, tmp_path, (*FAST, "--headset", "--rate", "300")) as talk:
        talk.wait_for("Say ready")
        talk.until(lambda: talk.ear.loud_at > 0, 20, "the caution")
        talk.voice.say(words("08-repeat-that"))
        talk.wait_for("> repeat", limit_s=20)
        talk.until(lambda: talk.ear.tones > 0, 60, "the end of the caution")
        before = len(talk.lines)
        talk.voice.say(words("01-im-ready"))
        talk.wait_for("two-stroke or a four-stroke", since=before)
        talk.until(lambda: talk.ear.began_at > talk.voice.ended_at, 20, "the question")
        talk.voice.say(words("02-a-four-stroke-engine"))
        talk.until(lambda: not talk.voice.speaking, 10, "the answer")
        silent_for = talk.voice.ended_at - talk.ear.loud_at
        talk.wait_for("Four-stroke.")
        assert (
            silent_for > 0.3
        )  # the question, cut off as soon as the answer was noticed, was silent long before its end
        talk.voice.say(words("06-no"))
        talk.wait_for("Which symptoms")
        talk.type("stop")
        talk.until(lambda: talk.process.poll() is not None, 30, "the end")
    cautions = [line for line in talk.lines if line.startswith("Before touching anything")]
    assert len(cautions) == 2  # said, and repeated on demand


def test_a_session_goes_on_by_typing_when_there_is_no_sound_at_all(bench: pulse.Bench, tmp_path: Path) -> None:
    bench.microphone.pull()
    bench.loudspeaker.pull()
    try:
        with Talk(bench, tmp_path, FAST) as talk:
            talk.wait_for("The microphone “", limit_s=60)
            talk.wait_for("The loudspeaker “", limit_s=60)
            for line in (
                "ready",
                "four stroke",
                "no",
                "no spark, done",
                "no",
                "done",
                "0.3",
                "yes",
                "1.4",
                "yes",
                "4.70",
            ):
                talk.type(line)
            for line in ("yes", "no"):
                talk.type(line)
            talk.wait_for("No open winding", limit_s=60)
            talk.type("stop")
            talk.until(lambda: talk.process.poll() is not None, 30, "the end")
            assert talk.process.returncode == 0
        assert main(["replay", str(record(talk))]) == 0
    finally:
        bench.microphone.plug()
        bench.loudspeaker.plug()
