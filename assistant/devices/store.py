"""Where a session's lines and files go: a folder on disk."""

import contextlib
import os
from pathlib import Path


class FolderStore:
    """The folder of one session. `journal` is the name of the file that grows; other files are replaced whole."""

    def __init__(self, folder: Path, journal: str, kept_bytes: int = 0) -> None:
        """Go on after `kept_bytes` of the journal: what follows them was half-written and is dropped. Raises OSError."""
        self.folder = folder
        self._path = folder / journal
        self._end = kept_bytes
        with self._path.open("ab"):
            pass
        os.truncate(self._path, kept_bytes)

    def append(self, lines: tuple[str, ...]) -> None:
        """All the lines or none, on disk when this returns; raises OSError with what stood before untouched."""
        data = "".join(line + "\n" for line in lines).encode()
        try:
            with self._path.open("ab", buffering=0) as file:
                written = 0
                while written < len(data):
                    written += file.write(data[written:])
                os.fsync(file.fileno())
        except OSError:
            # shortening a file needs no space; should even that fail, readers drop an unfinished last line anyway
            with contextlib.suppress(OSError):
                os.truncate(self._path, self._end)
            raise
        self._end += len(data)

    def save(self, name: str, content: bytes) -> None:
        """A whole file beside the journal, replaced in one move or not at all; raises OSError."""
        save_file(self.folder, name, content)


def save_file(folder: Path, name: str, content: bytes) -> None:
    """A whole file in a folder, replaced in one move or not at all; raises OSError."""
    new = folder / f".{name}.new"
    try:
        with new.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        new.replace(folder / name)
    except OSError:
        new.unlink(missing_ok=True)
        raise


class MemoryStore:
    """A store that keeps everything in memory, for dry runs and tests."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.files: dict[str, bytes] = {}

    def append(self, lines: tuple[str, ...]) -> None:
        """All the lines."""
        self.lines.extend(lines)

    def save(self, name: str, content: bytes) -> None:
        """A whole file."""
        self.files[name] = content
