"""What the commands about records do. Every one takes the parsed options and gives the exit status; heavy imports stand inside."""

import argparse
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

from assistant.errors import BadInput
from assistant.streams import data_folder, out, tell

REPORT = "report.html"


def report(options: argparse.Namespace) -> int:
    """The report page of a session, and the same as PDF where a browser engine is found. Prints where they lie."""
    from assistant.records.story import find, sheet, story
    from assistant.report.page import page

    data = data_folder(options)
    found = story(find(data, options.job))
    content = sheet(found, ())
    to = Path(options.to) if options.to else found.folder / REPORT
    if options.to:
        content = replace(content, recordings=())  # links to sounds hold beside the record only
    _write(to, page(content).encode())
    pdf = None if options.no_pdf else _print(page(content, options.paper), to.with_suffix(".pdf"), options.browser)
    out({"html": str(to), "pdf": None if pdf is None else str(pdf)})
    if options.open:
        import webbrowser

        if not webbrowser.open(to.resolve().as_uri()):
            tell(f"No browser could be started. Open {to} yourself.")
    return 0


def _write(to: Path, content: bytes) -> None:
    from assistant.devices.store import save_file

    try:
        save_file(to.parent, to.name, content)
    except OSError as error:
        raise BadInput(f"{to}: cannot be written ({error.strerror})") from error


def _print(page: str, to: Path, browser: str | None) -> Path | None:
    from assistant.devices.printer import ENGINES, find_engine, pdf_of

    engine = find_engine(browser)
    if engine is None:
        if browser is not None:
            raise BadInput(f"--browser {browser!r}: no such program; expected a browser such as {', '.join(ENGINES)}")
        tell(f"No PDF: none of {', '.join(ENGINES)} is on this machine. The page prints from any browser.")
        return None
    printed = pdf_of(page, engine)
    if isinstance(printed, str):
        tell(f"No PDF: {printed}. The page prints from any browser.")
        return None
    _write(to, printed)
    return to


COMMANDS: Mapping[str, Callable[[argparse.Namespace], int]] = {"report": report}
