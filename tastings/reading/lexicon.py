"""The flavour words a text is searched for: labels, synonyms and their forms, built-in and the team's own."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

from tastings.reading.language import Language, Phrase, Sense, is_plain, language
from tastings.reading.spelling import Spelling

_VOWELS = frozenset("aeiou")
_OWN_FROM = 8
"""Letters of a team's own word from which a misspelling of it is understood."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """A descriptor as reading needs it."""

    key: str
    label: str
    family: str = ""
    synonyms: tuple[str, ...] = ()
    rated: bool = False
    """Whether it is rated each infusion: then "no bitterness" is a rating of 0."""


class Lexicon:
    """Every phrase with its sense, the language's and the words', and the spelling of the words.

    A team's lexicon stands on the one of the built-in words, which all teams share; its own words come first.
    """

    def __init__(self, words: Iterable[Word], *, base: "Lexicon | None" = None) -> None:
        """Take the words; where two share a text, the one that comes first has it."""
        self.language: Language = language()
        self._base = base
        known: dict[str, Word] = {}
        for word in words:
            known.setdefault(word.key, word)
        self.words: Mapping[str, Word] = {**base.words, **known} if base else known
        terms: dict[Phrase, Sense] = {}
        listed = list(known.values())
        for texts in (_labels, _synonyms):
            for word in listed:
                for text in texts(word):
                    self._add(terms, self.language.cut(text), word)
        for word in listed:
            for text in self.language.told["forms"].get(word.key, ()):
                self._add(terms, self.language.cut(text), word)
        joined = {("".join(phrase),) for phrase in terms if len(phrase) > 1}
        given = {part for phrase in terms.keys() - joined for part in phrase}
        never = {self.language.cut(text) for text in self.language.told["never"]}
        for phrase, sense in [item for item in terms.items() if item[0] not in joined]:
            for form, compared in _forms(phrase, frozenset(self.language.told["adjectives"])):
                if form not in never:
                    terms.setdefault(form, Sense("term", sense.keys, compared=compared, family=sense.family))
        for phrase in never & terms.keys():
            del terms[phrase]
        blocked = {phrase for phrase, sense in self.language.phrases.items() if sense.kind == "other"}
        looks = {self.language.cut(text) for look in self.language.told["looks"].values() for text in look["words"]}
        kept = {phrase: sense for phrase, sense in terms.items() if phrase not in blocked - looks}
        self._phrases = {**({} if base else self.language.phrases), **_both_tastes(kept), **kept}
        self.longest = max(map(len, self._phrases), default=1)
        if base:
            self.longest = max(self.longest, base.longest)
        self._known = {word for phrase in self._phrases for word in phrase}
        meant: dict[str, set[str]] = {}
        for phrase, sense in kept.items():
            for part in phrase:
                if part.isascii() and (len(phrase) == 1 or (part,) not in kept):
                    meant.setdefault(part, set()).update(sense.keys)
        # which plain words lie near a team's own, no list can know: only long ones are told from a slip
        self._spelling = Spelling(meant, derived=meant.keys() - given, shortest=_OWN_FROM if base else 0)

    def sense(self, phrase: Phrase) -> Sense | None:
        """Return what a phrase is; None for one that says nothing here."""
        found = self._phrases.get(phrase)
        return found if found is not None or self._base is None else self._base.sense(phrase)

    def spelt(self, word: str) -> str:
        """Return the word, or the flavour word that it is a misspelling of; a plain English word stays what it is."""
        if self._knows(word) or not word.isascii() or is_plain(word):
            return word
        return self._nearest(word) or word

    def _knows(self, word: str) -> bool:
        return word in self._known or (self._base is not None and self._base._knows(word))  # noqa: SLF001 - our own kind

    def _nearest(self, word: str) -> str | None:
        return self._spelling.nearest(word) or (self._base._nearest(word) if self._base else None)  # noqa: SLF001 - as above

    @staticmethod
    def _add(terms: dict[Phrase, Sense], phrase: Phrase, word: Word) -> None:
        if phrase:
            sense = Sense("term", (word.key,), family=word.family)
            terms.setdefault(phrase, sense)
            joined = "".join(phrase)
            if len(phrase) > 1 and joined.isascii() and not is_plain(joined):
                terms.setdefault((joined,), sense)


@lru_cache(maxsize=64)
def lexicon_of(own: tuple[Word, ...], built_in: tuple[Word, ...]) -> Lexicon:
    """Return the lexicon of a team's words over the built-in ones, made once for as long as they are the same."""
    return Lexicon(own, base=_shared(built_in))


@lru_cache(maxsize=2)
def _shared(built_in: tuple[Word, ...]) -> Lexicon:
    return Lexicon(built_in)


def _labels(word: Word) -> Iterator[str]:
    yield word.label
    yield word.key.replace("_", " ")


def _synonyms(word: Word) -> Iterator[str]:
    yield from word.synonyms


def _forms(phrase: Phrase, adjectives: frozenset[str]) -> Iterator[tuple[Phrase, bool]]:
    """Return a phrase's plurals and, for a single word, its adjectives and comparatives with True."""
    *head, last = phrase
    if not last.isascii() or len(last) < 3:
        return
    if last not in adjectives:
        yield from (((*head, plural), False) for plural in _plurals(last))
    if head:
        return
    for adjective in _adjectives(last):
        yield (adjective,), False
        if adjective.endswith("y"):
            yield from _compared(adjective)
    if last in adjectives or last.endswith("y"):
        yield from _compared(last)


def _plurals(word: str) -> Iterator[str]:
    if word.endswith("y") and word[-2] not in _VOWELS:
        yield word[:-1] + "ies"
    elif word.endswith(("s", "x", "z", "ch", "sh")):
        yield word + "es"
    else:
        yield word + "s"


def _adjectives(word: str) -> Iterator[str]:
    if not word.endswith("y"):
        yield word + "y"
        yield word + "ish"
    if word.endswith("e"):
        yield word[:-1] + "y"
    if _doubles(word):
        yield word + word[-1] + "y"


def _compared(word: str) -> Iterator[tuple[Phrase, bool]]:
    stem = word[:-1] + "i" if word.endswith("y") else word.removesuffix("e")
    for once in (stem, stem + stem[-1]) if _doubles(word) else (stem,):
        yield (once + "er",), True
        yield (once + "est",), False
    noun = word[:-1] + "i" if word.endswith("y") else word
    yield (noun + "ness",), False


def _doubles(word: str) -> bool:
    return len(word) >= 3 and word[-1] not in _VOWELS | set("wxy") and word[-2] in _VOWELS and word[-3] not in _VOWELS


def _both_tastes(terms: Mapping[Phrase, Sense]) -> dict[Phrase, Sense]:
    """Return two tastes of one character each written as one word, such as bitter-astringent."""
    single = {
        phrase: sense for phrase, sense in terms.items() if len(phrase) == 1 and "\u3400" <= phrase[0] <= "\u9fff"
    }
    return {
        (*a, *b): Sense("term", (*one.keys, *other.keys), family=one.family)
        for a, one in single.items()
        for b, other in single.items()
        if a != b
    }
