"""What the commands about records do. Every one takes the parsed options and gives the exit status; heavy imports stand inside."""

import argparse
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.errors import BadInput
from assistant.streams import comma_separated, data_folder, out, out_all, table, tell

if TYPE_CHECKING:
    from assistant.records.beside import Beside
    from assistant.records.index import Index, Job

REPORT = "report.html"
_TELL_FROM = 200
"""Reading more new records than this takes long enough to say so."""


def report(options: argparse.Namespace) -> int:
    """The report page of a session, and the same as PDF where a browser engine is found. Prints where they lie."""
    from assistant.language import page_wording
    from assistant.records.folders import find
    from assistant.records.story import sheet, story
    from assistant.report.page import page

    data = data_folder(options)
    found = story(find(data, options.job))
    beside = _earlier(data, found.folder)
    left_out = page_wording.earlier_left_out(beside.other_engine, beside.other_cap)
    content = sheet(found, beside.found, left_out)
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


def _earlier(data: Path, folder: Path) -> "Beside":
    """How the coil of a session read before; nothing for a record that lies elsewhere."""
    from assistant.records.beside import Beside, earlier

    if folder.parent.resolve() != data.resolve():
        return Beside()
    with _index(data) as index:
        return earlier(index, folder.name)


@contextmanager
def _index(data: Path, *, anew: bool = False) -> "Iterator[Index]":
    """The list of all sessions as it is now."""
    from assistant.records.index import Index, rebuilt

    index = rebuilt(data) if anew else Index(data)
    try:
        index.refresh(_told)
        yield index
    finally:
        index.close()


def _told(done: int, of: int) -> None:
    if of > _TELL_FROM:
        tell(f"Reading records: {done} of {of}.")


def jobs(options: argparse.Namespace) -> int:
    """The list of sessions: plain columns, one JSON object a line, or CSV."""
    from assistant.records.index import Wanted

    for option, value in (("--since", options.since), ("--until", options.until)):
        _check_date(option, value)
    wanted = Wanted(options.since, options.until, options.engine, options.verdict, options.label, options.coil)
    with _index(data_folder(options), anew=options.rebuild) as index:
        found = index.jobs(wanted, options.last)
    if options.json:
        out_all({**job._asdict(), "known_good": bool(job.known_good), "complete": bool(job.complete)} for job in found)
    elif options.csv:
        comma_separated(_CSV_HEADS, [_csv_row(job) for job in found])
    elif found:
        table(_LIST_HEADS, [_list_row(job) for job in found])
    if not found:
        tell("No such jobs." if any(asdict(wanted).values()) else f"No jobs in {data_folder(options)} yet.")
    for job in found:
        if job.trouble and not options.json:
            tell(job.trouble)
    return 0


_LIST_HEADS = ("BEGUN", "LABEL", "COIL", "ENGINE", "VERDICT", "PRIMARY", "SECONDARY", "KILL TAB", "FOLDER", "CHECKS")
_CSV_HEADS = (
    "begun",
    "label",
    "coil",
    "known good",
    "engine",
    "meter",
    "verdict",
    "complete",
    "primary",
    "secondary",
    "kill tab",
    "checks",
    "folder",
    "trouble",
)


def _list_row(job: "Job") -> tuple[str, ...]:
    verdict = "cannot be read" if job.trouble else job.verdict or "none yet"
    coil = f"{job.coil}, good" if job.known_good and job.coil else "good" if job.known_good else job.coil
    shown = (job.primary_shown, job.secondary_shown, job.killtab_shown)
    return (job.at[:16].replace("T", " "), job.label, coil, job.engine, verdict, *shown, job.folder, job.checks)


def _csv_row(job: "Job") -> tuple[str, ...]:
    yes = ("no", "yes")
    shown = (job.primary_shown, job.secondary_shown, job.killtab_shown)
    known = (job.at, job.label, job.coil, yes[job.known_good], job.engine, job.meter, job.verdict, yes[job.complete])
    return (*known, *shown, job.checks, job.folder, job.trouble)


def _check_date(option: str, text: str) -> None:
    if text and not _is_date(text):
        raise BadInput(f"{option} {text!r}: expected a date, as 2026-01-31")


def _is_date(text: str) -> bool:
    import datetime as dt

    try:
        return dt.date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def compare(options: argparse.Namespace) -> int:
    """A coil's readings beside the shop's own earlier ones of the same coil, as one JSON object, and in words."""
    from assistant.language import page_wording as words
    from assistant.language.wording import shorten
    from assistant.records.beside import earlier

    data = data_folder(options)
    with _index(data) as index:
        folder = index.latest(options.job) or index.latest(shorten(options.job))
        if folder is None:
            raise BadInput(f"{options.job!r}: no job of that label or folder name in {data}; see `ohmaloud jobs`")
        beside = earlier(index, folder)
    found = beside.found
    rows = []
    for one in found:
        values = {"median_ohms": one.median_ohm, "low_ohms": one.low_ohm, "high_ohms": one.high_ohm}
        rows.append(
            {
                "reading": one.tap.value,
                "earlier": one.count,
                "known_good": one.known_good,
                **{name: f"{value.normalize():f}" for name, value in values.items()},
                "percent": None if one.percent is None else round(float(one.percent), 2),
                "now": one.agreement.value,
            }
        )
        spread = f"{words.earlier_count(one)}, median {words.about(one.median_ohm)}, {words.earlier_span(one)}"
        tell(f"{words.NAMES[one.tap]}: {spread}. Now {words.earlier_now(one)}.")
    left_out = words.earlier_left_out(beside.other_engine, beside.other_cap)
    if found:
        tell(" ".join(filter(None, (words.earlier_rule(found), words.earlier_at(found)))))
    elif not left_out:
        tell("No earlier readings of this coil: none of the same coil name or label.")
    if left_out:
        tell(left_out)
    out(
        {
            "job": folder,
            "beside": rows,
            "left_out": {"other_engine": beside.other_engine, "other_cap": beside.other_cap},
        }
    )
    return 0


def mark(options: argparse.Namespace) -> int:
    """Say which coil a session was about, and whether that coil was good; prints what is marked now."""
    from assistant.records.folders import find
    from assistant.records.marks import read_marks, write_marks

    data = data_folder(options)
    folder = find(data, options.job)
    before = read_marks(folder)
    coil = before.coil if options.coil is None else options.coil
    known_good = before.known_good if options.good is None else options.good
    marks = replace(before, coil=coil, known_good=known_good)
    if marks != before:
        write_marks(folder, marks)
        if folder.parent.resolve() == data.resolve():
            with _index(data) as index:
                index.forget(folder.name)
    out({"job": folder.name, **asdict(marks)})
    return 0


def export(options: argparse.Namespace) -> int:
    """Sessions as one zip file."""
    from assistant.records.folders import find, sessions
    from assistant.records.parcel import pack

    data = data_folder(options)
    if bool(options.jobs) == options.all:
        raise BadInput("expected either jobs, or --all for all of them")
    folders = sessions(data) if options.all else list(dict.fromkeys(find(data, job) for job in options.jobs))
    if not folders:
        raise BadInput(f"{data}: no records there to export")
    packed = pack(folders, Path(options.to))
    for line in packed.left_out:
        tell(f"Left out: {line}")
    out({"file": options.to, "jobs": list(packed.folders)})
    return 0


def import_(options: argparse.Namespace) -> int:
    """Take in the sessions of a zip file that `export` made."""
    from assistant.records.parcel import unpack

    done = unpack(Path(options.file), data_folder(options))
    for old, new in done.renamed:
        tell(f"{old} is here already with other contents: taken in as {new}.")
    out({"added": list(done.added), "already": list(done.already), "renamed": dict(done.renamed)})
    return 0


COMMANDS: Mapping[str, Callable[[argparse.Namespace], int]] = {
    "report": report,
    "jobs": jobs,
    "compare": compare,
    "mark": mark,
    "export": export,
    "import": import_,
}
