"""Every phrase that names a descriptor: its label, key and synonyms, words run together, and regular forms."""

from collections.abc import Collection, Iterator, Mapping, Set
from dataclasses import dataclass, replace

from tastings.reading.forms import forms_of
from tastings.reading.language import Language, Phrase, Sense, is_english_word


@dataclass(frozen=True, slots=True, kw_only=True)
class DescriptorTerms:
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


def terms_of(descriptors: Collection[DescriptorTerms], language: Language) -> Terms:
    """Return the phrases that name one of the descriptors; where two share one, the first has it."""
    listed = _listed(descriptors, language)
    joined = {("".join(phrase),) for phrase in listed if len(phrase) > 1}
    written = {phrase: sense for phrase, sense in listed.items() if phrase not in joined}
    unwanted = _unwanted(language)
    senses = {phrase: sense for phrase, sense in (_forms(written, language) | listed).items() if phrase not in unwanted}
    return Terms(senses, {part for phrase in written for part in phrase})


def _listed(descriptors: Collection[DescriptorTerms], language: Language) -> dict[Phrase, Sense]:
    """Return every text of the descriptors as a phrase, and as one word if it has several: sweetpotato."""
    senses: dict[Phrase, Sense] = {}
    for text, descriptor in _texts(descriptors, language):
        phrase, sense = language.cut(text), Sense("term", (descriptor.key,), family=descriptor.family)
        if not phrase:
            continue
        senses.setdefault(phrase, sense)
        joined = "".join(phrase)
        if joined.isascii() and not is_english_word(joined):
            senses.setdefault((joined,), sense)
    return senses


def _texts(descriptors: Collection[DescriptorTerms], language: Language) -> Iterator[tuple[str, DescriptorTerms]]:
    """Return all labels and keys before the first synonym, and all synonyms before the first listed form."""
    for descriptor in descriptors:
        yield descriptor.label, descriptor
        yield descriptor.key.replace("_", " "), descriptor
    for descriptor in descriptors:
        yield from ((text, descriptor) for text in descriptor.synonyms)
    for descriptor in descriptors:
        yield from ((text, descriptor) for text in language.rules.forms.get(descriptor.key, ()))


def _forms(written: Mapping[Phrase, Sense], language: Language) -> dict[Phrase, Sense]:
    senses: dict[Phrase, Sense] = {}
    for phrase, sense in written.items():
        for form in forms_of(phrase, adjectives=language.rules.adjectives):
            senses.setdefault(form.phrase, replace(sense, compared=form.compared))
    return senses


def _unwanted(language: Language) -> Set[Phrase]:
    """Return the phrases that are never flavours, and those with another meaning in the language.

    The look of liquor or leaf has another meaning too, but `tastings.reading.spans` settles that by the words beside.
    """
    looks = {language.cut(text) for look in language.rules.looks.values() for text in look.words}
    others = {phrase for phrase, sense in language.senses.items() if sense.kind == "other"}
    return (others - looks) | {language.cut(text) for text in language.rules.never}
