"""Every sentence about devices and sound, beside `wording` for the dialogue. Each is one line and says what to do."""

NO_PORTAUDIO = "Sound needs the PortAudio library, which is missing here."
NO_MICROPHONE = "No microphone was found: plug one in."
NO_LOUDSPEAKER = "No loudspeaker was found: plug one in."
MICROPHONE_GONE = "The microphone sends nothing any more: plug it in again."
LOUDSPEAKER_GONE = "The loudspeaker takes no more sound: plug it in again."
SOUND_LOST = "Some sound was lost because this machine was busy. Please say that again."
ALL_SILENT = "The microphone gives nothing but perfect silence: is it muted?"
TOO_LOUD = "That was so loud that the sound broke up: hold the microphone farther away, or turn it down."
TOO_NOISY = "It is very noisy here. Hold the microphone closer, or type the answers."
SOUND_HANGS = "The sound system of this machine does not answer."
NO_ANSWER = "it does not answer"
NO_WORDS = "(no words)"
KEYS_ENDED = "No more typing, and no microphone: the session waits for neither."

MICROPHONE = "microphone"
LOUDSPEAKER = "loudspeaker"
VOICE = "voice"


def install_portaudio(command: str) -> str:
    """PortAudio is missing, and what installs it here."""
    return f"{NO_PORTAUDIO} Install it with: {command}."


def not_named(kind: str, wanted: str, there: tuple[str, ...]) -> str:
    """No device of the wanted name; `kind` is what it should be."""
    names = ", ".join(there) if there else "none"
    return f"No {kind} named “{wanted}” is there; found: {names}."


def busy(kind: str, name: str) -> str:
    """Another program has the device."""
    return f"The {kind} “{name}” is in use: close the other program."


def refused(kind: str, name: str, why: str) -> str:
    """The device cannot be opened."""
    found = why.replace("Unanticipated host error", "the system gives no reason")
    setting = "input" if kind == MICROPHONE else "output"
    return (
        f"The {kind} “{name}” cannot be used ({found}): "
        f"see that it is plugged in and switched on, or name another as {setting} in the settings."
    )


def heard(words: str) -> str:
    """What an utterance was taken for, as a line of its own."""
    return f"> {words or NO_WORDS}"


def not_sure(words: str) -> str:
    """The same for what was not heard surely."""
    return f"> (not sure) {words or NO_WORDS}"


def left(words: str) -> str:
    """What was said when it could not be taken, and what to do."""
    return f"“{words or NO_WORDS}” was said while I began to speak: please say it again."


def begun(words: str) -> str:
    """The same of what was being said already when the ears opened."""
    return f"“{words or NO_WORDS}” had begun before I listened: please say it again."


def hearing_broke(why: str) -> str:
    """A mistake in the program itself ended the hearing for now."""
    return f"Hearing broke off ({' '.join(why.split())[:200]})."


def audio_not_kept(why: str) -> str:
    """The disk refused the sound of an utterance."""
    return f"What was heard could not be kept as sound ({why}). The record itself is safe."


def nothing_to_hear_with(why: str) -> str:
    """There is no recogniser."""
    return f"Speech cannot be recognised: {why.rstrip('.')}."


def voice_now(name: str | None) -> str:
    """Which voice speaks from now on; None: there was no other; empty: the voice did not answer."""
    if name is None:
        return "There is no other English voice here."
    return (
        f"Voice: {name}." if name else "The voice does not answer and stays as it is. Try again, or run: ohmaloud check"
    )
