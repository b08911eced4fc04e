"""Sound devices: one contract for the real ones (PulseAudio without hardware) and the stand-in; how a device is chosen."""

import os
import sys
import threading
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import numpy as np
import pulse
import pytest
import stand_in_host
from stand_in_host import StandInHost
from waiting import until

from assistant.devices import host, install
from assistant.devices.host import Device, PortAudio, SoundHost, choose
from assistant.devices.ports import Samples
from assistant.devices.quiet import quiet_libraries
from assistant.errors import BadInput

needs_pulse = pytest.mark.skipif(bool(pulse.missing()), reason=pulse.missing() or "it runs")


@pytest.fixture(params=["stand-in", pytest.param("real", marks=[needs_pulse, pytest.mark.slow])])
def devices(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[SoundHost, Any]]:
    """A host and what feeds its microphone."""
    if request.param == "stand-in":
        made = StandInHost()
        yield made, made
        return
    with pulse.running() as bench:
        for name, value in bench.environment.items():
            monkeypatch.setenv(name, value)
        fresh = PortAudio()
        fresh.devices()
        fresh.devices(anew=True)  # the library reads the list of devices when it starts, and others may have started it
        yield fresh, None


def test_both_kinds_of_device_are_listed_and_chosen_by_a_part_of_their_name(devices: tuple[SoundHost, Any]) -> None:
    listed = devices[0].devices()
    for kind, name in (("microphone", "MICROPHONE"), ("loudspeaker", "loudsp")):
        assert name.casefold() in choose(listed, kind, name).name
        assert choose(listed, kind, None) in listed
        with pytest.raises(BadInput, match=r"No .* named “no such thing” is there; found: .*bench"):
            choose(listed, kind, "no such thing")


def test_a_microphone_gives_mono_blocks_until_it_is_closed(devices: tuple[SoundHost, Any]) -> None:
    sound, feeder = devices
    blocks: list[Samples] = []
    enough = threading.Event()

    def take(block: Samples, lost: bool) -> None:  # noqa: FBT001
        blocks.append(block)
        assert lost in (True, False)
        if len(blocks) >= 3:
            enough.set()

    stream = sound.record(choose(sound.devices(), "microphone", "bench"), take)
    if feeder:
        feeder.feed(np.zeros(stream.rate_hz, dtype=np.float32))
    assert enough.wait(10)
    assert {block.ndim for block in blocks} == {1}
    assert blocks[0].dtype == np.float32
    assert max(map(len, blocks)) <= stream.rate_hz * 0.1
    assert stream.alive
    stream.close()
    stream.close()
    assert not stream.alive


def test_a_loudspeaker_asks_for_sound_until_the_list_is_read_anew(devices: tuple[SoundHost, Any]) -> None:
    sound, _ = devices
    asked: list[int] = []
    enough = threading.Event()

    def fill(frames: int) -> Samples:
        asked.append(frames)
        if len(asked) >= 5:
            enough.set()
        return np.zeros(frames, dtype=np.float32)

    stream = sound.play(choose(sound.devices(), "loudspeaker", "bench"), fill)
    assert enough.wait(10)
    assert stream.latency_s <= 0.2
    assert sound.devices(anew=True)
    assert not stream.alive


def test_a_device_that_is_not_there_is_one_line(devices: tuple[SoundHost, Any]) -> None:
    phantom = Device(99, "phantom", 1, 1, 48_000)
    with pytest.raises(BadInput, match="“phantom” cannot be used") as caught:
        devices[0].record(phantom, lambda *_: None)
    assert "\n" not in str(caught.value)
    with pytest.raises(BadInput, match="“phantom” cannot be used"):
        devices[0].play(phantom, lambda frames: np.zeros(frames, dtype=np.float32))


# ---- choosing


def test_an_exact_name_goes_before_a_part_and_the_systems_choice_before_the_first() -> None:
    first, second = Device(0, "desk set", 1, 0, 8_000), Device(1, "desk", 1, 0, 8_000, default_input=True)
    assert choose((first, second), "microphone", "desk") is second
    assert choose((first, second), "microphone", None) is second
    assert choose((first,), "microphone", None) is first


@pytest.mark.parametrize("kind", ["microphone", "loudspeaker"])
def test_no_device_of_a_kind_is_one_line_that_says_what_to_do(kind: str) -> None:
    other = stand_in_host.LOUDSPEAKER if kind == "microphone" else stand_in_host.MICROPHONE
    with pytest.raises(BadInput, match=f"No {kind} was found: plug one in"):
        choose((other,), kind, None)


# ---- the library's own trouble


class Library:
    """As much of the sound library as a host uses."""

    class PortAudioError(Exception):
        pass

    class default:  # noqa: N801 - as the library names it
        device = (-1, -1)

    def __init__(self, *errors: Exception) -> None:
        self.errors = list(errors)
        self.asked: list[tuple[int, int]] = []
        self.latencies: list[float] = []
        self.hanging = threading.Event()
        """Cleared, every call that may hang does."""
        self.hanging.set()
        self.closed = 0

    def query_devices(self) -> list[dict[str, Any]]:
        one = {"index": 0, "name": "one", "max_input_channels": 2, "max_output_channels": 0, "default_samplerate": 8e3}
        return [one]

    def InputStream(self, **how: Any) -> "Library":  # noqa: N802 - as the library names it
        self.asked.append((how["samplerate"], how["channels"]))
        if self.errors:
            raise self.errors.pop(0)
        return self

    def OutputStream(self, **how: Any) -> "Library":  # noqa: N802 - as the library names it
        self.latencies.append(how["latency"])
        self.wanted = how["callback"]
        return self

    latency = 0.1

    def start(self) -> None:
        self.hanging.wait()

    def _exit_handler(self) -> None: ...

    def _terminate(self) -> None:
        self.hanging.wait()

    def _initialize(self) -> None: ...

    def abort(self) -> None: ...

    def close(self) -> None:
        self.closed += 1


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> Library:
    made = Library()
    monkeypatch.setitem(sys.modules, "sounddevice", made)
    return made


def refused() -> str:
    sound = PortAudio()
    (device,) = sound.devices()
    with pytest.raises(BadInput) as caught:
        sound.record(device, lambda *_: None)
    return str(caught.value)


def test_a_rate_or_number_of_channels_that_is_refused_is_followed_by_another(library: Library) -> None:
    wrong_rate, wrong_channels = (library.PortAudioError("no", code) for code in (-9997, -9998))
    library.errors = [wrong_rate, wrong_channels]
    sound = PortAudio()
    (device,) = sound.devices()
    assert device.default_input
    stream = sound.record(device, lambda *_: None)
    assert library.asked == [(8_000, 1), (8_000, 2), (48_000, 1)]
    assert stream.rate_hz == 48_000
    stream.close()


def test_a_loudspeaker_that_came_late_for_good_is_opened_again_and_then_with_more_in_hand(library: Library) -> None:
    """After one block far too late some systems swallow all that follows; a late one now and then does no harm."""
    sound = PortAudio()
    device = Device(0, "one", 0, 1, 8_000)
    quiet = sound.play(device, lambda frames: np.zeros(frames, np.float32))
    for _ in range(60):
        library.wanted(np.zeros((160, 1), np.float32), 160, None, SimpleNamespace(output_underflow=True))
    assert quiet.alive, "silence may be lost"
    stream = sound.play(device, lambda frames: np.full(frames, 0.5, np.float32))
    block = np.zeros((160, 1), np.float32)

    def played(blocks: int, *, late: bool) -> None:
        for _ in range(blocks):
            block[:] = 0
            library.wanted(block, len(block), None, SimpleNamespace(output_underflow=late))
            assert block.all(), "sound is given all the while"

    alive = []
    for late in (14, 14, 15):
        played(1, late=False)
        played(late, late=True)
        alive.append(stream.alive)
    assert alive == [True, True, False]
    for still in (False, True):
        again = sound.play(device, lambda frames: np.full(frames, 0.5, np.float32))
        played(60, late=True)
        assert again.alive is still, "a system that says so of every block is not opened for ever"
    assert library.latencies == [0.06, 0.06, 0.06, 0.12]


def test_a_sound_system_that_hangs_is_a_failed_device_and_works_when_it_answers_again(
    library: Library, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(host, "_OPEN_S", 0.05)
    unregistered: list[object] = []
    monkeypatch.setattr("atexit.unregister", unregistered.append)
    sound = PortAudio()
    (device,) = sound.devices()
    library.hanging.clear()
    for _ in range(2):  # the second time without another call that hangs
        with pytest.raises(BadInput, match=r"The microphone “one” cannot be used \(it does not answer\)"):
            sound.record(device, lambda *_: None)
    assert len(library.asked) == 1
    assert unregistered == [library._exit_handler]  # noqa: SLF001 - the program can end all the same
    assert sound.devices(anew=True) == (device,), "the library is not ended under a call"
    library.hanging.set()
    until(lambda: library.closed == 1, "the end of what came too late")
    sound.record(device, lambda *_: None).close()
    until(lambda: library.closed == 2, "the end of the other")


def test_a_library_that_hangs_when_it_starts_again_is_one_line_until_it_answers(
    library: Library, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(host, "_OPEN_S", 0.05)
    sound = PortAudio()
    (device,) = sound.devices()
    library.hanging.clear()
    for anew in (True, False):
        with pytest.raises(BadInput, match="The sound system of this machine does not answer"):
            sound.devices(anew=anew)
    library.hanging.set()
    until(lambda: not any(thread.is_alive() for thread in sound._ending), "the answer")  # noqa: SLF001
    assert sound.devices(anew=True) == (device,)


def test_a_busy_device_says_so(library: Library) -> None:
    library.errors = [library.PortAudioError("Device unavailable", -9985)]
    assert refused() == "The microphone “one” is in use: close the other program."
    assert len(library.asked) == 1


def test_any_other_error_is_told_in_the_librarys_words(library: Library) -> None:
    library.errors = [library.PortAudioError("Unanticipated\nhost error", -9999)]
    assert refused() == (
        "The microphone “one” cannot be used (the system gives no reason): "
        "see that it is plugged in and switched on, or name another as input in the settings."
    )
    library.errors = [ValueError("no such device")]
    assert "no such device" in refused()


@pytest.mark.slow
def test_a_library_that_is_missing_is_named_with_the_command_that_installs_it(monkeypatch: pytest.MonkeyPatch) -> None:
    class Missing:
        def find_spec(self, name: str, *_: object) -> None:
            if name == "sounddevice":
                raise OSError("PortAudio library not found")

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Missing(), *sys.meta_path])
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr("shutil.which", lambda tool: tool if tool == "apt-get" else None)
    with pytest.raises(BadInput, match="Install it with: sudo apt-get install libportaudio2"):
        PortAudio().devices()


@pytest.mark.parametrize(
    ("tool", "platform", "part", "command"),
    [
        ("dnf", "linux", "portaudio", "sudo dnf install portaudio"),
        ("apt-get", "darwin", "portaudio", "pip install --force-reinstall sounddevice"),
        ("none", "linux", "portaudio", "pip install --force-reinstall sounddevice"),
        ("apt-get", "linux", "voice", "pip install --force-reinstall pyttsx3==2.99 espeakng-loader"),
    ],
)
def test_the_command_that_installs_a_part_fits_the_system(
    tool: str, platform: str, part: str, command: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "platform", platform)
    monkeypatch.setattr("shutil.which", lambda name: name if name == tool else None)
    assert install.command_for(part) == command


@pytest.mark.usefixtures("library")
def test_a_device_that_cannot_be_closed_does_not_keep_the_program(monkeypatch: pytest.MonkeyPatch) -> None:
    stuck = threading.Event()
    monkeypatch.setattr(host, "_CLOSE_S", 0.01)
    monkeypatch.setattr(Library, "abort", lambda _: stuck.wait(10))
    restarts: list[str] = []
    for name in ("_terminate", "_initialize"):
        monkeypatch.setattr(Library, name, lambda _, name=name: restarts.append(name), raising=False)
    sound = PortAudio()
    (device,) = sound.devices()
    stream = sound.record(device, lambda *_: None)
    stream.close()
    sound.devices(anew=True)
    assert restarts == []  # under a call that hangs the library may not be ended
    stuck.set()
    for thread in sound._ending:  # noqa: SLF001
        thread.join()
    sound.devices(anew=True)
    assert restarts == ["_terminate", "_initialize"]


def test_what_libraries_write_to_the_error_file_goes_nowhere_and_our_lines_stay(
    capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with os.fdopen(os.dup(2), "w") as real:
        monkeypatch.setattr(sys, "__stderr__", real)
        monkeypatch.setattr(sys, "stderr", real)
        with quiet_libraries():
            os.write(2, b"from a library\n")
            print("from us", file=sys.stderr, flush=True)
        os.write(2, b"after\n")
    assert capfd.readouterr().err == "from us\nafter\n"
