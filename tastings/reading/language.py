"""How tasters write, from the data file: what negates, compares and grades; and which words are plain English."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

import msgspec

from tastings.reading.tokens import tokens

_DATA = Path(__file__).resolve().parent.parent / "data"

Phrase = tuple[str, ...]
"""Consecutive words, each in its normalised form (`tastings.reading.tokens.normalise`)."""

Kind = Literal[
    "term",  # names descriptors
    "degree",  # grades on the scale of 0 to 10: slightly, very
    "number",  # a bare number
    "score",  # a number with its scale: 7/10
    "not",  # denies what follows: no, without
    "weak",  # denies that there is much: not very
    "gone",  # denies what stands before: ... has disappeared
    "more",  # compares what follows
    "less",
    "rises",  # compares what stands before: ... is growing
    "falls",
    "than",  # what another cup was like follows
    "hypothetical",  # what no cup was like follows: expected
    "handle",  # something is done with a thing: ate, bought
    "cue",  # taste, smell, note
    "and",
    "or",
    "contrast",  # but, however
    "clause_end",  # then, while
    "sentence_end",
    "comma",  # any mark inside a sentence
    "filler",  # says nothing here: the, it
    "other",  # any other word
]


@dataclass(frozen=True, slots=True)
class Sense:
    """What a phrase is. A ``term`` has the keys of its descriptors; a ``degree`` has a value from 0 to 10."""

    kind: Kind
    keys: tuple[str, ...] = ()
    value: float | None = None
    compared: bool = False
    family: str = ""


@dataclass(frozen=True, slots=True)
class Context:
    """Words beside a term that make it no flavour: those it comes after, and those it stands before."""

    after: frozenset[str]
    before: frozenset[str]


@dataclass(frozen=True, slots=True)
class LookVocabulary:
    """Words for the look of liquor or leaf (text to key), and the words that say which of them is spoken of."""

    heads: frozenset[str]
    words: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """The data file. What a key of a mapping is stands beside it."""

    phrases: Mapping[Kind, tuple[str, ...]]
    degrees: Mapping[str, tuple[str, ...]]  # degree, as text
    degree_before_a_term: Mapping[str, float]  # phrase
    own_degrees: Mapping[str, Mapping[str, float]]  # descriptor, then phrase: a long finish
    things: frozenset[str]
    """Nouns that are no flavour after a flavour word: oak table."""
    units: frozenset[str]
    number_words: Mapping[str, float]  # word
    carriers: frozenset[str]
    """Descriptors that another one may go through: a peach aroma."""
    needs_company: tuple[str, ...]
    """Terms that count only beside other words of tasting."""
    contexts: Mapping[str, Context]  # term
    attributes: Mapping[str, frozenset[str]]  # term, to the families that it only qualifies: roasted nuts
    looks: Mapping[str, LookVocabulary]  # family
    needs_heads: Mapping[str, frozenset[str]]  # family, to the words one of which must be in the sentence
    forms: Mapping[str, tuple[str, ...]]  # descriptor, to forms that no rule makes
    adjectives: frozenset[str]
    """Terms that have no plural but can be compared."""
    never: tuple[str, ...]
    """Forms and terms that are never flavours."""
    look_alone: frozenset[str]
    """Looks that need no word for liquor or leaf beside them."""
    simplified: Mapping[str, str]  # traditional character

    def cut(self, text: str) -> Phrase:
        """Return a text's words."""
        return tuple(t.normalised for t in tokens(text, self.simplified) if t.kind in ("word", "han", "number"))


@dataclass(frozen=True, slots=True)
class Language:
    """The rules, and the senses of all their phrases."""

    rules: Rules
    senses: Mapping[Phrase, Sense]

    def cut(self, text: str) -> Phrase:
        """Return a text's words."""
        return self.rules.cut(text)


@cache
def language() -> Language:
    """Read the data file once."""
    rules = msgspec.json.decode((_DATA / "reading.json").read_bytes(), type=Rules)
    senses: dict[Phrase, Sense] = {("&",): Sense("and"), ("+",): Sense("and")}
    for text, sense in _senses(rules):
        if phrase := rules.cut(text):
            senses.setdefault(phrase, sense)
    return Language(rules, senses)


def _senses(rules: Rules) -> Iterator[tuple[str, Sense]]:
    """Return every text with its sense; of two senses of one text the first counts."""
    yield from ((text, Sense("other")) for text in rules.phrases["other"])
    for degree, texts in rules.degrees.items():
        yield from ((text, Sense("degree", value=float(degree))) for text in texts)
    for kind, texts in rules.phrases.items():
        yield from ((text, Sense(kind)) for text in texts)
    for look in rules.looks.values():
        yield from ((text, Sense("other")) for text in look.words)


@cache
def english_words() -> frozenset[str]:
    """Return the plain English words, without their regular forms."""
    lines = (_DATA / "plain_words.txt").read_text("utf-8").splitlines()
    return frozenset(word for line in lines if not line.startswith("#") for word in line.split())


def is_english_word(word: str) -> bool:
    """Whether a word, or what it is a regular form of, is plain English."""
    known = english_words()
    return word in known or any(stem in known for once in _stems(word) for stem in (once, *_stems(once)))


def _stems(word: str) -> Iterator[str]:
    """Return what a word may be a regular form of: berries, boxes, roasted, steeping, deeply."""
    if word.endswith("ies"):
        yield word[:-3] + "y"
    for ending in ("s", "es", "ed", "d", "ing", "ly", "'s"):
        if word.endswith(ending):
            yield word.removesuffix(ending)
    if word.endswith("ing"):
        yield word[:-3] + "e"
