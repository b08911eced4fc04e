"""Sessions on disk for tests, typed through the real loop."""

import datetime as dt
import hashlib
from pathlib import Path

from assistant.devices.clock import HeldClock
from assistant.measure.parts import Judged
from assistant.preflight import read_files
from assistant.session import Jobs, Opening

AT = dt.datetime(2026, 1, 2, 3, 4, 5, tzinfo=dt.UTC)
TO_METER = ("ready", "four stroke", "not known", "no spark", "done", "no", "done")
"""Answers up to the leads, for a session begun with label and meter."""
SOUND = (*TO_METER, "0.3", "1.4", "4.70", "yes", "4.71", "done")
ELECTRONICS = (*TO_METER, "0.3", "it's jumping around", "yes", "4.70", "OL", "yes", "done")
LEFT = (*TO_METER, "0.3", "1.4")


class Silent:
    """An outlet that nobody listens to."""

    def say(self, text: str, *, whole: bool) -> None:
        pass

    def show(self, text: str) -> None:
        pass

    def voice(self, rate_wpm: int, volume_percent: int) -> None:
        pass

    def decided(self, verdict: Judged) -> None:
        pass


def session(data: Path, *lines: str, label: str = "pump", at: dt.datetime = AT, meter: str = "pocket") -> Path:
    """The folder of a new session with these answers."""
    before = set(data.glob("*/"))
    opened = Jobs(data).open(read_files(), Opening(label, meter), HeldClock(), Silent(), at)
    for line in lines:
        opened.type(line)
    opened.end()
    (folder,) = set(data.glob("*/")) - before
    return folder


def rewritten(journal: Path, before: str, after: str) -> None:
    """Another text in the record of a session, as a version of the program that said so would have written it."""
    store, check, lines = [], "", journal.read_text(encoding="utf-8").splitlines()
    for line in lines:
        body = (line.rpartition(',"~":"')[0] + "}").replace(before, after)
        check = hashlib.sha256((check + body).encode()).hexdigest()[:12]
        store.append(f'{body[:-1]},"~":"{check}"}}\n')
    journal.write_text("".join(store), encoding="utf-8")
