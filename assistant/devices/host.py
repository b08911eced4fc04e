"""The machine's sound devices through PortAudio, as few calls as the microphone and the loudspeaker need.

`PortAudio` is the real one; a stand-in in the tests passes the same contract. The library is looked for when it is first
needed, so that everything else works without it. All trouble is BadInput with one line for a person.
"""

import atexit
import ctypes
import ctypes.util
import sys
import threading
from collections.abc import Callable
from concurrent.futures import Future, InvalidStateError
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

import numpy as np

from assistant.devices.install import command_for
from assistant.devices.ports import Samples
from assistant.errors import BadInput
from assistant.language import device_wording as wording

T = TypeVar("T")

Take = Callable[[Samples, bool], None]
"""Gets each block that was recorded, mono, and whether sound was lost before it. Called from a thread of
the system's: copy, queue, return."""
Fill = Callable[[int], Samples]
"""Gives the next so many mono samples to be played. Called from a thread of the system's: must not wait."""

RATES_HZ = (48_000, 44_100, 16_000, 32_000, 22_050, 96_000, 8_000)
"""Tried in this order when a device refuses the rate that it gives as its own."""

_BLOCK_S = 0.032
"""As long as one judgement of the end-pointer: with 0.064 the end of speech waits 0.016 s longer for its block, on average."""
_PLAY_BLOCK_S = 0.02
_LATENCY_S = 0.1
_PLAY_LATENCIES_S = (0.06, 0.06, 0.12)
"""Asked of the system, for each direction. The reply begins that much later, and "stop" takes that much longer. What is played
has three blocks in hand, so that one that comes late leaves no gap; more after the second time that they were far too few."""
_STARVED_BLOCKS = 15
"""After a block that came far too late some systems say of every block that it came late, and ask for them as fast as they can
be had, so that what was to be heard is gone: such a stream is opened again."""
_CLOSE_S = 2.0
"""Closing a device that was pulled out may hang in the system; after so long it is left to itself."""
_OPEN_S = 3.0
"""So does opening, and starting the library, where the system's sound server hangs."""
_LIBRARY = "the library itself"
_BUSY, _BAD_RATE, _BAD_CHANNELS = -9985, -9997, -9998
"""PortAudio's codes: device unavailable, invalid sample rate, invalid number of channels."""


@dataclass(frozen=True, slots=True)
class Device:
    """One device as the system lists it; `inputs` and `outputs` are channels, 0 when it has none."""

    index: int
    name: str
    inputs: int
    outputs: int
    rate_hz: int
    default_input: bool = False
    default_output: bool = False


class SoundStream(Protocol):
    """A device that is open."""

    @property
    def rate_hz(self) -> int:
        """The rate at which blocks come or go."""

    @property
    def latency_s(self) -> float:
        """How long sound is on its way between the program and the air."""

    @property
    def alive(self) -> bool:
        """False once it was closed, by its owner or because the list of devices had to be read anew, or once it has to be opened again."""

    def close(self) -> None:
        """Stop at once, without playing what is left. Never raises, may be called again."""


class SoundHost(Protocol):
    """The devices of a machine."""

    def devices(self, *, anew: bool = False) -> tuple[Device, ...]:
        """What is plugged in. `anew` looks again, for which every open stream is closed. Raises BadInput without a library."""

    def record(self, device: Device, take: Take) -> SoundStream:
        """Record at the device's own rate. Raises BadInput, one line."""

    def play(self, device: Device, fill: Fill) -> SoundStream:
        """Play at the device's own rate. Raises BadInput, one line."""


def choose(devices: tuple[Device, ...], kind: str, wanted: str | None) -> Device:
    """The device of that name, or the first whose name holds it; without a name the system's own choice. Raises BadInput."""
    recording = kind == wording.MICROPHONE
    able = [device for device in devices if (device.inputs if recording else device.outputs)]
    if not able:
        raise BadInput(wording.NO_MICROPHONE if recording else wording.NO_LOUDSPEAKER)
    if wanted:
        exact = [device for device in able if device.name == wanted]
        part = [device for device in able if wanted.casefold() in device.name.casefold()]
        if not exact + part:
            raise BadInput(wording.not_named(kind, wanted, tuple(device.name for device in able)))
        return (exact + part)[0]
    usual = [device for device in able if (device.default_input if recording else device.default_output)]
    return (usual or able)[0]


class PortAudio:
    """Satisfies `SoundHost`."""

    def __init__(self) -> None:
        self._lock = threading.RLock()
        self._library: Any = None
        self._open: list[_Stream] = []
        self._ending: list[threading.Thread] = []
        self._hanging: dict[str, threading.Thread] = {}
        self._starved = 0

    def devices(self, *, anew: bool = False) -> tuple[Device, ...]:
        """What is plugged in."""
        with self._lock:
            fresh = self._library is None
            library = self._loaded()
            if anew and not fresh:
                for stream in tuple(self._open):
                    stream.close()
                self._ending = [thread for thread in self._ending if thread.is_alive()]
                if not self._ending:  # the library may not be ended under a call that has not come back

                    def again() -> None:
                        with suppress(library.PortAudioError):
                            library._terminate()  # noqa: SLF001 - the list is frozen until the library starts again
                            library._initialize()  # noqa: SLF001 - the same

                    self._in_time(_LIBRARY, wording.SOUND_HANGS, again)
            try:
                found = library.query_devices()
                usual = library.default.device
            except library.PortAudioError as error:
                raise BadInput(_why(error)) from None
            return tuple(
                Device(
                    each["index"],
                    each["name"],
                    each["max_input_channels"],
                    each["max_output_channels"],
                    round(each["default_samplerate"]),
                    default_input=each["index"] == usual[0] or each["index"] == _first(found, "input", usual[0]),
                    default_output=each["index"] == usual[1] or each["index"] == _first(found, "output", usual[1]),
                )
                for each in found
            )

    def record(self, device: Device, take: Take) -> SoundStream:
        """Record at the device's own rate."""

        def came(block: Any, _frames: int, _time: Any, status: Any) -> None:  # noqa: ANN401 - the library has no types
            take(block.mean(axis=1, dtype=np.float32), bool(status.input_overflow))

        return self._opened(wording.MICROPHONE, device, device.inputs, "InputStream", came, _BLOCK_S, _LATENCY_S)

    def play(self, device: Device, fill: Fill) -> SoundStream:
        """Play at the device's own rate."""
        late = 0
        ended = threading.Event()

        def wanted(block: Any, frames: int, _time: Any, status: Any) -> None:  # noqa: ANN401 - the same
            nonlocal late
            block[:] = fill(frames)[:, None]
            late = late + 1 if status.output_underflow and block.any() else 0  # silence may be lost
            if late == _STARVED_BLOCKS and self._starved < len(_PLAY_LATENCIES_S) - 1:
                self._starved += 1
                ended.set()

        return self._opened(
            wording.LOUDSPEAKER,
            device,
            device.outputs,
            "OutputStream",
            wanted,
            _PLAY_BLOCK_S,
            _PLAY_LATENCIES_S[self._starved],
            ended,
        )

    def _opened(  # noqa: PLR0913, PLR0917 - one place for both directions
        self,
        kind: str,
        device: Device,
        channels: int,
        way: str,
        callback: Callable[..., None],
        block_s: float,
        latency_s: float,
        ended: threading.Event | None = None,
    ) -> "SoundStream":
        """The stream with the fewest channels and the first rate that the device takes; not alive any more once `ended` is set."""
        with self._lock:
            library = self._loaded()
            rates = dict.fromkeys((device.rate_hz, *RATES_HZ))
            tries = [(rate, count) for rate in rates for count in dict.fromkeys((1, min(2, channels), channels))]

            def first_taken() -> "_Stream":
                error: Exception | None = None
                for rate_hz, count in tries:
                    try:
                        made = getattr(library, way)(
                            samplerate=rate_hz,
                            blocksize=round(block_s * rate_hz),
                            device=device.index,
                            channels=count,
                            dtype="float32",
                            latency=latency_s,
                            callback=callback,
                        )
                        made.start()
                    except library.PortAudioError as failed:
                        error = failed
                        if _code(failed) not in (_BAD_RATE, _BAD_CHANNELS):
                            break
                    except ValueError as failed:  # the index is of a device that has gone
                        error = failed
                        break
                    else:
                        return _Stream(self, made, rate_hz, ended or threading.Event())
                if error is not None and _code(error) == _BUSY:
                    raise BadInput(wording.busy(kind, device.name)) from None
                raise BadInput(wording.refused(kind, device.name, _why(error))) from None

            line = wording.refused(kind, device.name, wording.NO_ANSWER)
            stream = self._in_time(f"{way} {device.name}", line, first_taken, _Stream.close)
            self._open.append(stream)
            return stream

    def _in_time(self, what: str, line: str, do: Callable[[], T], undo: Callable[[T], None] = lambda _: None) -> T:
        """What `do` gives or raises; BadInput with this line when it takes too long, or an earlier one of the same name hangs still.

        It is left to itself then, and what it gives after all is undone.
        """
        if what in self._hanging and self._hanging[what].is_alive():
            raise BadInput(line)
        came: Future[T] = Future()

        def run() -> None:
            try:
                given = do()
            except BaseException as error:  # noqa: BLE001 - it is raised where it was asked for
                with suppress(InvalidStateError):
                    came.set_exception(error)
                return
            try:
                came.set_result(given)
            except InvalidStateError:  # nobody waits any more
                undo(given)

        thread = threading.Thread(target=run, name="opening a sound device", daemon=True)
        thread.start()
        try:
            return came.result(_OPEN_S)
        except TimeoutError:
            if not came.cancel():  # it came in this moment
                return came.result()
            self._hanging[what] = thread
            self._ending.append(thread)
            self._never_end()
            raise BadInput(line) from None

    def _never_end(self) -> None:
        """A call of the library's hangs: when the program ends, the library would wait for it."""
        if self._library is not None:
            atexit.unregister(self._library._exit_handler)  # noqa: SLF001 - the library offers no other way

    def _loaded(self) -> Any:  # noqa: ANN401 - the same
        if self._library is None or _LIBRARY in self._hanging:
            self._library = self._in_time(_LIBRARY, wording.SOUND_HANGS, _load)
            self._hanging.pop(_LIBRARY, None)
        return self._library

    def let_go(self, stream: "_Stream", made: Any) -> None:  # noqa: ANN401 - the same
        """Close a stream of the library's, waiting no longer than a moment for it."""
        with self._lock:
            if stream in self._open:
                self._open.remove(stream)

        def end() -> None:
            with suppress(Exception):  # whatever it says: the device is not used any more
                made.abort()
            with suppress(Exception):
                made.close()

        ending = threading.Thread(target=end, name="closing a sound device", daemon=True)
        self._ending.append(ending)
        ending.start()
        ending.join(_CLOSE_S)
        if ending.is_alive():
            self._never_end()


class _Stream:
    """One open stream of the library's. Satisfies `SoundStream`."""

    def __init__(self, host: PortAudio, made: Any, rate_hz: int, ended: threading.Event) -> None:  # noqa: ANN401 - the library has no types
        self._host = host
        self._made = made
        self.rate_hz = rate_hz
        self.latency_s = float(made.latency)
        self._closed = threading.Event()
        self._ended = ended

    @property
    def alive(self) -> bool:
        return not (self._closed.is_set() or self._ended.is_set())

    def close(self) -> None:
        if not self._closed.is_set():
            self._closed.set()
            self._host.let_go(self, self._made)


def _load() -> Any:  # noqa: ANN401 - the same
    try:
        import sounddevice  # noqa: PLC0415 - it raises OSError where PortAudio is missing
    except OSError:
        raise BadInput(wording.install_portaudio(command_for("portaudio"))) from None
    _quiet_alsa()
    return sounddevice


def _first(found: Any, way: str, usual: int) -> int:  # noqa: ANN401 - the same
    """The first device that has this way, where the system names none."""
    able = [each["index"] for each in found if each[f"max_{way}_channels"]]
    return able[0] if able and usual < 0 else -1


def _code(error: Exception) -> int | None:
    return error.args[1] if len(error.args) > 1 and isinstance(error.args[1], int) else None


def _why(error: Exception | None) -> str:
    """The library's words on one line."""
    return " ".join(str(error.args[0] if error and error.args else error).split())


def _quiet_alsa() -> None:
    """ALSA writes its own complaints to standard error, between our lines; a handler that does nothing keeps it quiet."""
    if sys.platform != "linux":
        return
    name = ctypes.util.find_library("asound")
    with suppress(OSError, AttributeError):
        ctypes.CDLL(name).snd_lib_error_set_handler(_NOTHING)


_NOTHING = ctypes.CFUNCTYPE(None, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p)(
    lambda *_: None
)
"""Kept for as long as the program runs: the library calls it."""
