"""Moments in forms: shown and read in a time zone, exactly in both directions.

A form carries the zone that it was written in, so that a time that was typed means what it meant, also when the team
has chosen another zone meanwhile. Of an hour that came twice the first is meant, unless the moment that stood there
lies in the second.
"""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo

from django.utils import timezone
from django.utils.translation import gettext as _

from lots.schema import format_utc_short
from teams.time_zones import is_missing, time_zone_names, zone_named


class MissingTimeError(ValueError):
    """No clock showed this time."""


def zone_of_form(sent: str | None) -> tzinfo:
    """Return the zone that a form was written in; that of the team for a new form."""
    return zone_named(sent) if sent in time_zone_names() else timezone.get_current_timezone()


def typed_form(value: object, zone: tzinfo) -> str:
    """Return a wire moment as a field shows it, to the minute.

    >>> from zoneinfo import ZoneInfo
    >>> typed_form("2026-07-04T10:11:12Z", ZoneInfo("Europe/Berlin"))
    '2026-07-04T12:11'
    """
    return f"{_local(value, zone):%Y-%m-%dT%H:%M}" if value else ""


def wire_form(text: str, zone: tzinfo, *, stands: object) -> str:
    """Return what was typed as a wire moment; text that is no time as it is.

    ``stands`` is the wire moment that stood there, or nothing. Raise MissingTimeError if the clocks were put forward
    over it.
    """
    try:
        typed = datetime.fromisoformat(text)
    except ValueError:
        return text
    if typed.tzinfo is not None or len(text) < len("2026-07-04T12:11"):
        return text
    local = typed.replace(tzinfo=zone, fold=_local(stands, zone).fold if stands else 0)
    try:
        if is_missing(local):
            raise MissingTimeError
        return format_utc_short(local.astimezone(UTC))
    except OverflowError:  # where the calendar ends
        return text


def missing_time(zone: tzinfo) -> str:
    """Say that a time does not exist."""
    return _("This time does not exist in %(zone)s: the clocks were put forward over it.") % {"zone": zone_name(zone)}


def zone_name(zone: tzinfo) -> str:
    """Return a zone's name as people read it."""
    return str(zone).replace("_", " ")


def _local(value: object, zone: tzinfo) -> datetime:
    at = datetime.fromisoformat(str(value))
    try:
        return at.astimezone(zone)
    except OverflowError:
        return at
