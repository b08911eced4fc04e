"""Models that can be fetched: what models/OFFERS.toml says of each, checked."""

import tomllib
from dataclasses import MISSING, dataclass, fields

from assistant.data import folder
from assistant.errors import BadData, Problem

_WHERE = "models/OFFERS.toml"


@dataclass(frozen=True, slots=True)
class Offer:
    """One model: where it is fetched from, what is known of the file, and the bounds it must keep to."""

    name: str
    title: str
    folder: str
    """The folder it becomes, and the only top folder its zip may have."""
    language: str
    licence: str
    address: str
    most_bytes: int
    most_unpacked_bytes: int
    most_entries: int
    sha256: str = ""
    """The makers' own; empty: none is known. When there is one it is demanded."""
    seen_sha256: str = ""
    """Of a copy that others published: compared and told, never demanded."""
    seen_bytes: int = 0


def offers(text: str | None = None) -> dict[str, Offer]:
    """The entries of models/OFFERS.toml, or of `text`. Raises BadData with every fault."""
    try:
        raw = tomllib.loads((folder("models") / "OFFERS.toml").read_text("utf-8") if text is None else text)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadData((Problem(_WHERE, str(error), "a TOML file that can be read"),)) from None
    faults = [fault for name, entry in raw.items() for fault in _faults(name, entry)]
    if faults:
        raise BadData(tuple(faults))
    return {name: Offer(name=name, **entry) for name, entry in raw.items()}


def _faults(name: str, entry: object) -> list[Problem]:
    if not isinstance(entry, dict):
        return [Problem(f"{_WHERE}: {name}", repr(entry), "a table")]
    known = {field.name: field for field in fields(Offer) if field.name != "name"}
    found = [
        Problem(f"{_WHERE}: {name}.{key}", "an unknown key", ", ".join(known)) for key in entry if key not in known
    ]
    for key, field in known.items():
        if key not in entry and field.default is not MISSING:
            continue
        value = entry.get(key)
        fits = isinstance(value, str) if field.type is str else isinstance(value, int) and value > 0
        if not fits:
            expected = "a text" if field.type is str else "a whole number above 0"
            found.append(Problem(f"{_WHERE}: {name}.{key}", repr(value), expected))
    return found
