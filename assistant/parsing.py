"""How options are read: argparse, with an example in every help, one line for what is wrong, and a name before or after options."""

import argparse
import re
from typing import Any, NoReturn

from assistant.errors import shown

EXAMPLE = "Example: "


class _Help(argparse.HelpFormatter):
    """Wraps all but the example, which is copied whole."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        return text if text.startswith(EXAMPLE) else super()._fill_text(text, width, indent)


class Parser(argparse.ArgumentParser):
    """Ends with status 2 and one line when something is wrong."""

    def __init__(self, **more: Any) -> None:  # noqa: ANN401 - all that an ArgumentParser takes
        super().__init__(formatter_class=_Help, **more)
        # `--primary -1.4k` is a value with a minus sign, to be refused as one, and no option
        self._negative_number_matcher = re.compile(r"-\.?[0-9].*")

    def error(self, message: str) -> NoReturn:
        """One line, and status 2."""
        self.exit(2, f"{self.prog}: {shown(message)} (see {self.prog} --help)\n")


class AnyOrder(Parser):
    """Takes its NAME after options too: `models check --json NAME`. argparse gives a name that may be left out no second chance."""

    _mixed = False

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:  # noqa: ANN401 - as argparse has it
        """What argparse's own gives, wherever the names stand."""
        if self._mixed or "--" in (args or ()):  # what follows -- are names, which only argparse's own way knows
            return super().parse_known_args(args, namespace)
        self._mixed = True  # which it does by calling this twice
        try:
            return self.parse_known_intermixed_args(args, namespace)
        finally:
            self._mixed = False
