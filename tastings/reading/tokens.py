"""A text cut into words, Chinese characters, numbers and marks, each with its place in the text."""

import re
import unicodedata
from collections.abc import Mapping
from typing import NamedTuple

_HAN = "\u3400-\u9fff"
_TOKEN = re.compile(
    rf"(?P<han>[{_HAN}])"
    r"|(?P<number>\d+(?:[.,]\d+)?)"
    rf"|(?P<word>[^\W\d_{_HAN}](?:[^\W\d_{_HAN}]|[\u0300-\u036f]|['\u2019](?=[^\W\d_{_HAN}]))*)"
    r"|(?P<end>[\n.!?;\u3002\uff01\uff1f\uff1b\u2026])"
    r"|(?P<mark>[^\w\s])"
)
_SILENT = frozenset(":=\"\u201c\u201d\u2018\u2019'*_\uff1a~#")
"""Marks that part nothing: "bitterness: 3" reads as "bitterness 3"."""


class Token(NamedTuple):
    """A piece of the text: its normalised form, where it stands, and whether it is a word, han, number, mark or end."""

    normalised: str
    start: int
    end: int
    kind: str


def normalise(text: str, simplified: Mapping[str, str]) -> str:
    """Return a word in lower case without accents and tone marks, traditional characters as simplified ones."""
    bare = "".join(c for c in unicodedata.normalize("NFKD", text.casefold()) if not unicodedata.combining(c))
    return "".join(simplified.get(c, c) for c in bare).replace("\u2019", "'")


def tokens(text: str, simplified: Mapping[str, str]) -> list[Token]:
    """Cut a text; a hyphen inside a word counts as a space."""
    pieces: list[Token] = []
    for match in _TOKEN.finditer(text):
        kind, piece = str(match.lastgroup), match.group()
        if kind == "mark" and (piece in _SILENT or _joins(text, match.start())):
            continue
        pieces.append(Token(normalise(piece, simplified), match.start(), match.end(), kind))
    return pieces


def _joins(text: str, at: int) -> bool:
    """Whether the mark is a hyphen with letters or digits on both sides."""
    inside = 0 < at < len(text) - 1
    return inside and text[at] in "-\u2010\u2011" and text[at - 1].isalnum() and text[at + 1].isalnum()
