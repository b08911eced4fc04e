"""Loudspeaker and mouth: sentences in order, interrupted at once, whole when they must be, and every way they can fail."""

import functools
import threading
import time
from collections.abc import Iterator
from queue import Queue
from typing import Any

import numpy as np
import pytest
from stand_in_host import MICROPHONE, StandInHost
from waiting import LIMIT_S, until

from assistant.devices.loudspeaker import Loudspeaker
from assistant.devices.mouth import Mouth
from assistant.devices.ports import Samples
from assistant.devices.reports import AllSpoken, Back, Failed, Report
from assistant.devices.speaker import Silent
from assistant.devices.tones import Tone, sound
from assistant.errors import BadInput


class Levels:
    """A speaker whose sentences are steady levels, so that it can be seen which one sounds: "3" is 0.3 for 0.1 s, "3 long" for 200 s."""

    def __init__(self) -> None:
        self.trouble: str | None = None
        self.ending = 0
        """So many samples of a sentence are silence at its end."""
        self.asked: list[tuple[str, int]] = []
        self.closed = False

    def render(self, text: str, rate_wpm: int) -> bytes | None:
        import io  # noqa: PLC0415 - here alone

        import soundfile  # noqa: PLC0415 - the same

        self.asked.append((text, rate_wpm))
        if self.trouble:
            return None
        file = io.BytesIO()
        seconds = 200 if text.endswith("long") else 0.1
        level = np.full(round(16_000 * seconds), int(text[0]) / 10, dtype=np.float32)
        level[len(level) - self.ending :] = 0.0
        soundfile.write(file, level, 16_000, format="WAV", subtype="PCM_16")
        return file.getvalue()

    def next_voice(self) -> str | None:
        return None

    def close(self) -> None:
        self.closed = True


def order(host: StandInHost) -> str:
    """Which levels sounded, each once for each time that it began."""
    levels = np.round(host.heard * 10).astype(int)
    levels = levels[levels != 0]
    return "".join(str(level) for level in levels[np.flatnonzero(np.diff(levels, prepend=-1))])


# ---- the loudspeaker


def test_a_piece_is_played_to_its_end_at_the_rate_of_the_device() -> None:
    host = StandInHost()
    loudspeaker = Loudspeaker(host)
    began: list[bool] = []
    loudspeaker.began = lambda: began.append(True)
    assert loudspeaker.play(np.full(4_000, 0.5, dtype=np.float32), 8_000)
    assert began == [True]
    assert len(host.heard) == pytest.approx(8_000, abs=320)
    assert loudspeaker.device == "bench loudspeaker"
    assert loudspeaker.sounding
    loudspeaker.close()


def test_stopping_ends_a_piece_at_once() -> None:
    host = StandInHost()
    loudspeaker = Loudspeaker(host)
    loudspeaker.began = loudspeaker.stop
    began = time.monotonic()
    assert not loudspeaker.play(np.full(3_200_000, 0.5, dtype=np.float32), 16_000)
    assert not loudspeaker.play(np.ones(160, dtype=np.float32), 16_000)
    assert time.monotonic() - began < 5
    assert len(host.heard) < 16_000
    loudspeaker.free()
    loudspeaker.began = lambda: None
    assert loudspeaker.play(np.ones(160, dtype=np.float32), 16_000)
    loudspeaker.close()


def test_a_device_with_much_sound_on_its_way_is_closed_to_stop_it(monkeypatch: pytest.MonkeyPatch) -> None:
    host = StandInHost()
    loudspeaker = Loudspeaker(host)
    monkeypatch.setattr(loudspeaker.open(), "latency_s", 1.0)
    loudspeaker.began = loudspeaker.stop
    assert not loudspeaker.play(np.full(3_200_000, 0.5, dtype=np.float32), 16_000)
    assert host.streams == []


def test_a_device_that_takes_no_more_sound_is_gone() -> None:
    host = StandInHost(frozen=True)
    loudspeaker = Loudspeaker(host, gone_s=0.05)
    with pytest.raises(BadInput, match="takes no more sound"):
        loudspeaker.play(np.ones(16_000, dtype=np.float32), 16_000)
    assert host.streams == []


def test_a_device_that_was_plugged_in_later_is_found_by_reading_the_list_anew() -> None:
    host = StandInHost(plugged=[MICROPHONE])
    with pytest.raises(BadInput, match="No loudspeaker"):
        Loudspeaker(host).open()
    assert host.listed_anew == 1


# ---- tones


@pytest.mark.parametrize("tone", list(Tone))
def test_a_tone_is_short_soft_at_its_edges_and_unlike_the_others(tone: Tone) -> None:
    wave = sound(tone, 16_000)
    assert 0.04 < len(wave) / 16_000 < 0.35
    assert abs(wave[0]) + abs(wave[-1]) < 0.01
    assert 0.1 < float(np.abs(wave).max()) <= 0.25
    assert [other for other in Tone if other.value == tone.value] == [tone]


# ---- the mouth


class Spoken:
    """A mouth with a stand-in loudspeaker, and what it told."""

    def __init__(self, *, loudspeaker: bool = True, tones: bool = True, speaker: Any = None, **how: Any) -> None:
        self.host = StandInHost()
        self.speaker = speaker or Levels()
        self.told: Queue[Report] = Queue()
        device = Loudspeaker(self.host, gone_s=0.05) if loudspeaker else None
        self.mouth = Mouth(
            self.speaker,
            device,
            self.told.put,
            tones=tones,
            retry_s=(how.get("retry", 0.005),),
            reading_characters_per_s=how.get("reading", 1e9),
        )
        self.mouth.start()

    def next(self) -> Report:
        return self.told.get(timeout=LIMIT_S)


@pytest.fixture
def spoken() -> Iterator[Spoken]:
    made = Spoken()
    yield made
    made.mouth.close()


@pytest.mark.slow
def test_sentences_are_spoken_in_order_and_the_end_is_told_once(spoken: Spoken) -> None:
    for text in "123":
        spoken.mouth.say(text, whole=False)
    audible = spoken.mouth.audible
    assert audible
    assert spoken.next() == AllSpoken(spoken.mouth.burst)
    assert order(spoken.host) == "123"
    assert not spoken.mouth.audible
    spoken.mouth.say("4", whole=False)
    assert spoken.next() == AllSpoken(2)
    assert order(spoken.host) == "1234"
    assert spoken.told.empty()


@pytest.mark.slow
def test_rate_and_loudness_hold_from_the_next_sentence_on(spoken: Spoken) -> None:
    spoken.mouth.voice(300, 50)
    spoken.mouth.say("4", whole=False)
    spoken.next()
    assert ("4", 300) in spoken.speaker.asked
    assert order(spoken.host) == "2"
    spoken.mouth.voice(300, 200)
    spoken.mouth.say("9", whole=False)
    spoken.next()
    assert float(spoken.host.heard.max()) <= 0.99


@pytest.mark.slow
def test_an_answer_drops_what_was_to_be_said_except_what_must_be_heard(spoken: Spoken) -> None:
    spoken.mouth.say("1 long", whole=False)
    spoken.mouth.say("2", whole=False)
    spoken.mouth.say("3", whole=True)
    until(lambda: "1" in order(spoken.host))
    spoken.mouth.drop()
    spoken.mouth.say("4", whole=False)
    assert spoken.next() == AllSpoken(spoken.mouth.burst)
    assert order(spoken.host) == "134"


@pytest.mark.slow
def test_a_caution_goes_on_through_an_answer_and_ends_at_stop(spoken: Spoken) -> None:
    spoken.mouth.say("1 long", whole=True)
    until(lambda: "1" in order(spoken.host))
    before = len(spoken.host.heard)
    spoken.mouth.drop()
    spoken.mouth.hold()
    until(lambda: len(spoken.host.heard) > before + 16_000)
    spoken.mouth.hush()
    spoken.mouth.say("2", whole=False)
    assert spoken.next() == AllSpoken(spoken.mouth.burst)
    assert order(spoken.host) == "12"


@pytest.mark.slow
def test_what_was_held_begins_again_and_what_was_dropped_meanwhile_does_not(spoken: Spoken) -> None:
    spoken.mouth.say("1 long", whole=False)
    until(lambda: "1" in order(spoken.host))
    spoken.mouth.hold()
    until(lambda: spoken.mouth._now is None)  # noqa: SLF001
    silent = len(spoken.host.heard)
    spoken.mouth.go_on()
    until(lambda: len(spoken.host.heard) > silent + 1_600)
    spoken.mouth.hold()
    spoken.mouth.drop()
    spoken.mouth.say("2", whole=False)
    assert spoken.next() == AllSpoken(spoken.mouth.burst)
    assert order(spoken.host) == "12"
    assert spoken.speaker.asked.count(("1 long", 175)) == 2


@pytest.mark.slow
def test_tones_sound_between_the_sentences_where_they_are_wanted() -> None:
    for wanted in (True, False):
        spoken = Spoken(tones=wanted)
        spoken.mouth.tone(Tone.GOT_IT)
        spoken.mouth.say("5", whole=False)
        assert spoken.next() == AllSpoken(1)
        assert (len(spoken.host.heard) > 2_000) == wanted
        spoken.mouth.close()


@pytest.mark.slow
def test_ears_are_shut_from_the_first_word_on_and_not_in_the_tone_and_the_breath_before_it(
    spoken: Spoken, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("assistant.devices.mouth.BREATH_S", LIMIT_S)
    spoken.mouth.tone(Tone.GOT_IT)
    spoken.mouth.breathe()
    spoken.mouth.say("9 long", whole=False)
    until(lambda: spoken.mouth._now is not None and spoken.mouth._now.breath)  # noqa: SLF001
    assert spoken.mouth.audible
    shut = [spoken.mouth.shuts_ears]
    spoken.mouth.hold()  # somebody speaks
    until(lambda: spoken.mouth._now is None)  # noqa: SLF001
    monkeypatch.setattr("assistant.devices.mouth.BREATH_S", 0.01)
    assert "9" not in order(spoken.host)
    spoken.mouth.go_on()
    until(lambda: "9" in order(spoken.host))
    shut.append(spoken.mouth.shuts_ears)
    spoken.mouth.drop()
    assert spoken.next() == AllSpoken(1)
    for tone in (Tone.GOT_IT, Tone.LISTENING):  # the other could be taken for speech
        spoken.mouth.tone(tone)
        spoken.next()
        shut.append(spoken.mouth._worded)  # noqa: SLF001
    assert shut == [False, True, False, True]


@pytest.mark.slow
def test_no_silence_of_the_voice_shuts_the_ears_before_the_tone_that_gives_the_turn(
    spoken: Spoken, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between sentences it stands; a sentence of nothing but silence is none."""
    spoken.speaker.ending = 1_200
    played: list[int] = []
    play = Loudspeaker.play

    def counted(self: Loudspeaker, samples: Samples, *rest: Any) -> bool:
        played.append(len(samples))
        return play(self, samples, *rest)

    monkeypatch.setattr(Loudspeaker, "play", counted)
    for sentences in ("12", "0"):
        with spoken.mouth._changed:  # noqa: SLF001 - all of it in one burst
            for text in sentences:
                spoken.mouth.say(text, whole=False)
            spoken.mouth.tone(Tone.LISTENING)
        assert spoken.next() == AllSpoken(spoken.mouth.burst)
    tone = len(sound(Tone.LISTENING, 22_050))
    assert played == [1_600, 399 + 800, tone, 800, tone]


def waiting(mouth: Mouth) -> list[str]:
    return [sentence.tone.name if sentence.tone else sentence.text for sentence in mouth._waiting]  # noqa: SLF001


def test_the_tone_that_gives_the_turn_waits_once_and_after_everything_that_came_later(spoken: Spoken) -> None:
    """A device that fails or is back while a question waits: who answers the tone in between speaks into shut ears."""
    spoken.mouth.hold()
    spoken.mouth.say("1", whole=False)
    spoken.mouth.tone(Tone.LISTENING)
    spoken.mouth.tone(Tone.TROUBLE)
    assert waiting(spoken.mouth) == ["1", "TROUBLE", "LISTENING"]
    spoken.mouth.say("2", whole=False)
    spoken.mouth.tone(Tone.LISTENING)
    spoken.mouth.say("3", whole=False)
    assert waiting(spoken.mouth) == ["1", "TROUBLE", "2", "3", "LISTENING"]
    spoken.mouth.go_on()
    assert spoken.next() == AllSpoken(1)
    spoken.mouth.tone(Tone.LISTENING)  # the next burst has its own
    assert spoken.next() == AllSpoken(2)


@pytest.mark.parametrize(
    ("added", "left"), [("", ["LISTENING"]), ("1", ["1", "LISTENING"]), ("1 LISTENING", ["1", "LISTENING"])]
)
def test_the_tone_that_gives_the_turn_and_was_held_comes_after_what_was_added_meanwhile(
    spoken: Spoken, monkeypatch: pytest.MonkeyPatch, added: str, left: list[str]
) -> None:
    monkeypatch.setattr("assistant.devices.mouth.tone_sound", lambda *_: np.full(4_000_000, 0.5, dtype=np.float32))
    spoken.mouth.tone(Tone.LISTENING)
    until(lambda: len(spoken.host.heard))
    for word in added.split():
        if word == "LISTENING":
            spoken.mouth.tone(Tone.LISTENING)
        else:
            spoken.mouth.say(word, whole=False)
    spoken.mouth.hold()
    until(lambda: spoken.mouth._now is None)  # noqa: SLF001
    assert waiting(spoken.mouth) == left
    spoken.mouth.drop()


def test_nobody_waits_for_a_breath_without_a_loudspeaker() -> None:
    quiet = Spoken(loudspeaker=False, speaker=Silent())
    quiet.mouth.breathe()
    quiet.mouth.say("1", whole=False)
    assert not quiet.mouth.shuts_ears
    assert quiet.next() == AllSpoken(1)
    quiet.mouth.close()


@pytest.mark.slow
def test_getting_ready_opens_the_device_before_anything_is_said(spoken: Spoken) -> None:
    spoken.mouth.get_ready()
    until(lambda: spoken.host.opened == 1)
    spoken.mouth.say("1", whole=False)
    spoken.next()
    assert spoken.host.opened == 1


def is_opened(host: StandInHost, times: int) -> bool:
    return host.opened == times


@pytest.mark.slow
def test_a_list_read_anew_in_mid_sentence_makes_it_begin_again(spoken: Spoken) -> None:
    spoken.mouth.say("1", whole=False)
    spoken.mouth.say("2 long", whole=False)
    until(lambda: "2" in order(spoken.host))
    for opened in (2, 3):  # a device may be lost again at once
        spoken.host.devices(anew=True)
        until(functools.partial(is_opened, spoken.host, opened))
    spoken.mouth.drop()
    assert isinstance(spoken.next(), AllSpoken)


@pytest.mark.slow
def test_a_voice_that_fails_is_told_once_the_text_is_read_and_the_voice_comes_back(spoken: Spoken) -> None:
    spoken.speaker.trouble = "No spoken words: it died."
    spoken.mouth.say("1", whole=False)
    assert spoken.next() == Failed("voice", "No spoken words: it died.")
    assert isinstance(spoken.next(), AllSpoken)
    spoken.mouth.say("2", whole=False)
    assert isinstance(spoken.next(), AllSpoken)
    spoken.speaker.trouble = None
    spoken.mouth.say("3", whole=False)
    assert spoken.next() == Back("voice")
    assert isinstance(spoken.next(), AllSpoken)
    assert order(spoken.host) == "3"


@pytest.mark.slow
def test_a_loudspeaker_that_is_pulled_out_is_told_once_and_tried_until_it_is_back(spoken: Spoken) -> None:
    spoken.mouth.say("1 long", whole=False)
    until(lambda: "1" in order(spoken.host))
    spoken.host.refuses, spoken.host.frozen = "gone", True
    found = spoken.next()
    assert isinstance(found, Failed)
    assert (found.device, "takes no more sound" in found.line) == ("loudspeaker", True)
    assert isinstance(spoken.next(), AllSpoken)
    tried = spoken.host.listed_anew
    assert not spoken.mouth.audible  # so the ears are open
    spoken.host.refuses, spoken.host.frozen = "", False
    assert spoken.next() == Back("loudspeaker")  # without a word being said
    spoken.mouth.say("2", whole=False)
    assert isinstance(spoken.next(), AllSpoken)
    assert order(spoken.host) == "12"
    assert spoken.host.listed_anew >= tried


@pytest.mark.parametrize("stopped", [False, True])
def test_what_must_be_heard_and_was_cut_off_is_spoken_first_when_the_loudspeaker_is_back(
    spoken: Spoken, *, stopped: bool
) -> None:
    spoken.host.refuses = "gone"
    for text, whole in (("1", True), ("2", False), ("3", True)):
        spoken.mouth.say(text, whole=whole)
    assert isinstance(spoken.next(), Failed)
    assert spoken.next() == AllSpoken(1)
    spoken.mouth.drop()  # an answer
    spoken.mouth.say("4", whole=True)  # what comes while nothing can be heard is read
    assert spoken.next() == AllSpoken(2)
    spoken.mouth.drop()  # and answered
    if stopped:
        spoken.mouth.hush()
    spoken.host.refuses = ""
    assert spoken.next() == Back("loudspeaker")
    spoken.mouth.say("5", whole=False)
    burst = 3
    if (
        spoken.next() == AllSpoken(burst) and spoken.mouth.burst > burst
    ):  # what was cut off was over before this was said
        burst += 1
        assert spoken.next() == AllSpoken(burst)
    assert order(spoken.host) == ("5" if stopped else "135")


@pytest.mark.parametrize("stopped", [False, True])
def test_what_must_be_heard_and_could_only_be_read_is_spoken_when_the_loudspeaker_is_back(
    spoken: Spoken, *, stopped: bool
) -> None:
    """A verdict that is reached while the loudspeaker is out, and the answers before it are typed."""
    spoken.host.refuses = "gone"
    spoken.mouth.say("1", whole=False)
    assert isinstance(spoken.next(), Failed)
    assert spoken.next() == AllSpoken(1)
    spoken.mouth.drop()  # an answer
    for _ in range(2):  # said, and repeated on demand or as a reminder
        with spoken.mouth._changed:  # noqa: SLF001 - all of it in one burst
            for text, whole in (("2", True), ("3", False), ("4", True)):
                spoken.mouth.say(text, whole=whole)
        assert spoken.next() == AllSpoken(spoken.mouth.burst)
    if stopped:
        spoken.mouth.hush()
    spoken.host.refuses = ""
    assert spoken.next() == Back("loudspeaker")
    if not stopped:
        assert spoken.next() == AllSpoken(4)
    spoken.mouth.say("5", whole=False)
    assert spoken.next() == AllSpoken(4 if stopped else 5)
    assert order(spoken.host) == ("5" if stopped else "245")


@pytest.mark.slow
def test_a_loudspeaker_is_tried_before_the_next_sentence_and_what_was_cut_off_goes_first() -> None:
    spoken = Spoken(retry=0.3, reading=10.0)
    spoken.host.refuses = "gone"
    for text, whole in (("1", True), ("2 is read", False), ("3", False)):
        spoken.mouth.say(text, whole=whole)
    assert isinstance(spoken.next(), Failed)
    spoken.host.refuses = ""
    assert spoken.next() == Back("loudspeaker")
    assert spoken.next() == AllSpoken(1)
    assert order(spoken.host) == "13"
    spoken.mouth.close()


def test_without_a_loudspeaker_the_end_comes_when_there_was_time_to_read() -> None:
    quiet = Spoken(loudspeaker=False, speaker=Silent(), reading=100.0)
    began = time.monotonic()
    quiet.mouth.get_ready()
    quiet.mouth.say("ten letters"[:10], whole=False)
    assert quiet.next() == AllSpoken(1)
    assert 0.09 < time.monotonic() - began < LIMIT_S
    assert not quiet.mouth.audible
    quiet.mouth.close(after_s=60)


def test_an_answer_ends_the_time_to_read() -> None:
    quiet = Spoken(loudspeaker=False, speaker=Silent(), reading=0.001)
    quiet.mouth.say("This would take for ever.", whole=False)
    until(lambda: quiet.mouth._now is not None)  # noqa: SLF001
    quiet.mouth.drop()
    assert quiet.next() == AllSpoken(1)
    quiet.mouth.close()


@pytest.mark.slow
def test_closing_lets_the_last_words_out_and_ends_everything() -> None:
    spoken = Spoken()
    spoken.mouth.say("1", whole=False)
    spoken.mouth.close(after_s=LIMIT_S)
    assert order(spoken.host) == "1"
    assert spoken.speaker.closed
    assert spoken.host.streams == []


def test_ctrl_c_cuts_the_last_words_off(monkeypatch: pytest.MonkeyPatch) -> None:
    spoken = Spoken()
    spoken.mouth.say("1 long", whole=True)
    until(lambda: "1" in order(spoken.host))
    wait = spoken.mouth._changed.wait  # noqa: SLF001

    def interrupted(limit_s: float | None = None) -> bool:
        if threading.current_thread() is threading.main_thread():
            raise KeyboardInterrupt
        return wait(limit_s)

    monkeypatch.setattr(spoken.mouth._changed, "wait", interrupted)  # noqa: SLF001
    with pytest.raises(KeyboardInterrupt):
        spoken.mouth.close(after_s=LIMIT_S)
    assert not spoken.mouth._thread.is_alive()  # noqa: SLF001
    assert spoken.speaker.closed


def test_closing_cuts_off_what_takes_too_long() -> None:
    spoken = Spoken()
    spoken.mouth.say("1 long", whole=True)
    until(lambda: "1" in order(spoken.host))
    spoken.mouth.close()
    assert not spoken.mouth._thread.is_alive()  # noqa: SLF001


@pytest.mark.slow
def test_a_loudspeaker_that_is_not_used_is_let_go(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("assistant.devices.mouth._IDLE_S", 0.01)
    spoken = Spoken()
    spoken.mouth.say("1", whole=False)
    spoken.next()
    until(lambda: not spoken.host.streams)
    spoken.mouth.close()


def test_levels_are_told_apart(spoken: Spoken) -> None:
    """The test's own eye: a level is seen once for each time it begins."""
    steps = [np.full(10, level, dtype=np.float32) for level in (0.1, 0.2, 0.1)]
    spoken.host.played += steps
    assert order(spoken.host) == "121"
