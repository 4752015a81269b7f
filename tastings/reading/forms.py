"""Regular English forms of a flavour word: plurals, adjectives, comparatives, nouns in -ness."""

from collections.abc import Collection, Iterator
from typing import NamedTuple

from tastings.reading.language import Phrase

_VOWELS = frozenset("aeiou")
_SHORTEST = 3
"""Least letters of a word that has forms."""


class Form(NamedTuple):
    """A form, and whether it says "more" by itself: sweeter."""

    phrase: Phrase
    compared: bool = False


def forms_of(phrase: Phrase, *, adjectives: Collection[str]) -> Iterator[Form]:
    """Return a phrase's plural and, for a single word, its adjectives and their comparatives.

    ``adjectives`` are words that are adjectives as they are: they have no plural.
    """
    *head, last = phrase
    if not last.isascii() or len(last) < _SHORTEST:
        return
    if last not in adjectives:
        yield Form((*head, _plural(last)))
    if head:
        return
    for adjective in _adjectives(last):
        yield Form((adjective,))
        if adjective.endswith("y"):
            yield from _comparatives(adjective)
    if last in adjectives or last.endswith("y"):
        yield from _comparatives(last)


def _plural(noun: str) -> str:
    if noun.endswith("y") and noun[-2] not in _VOWELS:
        return noun[:-1] + "ies"
    return noun + ("es" if noun.endswith(("s", "x", "z", "ch", "sh")) else "s")


def _adjectives(noun: str) -> Iterator[str]:
    """Return smoke: smokey, smokeish, smoky; nut: nuty, nutish, nutty."""
    if not noun.endswith("y"):
        yield noun + "y"
        yield noun + "ish"
    if noun.endswith("e"):
        yield noun[:-1] + "y"
    if _doubles(noun):
        yield noun + noun[-1] + "y"


def _comparatives(adjective: str) -> Iterator[Form]:
    """Return thin: thiner, thinest, thinner, thinnest, thinness."""
    stem = adjective[:-1] + "i" if adjective.endswith("y") else adjective.removesuffix("e")
    for once in (stem, stem + stem[-1]) if _doubles(adjective) else (stem,):
        yield Form((once + "er",), compared=True)
        yield Form((once + "est",))
    noun = adjective[:-1] + "i" if adjective.endswith("y") else adjective
    yield Form((noun + "ness",))


def _doubles(word: str) -> bool:
    """Whether the last letter may double before an ending: consonant, vowel, consonant."""
    return (
        len(word) >= _SHORTEST
        and word[-1] not in _VOWELS | set("wxy")
        and word[-2] in _VOWELS
        and word[-3] not in _VOWELS
    )
