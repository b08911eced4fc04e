"""The folders of records: which hold a session, and which one a person means. Nothing here reads more of a record than its label.

The names of a record's files stand here once more than in `journal` and `session`, so that a list begins at once; a test
holds them together.
"""

import json
from itertools import islice
from pathlib import Path

from assistant.errors import BadInput
from assistant.language.wording import shorten

JOURNAL_FILE = "journal.jsonl"
JOB_FILE = "job.json"


def find(data: Path, job: str) -> Path:
    """The folder of a session: by its folder's name, its path, or its label (the latest of that label). Raises BadInput."""
    if job and Path(job).name == job and _is_session(data / job):
        return data / job
    if job and _is_session(Path(job)):
        return Path(job)
    for folder in reversed(sessions(data)):
        if job and label_of(folder) in {job, shorten(job)}:  # a long label was cut when it was kept
            return folder
    raise BadInput(
        f"{job!r}: no record of that label, folder name or path in {data}; expected one that `ohmaloud jobs` lists"
    )


def sessions(data: Path) -> list[Path]:
    """Every folder with a journal in it, in the order of their names; none when the folder is not there. Raises BadInput."""
    try:
        names = sorted(path.name for path in data.iterdir())
    except FileNotFoundError:
        return []
    except OSError as error:
        raise refused(data, error) from error
    return [data / name for name in names if not name.startswith(".") and _is_session(data / name)]


def refused(data: Path, error: OSError) -> BadInput:
    """What is said when the folder is there but cannot be read, or is a file."""
    return BadInput(
        f"{data}: cannot be read ({error.strerror}); expected the folder of the records, as --data names it"
    )


def label_of(folder: Path) -> str:
    """The label in a session's little file, or else in the second line of its journal; empty when neither can be read."""
    try:
        return str(json.loads((folder / JOB_FILE).read_text(encoding="utf-8"))["label"])
    except (OSError, ValueError, KeyError, TypeError):
        pass
    try:
        with (folder / JOURNAL_FILE).open(encoding="utf-8") as lines:
            begun = next(islice(lines, 1, None), "")
        return str(json.loads(begun)["in"]["label"])
    except (OSError, ValueError, KeyError, TypeError):
        return ""


def _is_session(folder: Path) -> bool:
    return (folder / JOURNAL_FILE).is_file()
