"""Quotas as people read them."""

from collections.abc import Sequence

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from tastings.wording.numbers import listed, number


def quota_label(name: str) -> str:
    """Return what a quota is about."""
    labels = {
        "photos": _("photos"),
        "photo_bytes": _("photos, megabytes"),
        "uploads": _("photos on their way"),
        "notes": _("notes"),
        "records": _("lots, sessions, infusions and other records"),
        "words": _("words of your own"),
        "streams": _("live connections of phones and programs"),
    }
    return labels[name]


def amount(name: str, used: int) -> str:
    """Write how much of a quota: bytes as megabytes of 1,000,000 bytes, everything else as a count."""
    return number(_megabytes(used)) if name == "photo_bytes" else str(used)


def used_of(name: str, used: int, limit: int | None = None) -> str:
    """Write how much is used, of a limit if there is one; bytes as `amount` does.

    >>> used_of("notes", 3936), used_of("photo_bytes", 100_000, 50_000_000_000)
    ('3,936', '0.1 of 50,000')
    """
    size = name == "photo_bytes"
    shown, most = (number_format(_megabytes(n) if size else n, force_grouping=True) for n in (used, limit or 0))
    return shown if limit is None else _("%(used)s of %(limit)s") % {"used": shown, "limit": most}


def room_sentence(*, full: Sequence[str], nearly: Sequence[str]) -> str:
    """Say whether a team has room, or which limits are reached or nearly so."""
    if full:
        return _("No more room for: %(what)s.") % {"what": listed(full)}
    if nearly:
        return _("Nearly full: %(what)s.") % {"what": listed(nearly)}
    return _("There is plenty of room.")


def quota_full_text(name: str, *, of_team: bool, limit: int) -> str:
    """Say which limit is reached."""
    values = {"what": quota_label(name), "limit": amount(name, limit)}
    if of_team:
        return _("the team's limit is reached: %(what)s, %(limit)s") % values
    return _("your own limit is reached: %(what)s, %(limit)s") % values


def _megabytes(size: int) -> float:
    """Return bytes as megabytes of 1,000,000 bytes, to a tenth; whole ones without decimals."""
    megabytes = round(size / 1_000_000, 1)
    return int(megabytes) if megabytes == int(megabytes) else megabytes
