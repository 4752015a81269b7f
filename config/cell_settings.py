"""The cells: whole installations side by side, each with its name and the address at which the others reach it."""

import re
from collections.abc import Mapping

from django.core.exceptions import ImproperlyConfigured


def cell_settings(environment: Mapping[str, str]) -> tuple[str, dict[str, str]]:
    """Return ``CELL``, the name of this cell, and ``CELLS``, the addresses of the others by their names.

    Read from ``LEAFSPAN_CELL=a`` and ``LEAFSPAN_CELLS=a=http://10.0.0.1:8000,b=http://10.0.0.2:8000``, the second the
    same in every cell; without them there are no others. Raise ImproperlyConfigured for an invalid name or address, or
    if this cell is not among them.
    """
    own, text = environment.get("LEAFSPAN_CELL", ""), environment.get("LEAFSPAN_CELLS", "")
    cells: dict[str, str] = {}
    for entry in filter(None, text.split(",")):
        name, _, address = entry.strip().partition("=")
        if not re.fullmatch("[a-z0-9-]{1,40}", name) or not re.fullmatch(r"https?://[^/\s]+/?", address):
            raise ImproperlyConfigured("LEAFSPAN_CELLS must be like a=http://10.0.0.1:8000,b=http://10.0.0.2:8000")
        cells[name] = address.rstrip("/")
    if cells and own not in cells:
        raise ImproperlyConfigured("LEAFSPAN_CELL must be one of the names in LEAFSPAN_CELLS")
    cells.pop(own, None)
    return own, cells
