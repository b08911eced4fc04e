"""A page as a PDF, printed by a browser engine when the machine has one. The program works without."""

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

ENGINES = ("chromium", "chromium-browser", "chrome")
"""Names of programs that print a page when started without a window."""
WAIT_S = 60


def find_engine(named: str | None = None) -> str | None:
    """The path of a browser engine: the one named, else the first that is found; None when there is none."""
    names = ENGINES if named is None else (named,)
    return next((path for name in names if (path := shutil.which(name)) is not None), None)


def pdf_of(page: str, engine: str, wait_s: float = WAIT_S) -> bytes | str:
    """The page as PDF; when the engine does not deliver, one sentence that says why."""
    with tempfile.TemporaryDirectory(prefix="ohmaloud-print-") as scratch:
        source, target = Path(scratch, "page.html"), Path(scratch, "page.pdf")
        source.write_text(page, encoding="utf-8")
        command = [
            engine,
            "--headless",
            "--disable-gpu",
            "--no-pdf-header-footer",
            f"--user-data-dir={scratch}/profile",
        ]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            command.append("--no-sandbox")  # the engine refuses to start as root otherwise; the page runs nothing
        command += [f"--print-to-pdf={target}", source.as_uri()]
        try:
            done = subprocess.run(command, capture_output=True, timeout=wait_s, check=False)  # noqa: S603 - fixed words and own paths
        except subprocess.TimeoutExpired:
            return f"{engine} did not print the page within {wait_s:g} seconds"
        except OSError as error:
            return f"{engine} cannot be started ({error.strerror})"
        if not target.is_file():
            return f"{engine} did not print the page (it ended with status {done.returncode})"
        return target.read_bytes()
