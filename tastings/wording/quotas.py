"""Quotas as people read them."""

from django.utils.translation import gettext as _

from tastings.wording.numbers import number


def quota_label(name: str) -> str:
    """Return what a quota is about."""
    labels = {
        "photos": _("photos"),
        "photo_bytes": _("photos, megabytes"),
        "uploads": _("photos on their way"),
        "notes": _("notes"),
        "records": _("lots, sessions, infusions and other records"),
        "words": _("words of your own"),
        "streams": _("open event streams"),
    }
    return labels[name]


def amount(name: str, used: int) -> str:
    """Write how much of a quota: bytes as megabytes of 1,000,000 bytes, everything else as a count."""
    return number(round(used / 1_000_000, 1)) if name == "photo_bytes" else str(used)


def quota_full_text(name: str, *, of_team: bool, limit: int) -> str:
    """Say which limit is reached."""
    values = {"what": quota_label(name), "limit": amount(name, limit)}
    if of_team:
        return _("the team's limit is reached: %(what)s, %(limit)s") % values
    return _("your own limit is reached: %(what)s, %(limit)s") % values
