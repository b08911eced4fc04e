"""From words to one meaning, strictly: what is not certainly a reading, an answer or a command is refused, and the kind is named."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal

from assistant.language import amounts, notation
from assistant.language.amounts import leftover, longest, refuse, texts
from assistant.language.lexicon import Answers, Lexicon
from assistant.language.meaning import (
    Ask,
    Expectation,
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
from assistant.language.notation import Token
from assistant.language.numbers import MOST_DIGITS, number_at
from assistant.language.toml_reader import Phrase
from assistant.measure.units import Numeral, Reading, Shown

MOST_CHARACTERS = 250
"""A longer line is no answer: the longest answer, every symptom in one breath, has about 150."""
_OTHER_SPEECH = ("[unk]", "<unk>")  # what recognisers write for sounds that are no word of their list
_MOST_REPEATS = 4
_LONGEST_FILLER = 6


def understand(text: str, expectation: Expectation, lexicon: Lexicon, *, typed: bool) -> Understood:
    """What the text means under the expectation. Total: any text gives a value.

    Heard words are corrected for homophones, typed words for slips of the finger, never a digit or a number word.
    Raises KeyError only when the expectation's name is in no grammar file.
    """
    live = lexicon.expects(expectation)
    if len(text) > MOST_CHARACTERS and len(text := text.strip()) > MOST_CHARACTERS:
        start = notation.clean(text[:MOST_CHARACTERS])
        return Understood(NotUnderstood(Why.TOO_LONG, 0, start), sure=False, words=start)
    words = notation.clean(text)
    parser = _Parser(expectation, live, lexicon, words, typed)
    meaning = parser.meaning(notation.tokens(words, lexicon, typed=typed))
    if typed and words and isinstance(meaning, NotUnderstood) and meaning.why is Why.NOTHING:
        meaning = NotUnderstood(Why.UNCLEAR, 0, words)  # who typed something is told so
    if typed and isinstance(meaning, NotUnderstood) and meaning.why is Why.UNKNOWN_WORD:
        mended = _mended(parser)
        if mended is not None:
            return mended
    return Understood(meaning, sure=not isinstance(meaning, NotUnderstood), words=words)


def unfinished(words: str, expectation: Expectation, lexicon: Lexicon) -> bool:
    """Whether heard words break off in mid-reading ("four point", "between one and"), so that the listener should wait."""
    meaning = understand(words, expectation, lexicon, typed=False).meaning
    return isinstance(meaning, NotUnderstood) and meaning.why is Why.UNFINISHED


def _mended(parser: "_Parser") -> Understood | None:
    from assistant.language.mending import mend  # noqa: PLC0415  # loads a library that most lines never need

    words, pairs = mend(parser.words, parser.lexicon)
    meaning = parser.meaning(notation.tokens(words, parser.lexicon, typed=True))
    if not pairs or isinstance(meaning, NotUnderstood):
        return None
    return Understood(meaning, sure=True, words=parser.words, mended=pairs)


@dataclass(frozen=True, slots=True)
class _Parser:
    """One line under one expectation."""

    expectation: Expectation
    live: Answers
    lexicon: Lexicon
    words: str
    typed: bool

    def meaning(self, tokens: tuple[Token, ...]) -> Meaning:
        if not tokens:
            return NotUnderstood(Why.NOTHING)
        strange = [token for token in tokens if token.text in _OTHER_SPEECH and not self.typed]
        if strange:
            return refuse(Why.UNKNOWN_WORD, strange[0])
        fillers = self.lexicon.fillers
        quiet = tuple(token for token in tokens if (token.text,) not in fillers["hesitations"])
        phrase = self._phrase(quiet)
        if phrase is None and self.live.text and self.typed:
            phrase = self._text(quiet)
        if phrase is not None:
            return phrase
        core = self._strip(quiet)
        if not core:
            if self.typed and quiet and len(quiet) in _reach(texts(quiet), fillers["agreeing"]):
                return self._agreed(quiet)
            begun = len(quiet) not in _reach(texts(quiet), fillers["polite"]) and len(quiet) > 1  # "it says"
            return refuse(Why.UNFINISHED, quiet[-1]) if begun else NotUnderstood(Why.NOTHING)
        inside = tokens[tokens.index(core[0]) : tokens.index(core[-1])]
        return self._value(core, check=any((token.text,) in fillers["hesitations"] for token in inside))

    def _text(self, quiet: tuple[Token, ...]) -> SaidText | NotUnderstood:
        """What was typed, as it is; "no, 25" is no label but corrects an answer given before ("No. 25" may be a label)."""
        corrected = longest(quiet, 0, self.lexicon.fillers["corrections"])
        if corrected < len(quiet) and corrected and not quiet[corrected - 1].source.endswith("."):
            rest = texts(self._strip(quiet[corrected:]))
            number = number_at(rest, 0, self.lexicon.numbers)
            if number is not None and number.end == len(rest):
                return self._refuse_all(Why.UNCLEAR, quiet)
        return SaidText(self.words)

    def _agreed(self, quiet: tuple[Token, ...]) -> Meaning:
        """Yes for a typed "right" or "ok", where yes is an answer; heard, these are too often part of other talk."""
        name = self.live.renamed.get("yes", "yes")
        return SaidAnswers((name,)) if name in self.live.answers else self._refuse_all(Why.NOT_EXPECTED, quiet)

    # ---- phrases

    def _phrase(self, quiet: tuple[Token, ...]) -> Meaning | None:
        """A command, an answer or a display phrase that is all that was said."""
        polite = self.lexicon.fillers["polite"]
        for part in self._parts(quiet, polite, polite):
            meaning = self.known(_once(texts(part)), part)
            if meaning is not None:
                return meaning
        before = polite | self.lexicon.fillers["before"] | self.live.before
        after = polite | self.lexicon.fillers["after"] | self.live.after
        for part in self._parts(quiet, before, after):
            words = _once(texts(part))
            alone = self.lexicon.answers.get(words) in self.lexicon.alone or words in self.lexicon.commands
            meaning = None if alone or words in self.live.short else self.known(words, part)
            if meaning is not None:
                return meaning
        return self._several(quiet)

    def _parts(
        self, tokens: tuple[Token, ...], before: frozenset[Phrase], after: frozenset[Phrase]
    ) -> Iterator[tuple[Token, ...]]:
        """The tokens without fillers at either end, longest first."""
        words = texts(tokens)
        starts = _reach(words, before)
        ends = [len(words) - end for end in _reach(words[::-1], frozenset(phrase[::-1] for phrase in after))]
        for start, end in sorted(((s, e) for s in starts for e in ends if s < e), key=lambda span: span[0] - span[1]):
            yield tokens[start:end]

    def _strip(self, tokens: tuple[Token, ...]) -> tuple[Token, ...]:
        """The tokens without any filler at either end."""
        fillers = self.lexicon.fillers
        words = texts(tokens)
        start = max(_reach(words, fillers["polite"] | fillers["before"] | self.live.before))
        after = frozenset(phrase[::-1] for phrase in fillers["polite"] | fillers["after"] | self.live.after)
        return tokens[start : len(words) - max(_reach(words[start:][::-1], after))]

    def known(self, words: Phrase, tokens: tuple[Token, ...]) -> Meaning | None:
        """What a phrase means here; None when it is no phrase of the grammar (or when any text is an answer)."""
        lexicon, live = self.lexicon, self.live
        if words in lexicon.commands:
            return SaidCommand(lexicon.commands[words])
        if live.text and self.typed:
            return None
        if words in live.short:
            return SaidAnswers((live.short[words],))
        if words not in lexicon.answers:
            return self._display(words, tokens)
        name = live.renamed.get(lexicon.answers[words], lexicon.answers[words])
        if name in lexicon.command_help:
            return SaidCommand(name)
        return SaidAnswers((name,)) if name in live.answers else self._refuse_all(Why.NOT_EXPECTED, tokens)

    def _display(self, words: Phrase, tokens: tuple[Token, ...]) -> Meaning | None:
        """A phrase for something a meter does that is no value: over range (`OL`, also with a unit), unsteady, a beep."""
        lexicon, shown = self.lexicon, None
        if words in lexicon.beep:
            return self._refuse_all(Why.BEEP if self.live.readings else Why.NOT_EXPECTED, tokens)
        over = words in lexicon.over_range or words == (notation.OVER_POINT,)
        if over or (words[:1] == (notation.OVER,) and words[1:] in lexicon.units):
            shown = Shown.OVER_RANGE
        elif words in lexicon.unsteady:
            shown = Shown.UNSTEADY
        if shown is None:
            return None
        if not self.live.readings or self.live.values_only:
            return self._refuse_all(Why.WRONG_KIND, tokens)
        return SaidReading(Reading(shown, range_ohm=self.expectation.range_ohm))

    def _several(self, quiet: tuple[Token, ...]) -> Meaning | None:
        """Several answers in one breath: "dies when hot and no spark"."""
        if not self.live.many:
            return None
        fillers = self.lexicon.fillers
        between = fillers["joins"] | fillers["polite"] | fillers["before"]
        names: dict[str, None] = {}
        at = 0
        while at < len(quiet):
            length = longest(quiet, at, self.lexicon.answers)
            name = self.lexicon.answers.get(texts(quiet[at : at + length]), "")
            meant = self.live.renamed.get(name, name)
            if meant in self.live.answers and name not in self.lexicon.alone:
                names.setdefault(meant)
            else:
                length = longest(quiet, at, between)
                if not length:
                    return None
            at += length
        return SaidAnswers(tuple(names)) if names else None

    # ---- values

    def _value(self, core: tuple[Token, ...], *, check: bool) -> Meaning:
        """A number or reading, perhaps after "yes" where that is an answer, or after "no": corrections are live at any time.

        Only a reading can be corrected so: what an answer or a plain number would replace is not known here, so it is refused.
        """
        meaning = self.plain(core, check=check)
        if not isinstance(meaning, NotUnderstood):
            return meaning
        corrected = longest(core, 0, self.lexicon.fillers["corrections"])
        agreed = 0 if corrected or "yes" not in self.live.answers else longest(core, 0, self._phrases_of("yes"))
        if not corrected + agreed:
            return meaning
        rest = self._strip(core[corrected + agreed :])
        if not rest:
            return refuse(Why.UNFINISHED, core[-1])
        live = replace(self.live, readings=True, values_only=False) if corrected else self.live
        parser = replace(self, live=live)
        meant = parser.known(_once(texts(rest)), rest)
        again = meant if meant is not None else parser.plain(rest, check=check)
        if isinstance(again, SaidAnswers | SaidUnit | SaidNumber):
            return self._refuse_all(Why.UNCLEAR, core)
        return replace(again, correction=corrected > 0) if isinstance(again, SaidReading | Ask) else again

    def _phrases_of(self, answer: str) -> frozenset[Phrase]:
        return frozenset(phrase for phrase, name in self.lexicon.answers.items() if name == answer)

    def plain(self, core: tuple[Token, ...], *, check: bool) -> Meaning:
        if not self.live.number:
            return self._reading(core, check=check)
        meaning = self._number(core)
        if not isinstance(meaning, NotUnderstood):
            return meaning
        reading = self._reading(core, check=check)
        return meaning if isinstance(reading, NotUnderstood) and reading.why is not Why.WRONG_KIND else reading

    def _number(self, core: tuple[Token, ...]) -> Meaning:
        """A number in the unit of the question, which may be said after it: degrees, millimetres."""
        signed, measured = self.live.number == "signed", self.live.number != "plain"
        about = longest(core, 0, self.lexicon.fillers["about"]) if measured else 0
        minus = about + int(about < len(core) and core[about].text in self.lexicon.numbers.marks["minus"])
        tokens = core if self.typed else amounts.homophones(core, self.lexicon)
        number = number_at(texts(tokens), minus, self.lexicon.numbers)
        if number is None:
            return refuse(Why.UNFINISHED, core[-1]) if minus == len(core) else leftover(tokens, minus, self.lexicon)
        end = number.end + longest(tokens, number.end, self.lexicon.units_of(self.live.number))
        rest = texts(tokens[number.end :])
        fahrenheit = signed and rest in self.lexicon.fahrenheit
        if end < len(tokens) and not fahrenheit:
            refused = signed and rest in self.lexicon.degrees_refused
            return self._refuse_all(Why.WRONG_KIND, core) if refused else leftover(tokens, end, self.lexicon)
        if not number.finished:
            return refuse(Why.UNFINISHED, core[-1])
        if minus > about and not signed:
            return refuse(Why.NEGATIVE, core[0])
        if len(number.text) > MOST_DIGITS:
            return self._refuse_all(Why.TOO_LONG, core)
        text = Numeral(number.text).text if measured else number.text
        return SaidNumber("-" + text if minus > about and Decimal(text) else text, fahrenheit)

    def _reading(self, core: tuple[Token, ...], *, check: bool) -> Meaning:
        """A reading, bounds of an unsteady one, or a unit alone."""
        unit = self.lexicon.units.get(texts(core))
        if unit is not None:
            return SaidUnit(unit) if self.live.unit else self._refuse_all(Why.WRONG_KIND, core)
        shaking = longest(core, 0, self.lexicon.unsteady)
        between = shaking + longest(core, shaking, self.lexicon.between)
        meaning: Meaning
        if between > shaking:
            last = core[between - 1]
            meaning = amounts.bounds(core[between:], self.lexicon, self.expectation, typed=self.typed, last=last)
            allowed = self.live.readings and not self.live.values_only
        else:
            about = longest(core, 0, self.lexicon.fillers["about"])
            found = amounts.amount(core[about:], self.lexicon, typed=self.typed)
            if isinstance(found, NotUnderstood):
                return refuse(Why.UNFINISHED, core[-1]) if found.why is Why.NOTHING else found
            meaning = amounts.resolve(replace(found, check=found.check or about > 0), self.expectation, core[0])
            allowed = self.live.readings
        if isinstance(meaning, NotUnderstood):
            return meaning
        if not allowed:
            return self._refuse_all(Why.WRONG_KIND, core)
        return replace(meaning, check=meaning.check or check) if isinstance(meaning, SaidReading) else meaning

    def _refuse_all(self, why: Why, tokens: tuple[Token, ...]) -> NotUnderstood:
        """The refusal of everything that was said, from the first of these words on."""
        return NotUnderstood(why, tokens[0].at, self.words)


def _once(words: Phrase) -> Phrase:
    """Words said two to four times in a row ("stop stop"), once."""
    for times in range(2, _MOST_REPEATS + 1):
        length, rest = divmod(len(words), times)
        if length and not rest and words == words[:length] * times:
            return _once(words[:length])
    return words


def _reach(words: Phrase, fillers: frozenset[Phrase]) -> frozenset[int]:
    """Every place that can be reached from the start by leaving out fillers, 0 included."""
    reached, new = {0}, [0]
    while new:
        start = new.pop()
        for end in range(start + 1, min(len(words), start + _LONGEST_FILLER) + 1):
            if words[start:end] in fillers and end not in reached:
                reached.add(end)
                new.append(end)
    return frozenset(reached)
