"""What one run of the program gave."""

import json
from typing import Any


class Result:
    """What one run gave."""

    def __init__(self, status: int, out: str, err: str) -> None:
        self.status, self.out, self.err = status, out, err

    @property
    def json(self) -> dict[str, Any]:
        """The only line of JSON."""
        (line,) = self.out.splitlines()
        found = json.loads(line)
        assert isinstance(found, dict)
        return found
