"""Sessions in one zip file, to be taken to another machine; and such a file taken in, checked, without touching what is there.

A parcel holds a list of its files with their lengths and SHA-256, and for each session what belongs to its record:
journal, marks, the report as text, sounds. Whoever made it is not trusted: names that lead elsewhere, more or larger
files than a record has, contents that differ from the list and journals that are not sound make it refused as a whole.
"""

import hashlib
import json
import re
import shutil
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from assistant.errors import BadInput, BadRecord
from assistant.journal import read
from assistant.records.folders import JOB_FILE, JOURNAL_FILE
from assistant.records.marks import MARKS_FILE

LIST_FILE = "parcel.json"
VERSION = 1
FILE_MOST_BYTES = 256 * 2**20
TOTAL_MOST_BYTES = 4 * 2**30
FILES_MOST = 500_000
LIST_MOST_BYTES = 64 * 2**20
"""Far more than ten thousand sessions with their sounds; a parcel beyond is no parcel of ours."""
_FOLDER = re.compile(r"[\w][\w-]{0,99}")
_FILE = re.compile(r"[\w][\w-]{0,99}\.(wav|flac)|check-[a-z][a-z_]{0,29}\.txt")
_FILES = (JOURNAL_FILE, JOB_FILE, MARKS_FILE, "report.txt")
_CHUNK = 2**20
_SAME_DATE = (1980, 1, 1, 0, 0, 0)
"""The date of every file in a parcel: the same sessions always make the same parcel."""

Listed = dict[str, dict[str, dict[str, Any]]]
"""Folder -> file -> `bytes` and `sha256`."""


@dataclass(frozen=True, slots=True)
class Packed:
    """The folders in a parcel, and for each that is not why it was left out."""

    folders: tuple[str, ...]
    left_out: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Unpacked:
    """What became of each session of a parcel: taken in, there already, or taken in under another name since its own was taken."""

    added: tuple[str, ...]
    already: tuple[str, ...]
    renamed: tuple[tuple[str, str], ...]


def pack(folders: list[Path], to: Path) -> Packed:
    """Write a new zip file with these sessions. Raises BadInput when nothing can be packed, the file is there already or cannot be."""
    names = [folder.name for folder in folders]
    if len(set(names)) < len(names):
        raise BadInput(f"two of these jobs have one folder name: {', '.join(sorted(names))}")
    faults = {folder: fault for folder in folders if (fault := _unfit(folder)) is not None}
    fit = [folder for folder in folders if folder not in faults]
    if not fit:
        raise BadInput(f"nothing to export: {next(iter(faults.values()))}")
    try:
        with zipfile.ZipFile(to, "x", zipfile.ZIP_DEFLATED) as parcel:
            _fill(parcel, fit)
    except FileExistsError as error:
        raise BadInput(f"{to}: is there already; expected the name of a new file") from error
    except OSError as error:
        to.unlink(missing_ok=True)
        raise BadInput(f"{to}: cannot be written ({error.strerror})") from error
    return Packed(tuple(folder.name for folder in fit), tuple(faults.values()))


def _unfit(folder: Path) -> str | None:
    """Why a session cannot be packed: nobody could take it in again."""
    if not _FOLDER.fullmatch(folder.name):
        return f"{folder}: the folder's name may hold letters, digits, - and _ only"
    try:
        read(folder)
    except BadRecord as error:
        return str(error)
    return None


def _fill(parcel: zipfile.ZipFile, folders: list[Path]) -> None:
    listed: Listed = {}
    for folder in folders:
        listed[folder.name] = {}
        for path in sorted(path for path in folder.iterdir() if _belongs(path.name)):
            content = path.read_bytes()
            listed[folder.name][path.name] = {"bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}
            parcel.writestr(_info(f"{folder.name}/{path.name}"), content)
    text = json.dumps({"parcel": VERSION, "jobs": listed}, ensure_ascii=False, sort_keys=True)
    parcel.writestr(_info(LIST_FILE), text)


def _info(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _SAME_DATE)
    info.compress_type = zipfile.ZIP_DEFLATED
    return info


def _belongs(name: str) -> bool:
    return name in _FILES or _FILE.fullmatch(name) is not None


def unpack(file: Path, data: Path) -> Unpacked:
    """Take in the sessions of a parcel: all of them or, with BadInput that says why, none. Nothing there is overwritten."""
    try:
        data.mkdir(parents=True, exist_ok=True)
        staged = Path(tempfile.mkdtemp(prefix=".import-", dir=data))
    except OSError as error:
        raise BadInput(f"{data}: cannot be used for records ({error.strerror})") from error
    try:
        with zipfile.ZipFile(file) as parcel:
            for name, listed in _listed(file, parcel).items():
                _stage(file, parcel, staged / name, listed)
        return _take_in(staged, data)
    except _NO_ZIP as error:
        raise BadInput(f"{file}: no zip file, or a damaged one ({error}); nothing was taken in") from error
    except OSError as error:
        raise BadInput(f"{file}: cannot be taken in ({error.strerror or error}); nothing was taken in") from error
    finally:
        shutil.rmtree(staged, ignore_errors=True)


_NO_ZIP = (zipfile.BadZipFile, zlib.error, struct.error, EOFError, NotImplementedError, ValueError, OverflowError)
"""What reading a damaged zip file ends in."""
_PLAIN = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_ENCRYPTED = 1  # bit of a file's flags


def _refused(file: Path, found: str) -> BadInput:
    return BadInput(f"{file}: {found}; expected a file that `ohmaloud export` made. Nothing was taken in")


def _listed(file: Path, parcel: zipfile.ZipFile) -> Listed:
    """The parcel's list, when it names just what is in the zip, and only what a record has."""
    infos = parcel.infolist()
    if len(infos) > FILES_MOST:
        raise _refused(file, f"{len(infos)} files")
    if any(info.compress_type not in _PLAIN or info.flag_bits & _ENCRYPTED for info in infos):
        raise _refused(file, "files that are encrypted or packed in another way")
    in_zip = [info.filename for info in infos]
    if len(set(in_zip)) < len(in_zip):
        raise _refused(file, "two files of one name")
    try:
        with parcel.open(LIST_FILE) as list_file:
            raw = list_file.read(LIST_MOST_BYTES + 1)
        data = json.loads(raw)
        version, jobs = data["parcel"], data["jobs"]
        sizes = {
            f"{folder}/{name}": int(entry["bytes"]) for folder, files in jobs.items() for name, entry in files.items()
        }
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
        raise _refused(file, f"no list of sessions in it ({LIST_FILE})") from error
    if version != VERSION:
        raise _refused(file, f"format version {version!r}")
    for folder, files in jobs.items():
        odd = [name for name in files if not _belongs(name)]
        if not _FOLDER.fullmatch(folder) or odd or JOURNAL_FILE not in files:
            raise _refused(file, f"{[folder, *odd][-1]!r}, which is no session or no part of one")
    if {*sizes, LIST_FILE} != set(in_zip):
        raise _refused(file, f"its list does not name what is in it: {min({*sizes, LIST_FILE} ^ set(in_zip))!r}")
    if max(sizes.values(), default=0) > FILE_MOST_BYTES or sum(sizes.values()) > TOTAL_MOST_BYTES:
        raise _refused(file, f"{sum(sizes.values())} bytes, more than a parcel may hold")
    found: Listed = jobs
    return found


def _stage(file: Path, parcel: zipfile.ZipFile, folder: Path, listed: dict[str, dict[str, Any]]) -> None:
    """Unpack one session beside the others and check it: lengths and sums as listed, a sound journal."""
    folder.mkdir()
    for name, entry in listed.items():
        member = f"{folder.name}/{name}"
        digest, left = hashlib.sha256(), int(entry["bytes"])
        with parcel.open(member) as source, (folder / name).open("xb") as target:
            # never more than was listed, whatever the zip's own headers say
            while left >= 0 and (chunk := source.read(min(_CHUNK, left + 1))):
                left -= len(chunk)
                digest.update(chunk)
                target.write(chunk)
        if left or digest.hexdigest() != entry.get("sha256"):
            raise _refused(file, f"{member!r}, whose contents are not those in its list")
    try:
        read(folder)
    except BadRecord as error:
        fault = str(error).replace(f"{folder}/", f"{folder.name}/")
        raise _refused(file, f"a journal that is not sound: {fault}") from error


def _take_in(staged: Path, data: Path) -> Unpacked:
    added, already, renamed = [], [], []
    for folder in sorted(staged.iterdir()):
        name = next(_free_or_same(folder, data))
        if (data / name).exists():
            already.append(folder.name)
            continue
        folder.rename(data / name)
        if name == folder.name:
            added.append(name)
        else:
            renamed.append((folder.name, name))
    return Unpacked(tuple(added), tuple(already), tuple(renamed))


def _free_or_same(folder: Path, data: Path) -> Iterator[str]:
    """Names a session may have, from its own: each either free or of a folder that holds this very journal."""
    journal = (folder / JOURNAL_FILE).read_bytes()
    for number in range(1, FILES_MOST):
        name = folder.name if number == 1 else f"{folder.name}-{number}"
        there = None
        with suppress(OSError):
            there = (data / name / JOURNAL_FILE).read_bytes()
        if there == journal or not (data / name).exists():
            yield name
