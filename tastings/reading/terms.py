"""Every phrase that names a descriptor: its label, key and synonyms, words run together, and regular forms."""

from collections.abc import Collection, Iterator, Mapping, Set
from dataclasses import dataclass, replace

from tastings.reading.forms import forms_of
from tastings.reading.language import Language, Phrase, Sense, is_plain


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """A descriptor as reading needs it."""

    key: str
    label: str
    family: str = ""
    synonyms: tuple[str, ...] = ()
    rated: bool = False
    """Whether it is rated each infusion: then "no bitterness" is a rating of 0."""


@dataclass(frozen=True, slots=True)
class Terms:
    """The phrases that name a descriptor, and the words in them that were written so by someone, not made by a rule."""

    senses: Mapping[Phrase, Sense]
    written: Set[str]


def terms_of(words: Collection[Word], language: Language) -> Terms:
    """Return the phrases that name one of the words; where two words share one, the first has it."""
    listed = _listed(words, language)
    joined = {("".join(phrase),) for phrase in listed if len(phrase) > 1}
    written = {phrase: sense for phrase, sense in listed.items() if phrase not in joined}
    unwanted = _unwanted(language)
    senses = {phrase: sense for phrase, sense in (_forms(written, language) | listed).items() if phrase not in unwanted}
    return Terms(senses, {part for phrase in written for part in phrase})


def _listed(words: Collection[Word], language: Language) -> dict[Phrase, Sense]:
    """Return every text of the words as a phrase, and as one word if it has several: sweetpotato."""
    senses: dict[Phrase, Sense] = {}
    for text, word in _texts(words, language):
        phrase, sense = language.cut(text), Sense("term", (word.key,), family=word.family)
        if not phrase:
            continue
        senses.setdefault(phrase, sense)
        joined = "".join(phrase)
        if joined.isascii() and not is_plain(joined):
            senses.setdefault((joined,), sense)
    return senses


def _texts(words: Collection[Word], language: Language) -> Iterator[tuple[str, Word]]:
    """Return all labels and keys before the first synonym, and all synonyms before the first listed form."""
    for word in words:
        yield word.label, word
        yield word.key.replace("_", " "), word
    for word in words:
        yield from ((text, word) for text in word.synonyms)
    for word in words:
        yield from ((text, word) for text in language.rules.forms.get(word.key, ()))


def _forms(written: Mapping[Phrase, Sense], language: Language) -> dict[Phrase, Sense]:
    senses: dict[Phrase, Sense] = {}
    for phrase, sense in written.items():
        for form in forms_of(phrase, adjectives=language.rules.adjectives):
            senses.setdefault(form.phrase, replace(sense, compared=form.compared))
    return senses


def _unwanted(language: Language) -> Set[Phrase]:
    """Return the phrases that are never flavours, and those with another meaning in the language.

    The look of liquor or leaf has another meaning too, but `tastings.reading.pieces` settles that by the words beside.
    """
    looks = {language.cut(text) for look in language.rules.looks.values() for text in look.words}
    others = {phrase for phrase, sense in language.senses.items() if sense.kind == "other"}
    return (others - looks) | {language.cut(text) for text in language.rules.never}
