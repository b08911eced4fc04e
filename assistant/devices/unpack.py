"""A zip file to a folder, trusting nothing that the zip says of itself."""

import shutil
import stat
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from assistant.errors import BadInput

_ENCRYPTED = 1


@dataclass(frozen=True, slots=True)
class Bounds:
    """What a zip may hold at most."""

    entries: int
    unpacked_bytes: int


def unpack(archive: Path, into: Path, top: str, bounds: Bounds) -> Path:
    """Unpack the folder `top`, the only one `archive` may hold, into the folder `into`; the path of it there.

    Every entry is judged before the first is written. Raises BadInput, one line, for anything but plain files and folders
    under `top`, for more than the bounds allow, and for a file whose checksum inside the zip is not right.
    """
    try:
        with zipfile.ZipFile(archive) as opened:
            entries = opened.infolist()
            fault = _fault(entries, top, bounds)
            if fault:
                raise BadInput(f"{archive.name}: {fault}; nothing was unpacked")
            for entry in entries:
                target = into / entry.filename
                if entry.is_dir():
                    target.mkdir(parents=True, exist_ok=True)
                    continue
                target.parent.mkdir(parents=True, exist_ok=True)
                # the library reads no more than the size that was judged above, and compares the checksum at the end
                with opened.open(entry) as source, target.open("xb") as file:
                    shutil.copyfileobj(source, file)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, UnicodeDecodeError) as error:
        raise BadInput(f"{archive.name}: this is no whole zip file ({error}); fetch it again") from None
    except OSError as error:
        raise BadInput(f"{into}: cannot be unpacked there ({error.strerror})") from None
    return into / top


def _fault(entries: list[zipfile.ZipInfo], top: str, bounds: Bounds) -> str:
    if len(entries) > bounds.entries:
        return f"holds {len(entries)} entries, expected {bounds.entries} at most"
    unpacked = sum(entry.file_size for entry in entries)
    if unpacked > bounds.unpacked_bytes:
        return f"would unpack to {unpacked} bytes, expected {bounds.unpacked_bytes} at most"
    paths = [str(PurePosixPath(entry.filename)).casefold() for entry in entries]
    twice = next((path for path in paths if paths.count(path) > 1), None)
    if twice is not None:
        return f"the entry {twice!r} is there twice"
    return next((fault for entry in entries if (fault := _entry_fault(entry, top))), "" if entries else "is empty")


def _entry_fault(entry: zipfile.ZipInfo, top: str) -> str:
    name, mode = entry.filename, entry.external_attr >> 16
    path = PurePosixPath(name)
    if path.is_absolute() or "\\" in name or ":" in name or ".." in path.parts or not name.isprintable():
        return f"the entry {name!r} leads outside its folder"
    if stat.S_IFMT(mode) not in (0, stat.S_IFREG, stat.S_IFDIR):
        return f"the entry {name!r} is a link or a device, expected files and folders"
    if entry.flag_bits & _ENCRYPTED:
        return f"the entry {name!r} is encrypted"
    return "" if path.parts[:1] == (top,) else f"the entry {name!r} lies outside the folder {top}"
