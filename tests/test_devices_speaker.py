"""The mouth: what is said for a line, the real voice, and every way a voice can fail without stopping a session."""

import gc
import io
import json
import re
import subprocess
import sys
import wave
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import SimpleNamespace

import espeakng_loader
import numpy as np
import pytest
import soundfile
from depth import any_text
from hypothesis import given
from hypothesis import strategies as st

from assistant.devices import speaker, voice_worker
from assistant.devices.ports import Speaker
from assistant.devices.speaker import LONGEST_CHARACTERS, Silent, Voice, for_speech
from assistant.language import device_wording

WORKER_FILE = Path(voice_worker.__file__)

# A worker that speaks the real protocol with the text itself as its "sound"; a file gets every start and request.
ECHO = """
import json, sys
log = open(sys.argv[1], "a")
print("start", file=log, flush=True)
for line in sys.stdin.buffer:
    request = json.loads(line)
    if "is_there" in request:
        print(json.dumps({"name": request["is_there"] if request["is_there"] != "nope" else ""}), flush=True)
        continue
    print(request["text"], request["rate_wpm"], request["voice"], file=log, flush=True)
    sound = b"RIFF" + request["text"].encode()
    sys.stdout.buffer.write(json.dumps({"bytes": len(sound)}).encode() + b"\\n" + sound)
    sys.stdout.buffer.flush()
"""
# The same, but each process answers one sentence and ends.
ONE_EACH = ECHO + "    sys.exit()\n"
# Notes its start, then fails until the log has as many starts as its second argument says.
BROKEN_AT_FIRST = ECHO.replace(
    "for line", 'if open(sys.argv[1]).read().count("start") < int(sys.argv[2]): sys.exit("no data here")\nfor line', 1
)
NEVER_ANSWERS = "import sys; sys.stdin.buffer.read()"


def fake(script: str, *arguments: object) -> tuple[str, ...]:
    return (sys.executable, "-I", "-S", "-c", script, *map(str, arguments))


def sound_of(wav: bytes) -> tuple[np.ndarray, int]:
    with wave.open(io.BytesIO(wav)) as file:
        assert (file.getnchannels(), file.getsampwidth()) == (1, 2)
        return np.frombuffer(file.readframes(file.getnframes()), dtype="<i2"), file.getframerate()


# ---- what is said for a printed line


@pytest.mark.parametrize(
    ("printed", "said"),
    [
        ("4.70 kΩ.", "four point seven zero kilo-ohms."),
        ("The primary is 15.2 \N{OHM SIGN}.", "The primary is one five point two ohms."),
        ("0.5–2.5 Ω", "zero point five to two point five ohms"),
        ("1.4 Ω ± 0.3 Ω", "one point four ohms plus or minus zero point three ohms"),
        ("It reads .85 now", "It reads zero point eight five now"),
        ("It reads 0.30.", "It reads zero point three zero."),
        ("at −5 °C or 45 °C", "at minus five degrees Celsius or four five degrees Celsius"),
        ("15 what: ohms, kilo-ohms or meg-ohms?", "one five what: ohms, kilo-ohms or meg-ohms?"),
        ("4,700 Ω", "four seven zero zero ohms"),
        ("Speaking at 1,000 words.", "Speaking at one zero zero zero words."),
        ("job A12", "job A12"),
        ("at -5.5 °C", "at minus five point five degrees Celsius"),
        ("step 3 of 9", "step three of nine"),
        ("kilo-ohms — not ohms", "kilo-ohms, not ohms"),
        ("in kΩ, not Ω", "in kilo-ohms, not ohms"),
        ('I heard "*four*" [?]', "I heard four?"),
        ("tabs\tand\x00 lines\nbecome spaces", "tabs and lines become spaces"),
        ("version 1.2.3 stays", "version 1.2.3 stays"),
        ("", ""),
        ("  … — [ ]\n", ""),
    ],
)
def test_a_printed_line_becomes_words_for_a_voice(printed: str, said: str) -> None:
    assert for_speech(printed) == said


def test_a_long_line_is_cut_between_words() -> None:
    said = for_speech("spoken words " * 1_000)
    assert len(said) <= LONGEST_CHARACTERS
    assert said.split()[-1] in {"spoken", "words"}


@given(any_text(200))
def test_any_text_has_something_sayable_or_nothing(text: str) -> None:
    said = for_speech(text)
    assert "Ω" not in said
    assert said == " ".join(said.split())
    assert said == "" or re.search(r"\w", said)
    assert len(said) <= LONGEST_CHARACTERS


@given(st.integers(0, 99_999), st.integers(1, 4), st.sampled_from(["mΩ", "Ω", "kΩ", "MΩ"]))
def test_no_printed_quantity_leaves_a_digit_to_the_voice(units: int, places: int, symbol: str) -> None:
    digits = str(units).rjust(places + 1, "0")
    said = for_speech(f"Is it {digits[:-places]}.{digits[-places:]} {symbol}?")
    assert not re.search(r"[0-9]", said)
    assert said.startswith("Is it ")


# ---- one contract, the real one and the stand-in


@pytest.fixture(params=[Voice, Silent], ids=["real", "stand-in"])
def any_speaker(request: pytest.FixtureRequest) -> Iterator[Speaker]:
    made: Voice | Silent = request.param()
    yield made
    made.close()


ODD_TEXTS = ("", "...", "\x00\x07\x1b[31m", "日本語", "🙂", "a" * 5_000, "4.70 kΩ", 'quote " \\ <speak> & </speak>')


@pytest.mark.slow
def test_a_speaker_gives_a_wav_or_nothing_and_never_raises(any_speaker: Speaker) -> None:
    for text in ODD_TEXTS:
        for rate_wpm in (-1, 180, 10_000):
            wav = any_speaker.render(text, rate_wpm)
            assert wav is None or sound_of(wav)[0].size > 0


@pytest.mark.slow
def test_a_speaker_says_the_same_again_and_from_many_threads(any_speaker: Speaker) -> None:
    lines = [f"Reading number {n}." for n in range(6)]
    once = [any_speaker.render(line, 300) for line in lines]
    with ThreadPoolExecutor(6) as pool:
        again = list(pool.map(lambda line: any_speaker.render(line, 300), lines * 3))
    assert again == once * 3


# ---- the real voice


@pytest.fixture(scope="module")
def voice() -> Iterator[Voice]:
    made = Voice()
    made.start()
    yield made
    made.close()


def test_the_voice_makes_sound_and_works_without_trouble(voice: Voice) -> None:
    wav = voice.render("Put the probes together on the lowest range.", 180)
    assert wav is not None, voice.trouble
    samples, rate_hz = sound_of(wav)
    assert 1.5 < samples.size / rate_hz < 6
    assert np.sqrt(np.mean(np.square(samples.astype(float)))) > 300
    assert voice.trouble is None


@pytest.mark.slow
def test_a_faster_rate_is_shorter(voice: Voice) -> None:
    text = "One five point two kilo-ohms, taken a second time after cleaning."
    lengths = [len(voice.render(text, rate_wpm) or b"") for rate_wpm in (120, 180, 300, 450)]
    assert lengths == sorted(lengths, reverse=True)
    assert lengths[0] > 2 * lengths[3] > 0
    for _ in range(5):  # in a fresh process pyttsx3 may lose the first change of rate
        with Voice() as fresh:
            again = [len(fresh.render(text, rate_wpm) or b"") for rate_wpm in (300, 120, 450, 180)]
        assert np.allclose(again, [lengths[2], lengths[0], lengths[3], lengths[1]], rtol=0.03)
    assert voice.render(text, 1) == voice.render(text, 120)
    assert voice.render(text, 9_999) == voice.render(text, 450)


@pytest.mark.slow
def test_another_voice_sounds_different_and_stays() -> None:
    text = "One five point two kilo-ohms."
    with Voice() as changing:
        before = changing.render(text, 180)
        names = [changing.next_voice() for _ in range(2)]
        after = changing.render(text, 180)
    assert names[0]
    assert names[1] not in (None, names[0])
    assert before
    assert after not in (None, before)
    with Voice(names[1]) as again:  # as a later session finds it in the settings
        assert abs(len(again.render(text, 180) or b"") - len(after or b"")) < 2_000


def test_a_voice_that_cannot_be_changed_stays(tmp_path: Path) -> None:
    assert Silent().next_voice() is None
    with Voice("mine", command=fake(NEVER_ANSWERS), limit_s=0.05) as hanging:
        assert not hanging.next_voice()
        assert hanging.next_voice() == ""
        assert "did not answer" in (hanging.trouble or "")
    assert device_wording.voice_now(None) != device_wording.voice_now("")
    alone = (
        ECHO.replace('request["text"], ', "")
        .replace(
            "    sound = ",
            '    if "after" in request:\n        print(json.dumps({"name": ""}), flush=True)\n        continue\n    sound = ',
        )
        .replace('request["rate_wpm"], ', "")
        .replace('request["voice"]', 'request.get("voice")')
    )
    log = tmp_path / "log"
    with Voice("mine", command=fake(alone, log)) as only:
        assert only.next_voice() is None
        assert only.render("a", 180) == b"RIFFa"
    assert log.read_text().splitlines()[-1] == "mine"


@pytest.mark.parametrize(
    ("voices", "current", "chosen"),
    [(["a", "b", "c"], "a", "b"), (["a", "b"], "b", "a"), (["a"], "a", ""), ([], None, ""), (["a", "b"], "x", "a")],
)
def test_voices_follow_each_other_round_and_round(voices: list[str], current: str | None, chosen: str) -> None:
    assert voice_worker.following(voices, current) == chosen


@pytest.mark.slow
def test_every_sentence_is_its_own(voice: Voice) -> None:
    """pyttsx3 may repeat or drop sentences when one engine is asked for several; each here must be itself."""
    short, long = "Yes.", "Every reading that would condemn the coil is taken a second time, after cleaning."
    with Voice() as fresh:
        alone = fresh.render(long, 180)
    for _ in range(3):
        assert len(voice.render(short, 180) or b"") < len(voice.render(long, 180) or b"") / 3
    assert abs(len(voice.render(long, 180) or b"") - len(alone or b"")) < 2_000


@pytest.mark.slow
def test_the_voice_prints_nothing(capfd: pytest.CaptureFixture[str]) -> None:
    with Voice() as fresh:
        assert fresh.render("Not a word on the screen.", 180)
    assert capfd.readouterr() == ("", "")


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="the espeak-ng of a package is preloaded on Linux alone")
def test_the_voice_needs_no_system_espeak_and_survives_a_long_path(tmp_path: Path) -> None:
    # The library in the worker is the package's, and so are its data, though they lie deeper than espeak-ng can reach.
    deep = tmp_path / ("d" * 80) / ("e" * 80)
    deep.mkdir(parents=True)
    (deep / "espeak-ng-data").symlink_to(espeakng_loader.get_data_path(), target_is_directory=True)
    script = f"""
import importlib.util, os, pathlib, sys, tempfile
import espeakng_loader
espeakng_loader.get_data_path = lambda: {str(deep / "espeak-ng-data")!r}
spec = importlib.util.spec_from_file_location("voice_worker", {str(WORKER_FILE)!r})
worker = importlib.util.module_from_spec(spec)
spec.loader.exec_module(worker)
with tempfile.TemporaryDirectory() as scratch:
    sound = worker.Engine(pathlib.Path(scratch)).render("Ready.", 180, None)
    mapped = {{line.split()[-1] for line in open("/proc/self/maps") if "espeak" in line and ".so" in line}}
    print(len(sound), len(os.environ["ESPEAK_DATA_PATH"]), *sorted(mapped), file=sys.stderr)
"""
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=60)
    size, path_length, *mapped = done.stderr.split()
    assert int(size) > 10_000
    assert int(path_length) <= voice_worker.ESPEAK_PATH_LIMIT
    assert [Path(name).parent.name for name in mapped] == ["espeakng_loader"]


@pytest.mark.slow
def test_a_voice_that_does_not_exist_is_told_once_and_the_usual_one_speaks() -> None:
    wrong: list[str] = []
    with Voice() as usual, Voice("no/such-voice", wrong=wrong.append) as strange:
        sound = usual.render("Anything.", 180)
        assert sound is not None
        assert strange.render("Anything.", 180) == sound
        assert strange.render("Anything else.", 180)
        assert strange.trouble is None
        assert strange.next_voice() == usual.next_voice()
    assert wrong == ["no/such-voice"]


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="names of espeak-ng")
def test_a_voice_may_go_by_a_name_that_is_not_listed() -> None:
    wrong: list[str] = []
    with Voice("en", wrong=wrong.append) as named:
        assert named.render("Anything.", 180), named.trouble
    assert wrong == []


def test_a_wrong_voice_is_asked_for_once_and_its_process_used_no_more(tmp_path: Path) -> None:
    log, wrong = tmp_path / "log", list[str]()
    with Voice("nope", command=fake(ECHO, log), wrong=wrong.append) as strange:
        assert [strange.render(text, 180) for text in ("a", "b")] == [b"RIFFa", b"RIFFb"]
    assert log.read_text().split("\n") == ["start", "start", "a 180 None", "b 180 None", ""]
    assert wrong == ["nope"]


def test_another_voice_is_tried_at_once_however_often_the_voice_failed(tmp_path: Path) -> None:
    naming = BROKEN_AT_FIRST.replace('"is_there"', '"after"').replace('request["after"] if', '"other" if')
    log = tmp_path / "log"
    with Voice(command=fake(naming, log, 3)) as broken:
        assert [broken.render(text, 180) for text in "abc"] == [None] * 3  # the third was not tried
        assert log.read_text().count("start") == 2
        assert broken.next_voice() == "other"
        assert broken.trouble is None
        assert broken.render("a", 180) == b"RIFFa"
    assert log.read_text().splitlines()[-1] == "a 180 other"


# ---- trouble


def test_a_worker_that_never_answers_is_given_up_and_killed() -> None:
    with Voice(command=fake(NEVER_ANSWERS), limit_s=0.05) as hung:
        hung.start()
        process = hung._worker._process  # type: ignore[union-attr]  # noqa: SLF001
        assert hung.render("Anything.", 180) is None
        assert process.poll() is not None
        assert hung.trouble == ("No spoken words: the voice process did not answer within 0.05 s. The text goes on.")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("script", "why"),
    [
        ("import sys; sys.exit('no data for\\n  this voice')", "ended: this voice"),
        ("input(); print('what?')", "no proper answer"),
        ("input(); print('[]')", "no proper answer"),
        ("input(); print('{}')", "no proper answer"),
        ('input(); print(\'{"bytes": 10}\'); print("RIFF")', "broke off"),
        ('input(); print(\'{"bytes": 5}\'); print("hello")', "broke off"),
        ('input(); print(\'{"error": "the voice is hoarse"}\')', "the voice is hoarse"),
    ],
)
def test_a_worker_that_dies_or_babbles_is_trouble_with_its_reason(script: str, why: str) -> None:
    with Voice(command=fake(script)) as broken:
        assert broken.render("Anything.", 180) is None
        assert why in (broken.trouble or "")


def test_a_program_that_is_not_there_is_trouble(tmp_path: Path) -> None:
    missing = Voice(command=(str(tmp_path / "nothing"),))
    missing.start()
    assert missing.render("Anything.", 180) is None
    assert "cannot be started" in (missing.trouble or "")


@pytest.mark.slow
def test_a_worker_that_ended_between_sentences_is_replaced(tmp_path: Path) -> None:
    log = tmp_path / "log"
    with Voice(command=fake(ONE_EACH, log)) as mortal:
        for n in range(3):
            assert mortal.render(f"line{n}", 180) == f"RIFFline{n}".encode()
            mortal._worker._process.wait()  # type: ignore[union-attr]  # noqa: SLF001  its death, without a race
    assert log.read_text().count("start") == 3


@pytest.mark.slow
def test_a_voice_that_comes_back_is_used_again(tmp_path: Path) -> None:
    with Voice(command=fake(BROKEN_AT_FIRST, tmp_path / "log", 2)) as patient:
        assert patient.render("line", 180) is None
        assert "no data here" in (patient.trouble or "")
        assert patient.render("line", 180) == b"RIFFline"
        assert patient.trouble is None


@pytest.mark.slow
def test_a_voice_that_stays_broken_is_tried_ever_less_often(tmp_path: Path) -> None:
    log = tmp_path / "log"
    with Voice(command=fake(BROKEN_AT_FIRST, log, 99)) as broken:
        starts = []
        for n in range(48):
            before = log.read_text().count("start") if log.exists() else 0
            assert broken.render(f"line{n}", 180) is None
            assert "no data here" in (broken.trouble or "")
            if log.read_text().count("start") > before:
                starts.append(n)
    assert starts == [0, 1, 3, 7, 15, 31, 47]


def test_a_sentence_is_rendered_once_for_each_rate_and_the_oldest_are_let_go(tmp_path: Path) -> None:
    log = tmp_path / "log"
    with Voice("en", command=fake(ECHO, log), kept=2) as kept:
        for text, rate_wpm in (("a", 180), ("a", 180), ("a", 200), ("a", 180), ("b", 180), ("a", 180), ("a", 200)):
            kept.render(text, rate_wpm)
    assert log.read_text().split("\n") == ["start", "a 180 en", "a 200 en", "b 180 en", "a 200 en", ""]


@pytest.mark.slow
def test_sentences_from_many_threads_are_not_mixed_up(tmp_path: Path) -> None:
    lines = [f"line{n}" for n in range(40)]
    with Voice(command=fake(ECHO, tmp_path / "log")) as shared, ThreadPoolExecutor(8) as pool:
        sounds = list(pool.map(lambda line: shared.render(line, 180), lines))
    assert sounds == [b"RIFF" + line.encode() for line in lines]
    assert (tmp_path / "log").read_text().count("start") == 1


@pytest.mark.slow
def test_threads_that_meet_a_dying_worker_all_get_an_answer(tmp_path: Path) -> None:
    with Voice(command=fake(ONE_EACH, tmp_path / "log")) as mortal, ThreadPoolExecutor(8) as pool:
        sounds = list(pool.map(lambda n: mortal.render(f"line{n}", 180), range(24)))
    assert all(sound in (None, f"RIFFline{n}".encode()) for n, sound in enumerate(sounds))
    assert any(sounds)


def test_closing_twice_and_speaking_after_it_are_fine(tmp_path: Path) -> None:
    made = Voice(command=fake(ECHO, tmp_path / "log"))
    made.close()
    assert made.render("a", 180) == b"RIFFa"
    made.close()
    made.close()
    assert made.render("b", 180) == b"RIFFb"
    made.close()


@pytest.mark.slow
def test_a_voice_that_nobody_closes_ends_its_process(tmp_path: Path) -> None:
    forgotten = Voice(command=fake(ECHO, tmp_path / "log"))
    assert forgotten.render("a", 180) == b"RIFFa"
    process = forgotten._worker._process  # type: ignore[union-attr]  # noqa: SLF001
    del forgotten
    gc.collect()
    assert process.returncode is not None


# ---- the worker's own parts


def test_the_worker_answers_a_bad_request_with_an_error_and_goes_on(tmp_path: Path) -> None:
    replies = io.BytesIO()
    voice_worker.serve(io.BytesIO(b"not json\n[\n"), replies, tmp_path)
    lines = replies.getvalue().split(b"\n")
    assert [list(json.loads(line)) for line in lines[:2]] == [["error"], ["error"]]
    assert lines[2:] == [b""]


def some(name: str, *languages: str | bytes) -> SimpleNamespace:
    return SimpleNamespace(id=name, languages=list(languages))


@pytest.mark.parametrize(
    ("voices", "current", "chosen"),
    [
        ([some("a", "de"), some("b", "en-gb")], "b", None),
        ([some("a", "de"), some("b", b"\x05en-gb"), some("c", "en_US")], "a", "b"),
        ([some("a", "de")], "a", None),
        ([], None, None),
    ],
)
def test_an_english_voice_is_chosen_when_the_machine_speaks_another_language(
    voices: list[SimpleNamespace], current: str | None, chosen: str | None
) -> None:
    assert voice_worker.english(voices, current) == chosen


def test_another_sound_format_is_turned_into_wav(tmp_path: Path) -> None:
    samples = (np.sin(np.arange(2_000) / 9) * 8_000).astype("int16")
    path = tmp_path / "sentence.wav"
    soundfile.write(path, samples, 22_050, format="AIFF")
    heard, rate_hz = sound_of(voice_worker.as_wav(path))
    assert rate_hz == 22_050
    assert np.array_equal(heard, samples)


def test_a_file_without_sound_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "sentence.wav"
    soundfile.write(path, np.zeros(0, dtype="int16"), 22_050)
    with pytest.raises(ValueError, match="without sound"):
        voice_worker.as_wav(path)


@pytest.mark.slow
def test_nothing_heavy_is_imported_before_it_is_needed() -> None:
    script = "import sys; import assistant.devices.speaker; print(*sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=60)
    loaded = set(done.stdout.split())
    assert loaded.isdisjoint({"numpy", "soundfile", "pyttsx3", "espeakng_loader", "sounddevice", "faster_whisper"})


def test_the_worker_command_starts_the_worker_of_this_package() -> None:
    assert speaker.WORKER[-1] == str(WORKER_FILE)
