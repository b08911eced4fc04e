"""Microphone and ears: utterances as they are spoken, shut ears, lost sound, a device that goes and comes back, advice."""

import threading
from collections.abc import Callable
from queue import Queue
from typing import Any

import numpy as np
import pytest
from hearings import hearing, sure
from sounds import silence, speech, uttered
from stand_in_host import LOUDSPEAKER, StandInHost
from waiting import LIMIT_S, until

from assistant.devices import levels
from assistant.devices.ears import Ears, breaks_off
from assistant.devices.endpoint import Endpointer
from assistant.devices.keyboard import Keyboard
from assistant.devices.microphone import Ear, LiveMicrophone
from assistant.devices.ports import RATE_HZ, Samples, Utterance
from assistant.devices.reports import (
    Back,
    Failed,
    KeysEnded,
    LineTyped,
    Remark,
    Report,
    SoundHeard,
    SpeechBegan,
    SpeechOver,
)
from assistant.dialogue.state import Bench
from assistant.errors import BadInput
from assistant.language import device_wording as wording
from assistant.language.meaning import Expectation, Hearing

SECONDARY = Expectation("secondary", 20_000)


class Noting(Ear):
    """An ear that keeps what it is told."""

    def __init__(self) -> None:
        self.notes: list[str] = []
        self.quiet = 0

    def works(self) -> None:
        self.notes.append("works")

    def began(self) -> None:
        self.notes.append("began")

    def ended_without(self) -> None:
        self.notes.append("nothing")

    def lost(self) -> None:
        self.notes.append("lost")

    def silence(self, samples: Samples) -> None:
        self.quiet += len(samples)


class Listening:
    """A live microphone on a thread, with everything that came of it."""

    def __init__(self, host: StandInHost, **how: Any) -> None:
        self.ear = Noting()
        self.found: list[Utterance] = []
        self.error = ""
        self.microphone = LiveMicrophone(host, ear=self.ear, **{"gone_s": LIMIT_S, **how})
        self.thread = threading.Thread(target=self._run, daemon=True)
        self.thread.start()
        until(lambda: host.streams or not self.thread.is_alive())

    def _run(self) -> None:
        try:
            self.found += list(self.microphone.utterances())
        except BadInput as error:
            self.error = str(error)

    def done(self) -> None:
        """All that was fed has been looked at."""
        until(self.microphone._blocks.empty)  # noqa: SLF001
        self.microphone.close()
        self.thread.join(LIMIT_S)
        assert not self.thread.is_alive()


# ---- the microphone


@pytest.mark.slow
def test_the_live_microphone_gives_utterances_at_the_recognisers_rate() -> None:
    host = StandInHost()
    there = Listening(host, unfinished=lambda _: False)
    host.feed(uttered(1, "four point seven k", 1, "stop", 1))
    there.done()
    assert [utterance.asked for utterance in there.found] == [True, True]
    assert there.found[0].end_s <= there.found[1].start_s
    assert there.ear.notes == ["works", "began", "began"]
    assert there.ear.quiet > RATE_HZ
    assert host.streams == []
    assert there.microphone.device == "bench microphone"


@pytest.mark.slow
def test_shut_ears_hear_nothing_and_what_was_begun_is_cut_off() -> None:
    host = StandInHost()
    shut = threading.Event()
    there = Listening(host, deaf=shut.is_set)
    word = speech("four point seven k")
    host.feed(np.concatenate([silence(1), word]))
    shut.set()
    host.feed(np.concatenate([word, silence(2)]))
    shut.clear()
    host.feed(uttered(0.5, "stop", 2))
    there.done()
    assert [utterance.cut for utterance in there.found] == [True, False]
    assert there.found[0].end_s - there.found[0].start_s < len(word) / RATE_HZ + 0.5
    assert there.found[1].end_s - there.found[1].start_s < 1.5
    assert there.ear.notes == ["works", "began", "began"]


@pytest.mark.slow
def test_a_click_before_the_ears_are_shut_is_forgotten() -> None:
    ears = Endpointer()
    word = speech("stop")
    ears.feed(np.concatenate([silence(1), word]))
    said_s = ears.speech_s
    assert ears.shut(said_s + 0.01) == ()
    assert ears.speech_s == 0.0
    ears.feed(np.concatenate([silence(1), word]))
    (cut,) = ears.shut(said_s)
    assert cut.cut
    assert ears.shut(0.0) == ()


def test_what_had_begun_before_the_ears_opened_is_marked() -> None:
    ears = Endpointer()
    word = speech("zero point two ohms")
    told = []
    for before, rest_s in ((word[len(word) // 3 :], 2.0), (np.concatenate([silence(0.2), word]), 2.0)):
        (found,) = ears.feed(np.concatenate([before, silence(rest_s)]))
        told.append(found.begun)
        ears.forget()
    assert told == [True, False]
    # right after another utterance nothing is missing
    first, second = ears.feed(np.concatenate([silence(1), word, silence(1.3), word, silence(2)]))
    assert (first.begun, second.begun) == (False, False)


@pytest.mark.slow
def test_an_utterance_with_a_hole_in_it_is_not_given_out() -> None:
    host = StandInHost()
    there = Listening(host)
    word = speech("four point seven k")
    host.feed(silence(1), lost=True)  # nobody speaks: no harm done
    host.feed(word[: len(word) // 2])
    host.feed(word[len(word) // 2 :], lost=True)
    host.feed(np.concatenate([silence(2), word, silence(2)]))
    there.done()
    assert len(there.found) == 1
    assert there.ear.notes == ["works", "began", "lost", "began"]


def test_more_sound_than_can_be_looked_at_counts_as_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("assistant.devices.microphone._MOST_BLOCKS", 3)
    microphone = LiveMicrophone(StandInHost())
    for _ in range(5):
        microphone._take(silence(0.02), lost=False)  # noqa: SLF001
    blocks = microphone._blocks  # noqa: SLF001
    assert [blocks.get().lost for _ in range(3) if not blocks.empty()] == [False] * 3  # type: ignore[union-attr]
    microphone._take(silence(0.02), lost=False)  # noqa: SLF001
    block = blocks.get()
    assert block is not None
    assert block.lost


@pytest.mark.parametrize("frozen", [True, False])
def test_a_microphone_that_sends_nothing_is_gone(frozen: bool) -> None:  # noqa: FBT001
    host = StandInHost()
    there = Listening(host, gone_s=0.02)
    if not frozen:
        host.feed(silence(0.1))
    there.thread.join(LIMIT_S)
    assert there.error == wording.MICROPHONE_GONE
    assert host.streams == []


def test_a_list_read_anew_by_somebody_else_is_no_trouble() -> None:
    host = StandInHost()
    there = Listening(host)
    host.feed(silence(0.1))
    host.devices(anew=True)
    until(lambda: host.opened == 2)
    host.feed(uttered(0.5, "stop", 2))
    there.done()
    assert len(there.found) == 1
    assert there.error == ""


def test_no_microphone_is_looked_for_anew_before_it_is_trouble() -> None:
    host = StandInHost(plugged=[LOUDSPEAKER])
    there = Listening(host)
    there.thread.join(LIMIT_S)
    assert there.error == wording.NO_MICROPHONE
    assert host.listed_anew == 1


def test_sound_that_is_no_number_is_silence() -> None:
    host = StandInHost()
    there = Listening(host)
    host.feed(np.full(RATE_HZ, np.nan, dtype=np.float32))
    there.done()
    assert there.found == []
    assert there.ear.notes == ["works"]


def test_an_ear_that_does_not_care_is_told_all_the_same() -> None:
    ear = Ear()
    for tell in (ear.works, ear.began, ear.ended_without, ear.lost):
        tell()
    ear.silence(silence(0.1))


# ---- the ears


class Told:
    """Ears with a stand-in recogniser that hears what it is given."""

    def __init__(self, bench: Bench, hear: Callable[[Samples], Hearing], **how: Any) -> None:
        self.host = how.pop("host", None) or StandInHost()
        self.told: Queue[Report] = Queue()
        self.asked: list[int] = []
        self.hear_it = hear
        self.turn = 7
        self.ears = Ears(
            self.host,
            self,
            bench.lexicon,
            self.told.put,
            now_expected=lambda: SECONDARY,
            turn=lambda: self.turn,
            deaf=lambda: False,
            **{"gone_s": LIMIT_S, "retry_s": (0.0,), **how},
        )
        self.ears.start()

    name = "stand-in"

    def hear(self, samples: Samples, expectation: Expectation) -> Hearing:
        assert expectation == SECONDARY
        self.asked.append(len(samples))
        return self.hear_it(samples)

    def speak(self, *texts: str) -> None:
        until(lambda: self.host.streams)
        self.host.feed(uttered(0.5, *(part for text in texts for part in (text, 0.6))))

    def next(self) -> Report:
        return self.told.get(timeout=LIMIT_S)


def test_an_utterance_is_recognised_while_the_pause_lasts_and_once_only(bench: Bench) -> None:
    there = Told(bench, lambda _: sure("four point seven k"))
    there.speak("four point seven k")
    assert there.next() == SpeechBegan()
    found = there.next()
    assert isinstance(found, SoundHeard)
    assert (found.hearing, found.turn) == (sure("four point seven k"), 7)
    assert len(there.asked) == 1
    there.ears.close()


@pytest.mark.slow
def test_an_unfinished_reading_is_waited_for_and_heard_anew_as_a_whole(bench: Bench) -> None:
    answers = iter([sure("four point"), sure("four point seven k")])
    there = Told(bench, lambda _: next(answers))
    there.speak("four point", "seven k")
    assert there.next() == SpeechBegan()
    found = there.next()
    assert isinstance(found, SoundHeard)
    assert found.hearing == sure("four point seven k")
    assert there.asked[1] > there.asked[0] + RATE_HZ // 2
    there.ears.close()


@pytest.mark.parametrize(
    ("heard", "waits"),
    [
        (sure("four point seven k"), False),
        (sure("stop"), False),
        (sure("one"), False),
        (sure("four point"), True),
        (sure("between one and"), True),
        (hearing("four", "four point"), True),
        (hearing("what a fine day", "what a fine day"), False),
        (hearing(), False),
    ],
)
def test_it_waits_longer_only_when_more_is_likely_to_follow(bench: Bench, heard: Hearing, waits: bool) -> None:  # noqa: FBT001
    assert breaks_off(heard, SECONDARY, bench.lexicon) == waits


def test_a_number_that_still_wants_its_unit_is_waited_for(bench: Bench) -> None:
    assert breaks_off(sure("four point seven"), Expectation("secondary"), bench.lexicon)
    assert not breaks_off(sure("four point seven"), SECONDARY, bench.lexicon)


def test_a_microphone_that_comes_and_goes_is_told_each_time_and_tried_again(bench: Bench) -> None:
    host = StandInHost(refuses="in use")
    there = Told(bench, lambda _: sure("stop"), host=host, gone_s=0.05)
    assert there.next() == Failed("microphone", "The device “bench microphone” cannot be used (in use).")
    assert there.next() == SpeechOver()
    host.refuses = ""
    until(lambda: host.feed(silence(0.1)))
    seen = [there.next()]
    while seen[-1] != Back("microphone"):
        seen.append(there.next())
    assert {type(report) for report in seen} <= {SpeechOver, Back}
    while (report := there.next()) != Failed("microphone", wording.MICROPHONE_GONE):
        assert report in (SpeechOver(), Back("microphone"))
    there.ears.close()


def test_a_recogniser_that_breaks_is_trouble_in_one_line_and_not_the_end(bench: Bench) -> None:
    def broken(_: Samples) -> Hearing:
        raise RuntimeError("out\nof order")

    there = Told(bench, broken)
    there.speak("stop")
    assert there.next() == SpeechBegan()
    assert there.next() == Failed("microphone", "Hearing broke off (RuntimeError: out of order).")
    assert there.next() == SpeechOver()
    there.hear_it = lambda _: sure("stop")
    until(lambda: there.host.streams)
    there.speak("stop")
    assert there.next() == Back("microphone")
    assert there.next() == SpeechBegan()
    assert isinstance(there.next(), SoundHeard)
    there.ears.close()


@pytest.mark.slow
def test_lost_sound_is_told_and_nothing_is_taken_from_it(bench: Bench) -> None:
    there = Told(bench, lambda _: sure("stop"))
    until(lambda: there.host.streams)
    word = speech("four point seven k")
    there.host.feed(np.concatenate([silence(0.5), word[:8_000]]))
    there.host.feed(np.concatenate([word[8_000:], silence(1.5)]), lost=True)
    assert [there.next() for _ in range(3)] == [SpeechBegan(), Remark(wording.SOUND_LOST), SpeechOver()]
    there.ears.close()


@pytest.mark.slow
def test_advice_about_level_noise_and_a_mute_microphone_comes_once(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("assistant.devices.microphone._MOST_BLOCKS", 10**9)
    monkeypatch.setattr("assistant.devices.ears._SILENT_S", 3.0)
    there = Told(bench, lambda _: sure("stop"))
    until(lambda: there.host.streams)
    noise = np.random.default_rng(5).standard_normal(40 * RATE_HZ).astype(np.float32) * 0.02
    word = uttered("stop", 1)
    said = 0.05 * word / np.abs(word).max() * 2
    loud = np.clip(word * 40, -1, 1)
    parts = [silence(4), *[np.concatenate([noise[:32_000], noise[: len(said)] + said])] * 5, loud, silence(1), loud]
    there.host.feed(np.concatenate([*parts, silence(1)]).astype(np.float32))
    lines: list[str] = []
    heard = 0
    while heard < 7:
        report = there.next()
        heard += isinstance(report, SoundHeard)
        lines += [report.line] if isinstance(report, Remark) else []
    assert lines == [wording.ALL_SILENT, wording.TOO_NOISY, wording.TOO_LOUD]
    there.ears.close()


# ---- levels


@pytest.mark.slow
def test_levels_say_what_is_wrong_in_words() -> None:
    word = uttered(0.5, "four point seven kilo ohms", 0.5)
    noise = np.random.default_rng(2).standard_normal(len(word)).astype(np.float32)
    assert levels.in_words(levels.measure(word + noise * 1e-4)) == "loud enough; the noise is low"
    assert levels.in_words(levels.measure(word + noise * 0.06)).startswith("loud enough; noise is high")
    assert levels.in_words(levels.measure(word * 0.01 + noise * 1e-5)).startswith("too quiet")
    assert levels.in_words(levels.measure(np.clip(word * 30, -1, 1))).startswith("too loud")
    assert levels.in_words(levels.measure(noise * 0.01)) == "nobody spoke; the noise is moderate"
    assert levels.in_words(levels.measure(silence(1))).startswith("nothing at all")
    assert levels.measure(silence(0)).snr_db is None


@pytest.mark.slow
def test_the_signal_to_noise_ratio_is_near_what_was_mixed() -> None:
    word = uttered(1, "nine eight seven six five", 1)
    speaking = word[RATE_HZ:-RATE_HZ]
    wanted_db = 15.0
    level = float(np.sqrt(np.square(speaking).mean() / 10 ** (wanted_db / 10)))
    noise = np.random.default_rng(4).standard_normal(len(word)).astype(np.float32) * level
    found = levels.measure(word + noise)
    assert found.snr_db == pytest.approx(wanted_db, abs=2.5)
    assert found.noise_dbfs == pytest.approx(20 * np.log10(level), abs=1)


# ---- the keyboard


def test_the_keyboard_gives_lines_as_they_come_and_tells_its_end(tmp_path: Any) -> None:
    path = tmp_path / "typed"
    path.write_bytes(b"ready\r\nfour \xff stroke\n\nlast")
    told: Queue[Report] = Queue()
    with path.open("rb") as file:
        Keyboard(told.put, file.fileno()).start()
        lines = [told.get(timeout=LIMIT_S) for _ in range(5)]
    typed = [LineTyped(text) for text in ("ready", "four \N{REPLACEMENT CHARACTER} stroke", "", "last")]
    assert lines == [*typed, KeysEnded()]


def test_no_keyboard_at_all_is_the_end_of_typing() -> None:
    told: Queue[Report] = Queue()
    Keyboard(told.put, 99_999).start()
    assert told.get(timeout=LIMIT_S) == KeysEnded()
