"""A conversation for tests: typed lines through `step`, with everything that was said."""

from dataclasses import dataclass, field, replace

from assistant.dialogue.events import Effect, Event, Heard, Say, Show, SpeechEnded, Started, TimerFired, Typed
from assistant.dialogue.state import Bench, Phase, State
from assistant.dialogue.step import step
from assistant.language.meaning import Alternative, Hearing, Word

TO_LEADS = ("ready", "14", "four stroke", "not known", "no spark", "done", "no", "pocket", "done")
"""Answers up to the question for the leads."""


@dataclass
class Conversation:
    """Keeps the state and all effects; `say` types a line and gives the effects it had."""

    bench: Bench
    state: State = field(default_factory=State)
    effects: list[Effect] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)

    def event(self, event: Event) -> tuple[Effect, ...]:
        self.state, effects = step(self.bench, self.state, event)
        self.events.append(event)
        self.effects += effects
        return effects

    def start(self, *, label: str = "", meter: str = "", timed: bool = False, check: str = "") -> "Conversation":
        self.event(Started("2026-01-02 03:04", label, meter, timed, check=check))
        return self

    def type(self, *lines: str) -> str:
        """Type lines; the text that the last one was answered with."""
        text = ""
        for line in lines:
            text = spoken(self.event(Typed(line)))
        return text

    def settle(self) -> str:
        """Speech ends and the time to contradict runs out."""
        self.event(SpeechEnded())
        return spoken(self.event(TimerFired("settle")))

    def hear(self, *alternatives: str, gap: float = 0.0) -> str:
        """Hear an utterance from an engine that gives no scores; `gap` apart when there are several alternatives."""
        found = tuple(
            Alternative(tuple(Word(word) for word in text.split()), -gap * index)
            for index, text in enumerate(alternatives)
        )
        return spoken(self.event(Heard(Hearing(found, "test"))))

    def to(self, *lines: str, meter: str = "") -> "Conversation":
        """A started conversation after these lines."""
        self.start(meter=meter)
        self.type(*lines)
        return self

    @property
    def step(self) -> str:
        return self.state.step

    @property
    def phase(self) -> Phase:
        return self.state.phase

    def readings(self) -> dict[str, list[str]]:
        """What stands: step -> readings as printed."""
        found: dict[str, list[str]] = {}
        for taken in self.state.facts.readings:
            quantity = taken.reading.quantity
            found.setdefault(taken.step, []).append(quantity.text if quantity else taken.reading.shown.value)
        return found


def spoken(effects: tuple[Effect, ...]) -> str:
    """All that was said or shown, in one text."""
    return " ".join(effect.text for effect in effects if isinstance(effect, Say | Show))


def switched_off(bench: Bench) -> Bench:
    """The same bench with every waiting time switched off."""
    return replace(bench, procedure=replace(bench.procedure, settle_ms=0, remind_ms=0))
