"""The built-in recogniser: the tiny.en weights of a Python package, run by CTranslate2. Nothing else to fetch.

It listens in three ways to one encoding of the sound: the decoder held to the words that make values and single-word
answers (`limited`, which spells "four point seven"), the decoder free to write anything (`free`, which writes "4.7"), and
our own network that spells frame by frame (`letters`). Their agreement is the evidence; `language.certainty` weighs it.
"""

from collections.abc import Iterator
from dataclasses import replace

from assistant.devices.letters import Letters
from assistant.devices.network import Network, faster, spoken_part
from assistant.devices.ports import RATE_HZ, Samples
from assistant.devices.speller import Speller, lead_of
from assistant.devices.spelling import spelled
from assistant.devices.weights import checked, manifest
from assistant.language.certainty import sure_at_once
from assistant.language.lexicon import Lexicon
from assistant.language.meaning import Alternative, Expectation, Hearing, Word

_LETTERS = "letters"
_STRONG = frozenset({"k", "o"})
"""Single letters that are said in values; others ("a", "r", "n") swallow weak digits and are left to the free pass."""


class BuiltIn:
    """Satisfies `ports.Recogniser`. Raises BadData when weights are missing or are not the listed ones.

    It stops as soon as it is sure: after the limited pass and the letters, which is enough for two of three utterances,
    after the free pass, or when it has heard the same sound once more, a little faster.
    """

    def __init__(self, lexicon: Lexicon, *, threads: int = 2) -> None:
        self._lexicon = lexicon
        self._network = Network(threads)
        self._letters = Letters(checked(manifest()[_LETTERS]) / "letters.npz")
        self._speller = Speller(lexicon)
        self._suppressed: dict[str, list[int]] = {}

    @property
    def name(self) -> str:
        """Engine, model and the beginning of its hash: `built-in tiny.en 1a5afae0`."""
        return f"built-in {self._network.name}"

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
        """Limited pass and letters; then both with the free pass, whose texts the letters weigh too."""
        states = self._network.states(speech)
        whole = self._network.with_silence(states)
        letters = self._letters.log_probabilities(states[0])
        words = core_words(self._lexicon, expectation)

        def weighed(*decoded: Alternative) -> tuple[Alternative, ...]:
            others = [alternative.text for alternative in decoded]
            return (*decoded, *self._speller.alternatives(letters, expectation, words, others, f"letters{again}"))

        limited = [
            _alternative(text.strip(), score, f"limited{again}")
            for text, score in self._network.decoded(whole, self._limit(expectation))
        ]
        yield weighed(*limited)
        free = [
            _alternative(spelled(text), score, f"free{again}") for text, score in self._network.decoded(whole, None)
        ]
        if lead := lead_of(free[0].text, expectation, self._lexicon) if free else "":
            # held to the words of values it left out what was said before the value, or came to nothing: on from there
            limited = [
                _alternative(text.strip(), score, f"limited{again}")
                for text, score in self._network.decoded(whole, self._limit(expectation), lead)
            ]
        yield weighed(*limited, *free)

    def _limit(self, expectation: Expectation) -> list[int]:
        """Every token that no core word of the expectation needs; made once for each expectation."""
        if expectation.name not in self._suppressed:
            self._suppressed[expectation.name] = self._network.tokens_without(core_words(self._lexicon, expectation))
        return self._suppressed[expectation.name]


def core_words(lexicon: Lexicon, expectation: Expectation) -> tuple[str, ...]:
    """The words of the limited pass: those of numbers, of units and of one-word answers and commands that are live.

    Longer phrases are left to the free pass: with every word of theirs in the list (330 instead of about 100) weak digits
    went to words like "it", and 129 of 150 commands came out right instead of 146.
    """
    wanted = {phrase[0] for phrase in lexicon.phrases(expectation) if len(phrase) == 1}
    wanted |= lexicon.numbers.words | {word for phrase in lexicon.units for word in phrase}
    return tuple(word for word in lexicon.words(expectation) if word in wanted and (len(word) > 1 or word in _STRONG))


def _alternative(text: str, score: float, source: str) -> Alternative:
    return Alternative(tuple(Word(word) for word in text.split()), score, source)
