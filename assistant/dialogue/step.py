"""The assistant: `step(bench, state, event) -> (state, effects)`, as one table of what happens in which phase.

Rows are what came in, columns are where the conversation is, a cell is the function that answers. Every cell is written.
`DEVELOPERS.md` carries this table, made from here.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from enum import Enum

from assistant.dialogue import answers, asides, readings
from assistant.dialogue.events import (
    DeviceBack,
    DeviceFailed,
    Effect,
    Event,
    InputEnded,
    Show,
    SpeechEnded,
    Started,
    TakenUp,
    TimerFired,
)
from assistant.dialogue.moves import Incoming, can_take_back, restore_expectation, take_back, understood
from assistant.dialogue.routes import Outcome
from assistant.dialogue.state import Bench, Phase, State
from assistant.language import wording
from assistant.language.meaning import (
    Ask,
    Meaning,
    NotUnderstood,
    SaidAnswers,
    SaidCommand,
    SaidNumber,
    SaidReading,
    SaidText,
    SaidUnit,
    Understood,
    Why,
)


class Came(Enum):
    """What came in, as far as the table distinguishes it."""

    STARTED = "session begins"
    TAKEN_UP = "session taken up again"
    READING = "a reading"
    CORRECTION = "“no,” and a reading"
    BARE = "a number without its unit"
    UNIT = "only a unit"
    YES = "yes"
    NO = "no"
    ANSWER = "another answer"
    NUMBER = "a plain number"
    TEXT = "free text"
    UNSURE = "something not heard surely"
    NOT_UNDERSTOOD = "not understood"
    NOTHING = "nothing said"
    REPEAT = "repeat"
    LAST_READING = "last reading"
    WHERE = "where are we"
    BACK = "go back"
    UNDO = "that was wrong"
    SKIP = "skip"
    PAUSE = "pause"
    RESUME = "resume"
    VOICE = "slower, faster, louder, quieter"
    NEXT_VOICE = "another voice"
    HELP = "help"
    STOP = "stop"
    SPEECH_ENDED = "speech ended"
    SETTLED = "time to contradict is over"
    QUIET = "long silence"
    OTHER_TIMER = "another timer"
    DEVICE_FAILED = "a device failed"
    DEVICE_BACK = "a device is back"
    INPUT_ENDED = "no more input"


Action = Callable[[Bench, State, Incoming], Outcome]


def confirmed(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """Yes to "did you say ...?": what was asked about counts as surely heard."""
    guess = state.guess
    if guess is None or isinstance(guess.meaning, SaidReading):
        return readings.accept_guess(bench, state, incoming)
    state = replace(state, phase=Phase.ASKING, guess=None)
    return _answer(bench, state, Incoming(incoming.event, replace(guess, sure=True)))


def correct(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """A correction, "no, one point four": the last reading is taken back and this one stands in its place.

    The words are understood anew, since a bare number takes its prefix from the dial as it stood for the reading it replaces.
    """
    said: tuple[Effect, ...] = ()
    if can_take_back(bench, state):
        state, undone = take_back(bench, state)
        said = undone[:1]
    meant = understood(bench, state, incoming.event) or incoming.understood
    state, effects = _answer(bench, state, Incoming(incoming.event, meant), correcting=True)
    return state, said + effects


def instead(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """Another answer, or a correction, while something is only asked about: it is taken instead."""
    choice = readings.chosen(state, incoming)
    if choice is not None:
        return readings.choose(bench, state, choice)
    if state.phase is Phase.CONFIRMING and not _is_value(incoming.understood):
        asking = replace(state, phase=Phase.ASKING, guess=None)
        return _answer(bench, restore_expectation(bench, asking), incoming)
    return _answer(bench, state, incoming, correcting=True)


def _is_value(meant: Understood | None) -> bool:
    return meant is not None and isinstance(meant.meaning, SaidReading | Ask)


def _answer(bench: Bench, state: State, incoming: Incoming, *, correcting: bool = False) -> Outcome:
    if incoming.understood is None:
        raise TypeError("no words to answer")
    came = kind_of(incoming.understood)
    if correcting and came is Came.CORRECTION:
        came = _MEANINGS[type(incoming.understood.meaning)]
    return TABLE[came][COLUMNS.index(state.phase)](bench, state, incoming)


COLUMNS = tuple(Phase)
_VOICE_COMMANDS = ("slower", "faster", "louder", "quieter")

# fmt: off
TABLE: Mapping[Came, tuple[Action, ...]] = {
    #                      NEW            ASKING                  UNIT                  CONFIRMING            SETTLING                PAUSED                CLOSED
    Came.STARTED:        (asides.begin,  asides.ignore,          asides.ignore,        asides.ignore,        asides.ignore,          asides.ignore,        asides.ignore),
    Came.TAKEN_UP:       (asides.ignore, asides.take_up,         asides.take_up,       asides.take_up,       asides.take_up,         asides.take_up,       asides.take_up),
    Came.READING:        (asides.ignore, readings.reading,       readings.reading,     readings.reading,     correct,                asides.still_paused,  asides.ignore),
    Came.CORRECTION:     (asides.ignore, correct,                instead,              instead,              correct,                asides.still_paused,  asides.ignore),
    Came.BARE:           (asides.ignore, readings.bare,          readings.bare,        readings.bare,        correct,                asides.still_paused,  asides.ignore),
    Came.UNIT:           (asides.ignore, answers.wrong_kind,     readings.unit,        answers.yes_or_no,    readings.doubt_settled, asides.still_paused,  asides.ignore),
    Came.YES:            (asides.ignore, answers.answer,         answers.ask_again,    confirmed,            readings.settle,        asides.still_paused,  asides.ignore),
    Came.NO:             (asides.ignore, answers.answer,         answers.denied,       answers.denied,       readings.undo,          asides.still_paused,  asides.ignore),
    Came.ANSWER:         (asides.ignore, answers.answer,         answers.ask_again,    instead,              readings.doubt_settled, asides.still_paused,  asides.ignore),
    Came.NUMBER:         (asides.ignore, answers.number,         answers.ask_again,    instead,              readings.doubt_settled, asides.still_paused,  asides.ignore),
    Came.TEXT:           (asides.ignore, answers.text,           answers.ask_again,    instead,              readings.doubt_settled, asides.still_paused,  asides.ignore),
    Came.UNSURE:         (asides.ignore, answers.doubt,          answers.not_caught,   answers.doubt_again,  readings.doubt_settled, asides.ignore,        asides.ignore),
    Came.NOT_UNDERSTOOD: (asides.ignore, answers.not_understood, answers.unfit,        answers.yes_or_no,    readings.doubt_settled, asides.still_paused,  asides.ignore),
    Came.NOTHING:        (asides.ignore, answers.listen,         answers.listen,       answers.listen,       answers.listen,         answers.listen,       asides.ignore),
    Came.REPEAT:         (asides.ignore, asides.repeat,          asides.repeat,        asides.repeat,        asides.repeat,          asides.still_paused,  asides.ignore),
    Came.LAST_READING:   (asides.ignore, asides.last_reading,    asides.last_reading,  asides.last_reading,  asides.last_reading,    asides.last_reading,  asides.ignore),
    Came.WHERE:          (asides.ignore, asides.where,           asides.where,         asides.where,         asides.where,           asides.where,         asides.ignore),
    Came.BACK:           (asides.ignore, answers.back,           answers.denied,       answers.denied,       readings.undo,          asides.still_paused,  asides.ignore),
    Came.UNDO:           (asides.ignore, readings.undo,          answers.denied,       answers.denied,       readings.undo,          asides.still_paused,  asides.ignore),
    Came.SKIP:           (asides.ignore, answers.skip,           answers.skip,         answers.skip,         readings.settle,        asides.still_paused,  asides.ignore),
    Came.PAUSE:          (asides.ignore, asides.pause,           asides.pause,         asides.pause,         asides.pause,           asides.still_paused,  asides.ignore),
    Came.RESUME:         (asides.ignore, asides.not_paused,      asides.not_paused,    asides.not_paused,    asides.not_paused,      asides.resume,        asides.ignore),
    Came.VOICE:          (asides.ignore, asides.voice,           asides.voice,         asides.voice,         asides.voice,           asides.voice,         asides.ignore),
    Came.NEXT_VOICE:     (asides.ignore, asides.next_voice,      asides.next_voice,    asides.next_voice,    asides.next_voice,      asides.next_voice,    asides.ignore),
    Came.HELP:           (asides.ignore, asides.help_now,        asides.help_now,      asides.help_now,      asides.help_now,        asides.still_paused,  asides.ignore),
    Came.STOP:           (asides.ignore, asides.stop,            asides.stop,          asides.stop,          asides.stop,            asides.stop,          asides.ignore),
    Came.SPEECH_ENDED:   (asides.ignore, asides.start_quiet,     asides.start_quiet,   asides.start_quiet,   asides.start_settling,  asides.ignore,        asides.ignore),
    Came.SETTLED:        (asides.ignore, asides.ignore,          asides.ignore,        asides.ignore,        readings.settle,        asides.ignore,        asides.ignore),
    Came.QUIET:          (asides.ignore, asides.remind,          asides.remind,        asides.remind,        asides.ignore,          asides.ignore,        asides.ignore),
    Came.OTHER_TIMER:    (asides.ignore, asides.ignore,          asides.ignore,        asides.ignore,        asides.ignore,          asides.ignore,        asides.ignore),
    Came.DEVICE_FAILED:  (asides.ignore, asides.device_failed,   asides.device_failed, asides.device_failed, asides.device_failed,   asides.device_failed, asides.ignore),
    Came.DEVICE_BACK:    (asides.ignore, asides.device_back,     asides.device_back,   asides.device_back,   asides.device_back,     asides.device_back,   asides.ignore),
    Came.INPUT_ENDED:    (asides.ignore, asides.input_ended,     asides.input_ended,   asides.input_ended,   asides.input_ended,     asides.input_ended,   asides.ignore),
}
# fmt: on

COMMANDS: Mapping[str, Came] = {
    "repeat": Came.REPEAT,
    "last_reading": Came.LAST_READING,
    "where": Came.WHERE,
    "back": Came.BACK,
    "undo": Came.UNDO,
    "skip": Came.SKIP,
    "pause": Came.PAUSE,
    "resume": Came.RESUME,
    "another_voice": Came.NEXT_VOICE,
    "help": Came.HELP,
    "stop": Came.STOP,
    **dict.fromkeys(_VOICE_COMMANDS, Came.VOICE),
}
_TIMERS = {asides.SETTLE_TIMER: Came.SETTLED, asides.QUIET_TIMER: Came.QUIET}
_PLAIN: Mapping[type[Event], Came] = {
    Started: Came.STARTED,
    TakenUp: Came.TAKEN_UP,
    SpeechEnded: Came.SPEECH_ENDED,
    DeviceFailed: Came.DEVICE_FAILED,
    DeviceBack: Came.DEVICE_BACK,
    InputEnded: Came.INPUT_ENDED,
}
_MEANINGS: Mapping[type[Meaning], Came] = {
    SaidReading: Came.READING,
    Ask: Came.BARE,
    SaidUnit: Came.UNIT,
    SaidNumber: Came.NUMBER,
    SaidText: Came.TEXT,
    SaidAnswers: Came.ANSWER,
    NotUnderstood: Came.NOT_UNDERSTOOD,
}


def step(bench: Bench, state: State, event: Event) -> Outcome:
    """The next state and what is to be done, for any event in any state. Never raises, changes nothing it was given."""
    meant = understood(bench, state, event)
    came = _came(event, meant)
    state, effects = TABLE[came][COLUMNS.index(state.phase)](bench, state, Incoming(event, meant))
    shown: tuple[Effect, ...] = (Show(wording.mended(meant.mended)),) if meant and meant.mended else ()
    return state, shown + effects


def _came(event: Event, meant: Understood | None) -> Came:
    if isinstance(event, TimerFired):
        return _TIMERS.get(event.name, Came.OTHER_TIMER)
    return _PLAIN[type(event)] if meant is None else kind_of(meant)


def kind_of(meant: Understood) -> Came:
    """The row of the table for something heard or typed."""
    meaning = meant.meaning
    if isinstance(meaning, NotUnderstood):
        return Came.NOTHING if meaning.why is Why.NOTHING else Came.NOT_UNDERSTOOD
    if not meant.sure:
        return Came.UNSURE
    if isinstance(meaning, SaidCommand):
        return COMMANDS[meaning.name]
    if meaning in (SaidAnswers(("yes",)), SaidAnswers(("no",))):
        return Came.YES if meaning == SaidAnswers(("yes",)) else Came.NO
    if isinstance(meaning, SaidReading | Ask) and meaning.correction:
        return Came.CORRECTION
    return _MEANINGS[type(meaning)]
