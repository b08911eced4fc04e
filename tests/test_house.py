"""The house rules: layers, types, style, documents, modules of a readable size."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from conversation import Conversation

from assistant.dialogue.events import Say, Show, Typed
from assistant.preflight import load_bench, read_files
from assistant.report.tables import with_tables

ROOT = Path(__file__).resolve().parent.parent
MODULES = sorted(ROOT.glob("assistant/**/*.py"))


def run(*command: str) -> None:
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_tables_in_the_developers_document_are_those_of_the_code() -> None:
    document = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert "| READING |" not in document
    assert document == with_tables(document), "python -m assistant.report.tables DEVELOPERS.md"
    assert document.count("<!-- ") == 4
    assert "still_paused" in document
    assert "secondary-fault" in document


def test_the_map_for_developers_names_every_module() -> None:
    places = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## What happens")[0]
    named = set(re.findall(r"\w+", places))
    assert [path.name for path in MODULES if path.stem not in named | {"__init__"}] == []


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_every_file_a_document_names_exists(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    for name in re.findall(r"`((?:assistant|grammar|models|tests|recordings)/[\w./*-]+)`", text):
        assert list(ROOT.glob(name.rstrip("/"))), name


def test_the_top_level_holds_what_it_should_and_nothing_else() -> None:
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if tracked.returncode or not tracked.stdout:
        pytest.skip("no git checkout: an unpacked archive has no list of tracked files")
    names = {line.split("/")[0] for line in tracked.stdout.splitlines()}
    fixed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "assistant", "grammar", "models", "tests", "recordings"}
    assert names <= fixed | {".ci", "LICENSE", ".gitignore"}


@pytest.mark.slow
def test_layers_hold() -> None:
    run(str(Path(sys.executable).with_name("lint-imports")))


@pytest.mark.slow
def test_types_hold() -> None:
    run(sys.executable, "-m", "mypy")


@pytest.mark.slow
def test_style_holds() -> None:
    run(sys.executable, "-m", "ruff", "check", ".")
    run(sys.executable, "-m", "ruff", "format", "--check", ".")


def test_modules_have_a_readable_size() -> None:
    for path in MODULES:
        lines = len(path.read_text(encoding="utf-8").splitlines())
        assert lines <= 400, f"{path}: {lines} lines, more than 400 need a reason"


def test_the_session_in_the_readme_is_what_the_program_says() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.search(r"<!-- session: begin -->\n```\n(.*)```\n<!-- session: end -->", readme, flags=re.DOTALL)
    assert found is not None
    typed = re.findall(r"^> (.*)$", found[1], flags=re.MULTILINE)
    assert len(typed) > 10
    assert found[1] == transcript(typed)


def transcript(typed: list[str]) -> str:
    """A session as a person sees it, with what they type."""
    talk = Conversation(load_bench(read_files()))
    lines = [
        effect.text for effect in talk.start(label="water pump", meter="pocket").effects if isinstance(effect, Say)
    ]
    for line in typed:
        lines.append(f"> {line}")
        lines += [effect.text for effect in talk.event(Typed(line)) if isinstance(effect, Say | Show)]
    return "\n".join(lines) + "\n"
