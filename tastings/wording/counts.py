"""Counts with their nouns: 1 session, 3 sessions."""

from collections.abc import Callable

from django.utils.translation import ngettext

_NOUNS: dict[str, Callable[[int], str]] = {
    "session": lambda n: ngettext("%(n)s session", "%(n)s sessions", n),
    "infusion": lambda n: ngettext("%(n)s infusion", "%(n)s infusions", n),
    "taster": lambda n: ngettext("%(n)s taster", "%(n)s tasters", n),
    "shop": lambda n: ngettext("%(n)s shop", "%(n)s shops", n),
    "sample": lambda n: ngettext("%(n)s sample", "%(n)s samples", n),
    "lot": lambda n: ngettext("%(n)s lot", "%(n)s lots", n),
    "steep": lambda n: ngettext("%(n)s steep", "%(n)s steeps", n),
    "cup": lambda n: ngettext("%(n)s cup", "%(n)s cups", n),
    "day": lambda n: ngettext("%(n)s day", "%(n)s days", n),
    "guest": lambda n: ngettext("%(n)s guest", "%(n)s guests", n),
    "strength rating": lambda n: ngettext("%(n)s strength rating", "%(n)s strength ratings", n),
}


def counted(n: int, noun: str) -> str:
    """Write a count with its noun, which must be one of those above.

    >>> counted(1, "session"), counted(3, "session")
    ('1 session', '3 sessions')
    """
    return _NOUNS[noun](n) % {"n": n}
