"""How soon a live session replies, falls silent, what listening costs: `python tests/benchmark_live.py [UTTERANCES] [--hours 2]`.

Real parts on sound devices without hardware (`tests/pulse.py`); the time from the end of speech to the first sample of the
reply is taken outside the program, on what the microphone was given and what the loudspeaker gave.
"""

import argparse
import datetime as dt
import os
import platform
import statistics
import tempfile
import threading
import time
from contextlib import suppress
from pathlib import Path
from queue import Empty, Queue

import numpy as np
import pulse
import soundfile
from person import Ear, Voice
from pulse import RATE_HZ
from stand_in_host import StandInHost

from assistant import data
from assistant.devices.clock import SteadyClock
from assistant.devices.ears import Ears
from assistant.devices.endpoint import Endpointer, Pauses, speech_probability
from assistant.devices.engines import open_recogniser
from assistant.devices.host import PortAudio
from assistant.devices.loudspeaker import Loudspeaker
from assistant.devices.mouth import Mouth
from assistant.devices.ports import Recogniser, Samples
from assistant.devices.reports import AllSpoken, Report, SoundHeard
from assistant.devices.speaker import Silent
from assistant.devices.speaker import Voice as Speech
from assistant.dialogue.state import Bench
from assistant.language.meaning import Expectation, Hearing
from assistant.live import Habits, Live
from assistant.measure.parts import Judgement
from assistant.measure.verdict import Verdict
from assistant.preflight import load_bench, read_files
from assistant.session import Jobs, Opening, Session

STEPS = {"reading": "secondary", "answer": "any", "command": "any", "correction": "primary"}


def spoken() -> list[tuple[Samples, Expectation]]:
    """Every shipped recording up to the last sample of speech, with what is expected when it is said."""
    turns = (data.folder("recordings") / "turns.tsv").read_text(encoding="utf-8").splitlines()
    rows = [line.split("\t") for line in turns if line and not line.startswith("#")][1:]
    found = []
    for row in rows:
        samples, _ = soundfile.read(data.folder("recordings") / row[2], dtype="float32")
        frames = np.flatnonzero(speech_probability(samples) > 0.5)
        end = (int(frames[-1]) + 1) * 512
        step = row[5] if row[5] in ("leads", "primary", "secondary", "killtab") else STEPS.get(row[4], "any")
        found.append((np.asarray(samples[:end], dtype=np.float32), Expectation(step, 20_000)))
    return found


def percentile(values: list[float], share: float) -> float:
    return sorted(values)[min(len(values) - 1, round(share * (len(values) - 1)))]


class Timed:
    """A recogniser, and how long it took each time."""

    def __init__(self, recogniser: Recogniser) -> None:
        self._recogniser = recogniser
        self.name = recogniser.name
        self.took: list[float] = []

    def hear(self, samples: Samples, expectation: Expectation) -> Hearing:
        began = time.monotonic()
        hearing = self._recogniser.hear(samples, expectation)
        self.took.append(time.monotonic() - began)
        return hearing


def replies(bench: pulse.Bench, about: Bench, count: int, pauses: Pauses) -> None:
    """Utterance in, sentence out: the way of a reply through ears and mouth, without the dialogue's fractions of a millisecond."""
    recogniser = Timed(open_recogniser(None, about.lexicon))
    host = PortAudio()
    told: Queue[Report] = Queue()
    mouth = Mouth(Speech(), Loudspeaker(host), told.put, tones=False)
    expected = [Expectation("any")]
    ears = Ears(
        host, recogniser, about.lexicon, told.put,
        now_expected=lambda: expected[0], turn=lambda: 0, deaf=lambda: mouth.audible, pauses=pauses,
    )  # fmt: skip
    mouth.start()
    ears.start()
    ear, before, voice = Ear(bench.loudspeaker), Ear(bench.microphone), Voice(bench.microphone)
    time.sleep(3)
    took: list[float] = []
    rest: list[float] = []
    utterances = spoken()
    for number in range(count):
        sound, expected[0] = utterances[number % len(utterances)]
        time.sleep(0.3)
        voice.say(sound)
        while not isinstance(report := told.get(timeout=20), SoundHeard):
            if report.__class__.__name__ == "SpeechBegan":
                mouth.get_ready()
        mouth.say(f"{number // 10}.{number % 10} kΩ.", whole=False)  # never the same: it is rendered each time
        ended = before.loud_at
        while not isinstance(told.get(timeout=20), AllSpoken):
            pass
        if ear.began_at > ended:
            took.append(ear.began_at - ended)
            rest.append(took[-1] - recogniser.took[-1])
    ears.close()
    mouth.close()
    for thing in (voice, ear, before):
        thing.close()
    late = percentile(took, 0.95)
    print(
        f"reply ({recogniser.name}): from end of speech to the first sample, over {len(took)} utterances: "
        f"median {statistics.median(took):.2f} s, 95 % within {late:.2f} s, longest {max(took):.2f} s; "
        f"recognising alone took {statistics.median(recogniser.took):.2f} s (median of {len(recogniser.took)} times), "
        f"everything else {statistics.median(rest):.2f} s"
    )


def stopping(bench: pulse.Bench, count: int = 20) -> None:
    """From the call to the last sample that sounds."""
    loudspeaker = Loudspeaker(PortAudio())
    ear = Ear(bench.loudspeaker)
    tone = (0.3 * np.sin(2 * np.pi * 440 * np.arange(10 * RATE_HZ) / RATE_HZ)).astype(np.float32)
    took = []
    for _ in range(count):
        loudspeaker.free()
        playing = threading.Thread(target=loudspeaker.play, args=(tone, RATE_HZ))
        playing.start()
        started = time.monotonic()
        while ear.loud_at < started:
            time.sleep(0.01)
        time.sleep(0.3)
        told = time.monotonic()
        loudspeaker.stop()
        playing.join()
        time.sleep(0.5)
        took.append(ear.loud_at - told)
    loudspeaker.close()
    ear.close()
    print(f"silence after stop, over {count}: median {statistics.median(took):.2f} s, longest {max(took):.2f} s")


def idle() -> None:
    """One minute of faint noise through the end-pointer, in blocks as they come: processor time per second of sound."""
    noise = (np.random.default_rng(1).standard_normal(60 * RATE_HZ) * 0.003).astype(np.float32)
    ears = Endpointer()
    block = 512
    ears.feed(noise[: 20 * block])
    began = time.process_time()
    for at in range(0, len(noise) - block, block):
        ears.feed(noise[at : at + block])
    share = (time.process_time() - began) / (len(noise) / RATE_HZ)
    print(f"idle listening: {share:.1%} of one core")


def resident_mb() -> float:
    """Of this process, now."""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS:")) / 1024


class NoPage:
    """A screen that keeps nothing."""

    def line(self, text: str) -> None: ...

    def question(self, text: str) -> None: ...

    def reading(self, text: str) -> None: ...

    def verdict(self, verdict: Verdict | Judgement) -> None: ...


def memory(about: Bench, hours: float, marks: int = 8) -> None:
    """Hours of sound as fast as they can be heard, an utterance every half minute: resident memory of the whole program meanwhile.

    Microphone, ears, recogniser, loop, dialogue and record are the real ones; only the devices are none, and nothing is spoken.
    """
    host, told, turns = StandInHost(), Queue[Report](), [Expectation("any")]
    mouth = Mouth(Silent(), None, told.put, reading_characters_per_s=1e9)
    mouth.start()
    utterances = spoken()
    rounds = round(hours * 120)
    found, heard, sessions = [], 0, 0
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        live: Live | None = None
        session: Session | None = None
        ears = Ears(
            host, open_recogniser(None, about.lexicon), about.lexicon, told.put,
            now_expected=lambda: turns[0], turn=lambda: live.turn() if live else 0, deaf=lambda: False,
        )  # fmt: skip
        ears.start()
        while not host.streams:
            time.sleep(0.01)
        for number in range(rounds):
            if session is None or session.over:
                sessions += 1
                live = Live(mouth, NoPage(), SteadyClock(), told, Habits())
                opening = Opening(f"{sessions}", "pocket", timed=True)
                at = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)
                session = Jobs(Path(folder)).open(read_files(), opening, SteadyClock(), live, at, live)
                live.begin(session)
            word, turns[0] = utterances[number % len(utterances)]
            half_minute = np.zeros(30 * RATE_HZ, dtype=np.float32)
            half_minute[RATE_HZ : RATE_HZ + len(word)] = word
            for part in np.split(half_minute, 60):
                host.give(part)
            report: Report | None = None
            assert live is not None
            until = time.monotonic() + 30
            while not isinstance(report, SoundHeard) and time.monotonic() < until:
                with suppress(Empty):
                    report = told.get(timeout=1.0)
                    heard += isinstance(report, SoundHeard)
                    live.step(report)
            if (number + 1) % max(1, rounds // marks) == 0:
                found.append((number + 1, resident_mb()))
        ears.close()
        mouth.close()
        if session is not None:
            session.end()
    minutes = (time.monotonic() - began) / 60
    print(
        f"resident memory over {hours:g} h of sound ({heard} utterances, {sessions} sessions, heard in {minutes:.1f} min): "
        + ", ".join(f"{number / 120:g} h {mb:.0f} MB" for number, mb in found)
    )


def options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("utterances", nargs="?", type=int, default=100, help="replies to measure (0: none)")
    parser.add_argument("--hours", type=float, default=0.0, help="resident memory over so many hours of sound, as 2")
    parser.add_argument(
        "--early", type=float, default=Pauses().early_s, help="silence before recognising begins, seconds"
    )
    return parser.parse_args()


def main() -> None:
    given = options()
    print(
        f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}, load before {os.getloadavg()[0]:.1f}"
    )
    about = load_bench(read_files())
    if given.hours:
        memory(about, given.hours)
    if not given.utterances:
        return
    idle()
    if pulse.missing():
        print(f"replies and stopping not measured: {pulse.missing()}")
        return
    with pulse.running() as bench:
        os.environ.update(bench.environment)
        stopping(bench)
        replies(bench, about, given.utterances, Pauses(early_s=given.early))
        print(f"load after the replies {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
