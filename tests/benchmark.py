"""How soon the program answers: whole processes, several runs, medians. `python tests/benchmark.py` prints what README quotes.

Hearing is measured by `tests/measure_hearing.py`.
"""

import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable

RUNS = 15


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


def row(name: str, measure: Callable[[], float]) -> str:
    measure()
    times = sorted(measure() for _ in range(RUNS))
    return f"{name}: median {statistics.median(times):.3f} s, {times[0]:.3f} to {times[-1]:.3f} s over {RUNS} runs"


def main() -> None:
    print(f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}")
    for name, measure in (("read", read), ("first line of chat", first_prompt), ("typed answer to reply", answer)):
        print(row(name, measure))


if __name__ == "__main__":
    main()
