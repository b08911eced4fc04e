"""Words that one person's voice and microphone get wrong, and what the prompts and the help ask for in their place."""

import difflib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from assistant.errors import BadData, Problem
from assistant.language.lexicon import Lexicon

_FILE = "procedures/voice.toml"
# only where the word is one to be said: "say ready when", not "done when ready" nor "no spark"
_SAYABLE = r"(?i:(?<=\bsay )|(?<=, )|(?<=: )|(?<=\bor )|(?<=\bas ))\b{}\b(?=[,.?;]| or\b| when\b| point\b)"


@dataclass(frozen=True, slots=True)
class Alternatives:
    """The contents of procedures/voice.toml; without it there are none."""

    prompts: tuple[str, ...] = ()
    instead: Mapping[str, str] = field(default_factory=dict)
    hint: Mapping[str, str] = field(default_factory=dict)


def load_alternatives(text: str) -> Alternatives:
    """The alternatives in one TOML text. Raises BadData with every fault."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadData((Problem(_FILE, str(error), "valid TOML"),)) from None
    faults = [
        Problem(f"{_FILE}: {key}", repr(raw.get(key)), "a table of word = text")
        for key in ("instead", "hint")
        if not isinstance(raw.get(key), dict) or not all(isinstance(value, str) for value in raw[key].values())
    ]
    prompts = raw.get("prompts")
    if not isinstance(prompts, list) or not all(isinstance(prompt, str) for prompt in prompts):
        faults.append(Problem(f"{_FILE}: prompts", repr(prompts), "a list of texts"))
    if faults:
        raise BadData(tuple(faults))
    return Alternatives(tuple(raw["prompts"]), raw["instead"], raw["hint"])


def misheard(prompt: str, heard: str) -> tuple[str, ...]:
    """The words of a prompt that were not heard in their place; `heard` has words between single spaces."""
    said = prompt.split()
    blocks = difflib.SequenceMatcher(a=said, b=heard.split(), autojunk=False).get_matching_blocks()
    right = {index for block in blocks for index in range(block.a, block.a + block.size)}
    return tuple(dict.fromkeys(word for index, word in enumerate(said) if index not in right))


def adapted(text: str, hard: tuple[str, ...], alternatives: Alternatives) -> str:
    """A prompt or help with other words asked for in place of the hard ones."""
    for word in hard:
        if word in alternatives.instead:
            text = re.sub(_SAYABLE.format(re.escape(word)), alternatives.instead[word], text)
    return text


def hints(hard: tuple[str, ...], alternatives: Alternatives) -> str:
    """What to say or do instead, each sentence once; empty when nothing is known for these words."""
    return " ".join(dict.fromkeys(alternatives.hint[word] for word in hard if word in alternatives.hint))


def lexicon_for(lexicon: Lexicon, hard: tuple[str, ...], alternatives: Alternatives) -> Lexicon:
    """The same lexicon; what its help asks for is adapted, and the hints follow it."""
    after = hints(hard, alternatives)
    expectations = {
        name: replace(live, help=f"{adapted(live.help, hard, alternatives)} {after}".strip())
        for name, live in lexicon.expectations.items()
    }
    return replace(lexicon, expectations=expectations)
