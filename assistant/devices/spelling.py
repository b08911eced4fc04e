"""How the built-in engine writes what it hears, turned back into words as they are said.

Decoding freely, it writes `4.7K`, `4,700 ohms`, `5, 6, 0.`; the parser of the language layer reads words.
"""

import re

_DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_THOUSANDS = re.compile(r"(?<=\d),(?=\d{3}(?!\d))")
_POINT = re.compile(r"\.(?=\d)")
_GLUED = re.compile(r"(?<=\d)(?=[a-zωµ])|(?<=[a-zωµ])(?=\d)")
_NO_WORD = re.compile(r"[^a-z0-9' ]+")


def spelled(text: str) -> str:
    """Lower-case words with single spaces: `4.7K` gives `four point seven k`, `5, 6, 0.` gives `five six zero`.

    Digits are named one by one (`15` gives `one five`): their order is what was heard, the words were not.
    Signs that change a value (`$ % / -` before a digit) become the word `[unk]`, so that no reading is made of them.
    """
    words = text.strip().lower().replace("ω", " ohms ").replace("’", "'").replace("okay", "ok")
    words = re.sub(r"[$%£€/+=°#&*<>]|(?<![a-z0-9])-(?=\d)|\d+(?:st|nd|rd|th)\b|\d:\d", " [unk] ", words)
    words = _POINT.sub(" point ", _THOUSANDS.sub("", words))
    words = _GLUED.sub(" ", words)
    words = re.sub(r"\d", lambda digit: f" {_DIGITS[int(digit[0])]} ", words)
    parts = ("[unk]" if part == "[unk]" else _NO_WORD.sub(" ", part) for part in words.split())
    return " ".join(" ".join(parts).split())
