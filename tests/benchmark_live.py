"""How soon a live session replies, how soon it falls silent, what it costs to listen: `python tests/benchmark_live.py [UTTERANCES]`.

Real parts on sound devices without hardware (`tests/pulse.py`); the time from the end of speech to the first sample of the
reply is taken outside the program, on what the microphone was given and what the loudspeaker gave.
"""

import os
import platform
import statistics
import sys
import threading
import time
import tracemalloc
from queue import Queue

import numpy as np
import pulse
import soundfile
from person import Ear, Voice
from pulse import RATE_HZ

from assistant import data
from assistant.devices.ears import Ears
from assistant.devices.endpoint import Endpointer, speech_probability
from assistant.devices.engines import open_recogniser
from assistant.devices.host import PortAudio
from assistant.devices.loudspeaker import Loudspeaker
from assistant.devices.mouth import Mouth
from assistant.devices.ports import Recogniser, Samples, Utterance
from assistant.devices.reports import AllSpoken, Report, SoundHeard
from assistant.devices.speaker import Voice as Speech
from assistant.dialogue.state import Bench
from assistant.language.meaning import Expectation, Hearing
from assistant.preflight import load_bench, read_files

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


def replies(bench: pulse.Bench, about: Bench, count: int) -> None:
    """Utterance in, sentence out: the way of a reply through ears and mouth, without the dialogue's fractions of a millisecond."""
    recogniser = Timed(open_recogniser(None, about.lexicon))
    host = PortAudio()
    told: Queue[Report] = Queue()
    mouth = Mouth(Speech(), Loudspeaker(host), told.put, tones=False)
    expected = [Expectation("any")]
    ears = Ears(
        host, recogniser, about.lexicon, told.put,
        now_expected=lambda: expected[0], turn=lambda: 0, deaf=lambda: mouth.audible,
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
        mouth.say("4.7 kΩ.", whole=False)
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
    block = 1024
    ears.feed(noise[: 20 * block])
    began = time.process_time()
    for at in range(0, len(noise) - block, block):
        ears.feed(noise[at : at + block])
    share = (time.process_time() - began) / (len(noise) / RATE_HZ)
    print(f"idle listening: {share:.1%} of one core")


def memory(hours: float = 2.0) -> None:
    """Two hours of sound, an utterance every half minute, as fast as it goes: what the ears hold at the end and at most."""
    word = spoken()[0][0]
    half_minute = np.zeros(30 * RATE_HZ, dtype=np.float32)
    half_minute[RATE_HZ : RATE_HZ + len(word)] = word
    ears = Endpointer(unfinished=lambda _: False)
    heard: list[Utterance] = []
    tracemalloc.start()
    marks = []
    rounds = round(hours * 120)
    for number in range(rounds):
        for at in range(
            0, len(half_minute), RATE_HZ
        ):  # a second at once: blocks as they come would take four times as long
            heard = [*heard, *ears.feed(half_minute[at : at + RATE_HZ])][-1:]
        if number in (rounds // 10, rounds - 1):
            marks.append(tracemalloc.get_traced_memory()[0])
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    print(
        f"memory of the ears over {hours:g} hours: {marks[0] / 1e6:.2f} MB after a tenth of it, {marks[1] / 1e6:.2f} MB "
        f"at the end, {peak / 1e6:.2f} MB at most"
    )


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    load = os.getloadavg()[0]
    print(f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}, load before {load:.1f}")
    idle()
    if pulse.missing():
        print(f"replies and stopping not measured: {pulse.missing()}")
    else:
        with pulse.running() as bench:
            os.environ.update(bench.environment)
            stopping(bench)
            replies(bench, load_bench(read_files()), count)
            print(f"load after the replies {os.getloadavg()[0]:.1f}")
    memory()


if __name__ == "__main__":
    main()
