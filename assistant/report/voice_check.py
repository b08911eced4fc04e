"""Ten prompts read aloud: which of their words this voice and this microphone get wrong."""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from assistant.devices.ports import Recogniser, Samples
from assistant.language.certainty import decide
from assistant.language.lexicon import Lexicon
from assistant.language.meaning import Expectation
from assistant.language.person import misheard
from assistant.language.understand import understand

_ANY = Expectation("any")

Listen = Callable[[str], Samples | None]
"""One prompt read aloud, as sound; None when nothing was said."""


@dataclass(frozen=True, slots=True)
class Row:
    """How one prompt was heard."""

    prompt: str
    heard: str
    sure: bool
    right: bool
    wrong: tuple[str, ...]
    """Words of the prompt that were heard as others; empty when nothing at all was heard, which tells nothing about words."""


def rows(prompts: tuple[str, ...], listen: Listen, recogniser: Recogniser, lexicon: Lexicon) -> Iterator[Row]:
    """One row a prompt, as it comes. A prompt is right when it is taken for what it means, however it is spelled."""
    for prompt in prompts:
        samples = listen(prompt)
        if samples is None:
            yield Row(prompt, "", sure=False, right=False, wrong=())
            continue
        found = decide(recogniser.hear(samples, _ANY), _ANY, lexicon)
        right = found.meaning == understand(prompt, _ANY, lexicon, typed=False).meaning
        wrong = () if right or not found.words else misheard(prompt, found.words)
        yield Row(prompt, found.words, found.sure, right, wrong)


def hard_words(found: tuple[Row, ...]) -> tuple[str, ...]:
    """Every word that was wrong, once, if it was wrong as often as in prompts that were right: one slip of many makes no word hard."""
    right = Counter(word for row in found if row.right for word in set(row.prompt.split()))
    wrong = Counter(word for row in found for word in set(row.wrong))
    return tuple(dict.fromkeys(word for row in found for word in row.wrong if wrong[word] >= right[word]))
