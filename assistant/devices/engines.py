"""Which recogniser hears: the one that was asked for, or the best that is installed."""

import os
from pathlib import Path

from assistant.data import folder, own_models_folder
from assistant.devices.ports import ENGINES, Listener, Recogniser
from assistant.devices.recogniser_both import Both
from assistant.devices.weights import checked, manifest
from assistant.errors import BadInput
from assistant.language.lexicon import Lexicon
from assistant.language.vocabulary import ESSENTIAL, unheard

MOST_NAMED = 8
MODEL_VARIABLE = "OHMALOUD_VOSK_MODEL"


def open_recogniser(engine: str | None, lexicon: Lexicon, vosk_model: Path | None = None) -> Recogniser:
    """The recogniser of that name, ready to hear; None chooses `both` when a Vosk model is there, else `built-in`.

    `vosk_model` is a folder named in the settings; after it counts the variable OHMALOUD_VOSK_MODEL, then a folder
    under models/, then one that was fetched. Raises BadInput for an unknown name or a missing model,
    BadData for weights that are not as listed.
    """
    place = vosk_place(vosk_model)
    chosen = engine or ("built-in" if place is None else "both")
    if chosen not in ENGINES:
        raise BadInput(f"unknown engine {chosen!r}; expected one of {', '.join(ENGINES)}")
    if chosen == "built-in":
        return _built_in(lexicon)
    if place is None:
        raise BadInput(
            f"engine {chosen}: no Vosk model found; expected a folder with am/final.mdl under {own_models_folder()}, "
            f"as `ohmaloud models get` makes one, or its path in {MODEL_VARIABLE}"
        )
    refuse_changed(place)
    from assistant.devices.recogniser_vosk import Vosk  # noqa: PLC0415 - loads a large library

    vosk = Vosk(place, lexicon)
    lost = [name for name in unheard(lexicon, vosk.knows) if name in ESSENTIAL]
    if lost:
        # beside the built-in one too: a digit it cannot hear it would take for another one, and be surely wrong
        raise BadInput(
            f"{place}: this Vosk model has no word for {', '.join(lost[:MOST_NAMED])}"
            f"{' and more' if len(lost) > MOST_NAMED else ''}; use --engine built-in, or another model"
        )
    return Both(_built_in(lexicon), vosk, lexicon) if chosen == "both" else vosk


def refuse_changed(place: Path) -> None:
    """Raises BadData when the folder is one that the manifest lists and a file in it is not as listed."""
    entry = manifest().get(place.name)
    if entry is not None and not entry.module and place.resolve() == (folder("models") / entry.folder).resolve():
        checked(entry)


def _built_in(lexicon: Lexicon) -> Listener:
    from assistant.devices.recogniser_built_in import BuiltIn  # noqa: PLC0415 - loads a large library

    return BuiltIn(lexicon)


def vosk_place(named: Path | None = None) -> Path | None:
    """The folder of the Vosk model that would be used: `named`, the variable's, the first under models/, the first fetched."""
    if named is not None:
        return named
    if os.environ.get(MODEL_VARIABLE):
        return Path(os.environ[MODEL_VARIABLE])
    return next(iter(vosk_places(folder("models")) + vosk_places(own_models_folder())), None)


def vosk_places(models: Path) -> tuple[Path, ...]:
    """The Vosk models in this folder, by name. What is being fetched or unpacked has a name that begins with a dot."""
    found = (path.parent.parent for path in models.glob("*/am/final.mdl"))
    return tuple(sorted(place for place in found if not place.name.startswith(".")))
