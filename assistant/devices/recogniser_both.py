"""Two engines at once: what two unlike networks hear alike is very rarely wrong."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import chain

from assistant.devices.ports import Listener, Recogniser, Samples
from assistant.language.certainty import sure_at_once
from assistant.language.lexicon import Lexicon
from assistant.language.meaning import Expectation, Hearing


class Both:
    """The evidence of two recognisers in one hearing. Satisfies `ports.Recogniser`; `language.certainty` weighs it.

    The first one listens on only until both together are sure. It also says whether anybody speaks at all: the second one finds
    words in noise too. The second listens at the same time as the first, always in the same thread of its own.
    """

    def __init__(self, first: Listener, second: Recogniser, lexicon: Lexicon) -> None:
        self._first = first
        self._second = second
        self._lexicon = lexicon
        self._beside = ThreadPoolExecutor(1, "second recogniser")

    @property
    def name(self) -> str:
        """Both names: `both built-in tiny.en 1a5afae0, tuned ee221610, vosk numbers`."""
        return f"both {self._first.name}, {self._second.name}"

    def hear(self, samples: Samples, expectation: Expectation) -> Hearing:
        """All alternatives of the first, then those of the second; nothing when the first hears no speech."""
        beside = self._beside.submit(self._second.hear, samples, expectation)
        listens = self._first.listens(samples, expectation)
        so_far = next(listens)
        if not so_far.alternatives:
            return replace(so_far, engine=self.name)  # what the second makes of the noise is not waited for
        second = beside.result().alternatives
        for heard in chain((so_far,), listens):
            hearing = Hearing((*heard.alternatives, *second), self.name, heard.duration_s)
            if sure_at_once(hearing, expectation, self._lexicon):
                break
        return hearing
