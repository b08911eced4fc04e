"""The screen of a live session: lines, and large type on a terminal alone."""

import io

import pytest

from assistant.large_type import banner, display
from assistant.screen import Screen


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def shown(out: io.StringIO, *, large: bool = True) -> str:
    screen = Screen(large=large, decided=lambda _: None, out=out)
    screen.line("What does the secondary read?")
    screen.question("What does the secondary read?")
    screen.reading("4.70 kΩ")
    return out.getvalue()


def test_a_terminal_shows_question_and_reading_large(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "80")
    text = shown(Terminal())
    assert text.startswith("What does the secondary read?\n")
    assert "█" in text
    assert "\x1b" not in text
    assert max(len(line) for line in text.splitlines()) <= 80


@pytest.mark.parametrize("where", ["pipe", "plain", "dumb"])
def test_elsewhere_every_line_is_plain_and_said_once(where: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "dumb" if where == "dumb" else "xterm")
    out = io.StringIO() if where == "pipe" else Terminal()
    assert shown(out, large=where != "plain") == "What does the secondary read?\n"


def test_every_letter_of_a_reading_has_its_own_shape() -> None:
    letters = "0123456789.kmMΩ"
    assert len({display(letter, 80) for letter in letters}) == len(letters)
    assert display("4.7", 80).count("\n") == 4
    assert banner("ok", 80).count("\n") == 2


def test_a_question_that_would_fill_the_screen_stays_plain(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "40")
    out = Terminal()
    screen = Screen(large=True, decided=lambda _: None, out=out)
    screen.question("Which symptoms does it show? Say as many as apply, then done; or none.")
    screen.question("unpronounceabilities")
    assert out.getvalue() == ""


def test_what_does_not_fit_gets_smaller_and_then_plain() -> None:
    assert "█" in display("over range", 50)
    assert display("over range", 50).count("\n") == 6  # two lines of the smaller kind
    assert banner("incomprehensibilities", 40) == "incomprehensibilities"
    assert banner("", 40) == ""


def test_a_verdict_goes_to_whatever_reads_the_output() -> None:
    given: list[object] = []
    screen = Screen(large=False, decided=given.append, out=io.StringIO())
    screen.verdict("a verdict")  # type: ignore[arg-type]
    assert given == ["a verdict"]
