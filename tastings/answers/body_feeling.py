"""The answer of ``GET /lots/{id}/body-feeling``."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from uuid import UUID

from tastings.answers.help_text import help_text
from tastings.maths.panel.presence import NotedWords
from tastings.wording import body_feeling as words


@dataclass(frozen=True, slots=True)
class BodyWord:
    """How many reported one word at least once, and in how many sessions."""

    descriptor: str
    tasters: int = field(metadata=help_text("who noted it"))
    sessions: int = field(metadata=help_text("in which it was noted"))


@dataclass(frozen=True, slots=True)
class BodyFeeling:
    """What tasters reported to feel in the body. No statement about health."""

    lot: UUID
    tasters: int = field(metadata=help_text("who noted anything of the body"))
    sessions: int = field(metadata=help_text("in which anything of the body was noted"))
    words: tuple[BodyWord, ...] = field(metadata=help_text("those noted most come first"))
    kappa: float | None = field(metadata=help_text("agreement (Fleiss 1971), at most 1; null with one taster"))
    sentence: str
    cautions: tuple[str, ...]


def body_feeling_answer(lot: UUID, noted: NotedWords, *, labels: Mapping[str, str]) -> BodyFeeling:
    """Return the answer, its sentences in the language that is active; ``labels`` are the team's words by key."""
    sentences = (words.body_feeling_sentence(noted, labels=labels), words.body_agreement_sentence(noted))
    return BodyFeeling(
        lot=lot,
        tasters=noted.tasters,
        sessions=noted.sessions,
        words=tuple(BodyWord(word.word, word.tasters, word.sessions) for word in noted.words),
        kappa=noted.kappa,
        sentence=" ".join(filter(None, sentences)),
        cautions=(words.body_feeling_note(),),
    )
