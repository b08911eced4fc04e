"""The built-in recogniser: the tiny.en weights of a Python package, run by CTranslate2. Nothing else to fetch.

It listens in three ways: with our own changes of the weights, which make it write what is said at the bench word for word
(`tuned`: "four point seven"); with our own network that spells frame by frame what the changed encoder gives (`letters`); and
with the weights as they are (`free`, which writes "4.7"). Their agreement is the evidence; `language.certainty` weighs it.
"""

from collections.abc import Iterator
from dataclasses import replace

from assistant.devices.letters import Letters
from assistant.devices.network import Network, faster, spoken_part
from assistant.devices.ports import RATE_HZ, Samples
from assistant.devices.speller import Speller
from assistant.devices.spelling import spelled
from assistant.devices.weights import checked, manifest
from assistant.language.certainty import sure_at_once
from assistant.language.lexicon import Lexicon
from assistant.language.meaning import Alternative, Expectation, Hearing, Word

_LETTERS = "letters"
_STRONG = frozenset({"k", "o"})
"""Single letters that are said in values; others ("a", "r", "n") swallow weak digits and are left to the other ways of listening."""


class BuiltIn:
    """Satisfies `ports.Recogniser`. Raises BadData when weights are missing or are not the listed ones.

    It stops as soon as it is sure: after the tuned pass and the letters, which is enough for most utterances,
    after the free pass, or when it has heard the same sound once more, a little faster.
    """

    def __init__(self, lexicon: Lexicon, *, threads: int = 2) -> None:
        self._lexicon = lexicon
        self._tuned, self._free = Network(threads, tuned=True), Network(threads)
        self._free.silence  # noqa: B018  made now and not while somebody waits
        self._letters = Letters(checked(manifest()[_LETTERS]) / "letters.npz")
        self._speller = Speller(lexicon)

    @property
    def name(self) -> str:
        """Engine, models and the beginnings of their hashes: `built-in tiny.en 1a5afae0, tuned ee221610`."""
        return f"built-in {self._free.name}, {self._tuned.name}"

    def hear(self, samples: Samples, expectation: Expectation) -> Hearing:
        """Alternatives of every listen, each best first; none when nobody speaks. Scores are log probabilities."""
        for hearing in self.listens(samples, expectation):
            if sure_at_once(hearing, expectation, self._lexicon):
                break
        return hearing

    def listens(self, samples: Samples, expectation: Expectation) -> Iterator[Hearing]:
        """The same growing listen by listen; one without alternatives when nobody speaks."""
        hearing = Hearing((), self.name, len(samples) / RATE_HZ)
        speech = spoken_part(samples)
        if not len(speech):
            yield hearing
            return
        for again in ("", " again"):
            before = hearing.alternatives
            for heard in self._listen(faster(speech) if again else speech, expectation, again):
                hearing = replace(hearing, alternatives=before + heard)
                yield hearing

    def _listen(self, speech: Samples, expectation: Expectation, again: str) -> Iterator[tuple[Alternative, ...]]:
        """Tuned pass and letters; then both with the free pass, whose texts the letters weigh too."""
        states = self._tuned.states(speech)
        letters = self._letters.log_probabilities(states[0])
        words = core_words(self._lexicon, expectation)

        def weighed(*decoded: Alternative) -> tuple[Alternative, ...]:
            others = [alternative.text for alternative in decoded]
            return (*decoded, *self._speller.alternatives(letters, expectation, words, others, f"letters{again}"))

        tuned = [_alternative(text.strip(), score, f"tuned{again}") for text, score in self._tuned.decoded(states)]
        yield weighed(*tuned)
        whole = self._free.with_silence(self._free.states(speech))
        free = [_alternative(spelled(text), score, f"free{again}") for text, score in self._free.decoded(whole)]
        yield weighed(*tuned, *free)


def core_words(lexicon: Lexicon, expectation: Expectation) -> tuple[str, ...]:
    """The words of which the letters look for the likeliest sequence: those of numbers, of units and of one-word answers and commands.

    Longer phrases are weighed whole: with every word of theirs in the list weak digits go to words like "it".
    """
    wanted = {phrase[0] for phrase in lexicon.phrases(expectation) if len(phrase) == 1}
    wanted |= lexicon.numbers.words | {word for phrase in lexicon.units for word in phrase}
    return tuple(word for word in lexicon.words(expectation) if word in wanted and (len(word) > 1 or word in _STRONG))


def _alternative(text: str, score: float, source: str) -> Alternative:
    return Alternative(tuple(Word(word) for word in text.split()), score, source)
