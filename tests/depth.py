"""On how many examples a property is tried."""

from hypothesis import settings


def examples(number: int) -> int:
    """So many in the whole run, a tenth in the quick set: as the profile that conftest.py has loaded wants it."""
    return max(1, number * settings.default.max_examples // 100) if settings.default else number
