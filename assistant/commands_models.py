"""The command about recognisers' models: list those that are there, fetch one, look at one. Heavy imports stand inside."""

import argparse
import os
import sys
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.data import folder, own_models_folder
from assistant.devices import vosk_folder
from assistant.devices.offers import offers
from assistant.errors import BadData, BadInput
from assistant.streams import out, table, tell

if TYPE_CHECKING:
    from assistant.devices.weights import Weights


_OURS = frozenset({"letters", "tuned"})
"""Made by models/recipe for the built-in engine."""


@dataclass(frozen=True, slots=True)
class Model:
    """One line of the list."""

    name: str
    kind: str
    """`built-in`, `letters` and `tuned` come with the program; `vosk` is a folder."""
    folder: str
    language: str
    licence: str
    size_bytes: int
    files: str
    """`as listed`, `changed`, or `not listed` where nothing is known to compare with."""
    run_time_grammar: bool
    used: bool
    """Whether a session that names no engine would use it."""
    trouble: str = ""


def models(options: argparse.Namespace) -> int:
    """List, get or check."""
    return _WHAT[options.what](options)


def _list(options: argparse.Namespace) -> int:
    if options.name is not None:
        raise BadInput("list takes no name; one model is looked at with: ohmaloud models check FOLDER")
    found = _found(_models_folder(options))
    if options.json:
        for model in found:
            out(asdict(model))
        return 0
    heads = ("name", "kind", "language", "licence", "MB", "files", "grammar at run time", "used", "folder")
    rows = [
        (
            model.name,
            model.kind,
            model.language,
            model.licence,
            f"{model.size_bytes / 1e6:.1f}",
            model.files,
            "yes" if model.run_time_grammar else "no",
            "yes" if model.used else "no",
            model.folder,
        )
        for model in found
    ]
    table(heads, rows)
    for model in found:
        if model.trouble:
            tell(model.trouble)
    return 0


def _found(own: Path) -> list[Model]:
    """The weights of the manifest, then every Vosk model: under models/, fetched, named."""
    from assistant.devices.engines import MODEL_VARIABLE, vosk_place, vosk_places
    from assistant.devices.weights import manifest
    from assistant.settings import load

    listed = manifest()
    settings = load({})
    for problem in settings.problems:
        tell(problem.line())
    set_model = settings.text("vosk_model")
    named = [Path(text) for text in (set_model, os.environ.get(MODEL_VARIABLE, "")) if text]
    used = vosk_place(Path(set_model) if set_model else None)
    found = [_of_manifest(weights) for weights in listed.values() if weights.module or weights.name in _OURS]
    places = dict.fromkeys([*vosk_places(folder("models")), *vosk_places(own), *named])
    return found + [_of_folder(place, listed, used=place == used) for place in places]


def _of_manifest(weights: "Weights") -> Model:
    from assistant.devices.weights import checked

    place, files, trouble = "", "as listed", ""
    size = 0
    try:
        root = checked(weights)
        place, size = str(root), vosk_folder.size_bytes(root)
    except BadData as error:
        files, trouble = "changed", error.problems[0].line()
    kind = weights.name if weights.name in _OURS else "built-in"
    return Model(
        name=weights.title,
        kind=kind,
        folder=place,
        language="en",
        licence=weights.licence,
        size_bytes=size,
        files=files,
        run_time_grammar=False,
        used=not trouble,
        trouble=trouble,
    )


def _of_folder(place: Path, listed: "Mapping[str, Weights]", *, used: bool) -> Model:
    from assistant.devices.model_store import as_fetched
    from assistant.devices.weights import checked

    offer = next((each for each in offers().values() if each.folder == place.name), None)
    entry = listed.get(place.name)
    language, licence = (offer.language, offer.licence) if offer else ("not known", "not known")
    trouble = vosk_folder.fault(place)
    same = as_fetched(place)
    if entry is not None and place.parent == folder("models"):
        language, licence = "en", entry.licence
        try:
            same = bool(checked(entry))
        except BadData as error:
            same, trouble = False, error.problems[0].line()
    files = {None: "not listed", True: "as listed", False: "changed"}[same]
    if same is False and not trouble:
        trouble = f"{place}: its files are not those that were fetched; fetch it again with --replace"
    grammar = vosk_folder.run_time_grammar(place)
    size = vosk_folder.size_bytes(place) if place.is_dir() else 0
    return Model(place.name, "vosk", str(place), language, licence, size, files, grammar, used, trouble)


def _get(options: argparse.Namespace) -> int:
    from assistant.devices.model_store import get

    there = offers()
    name = options.name or next(iter(there))
    if name not in there:
        raise BadInput(f"{name!r}: no model of that name can be fetched; there are {', '.join(there)}")
    offer = there[name]
    tell(f"{offer.title}, language {offer.language}, licence {offer.licence}, from {options.address or offer.address}")
    place = get(
        offer,
        _models_folder(options),
        address=options.address or "",
        replace=options.replace,
        progress=_progress(),
        tell=tell,
    )
    return _report(place, json=options.json)


def _check(options: argparse.Namespace) -> int:
    if options.name is None:
        raise BadInput("check needs a folder, as: ohmaloud models check vosk-model")
    return _report(Path(options.name), json=options.json)


def _report(place: Path, *, json: bool) -> int:
    """Load the model and say what it can hear. 0 when it can be used; raises BadInput when not."""
    from assistant import data
    from assistant.devices.engines import MODEL_VARIABLE, refuse_changed, vosk_place
    from assistant.devices.model_store import as_fetched
    from assistant.devices.recogniser_vosk import Vosk
    from assistant.language.lexicon import load_lexicon
    from assistant.language.vocabulary import ESSENTIAL, unheard
    from assistant.settings import load

    lexicon = load_lexicon(data.texts("grammar"))
    refuse_changed(place)
    vosk = Vosk(place, lexicon)
    lost = [name for name in unheard(lexicon, vosk.knows) if name in ESSENTIAL]
    missing, words = vosk.missing_words, len(lexicon.vocabulary)
    if as_fetched(place) is False:
        raise BadInput(f"{place}: its files are not those that were fetched; fetch it again with --replace")
    set_model = load({}).text("vosk_model")
    used = vosk_place(Path(set_model) if set_model else None)
    chosen = used is not None and used.resolve() == place.resolve()
    rate_hz = vosk_folder.rate_hz(place)
    if json:
        found = {"folder": str(place), "usable": not lost, "sample_rate_hz": rate_hz}
        found |= {"run_time_grammar": True, "words": words, "missing_words": list(missing), "used": chosen}
        out(found | {"size_bytes": vosk_folder.size_bytes(place)})
    tell(f"{place}: {vosk_folder.size_bytes(place) / 1e6:.1f} MB, {rate_hz} Hz, a grammar at run time is possible.")
    if len(missing) == words:
        raise BadInput(f"{place}: this model knows none of our words; expected one for English")
    if missing:
        tell(
            f"{len(missing)} of our {words} words are missing, sentences with them will not be heard: {', '.join(missing)}"
        )
    else:
        tell(f"It knows all {words} words of ours.")
    if lost:
        raise BadInput(
            f"{place}: this model has no word for {', '.join(lost)}, which every session needs; use another one"
        )
    if chosen:
        tell("A session uses it when no other engine is named.")
    else:
        tell(
            f'To use it, write into the settings: vosk_model = "{place.resolve()}" (or put the path in {MODEL_VARIABLE}).'
        )
    return 0


def _models_folder(options: argparse.Namespace) -> Path:
    return Path(options.data) if options.data else own_models_folder()


def _progress() -> Callable[[int, int | None], None]:
    """Percent on one line of a terminal, at each new percent; silent elsewhere."""
    last = -1

    def show(here: int, whole: int | None) -> None:
        nonlocal last
        now = here * 100 // whole if whole else here // 1_000_000
        if not sys.stderr.isatty() or now == last:
            return
        last = now
        text = f"{now} % of {whole / 1e6:.1f} MB" if whole else f"{now} MB"
        print(f"\r{text}  ", end="\n" if here == whole else "", file=sys.stderr, flush=True)

    return show


_WHAT: Mapping[str, Callable[[argparse.Namespace], int]] = {"list": _list, "get": _get, "check": _check}
COMMANDS: Mapping[str, Callable[[argparse.Namespace], int]] = {"models": models}
