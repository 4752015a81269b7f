"""How tasters write, from the data file: what negates, compares and grades; and which words are plain English."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from tastings.reading.tokens import tokens

_DATA = Path(__file__).resolve().parent.parent / "data"
_SENSES = {
    "not": "not", "weak": "weak", "gone": "gone", "more": "more", "less": "less", "rises": "rises", "falls": "falls",
    "affirms": "filler", "than": "than", "unreal": "unreal", "handles": "handle", "contrasts": "contrast",
    "enders": "stop", "and": "and", "or": "or", "fillers": "filler", "cues": "cue", "other": "other",
}  # fmt: skip
"""List of the data file to kind of piece."""

Phrase = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sense:
    """What a phrase is. A ``term`` names descriptors; a ``degree`` has a value on the scale of 0 to 10."""

    kind: str
    keys: tuple[str, ...] = ()
    value: float | None = None
    compared: bool = False
    family: str = ""


@dataclass(frozen=True, slots=True)
class Language:
    """The data file, with its phrases cut into words."""

    told: Mapping[str, Any]
    phrases: Mapping[Phrase, Sense]

    @property
    def simplified(self) -> Mapping[str, str]:
        """Traditional character to the simplified one."""
        return self.told["simplified"]  # type: ignore[no-any-return]  # JSON

    def cut(self, text: str) -> Phrase:
        """Return a phrase's words."""
        return tuple(t.plain for t in tokens(text, self.simplified) if t.kind in ("word", "han", "number"))


@cache
def language() -> Language:
    """Read the data file once."""
    told = json.loads((_DATA / "reading.json").read_text("utf-8"))
    bare = Language(told, {})
    phrases: dict[Phrase, Sense] = {}
    for text, sense in _senses(told):
        phrases.setdefault(bare.cut(text), sense)
    phrases.pop((), None)
    return Language(told, phrases | {("&",): Sense("and"), ("+",): Sense("and")})


def _senses(told: Mapping[str, Any]) -> Iterator[tuple[str, Sense]]:
    yield from ((text, Sense("other")) for text in told["other"])
    for value, texts in told["degrees"].items():
        yield from ((text, Sense("degree", value=float(value))) for text in texts)
    for name, kind in _SENSES.items():
        yield from ((text, Sense(kind)) for text in told[name])
    for look in told["looks"].values():
        yield from ((text, Sense("other")) for text in look["words"])


@cache
def plain_words() -> frozenset[str]:
    """Return the plain English words, without their regular forms."""
    lines = (_DATA / "plain_words.txt").read_text("utf-8").splitlines()
    return frozenset(word for line in lines if not line.startswith("#") for word in line.split())


def is_plain(word: str) -> bool:
    """Whether a word, or what it is a regular form of, is plain English."""
    known = plain_words()
    return word in known or any(stem in known for once in _stems(word) for stem in (once, *_stems(once)))


def _stems(word: str) -> Iterator[str]:
    if word.endswith("ies"):
        yield word[:-3] + "y"
    for ending in ("s", "es", "ed", "d", "ing", "ly", "'s"):
        if word.endswith(ending):
            yield word.removesuffix(ending)
    if word.endswith("ing"):
        yield word[:-3] + "e"
