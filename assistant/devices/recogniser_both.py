"""Two engines at once: what two unlike networks hear alike is very rarely wrong."""

from assistant.devices.ports import Recogniser, Samples
from assistant.language.meaning import Expectation, Hearing


class Both:
    """The evidence of two recognisers in one hearing. Satisfies `ports.Recogniser`; `language.certainty` weighs it."""

    def __init__(self, first: Recogniser, second: Recogniser) -> None:
        self._first = first
        self._second = second

    @property
    def name(self) -> str:
        """Both names: `both built-in tiny.en 1a5afae0, vosk numbers`."""
        return f"both {self._first.name}, {self._second.name}"

    def hear(self, samples: Samples, expectation: Expectation) -> Hearing:
        """All alternatives of the first, then those of the second; nothing when the first hears no speech."""
        first = self._first.hear(samples, expectation)
        if not first.alternatives:
            return Hearing((), self.name, first.duration_s)
        second = self._second.hear(samples, expectation)
        return Hearing((*first.alternatives, *second.alternatives), self.name, first.duration_s)
