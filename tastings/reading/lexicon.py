"""The phrases a text is searched for: those of the language and those of descriptors, built-in and the team's own."""

from collections.abc import Iterable, Mapping
from functools import lru_cache

from tastings.reading.language import Language, Phrase, Sense, is_english_word, language
from tastings.reading.spelling import Spelling
from tastings.reading.terms import DescriptorTerms, Terms, terms_of

_SHORTEST_OWN_MISSPELT = 8
"""Least letters of a team's own word whose misspellings are understood."""


class Lexicon:
    """The sense of every phrase, and the descriptor's word that a misspelt one is nearest to.

    A team's lexicon stands on ``base``, the lexicon of the built-in descriptors, which all teams share. The team's own
    come first. Of two with one key or one text, the first counts.
    """

    def __init__(self, descriptors: Iterable[DescriptorTerms], *, base: "Lexicon | None" = None) -> None:
        self.language: Language = language()
        own = _first_of_each_key(descriptors)
        terms = terms_of(own.values(), self.language)
        self.descriptors: Mapping[str, DescriptorTerms] = {**base.descriptors, **own} if base else own
        self._base = base
        self._senses = {**({} if base else self.language.senses), **_double_tastes(terms.senses), **terms.senses}
        self.longest = max(map(len, self._senses), default=1)
        """Words of the longest phrase."""
        if base:
            self.longest = max(self.longest, base.longest)
        self._vocabulary = {word for phrase in self._senses for word in phrase}
        # No list can tell which plain words lie near a team's own, so short ones are not taken for misspelt.
        self._spelling = _spelling(terms, shortest=_SHORTEST_OWN_MISSPELT if base else 0)

    def sense(self, phrase: Phrase) -> Sense | None:
        """Return the sense of a phrase; None for one that has none here."""
        own = self._senses.get(phrase)
        return own if own is not None or self._base is None else self._base.sense(phrase)

    def correct_spelling(self, word: str) -> str:
        """Return the flavour word that a word is a misspelling of; a plain English word is returned as it is."""
        if self._contains(word) or not word.isascii() or is_english_word(word):
            return word
        return self._closest(word) or word

    def _contains(self, word: str) -> bool:
        return word in self._vocabulary or (self._base is not None and self._base._contains(word))  # noqa: SLF001 - same class

    def _closest(self, word: str) -> str | None:
        return self._spelling.nearest(word) or (self._base._closest(word) if self._base else None)  # noqa: SLF001 - same class


@lru_cache(maxsize=64)
def lexicon_of(own: tuple[DescriptorTerms, ...], built_in: tuple[DescriptorTerms, ...]) -> Lexicon:
    """Return the lexicon of a team's descriptors over the built-in ones, cached as long as they stay the same."""
    return Lexicon(own, base=_shared(built_in))


@lru_cache(maxsize=2)
def _shared(built_in: tuple[DescriptorTerms, ...]) -> Lexicon:
    return Lexicon(built_in)


def _first_of_each_key(descriptors: Iterable[DescriptorTerms]) -> dict[str, DescriptorTerms]:
    by_key: dict[str, DescriptorTerms] = {}
    for descriptor in descriptors:
        by_key.setdefault(descriptor.key, descriptor)
    return by_key


def _double_tastes(terms: Mapping[Phrase, Sense]) -> dict[Phrase, Sense]:
    """Return two tastes of one Chinese character each, written together: bitter-astringent."""
    single = {
        phrase: sense for phrase, sense in terms.items() if len(phrase) == 1 and "\u3400" <= phrase[0] <= "\u9fff"
    }
    return {
        (*first, *second): Sense("term", (*sense.keys, *other.keys), family=sense.family)
        for first, sense in single.items()
        for second, other in single.items()
        if first != second
    }


def _spelling(terms: Terms, *, shortest: int) -> Spelling:
    """Return the spelling of every word of the terms; one that is a term itself stands for that term only."""
    descriptors: dict[str, set[str]] = {}
    for phrase, sense in terms.senses.items():
        for word in phrase:
            if word.isascii() and (len(phrase) == 1 or (word,) not in terms.senses):
                descriptors.setdefault(word, set()).update(sense.keys)
    return Spelling(descriptors, derived=descriptors.keys() - terms.written, shortest=shortest)
