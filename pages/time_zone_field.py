"""The choice of a team's time zone in a form: all zones by continent, those of the sea and of former names too."""

from __future__ import annotations

from functools import cache
from itertools import groupby

from django import forms
from django.utils.translation import gettext_lazy as _

from teams.time_zones import UTC_NAME, time_zone_names, zone_named

_CONTINENTS = {
    "Africa": _("Africa"),
    "America": _("America"),
    "Antarctica": _("Antarctica"),
    "Arctic": _("Arctic"),
    "Asia": _("Asia"),
    "Atlantic": _("Atlantic"),
    "Australia": _("Australia"),
    "Europe": _("Europe"),
    "Indian": _("Indian Ocean"),
    "Pacific": _("Pacific"),
}
"""First parts of the names of places; other names are abbreviations and fixed offsets, which nobody lives by."""


class TimeZoneField(forms.ChoiceField):
    """A zone by the name of its place; a form that does not have it, such as one from before, leaves the zone."""

    def __init__(self) -> None:
        super().__init__(
            label=_("Time zone of the team's pages"),
            choices=_choices,
            required=False,
            help_text=_("Pages show times by this clock and read those that you type by it. Phones follow their own."),
            error_messages={"invalid_choice": _("There is no time zone of this name: choose one of the list.")},
        )

    def valid_value(self, value: object) -> bool:
        """Accept any zone, such as one that a program chose for the team and that the list leaves out."""
        return value in time_zone_names()

    def prepare_value(self, value: object) -> object:
        """Select what pages show instead of a zone that this server does not know."""
        return str(zone_named(value)) if isinstance(value, str) and value else value


@cache
def _choices() -> list[tuple[object, object]]:
    names = sorted(name for name in time_zone_names() if name.partition("/")[0] in _CONTINENTS and "/" in name)
    by_continent = groupby(names, key=lambda name: name.partition("/")[0])
    places = [(_CONTINENTS[part], [(name, zone_name_in(name)) for name in names]) for part, names in by_continent]
    return [(UTC_NAME, UTC_NAME), *places]


def zone_name_in(name: str) -> str:
    """Return what a zone is called below its continent.

    >>> zone_name_in("America/Argentina/Buenos_Aires")
    'Argentina/Buenos Aires'
    """
    return name.partition("/")[2].replace("_", " ")
