"""One table of readings for every direction: say it, hear it, type it, read it back."""

from dataclasses import dataclass
from functools import cache

from assistant import data
from assistant.language.lexicon import Lexicon, load_lexicon
from assistant.language.meaning import Expectation, Meaning
from assistant.language.understand import understand
from assistant.measure.units import Numeral, Quantity, Unit

OHM, KILOHM, MEGOHM, MILLIOHM = Unit.OHM, Unit.KILOHM, Unit.MEGOHM, Unit.MILLIOHM


@cache
def lexicon() -> Lexicon:
    """The shipped lexicon."""
    return load_lexicon(data.texts("grammar"))


@cache
def heard(text: str, step: str = "any", range_ohm: int | None = None) -> Meaning:
    """What heard words mean."""
    return understand(text, Expectation(step, range_ohm), lexicon(), typed=False).meaning


@cache
def typed(text: str, step: str = "any", range_ohm: int | None = None) -> Meaning:
    """What a typed line means."""
    return understand(text, Expectation(step, range_ohm), lexicon(), typed=True).meaning


def quantity(digits: str, unit: Unit) -> Quantity:
    """A quantity from its digits."""
    return Quantity(Numeral(digits), unit)


@dataclass(frozen=True, slots=True)
class Case:
    """A reading, how it is read back, and the ways people say and type it. All of `said` may be typed too."""

    digits: str
    unit: Unit
    read_back: str
    said: tuple[str, ...] = ()
    written: tuple[str, ...] = ()

    @property
    def quantity(self) -> Quantity:
        return quantity(self.digits, self.unit)


CASES = (
    Case(
        "4.7",
        KILOHM,
        "four point seven kilo-ohms",
        (
            "four point seven k",
            "four point seven kilo ohms",
            "four point seven kilohms",
            "four point seven kay",
            "four point seven kilo",
            "four decimal seven k ohms",
            "four k seven",
            "four kay seven",
            "four point seven thousand ohms",
            "it says four point seven k",
            "I've got four point seven k",
            "it's still four point seven k",
            "I'm at four point seven k",
            "the reading is four point seven thousand",
            "the secondary is four point seven k",
            "okay so it's four point seven k on the display",
            "um four point seven k please",
            "Four point seven K.",
        ),
        (
            "4.7k",
            "4k7",
            "4K7",
            "4.7 k",
            "4.7K",
            "4.7 kΩ",
            "4.7kΩ",
            "4.7 kΩ",
            "4.7 KΩ",
            "4.7 k Ω",
            "4.7kohm",
            "4.7 kohms",
            "4.7 K",
            "４．７ｋ",
        ),
    ),
    Case(
        "4.70",
        KILOHM,
        "four point seven zero kilo-ohms",
        ("four point seven zero k", "four point seven oh kilo ohms"),
        ("4.70k", "4k70"),
    ),
    Case(
        "4700",
        OHM,
        "four seven zero zero ohms",
        (
            "four thousand seven hundred",
            "four thousand seven hundred ohms",
            "forty-seven hundred",
            "forty seven hundred ohms",
            "four seven zero zero ohms",
            "four seven double zero ohms",
            "four seven oh oh ohms",
        ),
        ("4700 ohms", "4700Ω", "4700 R"),
    ),
    Case(
        "1.5",
        OHM,
        "one point five ohms",
        ("one and a half ohms", "one point five ohms", "one R five"),
        ("1.5 ohm", "1R5", "1.5Ω"),
    ),
    Case(
        "0.8",
        OHM,
        "zero point eight ohms",
        ("point eight ohms", "oh point eight ohms", "nought point eight ohms"),
        (".8 ohms", "0R8", "R8"),
    ),
    Case("0.85", OHM, "zero point eight five ohms", ("point eight five ohms",), (".85 Ω", "0.85ohms", "00.85 ohms")),
    Case(
        "1.05",
        OHM,
        "one point zero five ohms",
        ("one point oh five ohms", "one point zero five ohms"),
        ("1.05 ohms", "1R05"),
    ),
    Case(
        "0.5",
        MEGOHM,
        "zero point five meg-ohms",
        ("half a meg", "a half meg", "half a megohm", "half of a meg"),
        ("0.5M", ".5 meg", "0M5"),
    ),
    Case("0.25", KILOHM, "zero point two five kilo-ohms", ("a quarter k", "quarter of a kilo ohm"), ("0.25k", "k25")),
    Case(
        "1.5",
        MEGOHM,
        "one point five meg-ohms",
        ("one meg and a half", "one and a half megs", "one meg five"),
        ("1M5", "1.5 MΩ", "1.5MEG"),
    ),
    Case(
        "3.3",
        MEGOHM,
        "three point three meg-ohms",
        ("three meg three", "three point three mega ohms"),
        ("3M3", "3.3 M", "3.3Mohm"),
    ),
    Case("2.2", OHM, "two point two ohms", ("two R two", "two point two ohms"), ("2R2", "2r2")),
    Case(
        "105",
        OHM,
        "one zero five ohms",
        ("one hundred and five ohms", "one hundred five ohms", "a hundred and five ohms", "one oh five ohms"),
    ),
    Case(
        "15.2",
        KILOHM,
        "one five point two kilo-ohms",
        ("fifteen point two k", "one five point two k"),
        ("15.2k", "15k2"),
    ),
    Case("50.2", KILOHM, "five zero point two kilo-ohms", ("fifty point two k", "five oh point two k"), ("50.2k",)),
    Case(
        "13500",
        OHM,
        "one three five zero zero ohms",
        ("one three thousand five hundred ohms", "thirteen thousand five hundred ohms"),
    ),
    Case("1", OHM, "one ohm", ("one ohm",), ("1 ohm", "1Ω")),
    Case("1.0", OHM, "one point zero ohms", ("one point zero ohms",), ("1R0",)),
    Case(
        "6.8",
        MILLIOHM,
        "six point eight milli-ohms",
        ("six point eight milli ohms", "six point eight milliohms"),
        ("6L8", "6.8 mΩ"),
    ),
    Case("0", OHM, "zero ohms", ("zero ohms", "nought ohms"), ("0 ohm",)),
    Case("0.75", MEGOHM, "zero point seven five meg-ohms", ("three quarters of a meg",)),
    Case("2.75", OHM, "two point seven five ohms", ("two and three quarters ohms",)),
    Case("447", KILOHM, "four four seven kilo-ohms", ("double four seven k", "four hundred and forty-seven k")),
    Case("250", KILOHM, "two five zero kilo-ohms", ("two hundred and fifty k", "two five zero k"), ("250k",)),
    Case("2", MEGOHM, "two meg-ohms", ("two million ohms", "two meg"), ("2M",)),
)
