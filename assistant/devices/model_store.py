"""The models of this user: fetched, unpacked and judged beside the others, and among them only when whole."""

import hashlib
import json
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from filelock import FileLock, Timeout

from assistant.devices import vosk_folder
from assistant.devices.fetch import Patience, Progress, fetch
from assistant.devices.offers import Offer
from assistant.devices.unpack import Bounds, unpack
from assistant.errors import BadInput

FETCHED_FILE = "fetched.json"
"""In a fetched model: where it is from, and the sha256 of the zip and of every file as it was unpacked."""
_WORK = ".fetching"
"""What is being fetched or unpacked lies here; no engine looks into a folder whose name begins with a dot."""


def get(  # noqa: PLR0913 - what, to where, from where, who is told
    offer: Offer,
    models: Path,
    *,
    address: str = "",
    replace: bool = False,
    progress: Progress,
    tell: Callable[[str], None],
    patience: Patience | None = None,
) -> Path:
    """Fetch the model into the folder `models`; its folder there. Raises BadInput, one line; then `models` holds what it held.

    A broken-off fetch is gone on with by the next call. `address` is another place to fetch the same model from.
    """
    place, work = models / offer.folder, models / _WORK
    if place.exists() and not replace:
        raise BadInput(f"{place}: is there already; look at it with `ohmaloud models check`, or add --replace")
    try:
        work.mkdir(parents=True, exist_ok=True)
        with FileLock(work / "lock", timeout=0):
            for left in work.glob("unpacking-*"):  # of a fetch that was killed
                shutil.rmtree(left, ignore_errors=True)
            return _get(offer, place, work, address or offer.address, progress, tell, patience)
    except Timeout:
        raise BadInput(f"{models}: another fetch is under way there; wait for its end") from None
    except OSError as error:
        raise BadInput(f"{models}: cannot be used ({error.strerror})") from None


def _get(  # noqa: PLR0913, PLR0917 - the steps of `get` behind its lock
    offer: Offer,
    place: Path,
    work: Path,
    address: str,
    progress: Progress,
    tell: Callable[[str], None],
    patience: Patience | None,
) -> Path:
    # another address, another beginning
    archive = work / f"{offer.folder}-{hashlib.sha256(address.encode()).hexdigest()[:8]}.zip"
    part = archive.with_suffix(".part")
    try:
        fetch(address, part, offer.most_bytes, progress, patience)
    except BadInput as error:
        raise BadInput(
            f"{error}. Or fetch it by other means, unpack it as {place}, and run: ohmaloud models check {place}"
        ) from None
    part.replace(archive)
    Path(f"{part}.tag").unlink(missing_ok=True)
    with tempfile.TemporaryDirectory(prefix="unpacking-", dir=work) as beside:
        try:
            found = _sha256(archive)
            tell(_about_hash(offer, archive, found))
            unpacked = unpack(
                archive, Path(beside), offer.folder, Bounds(offer.most_entries, offer.most_unpacked_bytes)
            )
            fault = vosk_folder.fault(unpacked)
            if fault:
                raise BadInput(f"{address}: what was fetched cannot be used. {fault}")
        finally:
            archive.unlink()  # right or wrong, it is of no use any more
        record = {"address": address, "sha256": found, "files": hashes(unpacked)}
        (unpacked / FETCHED_FILE).write_text(json.dumps(record, indent=1) + "\n", "utf-8")
        if place.exists():
            place.replace(Path(beside) / "before")
        unpacked.replace(place)
    return place


def _about_hash(offer: Offer, archive: Path, found: str) -> str:
    """What the hash of the zip says, in one line. Raises BadInput when the makers' own is known and it is another."""
    size = archive.stat().st_size
    if offer.sha256 and found != offer.sha256:
        raise BadInput(
            f"{archive.name}: found sha256 {found}, expected {offer.sha256}; it was thrown away, fetch it again"
        )
    if offer.sha256:
        return f"Fetched {size} bytes; sha256 {found}, as its makers give it."
    same = found == offer.seen_sha256
    beside = "the same as" if same else "not the same as"
    compared = f"; {beside} a copy that others published" if offer.seen_sha256 else ""
    return f"Fetched {size} bytes; sha256 {found}{compared}. No checksum of its makers is known here."


def hashes(place: Path) -> dict[str, str]:
    """The sha256 of every file in a folder, by its path there; our own record is left out."""
    files = sorted(path for path in place.rglob("*") if path.is_file())
    return {path.relative_to(place).as_posix(): _sha256(path) for path in files if path != place / FETCHED_FILE}


def as_fetched(place: Path) -> bool | None:
    """Whether every file is as it was unpacked; None for a folder that we did not fetch."""
    if not (place / FETCHED_FILE).is_file():
        return None
    try:
        wanted = json.loads((place / FETCHED_FILE).read_text("utf-8"))["files"]
        return bool(wanted == hashes(place))
    except (OSError, ValueError, KeyError, TypeError):
        return False


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
