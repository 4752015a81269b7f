"""What a text suggests, as the API answers it."""

from dataclasses import dataclass, field
from typing import Literal
from uuid import UUID

from django.utils.translation import pgettext

from tastings.answers.copying import answer_from
from tastings.answers.help_text import help_text
from tastings.reading import reader
from tastings.reading.lexicon import Lexicon


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """A descriptor that a text speaks of."""

    descriptor: str = field(metadata=help_text("a descriptor's key"))
    label: str = field(metadata=help_text("what people read"))
    present: bool = field(metadata=help_text("false for what the text says is not there"))
    intensity: float | None = field(
        metadata=help_text(
            "in steps of 0.5; null when the text does not grade it or only compares it; "
            "0 for the absence of a descriptor that is rated each infusion",
            min_value=0,
            max_value=10,
        )
    )
    compared: Literal["more", "less"] | None = field(metadata=help_text("than in another cup"))
    degree: str | None = field(metadata=help_text("the wording that gave the intensity"))
    start: int = field(metadata=help_text("where its word begins in the text, in characters"))
    end: int = field(metadata=help_text("where its word ends in the text, in characters"))
    words: str = field(metadata=help_text("the word as written"))


@dataclass(frozen=True, slots=True)
class Reading:
    """What a text suggests."""

    suggestions: list[Suggestion] = field(metadata=help_text("in the order of the text"))


@dataclass(frozen=True, slots=True)
class NoteSuggestions:
    """What a note's text suggests beyond what is noted already; of which revision of the note."""

    note: UUID = field(metadata=help_text("id of the note"))
    revision: int = field(metadata=help_text("of the note that was read"))
    suggestions: list[Suggestion] = field(metadata=help_text("what is not noted already"))


def suggestion_in(text: str, suggestion: reader.Suggestion, lexicon: Lexicon) -> Suggestion:
    """Return a suggestion with the label of its descriptor and the words in the text."""
    return answer_from(
        Suggestion,
        suggestion,
        label=pgettext("descriptor", lexicon.descriptors[suggestion.descriptor].label),
        degree=suggestion.degree or None,
        words=text[suggestion.start : suggestion.end],
    )
