"""On how many examples a property is tried, and text of any kind for it."""

from hypothesis import settings
from hypothesis import strategies as st

_CHARACTER = st.one_of(
    st.integers(0x20, 0x7E).map(chr),
    st.integers(0, 0xFF).map(chr),
    st.sampled_from("Ωµ°½²₀٣三€–”\u00ad\u0301\u200b\u200d\u202e\u2028\u2066\ufeff"),
    st.integers(0, 0xD7FF).map(chr),
    st.integers(0xE000, 0x10FFFF).map(chr),
)


def examples(number: int) -> int:
    """So many in the whole run, a tenth in the quick set: as the profile that conftest.py has loaded wants it."""
    return max(1, number * settings.default.max_examples // 100) if settings.default else number


def any_text(longest: int = 60) -> st.SearchStrategy[str]:
    """Text of all characters of Unicode, mostly of those that people type or that make trouble; no halves of surrogate pairs.

    The library's own strategy first sorts all of Unicode, which takes a second in each process.
    """
    return st.lists(_CHARACTER, max_size=longest).map("".join)
