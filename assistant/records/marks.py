"""What a person adds to a finished record: which coil it was, and whether that coil was good. It lies beside the journal.

A journal never changes once its session is over; a mark may, and is replaced whole.
"""

import json
from dataclasses import dataclass
from pathlib import Path

from assistant.devices.store import save_file
from assistant.errors import BadInput

MARKS_FILE = "marks.json"
NAME_MOST = 60
"""Characters of a coil's name."""


@dataclass(frozen=True, slots=True)
class Marks:
    """`coil`: a name shared by all sessions of one coil, empty when none was given. `known_good`: it worked in its engine."""

    coil: str = ""
    known_good: bool = False


def read_marks(folder: Path) -> Marks:
    """The marks of a session; none when there is no file, or none that can be understood."""
    try:
        data = json.loads((folder / MARKS_FILE).read_text(encoding="utf-8"))
        return Marks(str(data["coil"])[:NAME_MOST], data["known_good"] is True)
    except (OSError, ValueError, KeyError, TypeError):
        return Marks()


def write_marks(folder: Path, marks: Marks) -> None:
    """Replace the marks of a session. Raises BadInput for a name that cannot be, or a folder that cannot be written."""
    name = marks.coil
    if name != name.strip() or len(name) > NAME_MOST or not name.isprintable():
        raise BadInput(f"coil {name!r}: expected a name of at most {NAME_MOST} characters on one line")
    text = json.dumps({"coil": name, "known_good": marks.known_good}, ensure_ascii=False, sort_keys=True) + "\n"
    try:
        save_file(folder, MARKS_FILE, text.encode())
    except OSError as error:
        raise BadInput(f"{folder / MARKS_FILE}: cannot be written ({error.strerror})") from error
