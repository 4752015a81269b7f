"""Time zones of teams, by their names in the IANA Time Zone Database (https://www.iana.org/time-zones)."""

from datetime import datetime
from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

UTC_NAME = "UTC"
_NO_PLACES = frozenset({"Factory", "localtime"})
"""Names that a machine's database may have and that say nothing of a place."""


@cache
def time_zone_names() -> frozenset[str]:
    """Return the names that a team may choose."""
    return frozenset(available_timezones() - _NO_PLACES)


def zone_named(name: str) -> ZoneInfo:
    """Return a team's zone; UTC for a name that this server's database does not have."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return ZoneInfo(UTC_NAME)


def is_repeated(local: datetime) -> bool:
    """Whether a time with a zone came twice, because the clocks were put back."""
    return local.utcoffset() != local.replace(fold=1 - local.fold).utcoffset() and not is_missing(local)


def is_missing(local: datetime) -> bool:
    """Whether no clock showed a time with a zone, because the clocks were put forward over it.

    PEP 495: such a time comes back changed from UTC.
    """
    there_and_back = local.astimezone(ZoneInfo(UTC_NAME)).astimezone(local.tzinfo)
    return there_and_back.replace(tzinfo=None) != local.replace(tzinfo=None)
