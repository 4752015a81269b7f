"""Words of the card in each language, from ``tastings/data/words.<code>.json``: adding a file adds a language. Pure."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from tastings.reports.words import figure
from tastings.schemas import LANGUAGES

_DATA = Path(__file__).resolve().parent.parent / "data"
FIRST = "en"
"""The language in which every phrase is there; descriptors are called there as the team calls them."""


class UnknownLanguageError(ValueError):
    """There is no catalogue of this language."""


@dataclass(frozen=True, slots=True)
class Catalogue:
    """The words of one language, by kind of word and key."""

    code: str
    words: Mapping[str, Any]

    def say(self, phrase: str, **values: object) -> str:
        """Return a phrase with its values; numbers are written as `number` writes them."""
        told = {k: v if isinstance(v, str) else self.number(v) for k, v in values.items()}
        return str(self.words["phrases"][phrase]).format(**told)

    def number(self, value: object) -> str:
        """Write a number as every form of the report does, with the language's decimal mark."""
        return figure(value).replace(".", str(self.words["decimal"]))

    def word(self, kind: str, key: str, *, otherwise: str = "") -> str:
        """Return a word; what the catalogue lacks is given as it is, such as a team's own descriptor."""
        return str(self.words[kind].get(key) or otherwise or key)

    def steep(self, seconds: float) -> str:
        """Write a steep as a clock is read at the table."""
        minutes, rest = divmod(round(seconds), 60)
        if minutes and rest:
            return self.say("minutes_seconds", m=minutes, s=rest)
        return self.say("minutes", m=minutes) if minutes else self.say("seconds", s=rest)

    def listed(self, parts: list[str]) -> str:
        """Join words as one would say them."""
        *most, last = parts or [""]
        return f"{', '.join(most)} {self.say('and')} {last}" if most else last


def languages() -> tuple[str, ...]:
    """Return the codes of all languages there are, the first one first."""
    return tuple(sorted(LANGUAGES, key=lambda code: (code != FIRST, code)))


@cache
def catalogue(code: str) -> Catalogue:
    """Return the words of a language.

    Raises
    ------
    UnknownLanguageError
        There is none of this code.
    """
    if code not in languages():
        raise UnknownLanguageError(code)
    return Catalogue(code, json.loads((_DATA / f"words.{code}.json").read_text(encoding="utf-8")))
