"""Sound devices without hardware: a microphone and a loudspeaker that a session and a synthetic person share. Linux only.

Each is a null sink of a PulseAudio server of its own, so that a device that is pulled out leaves no other to move to.
"""

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

MICROPHONE, LOUDSPEAKER = "bench_microphone", "bench_loudspeaker"
"""Names of the devices, as ALSA and so PortAudio list them."""
RATE_HZ = 16_000
"""At which the synthetic person speaks and listens."""
_NEEDED = ("pulseaudio", "pactl", "pacat", "parec")
_DEVICES = """
pcm.{microphone} {{ type asym capture.pcm {{ type pulse server "{microphone_server}" }} }}
pcm.{loudspeaker} {{ type asym playback.pcm {{ type pulse server "{loudspeaker_server}" }} }}
pcm.!default {{ type asym playback.pcm "{loudspeaker}" capture.pcm "{microphone}" }}
"""
_START = """
load-module module-native-protocol-unix socket={socket} auth-anonymous=1
"""


def missing() -> str:
    """Why it cannot run here; empty when it can."""
    programs = [name for name in _NEEDED if shutil.which(name) is None]
    if programs:
        return f"no {', '.join(programs)} here (Debian: pulseaudio, pulseaudio-utils)"
    if not list(Path("/usr/lib").glob("*/alsa-lib/libasound_module_pcm_pulse.so")):
        return "ALSA has no plug-in for PulseAudio here (Debian: libasound2-plugins)"
    try:
        import sounddevice  # noqa: F401, PLC0415 - only whether it can be loaded
    except OSError:
        return "no PortAudio library here (Debian: libportaudio2)"
    return ""


class Plug:
    """One device: a server with one null sink, which can be pulled out and plugged in again."""

    def __init__(self, folder: Path, name: str) -> None:
        folder.mkdir()
        self.server = f"unix:{folder / 'native'}"
        self._name = name
        self._environment = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "HOME": str(folder)}
        self._environment["PULSE_SERVER"] = self.server
        (folder / "start").write_text(_START.format(socket=folder / "native"))
        command = ["pulseaudio", "--daemonize=no", "-n", "--exit-idle-time=-1", "--disable-shm=yes"]
        self._process = subprocess.Popen(
            [*command, "-F", str(folder / "start")],
            env=self._environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        until = time.monotonic() + 10
        while self._pactl("info").returncode:
            if time.monotonic() > until or self._process.poll() is not None:
                self.close()
                raise RuntimeError("PulseAudio did not start")
        self._module = ""
        self.plug()

    def plug(self) -> None:
        """Plug it in."""
        loaded = self._pactl("load-module", "module-null-sink", f"sink_name={self._name}", "rate=48000", "channels=1")
        self._module = loaded.stdout.strip()

    def pull(self) -> None:
        """Pull it out."""
        self._pactl("unload-module", self._module)

    def speaking(self) -> subprocess.Popen[bytes]:
        """A process whose input, 16-bit mono at RATE_HZ, sounds on the device."""
        return self._raw("pacat", "--playback", f"--device={self._name}", "--latency-msec=40", stdin=subprocess.PIPE)

    def listening(self) -> subprocess.Popen[bytes]:
        """A process whose output, 16-bit mono at RATE_HZ, is what sounds on the device."""
        return self._raw("parec", f"--device={self._name}.monitor", "--latency-msec=20", stdout=subprocess.PIPE)

    def _raw(self, *command: str, **pipes: int) -> subprocess.Popen[bytes]:
        form = ("--raw", f"--rate={RATE_HZ}", "--channels=1", "--format=s16le")
        return subprocess.Popen(  # type: ignore[call-overload, no-any-return]
            [*command, *form], env=self._environment, stderr=subprocess.DEVNULL, **pipes
        )

    def _pactl(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        command = ["pactl", *arguments]
        return subprocess.run(command, env=self._environment, capture_output=True, text=True, check=False, timeout=10)

    def close(self) -> None:
        """End the server."""
        self._process.terminate()
        self._process.wait(10)


class Bench:
    """A microphone and a loudspeaker. `environment` makes PortAudio see these two and nothing else."""

    def __init__(self, folder: Path) -> None:
        self.microphone = Plug(folder / "m", MICROPHONE)
        self.loudspeaker = Plug(folder / "l", LOUDSPEAKER)
        (folder / "asound.conf").write_text(
            _DEVICES.format(
                microphone=MICROPHONE,
                loudspeaker=LOUDSPEAKER,
                microphone_server=self.microphone.server,
                loudspeaker_server=self.loudspeaker.server,
            )
        )
        self.environment = {"ALSA_CONFIG_PATH": str(folder / "asound.conf")}

    def close(self) -> None:
        """End both."""
        self.microphone.close()
        self.loudspeaker.close()


@contextmanager
def running() -> Iterator[Bench]:
    """The devices for as long as they are needed."""
    with tempfile.TemporaryDirectory(prefix="pulse-") as folder:
        bench = Bench(Path(folder))
        try:
            yield bench
        finally:
            bench.close()
