"""Cells of the table beside the questions: begin, stop, pause, repeat, help, voice, time, devices."""

from dataclasses import replace

from assistant.dialogue.events import (
    DeviceBack,
    DeviceFailed,
    Finished,
    Hush,
    Listen,
    NextVoice,
    Say,
    SetVoice,
    Show,
    Started,
    StartTimer,
    TakenUp,
)
from assistant.dialogue.moves import Incoming, again, came, is_reading, said, then_ask, whereabouts
from assistant.dialogue.routes import Outcome, enter, start_check
from assistant.dialogue.state import Bench, Facts, Phase, State, Voice
from assistant.language import wording
from assistant.language.meaning import SaidCommand

SETTLE_TIMER = "settle"
QUIET_TIMER = "quiet"
RATES_WPM = (120, 450)  # the span in which speech is of use; blind listeners take about 280 to 300
RATE_STEP_WPM = 25
VOLUMES_PERCENT = (10, 200)
VOLUME_STEP_PERCENT = 20


def ignore(_bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """Nothing happens."""
    return state, ()


def begin(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """The first question."""
    event = came(incoming, Started)
    facts = Facts(label=event.label, meter=event.meter)
    state = replace(state, facts=facts, timed=event.timed, started_at=event.at)
    state = _speaking(state, event)
    return start_check(bench, state, event.check) if event.check else enter(bench, state, bench.procedure.first)


def _speaking(state: State, event: Started | TakenUp) -> State:
    rate = _within(RATES_WPM, event.rate_wpm or state.voice.rate_wpm)
    return replace(
        state, voice=Voice(rate, _within(VOLUMES_PERCENT, event.volume_percent or state.voice.volume_percent))
    )


def take_up(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """A session that was left goes on with its open question; one that is complete says so."""
    event = came(incoming, TakenUp)
    state = _speaking(replace(state, timed=event.timed), event)
    if state.decided and state.phase is Phase.CLOSED and state.complete:
        return state, (Say(wording.COMPLETE), Finished(complete=True))
    phase = state.before_pause if state.phase in (Phase.CLOSED, Phase.PAUSED) else state.phase
    state, effects = again(bench, replace(state, phase=phase))
    return state, (Say(wording.taken_up(state.facts.label)), whereabouts(bench, state), *effects)


def stop(_bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """Over, from anywhere and at once; nothing is lost."""
    state, effects = _close(state, wording.FINISHED if state.decided else wording.stopped(state.facts.label))
    return state, (Hush(), *effects)


def input_ended(_bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """No more answers will come: complete when the verdict was given, otherwise left for later."""
    return _close(state, wording.FINISHED if state.decided else wording.input_ended(state.facts.label))


def _close(state: State, text: str) -> Outcome:
    complete = state.decided
    left = state.before_pause if state.phase is Phase.PAUSED else state.phase
    state = replace(state, phase=Phase.CLOSED, before_pause=left, complete=complete)
    return state, (Say(text), Finished(complete=complete))


def pause(_bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """Nothing but a few commands is taken until "resume"."""
    state = replace(state, phase=Phase.PAUSED, before_pause=state.phase)
    return state, (Say(wording.PAUSED), Listen(state.expect))


def still_paused(_bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """Something came that a pause does not take: shown, not said, since the talk may not be meant for the assistant."""
    return state, (Show(wording.STILL_PAUSED), Listen(state.expect))


def resume(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """On with the open question."""
    state, effects = again(bench, replace(state, phase=state.before_pause))
    return state, (Say(wording.RESUMED), *effects)


def not_paused(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """The word "resume" where nothing is paused."""
    return then_ask(bench, state, Say(wording.NO_PAUSE))


# ---- asking the assistant


def repeat(_bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """What was said last, in full."""
    return state, (*state.last_said, Listen(state.expect))


def last_reading(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """The last reading that stands."""
    readings = [taken for taken in state.facts.readings if is_reading(bench, taken.step)]
    if not readings:
        return then_ask(bench, state, Say(wording.NO_READING_YET))
    taken = readings[-1]
    title = bench.procedure.step(taken.step).title
    return then_ask(bench, state, Say(wording.said_last(title, taken.reading)))


def where(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """The step, the phase and the readings so far, then the open question."""
    return then_ask(bench, state, whereabouts(bench, state))


def help_now(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """What can be said now."""
    return state, (*(Say(line) for line in bench.lexicon.help(state.expect)), Listen(state.expect))


def voice(_bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """Slower, faster, louder, quieter: one step each, within bounds."""
    name = said(incoming, SaidCommand).name
    rate, volume = state.voice.rate_wpm, state.voice.volume_percent
    if name in ("slower", "faster"):
        rate = _within(RATES_WPM, rate + (RATE_STEP_WPM if name == "faster" else -RATE_STEP_WPM))
        line = wording.rate(rate)
    else:
        volume = _within(VOLUMES_PERCENT, volume + (VOLUME_STEP_PERCENT if name == "louder" else -VOLUME_STEP_PERCENT))
        line = wording.volume(volume)
    state = replace(state, voice=Voice(rate, volume))
    return state, (SetVoice(rate, volume), Say(line), Listen(state.expect))


def next_voice(_bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """Another voice: which ones there are only the machine knows, so that the next one is all that is asked for."""
    return state, (NextVoice(), Say(wording.NEXT_VOICE), Listen(state.expect))


def _within(bounds: tuple[int, int], value: int) -> int:
    return max(bounds[0], min(bounds[1], value))


# ---- time and devices


def start_quiet(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """The question was spoken: if nothing is heard for long, it is asked once more."""
    after_ms = bench.procedure.remind_ms
    if not state.timed or state.reminded or not after_ms:
        return state, ()
    return state, (StartTimer(QUIET_TIMER, after_ms),)


def remind(_bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """Nothing was heard for long: the question once more, then quiet waiting."""
    return replace(state, reminded=True), (state.last_said[-1], Listen(state.expect))


def start_settling(bench: Bench, state: State, _incoming: Incoming) -> Outcome:
    """The read-back was spoken: its window begins. With the window switched off, it waits for yes."""
    after_ms = bench.procedure.settle_ms
    return state, (StartTimer(SETTLE_TIMER, after_ms),) if after_ms else ()


def device_failed(_bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """One line about the trouble; typing goes on."""
    return state, (Say(wording.device_failed(came(incoming, DeviceFailed).line)), Listen(state.expect))


def device_back(bench: Bench, state: State, incoming: Incoming) -> Outcome:
    """The device works again: said, and the open question once more."""
    return then_ask(bench, state, Say(wording.device_back(came(incoming, DeviceBack).device)))
