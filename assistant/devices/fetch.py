"""A file from the network: bounded, taken up again where it broke off, and complete or refused."""

import http.client
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO
from urllib.response import addinfourl

from assistant.errors import BadInput

_CHUNK = 64 * 1024
_PARTIAL, _BEYOND = 206, 416

Progress = Callable[[int, int | None], None]
"""Bytes that are here, and of how many; None when the server does not say."""


@dataclass(frozen=True, slots=True)
class Patience:
    """How long a silent server is waited for, and how often in a row it may bring nothing new."""

    silence_s: float = 20.0
    attempts: int = 4


class _BrokeOff(Exception):
    """The connection ended before the file did."""


class _SameSafety(urllib.request.HTTPRedirectHandler):
    """Follows a server that sends us elsewhere, from https only to https."""

    def redirect_request(  # noqa: PLR0913, PLR0917 - the library's signature
        self,
        req: urllib.request.Request,
        fp: IO[bytes],
        code: int,
        msg: str,
        headers: http.client.HTTPMessage,
        newurl: str,
    ) -> urllib.request.Request | None:
        old, new = (urllib.parse.urlsplit(url).scheme for url in (req.full_url, newurl))
        if new not in ("http", "https") or (old == "https" and new != "https"):
            fp.close()  # the library leaves the connection to the garbage collector here
            raise BadInput(
                f"{req.full_url}: sends on to {newurl}, which is not as safe; nothing was fetched from there"
            )
        return super().redirect_request(req, fp, code, msg, headers, newurl)


def fetch(address: str, part: Path, most_bytes: int, progress: Progress, patience: Patience | None = None) -> None:
    """Fetch `address` into the file `part`; what lies there from an earlier try is gone on with when it is the same file still.

    Raises BadInput, one line, when the file cannot be had, is longer than `most_bytes`, or the disk refuses it. What came
    so far stays in `part`, so that the next try goes on.
    """
    if urllib.parse.urlsplit(address).scheme not in ("http", "https"):
        raise BadInput(f"{address}: expected an address that begins with https:// or http://")
    patience = patience or Patience()
    opener = urllib.request.build_opener(_SameSafety)
    left, furthest = patience.attempts, _size(part)
    why = "nothing came"
    while left:
        try:
            _attempt(opener, address, part, most_bytes, progress, patience.silence_s)
        except urllib.error.HTTPError as error:
            error.close()
            if error.code != _BEYOND:
                said = " ".join(str(error.reason).split())
                raise BadInput(f"{address}: the server answers {error.code} {said}; no model was fetched") from None
            part.unlink(missing_ok=True)  # what lies here is no beginning of what lies there
            why = "it does not go on with what is here"
        except (OSError, http.client.HTTPException) as error:
            reason = getattr(error, "reason", error)
            why = str(getattr(reason, "strerror", None) or reason) or type(reason).__name__
        except _BrokeOff as error:
            why = str(error)
        else:
            return
        # only what was never reached before is progress: a part thrown away and fetched anew is none
        left = patience.attempts if _size(part) > furthest else left - 1
        furthest = max(furthest, _size(part))
    kept = "What came so far is kept for the next try" if _size(part) else "Nothing came"
    raise BadInput(f"{address}: cannot be fetched ({why}); is there a network? {kept}")


def _attempt(  # noqa: PLR0913, PLR0917 - one request has so many circumstances
    opener: urllib.request.OpenerDirector,
    address: str,
    part: Path,
    most_bytes: int,
    progress: Progress,
    silence_s: float,
) -> None:
    """One request. Raises _BrokeOff when the file is not all here after it."""
    tag = part.with_name(part.name + ".tag")
    mark = tag.read_text("utf-8") if tag.is_file() and part.is_file() else ""
    here = _size(part) if mark else 0
    headers = {"User-Agent": "ohmaloud", "Accept-Encoding": "identity"}
    if here:
        headers |= {"Range": f"bytes={here}-", "If-Range": mark}
    with opener.open(urllib.request.Request(address, headers=headers), timeout=silence_s) as answer:  # noqa: S310 - http(s) only
        whole = _length(answer)
        if answer.status == _PARTIAL:
            start, whole = _range(answer.headers.get("Content-Range", ""))
            if start != here:
                part.unlink(missing_ok=True)
                raise _BrokeOff("the server goes on at another place than asked")
        else:
            here = 0
        if whole is not None and whole > most_bytes:
            raise BadInput(f"{address}: {whole} bytes, expected {most_bytes} at most; it is not fetched")
        mark = answer.headers.get("ETag", "")
        _write(tag, b"" if mark.startswith("W/") else (mark or answer.headers.get("Last-Modified", "")).encode())
        if not here:
            _write(part, b"")
        # read1: what has come is kept, even when nothing comes after it
        while block := answer.read1(_CHUNK if whole is None else min(_CHUNK, whole - here)):
            here += len(block)
            if here > most_bytes:
                part.unlink()
                raise BadInput(f"{address}: goes on beyond {most_bytes} bytes; it is not fetched")
            _write(part, block, how="ab")
            progress(here, whole)
    if whole is not None and here != whole:
        raise _BrokeOff(f"it broke off after {here} of {whole} bytes")


def _write(path: Path, block: bytes, how: str = "wb") -> None:
    try:
        with path.open(how) as file:
            file.write(block)
    except OSError as error:
        raise BadInput(f"{path}: cannot be written ({error.strerror})") from None


def _length(answer: addinfourl) -> int | None:
    text = answer.headers.get("Content-Length", "")
    return _number(text)


def _range(text: str) -> tuple[int | None, int | None]:
    """Start and whole length of `bytes 5-9/10`, None for what it does not say."""
    span, _, whole = text.removeprefix("bytes ").partition("/")
    start = span.partition("-")[0]
    return _number(start), _number(whole)


def _number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 16 else None  # noqa: PLR2004 - no file is longer


def _size(path: Path) -> int:
    return path.stat().st_size if path.is_file() else 0
