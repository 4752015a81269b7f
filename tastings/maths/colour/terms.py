"""The words for a liquor's colour, from the data file."""

from collections.abc import Mapping
from functools import cache
from pathlib import Path

import msgspec

from tastings.maths.colour.liquor import Term

_FILE = Path(__file__).resolve().parents[2] / "data" / "liquor_colours.json"


class _File(msgspec.Struct):
    terms: tuple[Term, ...]


@cache
def liquor_terms() -> Mapping[str, Term]:
    """Return the terms by key, in the order of the file."""
    return {term.key: term for term in msgspec.json.decode(_FILE.read_bytes(), type=_File).terms}
