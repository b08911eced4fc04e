"""Fixtures that several test files use."""

import gc
import io
import sys
from collections.abc import Generator, Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings
from program import Result

from assistant.__main__ import main
from assistant.dialogue.state import Bench
from assistant.language.lexicon import Lexicon, load_lexicon
from assistant.preflight import load_bench, read_files

QUICK = "not slow"
"""The marks by which the quick set is asked for."""
OUTSIDE = (
    "test_checks_records",
    "test_closed_loop",
    "test_devices_",
    "test_listen",
    "test_live",
    "test_models",
    "test_parcel",
    "test_recipe_",
    "test_records",
    "test_recordings",
    "test_report",
    "test_score",
    "test_spoken",
    "test_voice_check",
)
"""So begin the names of files about what hears, speaks, fetches and learns, and about records once they are kept: the list of them,
pages, parcels. The libraries for it take seconds to load, much of it runs beside the test and is waited for, or writes many
files. All their tests are slow, and the quick set does not even load them.
"""
LEARNING = "test_recipe_"
"""So begin those about what is learned, which need not reach the layers within: they are not traced, and learn faster."""
LONGEST = (
    "test_closed_loop",
    "test_recipe_training",
    "test_verdict_properties",
    "test_listen",
    "test_devices_hearing_engines",
    "test_recordings",
    "test_spoken",
    "test_recipe_tuned",
    "test_language_sentences",
    "test_recipe_letters",
    "test_language_readback",
    "test_report",
    "test_session",
    "test_house",
    "test_verdict",
    "test_language_understand",
)
"""The files that take longest, these first: where a long one comes last, one process works and the other has nothing left."""
# no deadline: how long an example takes says how busy the machine is
settings.register_profile("whole", max_examples=100, deadline=None)
settings.register_profile("quick", max_examples=10, deadline=None)


GARBAGE = (200_000, 50, 100)
"""The quick set makes so many values that looking for garbage among them as often as usual takes a tenth of its time."""


def pytest_configure(config: pytest.Config) -> None:
    """The quick set tries each property on a tenth of the examples, and looks for garbage less often."""
    quick = config.option.markexpr == QUICK
    settings.load_profile("quick" if quick else "whole")
    if quick:
        gc.set_threshold(*GARBAGE)


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """The quick set does without OUTSIDE."""
    return True if config.option.markexpr == QUICK and collection_path.name.startswith(OUTSIDE) else None


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first. The tests of OUTSIDE are slow, those of LEARNING not traced, before any are chosen by their marks."""
    order = {name: number for number, name in enumerate(LONGEST)}
    items.sort(key=lambda item: order.get(item.path.stem, len(order)))
    for item in items:
        if item.path.name.startswith(OUTSIDE):
            item.add_marker(pytest.mark.slow)
        if item.path.name.startswith(LEARNING):
            item.add_marker(pytest.mark.no_cover)


@pytest.hookimpl(wrapper=True, trylast=True)
def pytest_runtest_call(item: pytest.Item) -> Generator[None]:
    """A test marked no_cover is not traced: what chance reaches counts for no coverage, and it runs three times as fast.

    pytest-cov ends its own tracing for it; in a second process another tracer would be left, which is found here.
    """
    if item.get_closest_marker("no_cover") is None:
        return (yield)
    tracer = sys.gettrace()
    sys.settrace(None)
    try:
        return (yield)
    finally:
        sys.settrace(tracer)


@pytest.fixture(scope="session", autouse=True)
def _own_data_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What the person at this machine keeps is neither read nor touched by a test."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("data")))
        patched.setenv("OHMALOUD_SETTINGS", str(tmp_path_factory.mktemp("config") / "settings.toml"))
        # programs that tests start lie there compiled, as an installed one does, and leave nothing in the checkout
        patched.delenv("PYTHONDONTWRITEBYTECODE", raising=False)
        patched.setenv("PYTHONPYCACHEPREFIX", str(tmp_path_factory.mktemp("compiled")))
        yield


@pytest.fixture(scope="session", autouse=True)
def _power_stays_on() -> Iterator[None]:
    """Nobody waits for the disk: what tests write in this process need not outlive the machine."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("os.fsync", lambda _file: None)
        yield


@lru_cache(32)
def _lexicon(texts: tuple[tuple[str, str], ...]) -> Lexicon:
    return load_lexicon(dict(texts))


@pytest.fixture(scope="session", autouse=True)
def _one_grammar() -> Iterator[None]:
    """The program reads its grammar once in a process; so do the tests that run it often in theirs, for each content."""

    def kept(texts: Mapping[str, str]) -> Lexicon:
        return _lexicon(tuple(texts.items()))

    with pytest.MonkeyPatch.context() as patched:
        for user in ("language.lexicon", "preflight"):
            patched.setattr(f"assistant.{user}.load_lexicon", kept)
        yield


@pytest.fixture(scope="session")
def bench() -> Bench:
    """The shipped data files."""
    return load_bench(read_files())


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Any:
    """Run the program in this process with these arguments and this standard input."""

    def run_it(*arguments: str, typed: str | None = None) -> Result:
        if typed is not None:
            monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        try:
            status = main(arguments)
        except SystemExit as stopped:
            status = int(stopped.code or 0)
        captured = capsys.readouterr()
        return Result(status, captured.out, captured.err)

    return run_it
