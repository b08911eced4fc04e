"""A server in this process that gives models the way good and bad servers do, and zips that good and bad people make."""

import io
import threading
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

FOLDER = "vosk-model-small-en-us-0.15"
FILES = {
    "am/final.mdl": b"weights" * 5000,
    "conf/mfcc.conf": b"--use-energy=false\n--num-mel-bins=40\n",
    "graph/HCLr.fst": bytes(range(256)) * 400,
    "graph/Gr.fst": b"graph",
}

Manner = Callable[["Answer"], None]
"""How one request is answered."""


class Server:
    """What it was asked, and how it answers: the manners one after the other, the last one for good."""

    def __init__(self, port: int) -> None:
        self.address = f"http://127.0.0.1:{port}/{FOLDER}.zip"
        self.body = zipped()
        self.manners: list[Manner] = [whole]
        self.ranges: list[str | None] = []
        self.released = threading.Event()


class Answer(BaseHTTPRequestHandler):
    """One request."""

    state: Server

    def do_GET(self) -> None:  # the library's name
        self.state.ranges.append(self.headers.get("Range"))
        manner = self.state.manners.pop(0) if len(self.state.manners) > 1 else self.state.manners[0]
        manner(self)

    def head(self, status: int, **headers: str) -> None:
        self.send_response(status)
        for name, value in headers.items():
            self.send_header(name.replace("_", "-"), value)
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the library's signature
        """Nothing on the terminal."""


@contextmanager
def serving() -> Iterator[Server]:
    """A server on a free port of this machine."""

    class Handler(Answer):
        """With a state of its own."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        state = Server(server.server_port)
        Handler.state = state
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            yield state
        finally:
            state.released.set()
            server.shutdown()
            thread.join()


def zipped(
    files: dict[str, bytes] | None = None,
    *,
    top: str = f"{FOLDER}/",
    change: Callable[[zipfile.ZipInfo], None] | None = None,
) -> bytes:
    """A zip of these files; `change` spoils each entry before it is written."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in (FILES if files is None else files).items():
            entry = zipfile.ZipInfo(f"{top}{name}")
            entry.compress_type = zipfile.ZIP_DEFLATED
            if change:
                change(entry)
            archive.writestr(entry, content)
    return buffer.getvalue()


# ---- manners


def whole(answer: Answer) -> None:
    """As it should be, ranges too."""
    body = answer.state.body
    asked = answer.headers.get("Range")
    if asked and answer.headers.get("If-Range") == '"one"':
        start = int(asked.removeprefix("bytes=").rstrip("-"))
        if start >= len(body):
            answer.head(416, Content_Length="0")
            return
        span = f"bytes {start}-{len(body) - 1}/{len(body)}"
        answer.head(206, Content_Length=str(len(body) - start), Content_Range=span, ETag='"one"')
        answer.wfile.write(body[start:])
        return
    answer.head(200, Content_Length=str(len(body)), ETag='"one"')
    answer.wfile.write(body)


def without_ranges(answer: Answer) -> None:
    """Everything from the start, whatever was asked."""
    answer.head(200, Content_Length=str(len(answer.state.body)), ETag='"one"')
    answer.wfile.write(answer.state.body)


def half(answer: Answer) -> None:
    """The connection ends in the middle."""
    body = answer.state.body
    answer.head(200, Content_Length=str(len(body)), ETag='"one"')
    answer.wfile.write(body[: len(body) // 2])


def stalling(answer: Answer) -> None:
    """The middle is reached, and nothing more comes until the test is over."""
    half(answer)
    answer.wfile.flush()
    answer.state.released.wait()


def from_elsewhere(answer: Answer) -> None:
    """A part that was not asked for."""
    body = answer.state.body
    answer.head(206, Content_Length="5", Content_Range=f"bytes 1-5/{len(body)}", ETag='"one"')
    answer.wfile.write(body[1:6])


def says(length: int | None) -> Manner:
    """The whole body under a wrong length, or under none."""

    def manner(answer: Answer) -> None:
        answer.head(200, **({} if length is None else {"Content_Length": str(length)}), ETag='"one"')
        answer.wfile.write(answer.state.body)

    return manner


def status(code: int, **headers: str) -> Manner:
    """An answer without a body."""
    return lambda answer: answer.head(code, Content_Length="0", **headers)
