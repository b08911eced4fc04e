"""How soon the program answers: whole processes, several runs, medians. `python tests/benchmark.py` prints what README quotes.

Hearing is measured by `tests/measure_hearing.py`.
"""

import datetime as dt
import os
import platform
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from records_cases import AT, ELECTRONICS, SOUND, session

RUNS = 15
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # an installed program lies there compiled


def read() -> float:
    """Seconds from the start of `read` to its end."""
    began = time.perf_counter()
    command = [sys.executable, "-m", "assistant", "read", "four point seven k"]
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - began


def first_prompt() -> float:
    """Seconds from the start of `chat` to its first line."""
    with tempfile.TemporaryDirectory() as data:
        began = time.perf_counter()
        command = [sys.executable, "-m", "assistant", "chat", "--data", data]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
            assert process.stderr is not None
            assert process.stderr.readline()
            took = time.perf_counter() - began
            process.communicate("stop\n")
    return took


def answer() -> float:
    """Seconds from a typed answer to the end of its reply, in a session under way."""
    with tempfile.TemporaryDirectory() as data:
        command = [sys.executable, "-m", "assistant", "chat", "--data", data]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE, text=True, bufsize=1) as process:
            assert process.stdin is not None
            assert process.stderr is not None
            while "Say ready" not in process.stderr.readline():
                pass
            began = time.perf_counter()
            process.stdin.write("ready\n")
            assert process.stderr.readline()
            took = time.perf_counter() - began
            process.communicate("stop\n")
    return took


JOBS = 10_000
_DISTINCT = 50


def many_jobs(data: Path) -> None:
    """Ten thousand records: copies of fifty sessions of twelve coils, each a folder of its own (one file may be in several)."""
    for number in range(_DISTINCT):
        lines = (SOUND, ELECTRONICS)[number % 2]
        session(data, *lines, label=f"coil {number % 12}", at=AT + dt.timedelta(days=number))
    folders = sorted(data.iterdir())
    for number in range(JOBS - _DISTINCT):
        source = folders[number % _DISTINCT]
        copy = data / f"{source.name}-copy-{number}"
        copy.mkdir()
        for path in source.iterdir():
            os.link(path, copy / path.name)


def history(data: Path, *arguments: str) -> Callable[[], float]:
    """Seconds of a whole `jobs` or `compare` process over these records."""

    def measure() -> float:
        began = time.perf_counter()
        command = [sys.executable, "-m", "assistant", *arguments, "--data", str(data)]
        subprocess.run(command, check=True, capture_output=True)
        return time.perf_counter() - began

    return measure


def print_history() -> None:
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder)
        many_jobs(data)
        print(f"index of {JOBS} records made from nothing: {history(data, 'jobs', '--rebuild', '--last', '1')():.1f} s")
        for arguments in (
            ("jobs", "--last", "20"),
            ("jobs",),
            ("jobs", "--json"),
            ("jobs", "--csv"),
            ("jobs", "--verdict", "electronics", "--since", "2026-02-01"),
            ("compare", "coil 3"),
        ):
            print(row(f"{' '.join(arguments)}, {JOBS} records", history(data, *arguments)))


def worked_s() -> float:
    """Seconds that processors worked for the processes that ended so far: on a busy machine they say more than the clock."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def row(name: str, measure: Callable[[], float]) -> str:
    measure()
    times, worked = [], []
    for _ in range(RUNS):
        before = worked_s()
        times.append(measure())
        worked.append(worked_s() - before)
    return (
        f"{name}: median {statistics.median(times):.3f} s, {min(times):.3f} to {max(times):.3f} s over {RUNS} runs; "
        f"processor {statistics.median(worked):.3f} s"
    )


def main() -> None:
    print(f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}")
    for name, measure in (("read", read), ("first line of chat", first_prompt), ("typed answer to reply", answer)):
        print(row(name, measure))
    print_history()


if __name__ == "__main__":
    main()
