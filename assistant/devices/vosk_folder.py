"""What a folder must hold to be a Vosk model that can be held to the words expected; nothing of it is loaded here."""

from pathlib import Path

from assistant.devices.ports import RATE_HZ

NEEDED = ("am/final.mdl", "conf/mfcc.conf", "graph/HCLr.fst", "graph/Gr.fst")
_USUAL_RATE_HZ = 16_000
"""What the features take when the configuration names no rate; from memory of the library's documentation."""


def fault(place: Path) -> str:
    """Why the folder cannot be used, as one line that begins with its path; empty when it can."""
    if not place.is_dir():
        return f"{place}: no such folder; expected the folder of a Vosk model"
    if (place / "graph" / "HCLG.fst").exists() and not run_time_grammar(place):
        return (
            f"{place}: this Vosk model has a fixed graph (graph/HCLG.fst) and cannot be held to the words expected; "
            "use one with graph/HCLr.fst and graph/Gr.fst, as the small models have"
        )
    missing = [name for name in NEEDED if not (place / name).is_file()]
    if missing:
        return f"{place}: this is no usable Vosk model: {', '.join(missing)} missing"
    empty = [name for name in NEEDED[:1] + NEEDED[2:] if not (place / name).stat().st_size]
    if empty:
        return f"{place}: this is no usable Vosk model: {', '.join(empty)} empty"
    return _rate_fault(place)


def _rate_fault(place: Path) -> str:
    options = _options(place)
    rate = options.get("--sample-frequency", str(_USUAL_RATE_HZ))
    hears_hz = rate_hz(place)
    if hears_hz is None:
        return f"{place}: conf/mfcc.conf: found --sample-frequency={rate}, expected a rate in Hz, as 16000"
    other = "--allow-downsample" if hears_hz < RATE_HZ else "--allow-upsample"
    if hears_hz != RATE_HZ and options.get(other) != "true":
        return f"{place}: this model hears {rate} Hz and conf/mfcc.conf has no {other}=true; we give it {RATE_HZ} Hz"
    return ""


def run_time_grammar(place: Path) -> bool:
    """Whether it can be held to a list of sentences."""
    return (place / "graph" / "HCLr.fst").is_file() and (place / "graph" / "Gr.fst").is_file()


def rate_hz(place: Path) -> int | None:
    """The sample rate its features are made for; None when the configuration cannot be read or names none that is a number."""
    try:
        rate = float(_options(place).get("--sample-frequency", _USUAL_RATE_HZ))
    except (OSError, ValueError):
        return None
    return int(rate) if 0 < rate < 1e6 else None  # noqa: PLR2004 - beyond any sound


def size_bytes(place: Path) -> int:
    """All its files together."""
    return sum(path.stat().st_size for path in place.rglob("*") if path.is_file())


def _options(place: Path) -> dict[str, str]:
    lines = (place / "conf" / "mfcc.conf").read_text("utf-8", errors="replace").splitlines()
    pairs = (line.partition("#")[0].strip().partition("=") for line in lines)
    return {key.strip(): value.strip() for key, _, value in pairs}
