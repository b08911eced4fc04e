"""English as people speak it whose first language is another: rules on phonemes, so that training hears such people too.

Which sound takes the place of which is from memory of phonetics, no source; the phonemes are those of the speech model, where
a capital letter is a diphthong (A day, I my, O and Q no, W now, Y boy) and T the American flap. No rule makes a word of the
grammar into another word: "three" is not said with a plain t, which would be "tree".
"""

# The phonemes are letters of the phonetic alphabet, however like others they look.

import random
import re

Rule = tuple[str, str]

END = "(?=[ .])"
_LAX: tuple[Rule, ...] = (("ɪ(?!ə)", "i"), ("æ", "ɛ"), ("ʌ", "a"))
_DEVOICED: tuple[Rule, ...] = ((f"d{END}", "t"), (f"z{END}", "s"), (f"v{END}", "f"), (f"ɡ{END}", "k"))
_SIBILANT: tuple[Rule, ...] = (("θ", "s"), ("ð", "z"))
_SILENT_R: tuple[Rule, ...] = ((f"(?<=[ɔɛɪʊɑə])ɹ{END}", ""), ("(?<=[ɜɔɑ])ɹ(?=[ptkbdgfvszmnl])", ""))
_PURE: tuple[Rule, ...] = (("A", "e"), ("[OQ]", "o"))

ACCENTS: dict[str, tuple[Rule, ...]] = {
    "french": (
        *_SIBILANT,
        *_PURE,
        *(("ɹ", "ʁ"), ("h", ""), ("ɪ", "i"), ("æ", "a"), ("ʌ", "œ"), ("ʧ", "ʃ"), ("ʤ", "ʒ"), ("T", "t"), ("ɜ", "œ")),
    ),
    "german": (
        *_SILENT_R,
        *_SIBILANT,
        *_DEVOICED,
        *(("w", "v"), ("ɹ", "ʁ"), ("æ", "ɛ"), ("ʤ", "ʧ"), ("T", "t"), ("ʌ", "a")),
    ),
    "spanish": (
        *_LAX,
        *_PURE,
        *(("θ", "s"), ("ð", "d"), ("z", "s"), ("v", "b"), ("h", "x"), ("ɹ", "ɾ"), ("(?<= )s(?=[tpk])", "ɛs")),
        *(("T", "t"), ("ɔ", "o")),
    ),
    "slavic": (*_SIBILANT, *_DEVOICED, *_LAX, *(("w", "v"), ("ɹ", "r"), ("h", "x"), ("T", "t"), ("[OQ]", "o"))),
    "indian": (
        *_PURE,
        *(("t", "ʈ"), ("d", "ɖ"), ("T", "ʈ"), ("[wv]", "ʋ"), ("ɹ", "ɾ"), ("ð", "d"), ("ʌ", "ə"), (f"z{END}", "s")),
    ),
    "italian": (
        *_LAX,
        *_PURE,
        *(("θ", "s"), ("ð", "d"), ("h", ""), ("ɹ", "ɾ"), ("T", "t"), (f"([kpnlzfv]){END}", r"\1ə")),
    ),
    "dutch": (
        *_SILENT_R,
        *_DEVOICED,
        *(("θ", "s"), ("ð", "d"), ("w", "ʋ"), ("æ", "ɛ"), ("ʌ", "ɐ"), ("ɹ", "r"), ("T", "t"), ("ʤ", "ʧ")),
    ),
    "greek": (
        *_PURE,
        *(
            ("ɪ(?!ə)", "i"),
            ("æ", "a"),
            ("ʌ", "a"),
            ("h", "x"),
            ("ɹ", "ɾ"),
            ("ʃ", "s"),
            ("ɔ", "o"),
            ("ʊ", "u"),
            ("T", "t"),
        ),
    ),
    "japanese": (
        *_SILENT_R,
        *_SIBILANT,
        *_PURE,
        *(("v", "b"), ("[ɹl]", "ɾ"), ("æ", "a"), ("ʌ", "a"), ("ɪ(?!ə)", "i"), ("ɜ", "a"), ("T", "t")),
        *((f"([td]){END}", r"\1o"), (f"([kpszfbɡ]){END}", r"\1ɯ")),
    ),
    "chinese": (
        *_SILENT_R,
        *_SIBILANT,
        *((f"v{END}", "f"), ("v", "w"), ("z", "s"), ("ɪ(?!ə)", "i"), ("ʌ", "a"), ("T", "t"), ("æ", "ɛ")),
    ),
}


def accented(phonemes: str, accent: str, strength: float) -> str:
    """The phonemes with that accent; each rule holds with the chance `strength`, always the same ones for both together.

    Of rules that fit one place the first counts, and none sees what another made.
    """
    chance = random.Random(f"{accent} {strength}")  # noqa: S311  chance need not be hard to guess
    rules = [rule for rule in ACCENTS[accent] if chance.random() < strength]
    if not rules:
        return phonemes
    either = re.compile("|".join(f"(?:{re.sub(r'[(](?![?])', '(?:', pattern)})" for pattern, _ in rules))
    return either.sub(lambda match: _by_first(match, rules), phonemes)


def _by_first(match: re.Match[str], rules: list[Rule]) -> str:
    for pattern, replacement in rules:
        found = re.compile(pattern).match(match.string, match.start())
        if found and found.end() == match.end():
            return found.expand(replacement)
    return match.group()
