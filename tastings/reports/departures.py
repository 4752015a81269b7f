"""Departures from the even brew, as sentences of the report. Pure."""

from collections.abc import Mapping, Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tastings.maths.curve.departures import Departure
from tastings.wording.development import departure_detail
from tastings.wording.labels import DEPARTURES, label
from tastings.wording.numbers import isolated, numbers_listed

_SIGN = {"cool_water": -1, "short_steep": -1, "cold_vessel": -1, "long_steep": 1}  # what each does to a cup by itself


def departure_sentences(departures: Sequence[Departure], *, session_names: Mapping[str, str]) -> list[str]:
    """Say what was brewed differently, one sentence per session, kind and detail.

    ``session_names`` are names by session id, in the order wanted; without one the sentence says "One session".
    """
    groups: dict[tuple[str, str, str], list[Departure]] = {}
    places = {session: place for place, session in enumerate(session_names)}
    for departure in sorted(departures, key=lambda departure: places.get(departure.session, len(places))):
        groups.setdefault((departure.session, departure.kind, departure_detail(departure)), []).append(departure)
    return [
        _sentence(session_names.get(session, _("One session")), detail=detail, departures=group)
        for (session, _kind, detail), group in groups.items()
    ]


def _sentence(session: str, *, detail: str, departures: Sequence[Departure]) -> str:
    first = departures[0]
    numbers = sorted({departure.infusion for departure in departures})
    where = ""
    if first.n_cups == 1:
        named = {"numbers": numbers_listed(numbers)}
        where = ngettext(", infusion %(numbers)s", ", infusions %(numbers)s", len(numbers)) % named
    kind = label(DEPARTURES, first.kind)
    return f"{isolated(session)}{where}, {kind}: {isolated(detail)}.{_opposite_sign(first)}"


def _opposite_sign(departure: Departure) -> str:
    """Say why a weaker brew made stronger cups, or the reverse: it changes what is left in the leaf."""
    if departure.n_cups == 1 or _SIGN.get(departure.kind, 0) * departure.effect >= 0:
        return ""
    if departure.effect > 0:
        return " " + _("It took less early and left more for later.")
    return " " + _("It took more early and left less for later.")
