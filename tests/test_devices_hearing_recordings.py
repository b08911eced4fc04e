"""Sound files of every kind, good and bad, and the cutting into utterances."""

import os
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from sounds import silence, speech, uttered, write

from assistant.devices.endpoint import Endpointer, Pauses, is_clipped
from assistant.devices.ports import RATE_HZ, Microphone, Samples, Utterance
from assistant.devices.recordings import Recordings, sound
from assistant.errors import BadInput

TEXT = "four point seven kilo ohms"


def utterances(*paths: Path) -> list[Utterance]:
    return list(Recordings(paths).utterances())


# ---- the microphone's contract, for the real one and for a stand-in


class Spoken:
    """A stand-in microphone: utterances that were made beforehand."""

    def __init__(self, *sounds: Samples) -> None:
        self._sounds = sounds

    def utterances(self) -> Iterator[Utterance]:
        at_s = 0.0
        for samples in self._sounds:
            end_s = at_s + len(samples) / RATE_HZ
            yield Utterance(samples, at_s, end_s)
            at_s = end_s


def microphone(kind: str, folder: Path) -> Microphone:
    if kind == "stand-in":
        return Spoken(speech(TEXT), speech("stop"))
    parts = [silence(1), speech(TEXT), silence(2), speech("stop"), silence(1)]
    return Recordings((write(folder / "two.wav", np.concatenate(parts)),))


@pytest.mark.parametrize("kind", ["recordings", "stand-in"])
def test_a_microphone_gives_mono_utterances_in_order_and_ends(kind: str, tmp_path: Path) -> None:
    found = list(microphone(kind, tmp_path).utterances())
    assert len(found) == 2
    for utterance in found:
        assert utterance.samples.dtype == np.float32
        assert utterance.samples.ndim == 1
        assert 0 < float(np.abs(utterance.samples).max()) <= 1
        assert len(utterance.samples) / RATE_HZ == pytest.approx(utterance.end_s - utterance.start_s)
        assert not utterance.clipped
    assert found[0].end_s <= found[1].start_s


# ---- kinds of files


@pytest.mark.parametrize("rate_hz", [8000, 11025, 16000, 22050, 44100, 48000, 96000])
@pytest.mark.parametrize(("ending", "subtype"), [("wav", "PCM_16"), ("flac", "PCM_24")])
def test_any_rate_gives_the_same_sound(tmp_path: Path, rate_hz: int, ending: str, subtype: str) -> None:
    time_s = np.arange(rate_hz) / rate_hz
    tone = (0.5 * np.sin(2 * np.pi * 440 * time_s)).astype(np.float32)
    heard = np.concatenate(list(sound(write(tmp_path / f"tone.{ending}", tone, rate_hz, subtype))))
    assert len(heard) == pytest.approx(RATE_HZ, abs=2)
    spectrum = np.abs(np.fft.rfft(heard[:RATE_HZ] * np.hanning(len(heard[:RATE_HZ]))))
    assert int(spectrum.argmax()) == pytest.approx(440, abs=1)
    assert float(np.abs(heard[1000:-1000]).max()) == pytest.approx(0.5, abs=0.01)


def test_a_rate_that_carries_no_speech_is_refused(tmp_path: Path) -> None:
    """Such a header makes a second of sound into hours."""
    path = write(tmp_path / "slow.wav", np.zeros(38_000, dtype=np.float32), 1, "PCM_16")
    with pytest.raises(BadInput, match=r"slow\.wav: its header says 1 samples a second.*expected 4000 or more"):
        next(sound(path))


@pytest.mark.parametrize(
    ("ending", "subtype"),
    [
        ("wav", "PCM_U8"),
        ("wav", "PCM_16"),
        ("wav", "PCM_24"),
        ("wav", "PCM_32"),
        ("wav", "FLOAT"),
        ("wav", "DOUBLE"),
        ("flac", "PCM_S8"),
        ("flac", "PCM_16"),
        ("flac", "PCM_24"),
    ],
)
def test_any_depth_is_one_utterance(tmp_path: Path, ending: str, subtype: str) -> None:
    path = write(tmp_path / f"x.{ending}", uttered(0.5, TEXT, 0.5), subtype=subtype)
    (found,) = utterances(path)
    assert found.end_s - found.start_s == pytest.approx(len(speech(TEXT)) / RATE_HZ, abs=0.7)


def test_stereo_with_one_silent_side_is_heard(tmp_path: Path) -> None:
    both = np.stack([speech(TEXT), np.zeros_like(speech(TEXT))], axis=1)
    assert len(utterances(write(tmp_path / "s.wav", both, subtype="PCM_16"))) == 1


# ---- files that cannot be used: one clear line that names the file


def refused(path: Path) -> str:
    with pytest.raises(BadInput) as caught:
        utterances(path)
    line = str(caught.value)
    assert line.startswith(f"{path}: ")
    assert "\n" not in line
    return line


def test_no_such_file(tmp_path: Path) -> None:
    assert "no such file" in refused(tmp_path / "none.wav")


def test_a_folder(tmp_path: Path) -> None:
    assert "this is a folder" in refused(tmp_path)


def test_a_name_that_no_file_can_have() -> None:
    assert "cannot be opened" in refused(Path("a\0b.wav"))


def test_a_name_that_is_too_long(tmp_path: Path) -> None:
    assert "cannot be opened" in refused(tmp_path / ("x" * 300))


def test_no_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path / "secret.wav", speech(TEXT))

    def closed(_self: Path, _mode: str) -> None:
        raise PermissionError(13, "Permission denied")

    if os.geteuid():
        path.chmod(0)
    else:
        monkeypatch.setattr(Path, "open", closed)  # nothing is closed to root
    assert "no permission" in refused(path)


def test_a_pipe(tmp_path: Path) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("this system has no named pipes")
    path = tmp_path / "pipe.wav"
    os.mkfifo(path)
    assert "not an ordinary file" in refused(path)


@pytest.mark.parametrize("name", ["notes.wav", "notes.txt", "notes.flac"])
def test_text_is_no_sound_file(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("four point seven kilo-ohms\n" * 50)
    assert "expected WAV or FLAC" in refused(tmp_path / name)


def test_another_kind_of_sound_file(tmp_path: Path) -> None:
    path = tmp_path / "x.wav"
    soundfile.write(path, speech(TEXT), RATE_HZ, format="AIFF", subtype="PCM_16")
    assert "this is AIFF; expected WAV or FLAC" in refused(path)


def test_no_bytes_at_all(tmp_path: Path) -> None:
    (tmp_path / "x.wav").write_bytes(b"")
    assert "the file is empty (0 bytes)" in refused(tmp_path / "x.wav")


def test_a_header_without_sound(tmp_path: Path) -> None:
    assert "the recording is empty (0 s of sound)" in refused(write(tmp_path / "x.wav", silence(0)))


@pytest.mark.parametrize("share", [0.1, 0.5, 0.95])
def test_a_truncated_wav(tmp_path: Path, share: float) -> None:
    path = write(tmp_path / "x.wav", speech(TEXT))
    content = path.read_bytes()
    path.write_bytes(content[: int(len(content) * share)])
    assert "cut short: its header promises" in refused(path)


def test_a_truncated_flac(tmp_path: Path) -> None:
    path = write(tmp_path / "x.flac", speech(TEXT))
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])
    assert "cut short or damaged" in refused(path)


def test_a_header_alone_cut_short(tmp_path: Path) -> None:
    path = write(tmp_path / "x.wav", speech(TEXT))
    path.write_bytes(path.read_bytes()[:9])
    assert "expected WAV or FLAC" in refused(path)


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_samples_that_are_no_numbers(tmp_path: Path, value: float) -> None:
    samples = uttered(1.5, TEXT)
    samples[RATE_HZ] = value
    assert "not numbers (NaN or infinite) at 1.00 s" in refused(write(tmp_path / "x.wav", samples, subtype="FLOAT"))


def test_a_header_of_unknown_length_is_read_to_the_end(tmp_path: Path) -> None:
    path = write(tmp_path / "x.wav", speech(TEXT))
    content = bytearray(path.read_bytes())
    content[4:8] = b"\xff\xff\xff\xff"  # what recorders write into a pipe
    path.write_bytes(content)
    assert len(utterances(path)) == 1


def test_clipped_speech_is_flagged(tmp_path: Path) -> None:
    loud = np.clip(speech(TEXT) * 20, -1, 1)
    (found,) = utterances(write(tmp_path / "x.wav", loud))
    assert found.clipped
    assert not is_clipped(silence(1))
    assert not is_clipped(silence(0))


@pytest.mark.slow
def test_silence_and_hum_give_no_utterance(tmp_path: Path) -> None:
    hum = (0.3 * np.sin(2 * np.pi * 50 * np.arange(5 * RATE_HZ) / RATE_HZ)).astype(np.float32)
    noise = np.random.default_rng(1).standard_normal(5 * RATE_HZ).astype(np.float32) * 0.1
    assert utterances(write(tmp_path / "a.wav", silence(5)), write(tmp_path / "b.wav", hum)) == []
    assert utterances(write(tmp_path / "c.wav", noise)) == []


# ---- end-pointing


def cut(samples: Samples, ears: Endpointer, block: int = 1600) -> list[Utterance]:
    found = [each for at in range(0, len(samples), block) for each in ears.feed(samples[at : at + block])]
    return [*found, *ears.finish()]


@pytest.mark.slow
@pytest.mark.parametrize("block", [160, 512, 1000, 16000, 10**6])
def test_the_size_of_blocks_does_not_matter(block: int) -> None:
    samples = uttered(1, TEXT, 2, "stop", 0.7)
    found = cut(samples, Endpointer(), block)
    expected = cut(samples, Endpointer(), 512)
    assert len(found) == len(expected) == 2
    for one, other in zip(
        found, expected, strict=True
    ):  # the network remembers more of a longer block: two frames of grace
        assert (one.start_s, one.end_s) == pytest.approx((other.start_s, other.end_s), abs=0.065)
    assert found[0].start_s == pytest.approx(1 - 0.3, abs=0.2)


@pytest.mark.slow
def test_a_pause_inside_an_unfinished_number_does_not_end_it() -> None:
    samples = uttered("four point", 0.6, "seven k", 1)
    asked: list[float] = []

    def unfinished(so_far: Samples) -> bool:
        asked.append(len(so_far) / RATE_HZ)
        return len(asked) == 1

    assert len(cut(samples, Endpointer(unfinished=unfinished))) == 1
    assert len(asked) == 2
    assert len(cut(samples, Endpointer(unfinished=lambda _: False))) == 2


def test_a_complete_utterance_ends_after_the_short_pause() -> None:
    ears = Endpointer(unfinished=lambda _: False)
    spoken = uttered("stop", 0.4 + 0.15)
    assert len([each for at in range(0, len(spoken), 512) for each in ears.feed(spoken[at : at + 512])]) == 1
    assert ears.finish() == ()


@pytest.mark.slow
def test_without_knowing_better_the_long_pause_is_waited_for() -> None:
    spoken = uttered("stop", 0.5, "stop", 1)
    assert len(cut(spoken, Endpointer())) == 1
    assert len(cut(spoken, Endpointer(Pauses(incomplete_s=0.5)))) == 2


def test_pauses_can_be_stretched_ten_times_and_no_more() -> None:
    slow = Pauses().times(10)
    assert (slow.complete_s, slow.incomplete_s, slow.longest_s) == (4, 12, 8)
    for factor in (0.9, 10.1, float("nan")):
        with pytest.raises(ValueError, match="1 to 10 times"):
            Pauses().times(factor)


@pytest.mark.slow
def test_talk_without_a_pause_is_cut_off_and_the_rest_dropped_until_it_pauses() -> None:
    talk = np.concatenate([speech("nine eight seven six five four three two one zero")] * 6)
    assert len(talk) > 20 * RATE_HZ
    found = cut(np.concatenate([talk, silence(2), speech("stop"), silence(1)]), Endpointer())
    assert len(found) == 2
    assert len(found[0].samples) / RATE_HZ == pytest.approx(8.0, abs=0.1)
    assert found[1].start_s > len(talk) / RATE_HZ + 1
    assert cut(talk, Endpointer())[0].end_s < 9


def test_a_click_is_no_utterance() -> None:
    assert cut(uttered("stop", 2), Endpointer(Pauses(shortest_s=5))) == []


@pytest.mark.slow
def test_however_long_it_is_it_streams_in_bounded_memory(tmp_path: Path) -> None:
    path = tmp_path / "long.flac"
    part = uttered(200, TEXT, 200)
    with soundfile.SoundFile(path, "w", 8000, 1, "PCM_16", format="FLAC") as file:
        for _ in range(3):
            file.write(part[::2])
    found = 0
    tracemalloc.start()
    for _ in Recordings((path,)).utterances():
        found += 1
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found == 3
    # all of it at 16 kHz would be 77 MB; a number kept for each of its 37,500 frames would be too much too
    assert peak < 2e6
