"""Fixtures that several test files use."""

import pytest

from assistant.dialogue.state import Bench
from assistant.preflight import load_bench, read_files


@pytest.fixture(scope="session")
def bench() -> Bench:
    """The shipped data files."""
    return load_bench(read_files())
