"""From plain records to the pages of a flight: how far it is, the sheets for who pours and who tastes."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string

from tastings.reports.flight_answers import answer_context, chosen_rows
from tastings.wording.counts import counted
from tastings.wording.numbers import day as day_of
from tastings.wording.numbers import percent

STATES = {
    "set_up": "The serving plan is being made.",
    "tasting": "Being tasted blind.",
    "revealed": "Revealed.",
    "decided": "Decided.",
    "called_off": "Called off.",
}
PROTOCOLS = {
    "covered_bowl": "Covered bowl: 5 g in a 110 ml porcelain bowl with its lid, boiling water, poured after 2, 3 and "
    "5 minutes (GB/T 23776).",
    "standard_bowl": "Standard pot: 2 g for each 100 ml in a white pot filled to the brim, boiling water, 6 minutes "
    "(ISO 3103).",
    "small_pot": "Small porcelain pot, {infusions} infusions, all the same for every cup.",
}
ROLES = {"mouth": "taste", "liquor": "liquor", "lid": "aroma", "dry_leaf": "dry leaf", "spent_leaf": "spent leaf"}
POURING_CAUTIONS = (
    "Water near boiling scalds at once: keep kettles away from the table's edge and from whoever carries cups.",
    "Let cups cool before they are tasted: very hot drinks can injure the mouth and throat.",
    "Many cups of tea add up to much caffeine: offer a spittoon, water and rests between sittings.",
)


def protocol_words(flight: Mapping[str, Any]) -> str:
    """Say how every cup of the flight is brewed."""
    return PROTOCOLS[str(flight["protocol"])].format(infusions=flight.get("infusions") or "some")


def flights_context(flights: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Build what the list of flights shows, the newest first."""
    rows = [
        {
            "name": flight["name"],
            "href": f"/flights/{flight['id']}/",
            "day": day_of(flight["created_at"]),
            "state": STATES[str(flight["state"])],
            "candidates": counted(len(flight["lots"]), "sample"),
            "progress": progress_words(flight),
        }
        for flight in sorted(flights, key=lambda f: str(f["created_at"]), reverse=True)
    ]
    return {"rows": rows}


def progress_words(flight: Mapping[str, Any]) -> str:
    """Say how many cups are tasted."""
    progress = flight["progress"]
    return f"{progress['tasted']} of {counted(progress['planned'], 'cup')} tasted"


def flight_context(  # noqa: PLR0913 - one argument for each kind of name the page shows
    flight: Mapping[str, Any],
    *,
    answer: Mapping[str, Any] | None,
    lots: Mapping[str, str],
    people: Mapping[str, str],
    shops: Mapping[str, str],
    me: str,
) -> dict[str, Any]:
    """Build what a flight's page shows.

    Parameters
    ----------
    flight : mapping
        As the API shows it to this member.
    answer : mapping or None
        What it says; None before the reveal.
    lots, people, shops : mapping
        Names by id.
    me : str
        The member's id.
    """
    plan, progress = flight["plan"], flight["progress"]
    quality = plan["quality"] or {}
    return {
        "flight": flight,
        "state": STATES[str(flight["state"])],
        "protocol": protocol_words(flight),
        "candidates": sorted(lots.get(lot, lot) for lot in flight["lots"]),
        "reference": lots.get(str(flight["reference"]), ""),
        "tasters": [people.get(one, one) for one in flight["tasters"]],
        "pourers": [people.get(one, one) for one in flight["pourers"]],
        "making": plan["state"] == "making",
        "made_percent": percent(plan["progress"]),
        "failure": plan["failure"] or "",
        "plan_words": plan_words(quality),
        "progress_words": progress_words(flight),
        "shops": [_bar(one, shops.get(str(one["shop"]), "No shop")) for one in progress["shops"]],
        "taster_rows": [_bar(one, people.get(str(one["taster"]), "")) for one in progress["tasters"]],
        "pours": me in flight["pourers"],
        "tastes": me in flight["tasters"],
        "revealed": flight["revealed_at"] is not None,
        "decision": flight["decision"],
        "chosen": chosen_rows(flight["decision"], lots=lots),
        **answer_context(answer, lots=lots, people=people),
    }


def _bar(counted_cups: Mapping[str, Any], name: str) -> dict[str, Any]:
    return {"name": name, **{key: counted_cups[key] for key in ("planned", "tasted")}}


def plan_words(quality: Mapping[str, Any]) -> str:
    """Say how fair the serving plan is."""
    if not quality:
        return ""
    share = quality["efficiency"] / quality["bound"] if quality["bound"] else 1.0
    words = f"Comparing two lots, the plan reaches {percent(share)} of what any plan with so many cups could."
    if not quality["connected"]:
        words += " Some lots cannot be compared at all: give a sitting more cups, or add a sitting."
    if quality["position_spread"] <= 1:
        words += " Every lot stands about equally often at every place of a sitting."
    return words


def pouring_context(flight: Mapping[str, Any], pours: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Build the sheets for who pours: a table for each sitting of each taster."""
    sittings: dict[tuple[str, int], list[Mapping[str, Any]]] = defaultdict(list)
    for pour in pours:
        sittings[str(pour["taster"]), int(pour["sitting"])].append(pour)
    return {
        "flight": flight,
        "protocol": protocol_words(flight),
        "sittings": [
            {"taster": taster, "number": number, "pours": found} for (taster, number), found in sorted(sittings.items())
        ],
        "cautions": POURING_CAUTIONS,
    }


def cups_context(flight: Mapping[str, Any], *, me: str) -> dict[str, Any]:
    """Build the taster's own sheet: codes alone, with room to write."""
    sittings: dict[int, list[Mapping[str, Any]]] = defaultdict(list)
    for cup in (cup for cup in flight["cups"] if cup["taster"] == me):
        sittings[int(cup["sitting"])].append(cup)
    weighted = flight.get("weights_for") or flight.get("weight_taste_pct") is not None
    factors = ["Dry leaf", "Liquor", "Aroma", "Taste", "Spent leaf"] if weighted else ["Liking"]
    return {
        "flight": flight,
        "protocol": protocol_words(flight),
        "sittings": [{"number": number, "cups": cups} for number, cups in sorted(sittings.items())],
        "factors": factors,
        "cautions": POURING_CAUTIONS[1:],
    }


def render(name: str, context: Mapping[str, Any], *, request: HttpRequest | None = None) -> str:
    """Write one of the flight pages: ``flights``, ``flight``, ``pouring`` or ``cups``."""
    return render_to_string(f"pages/{name}.html", dict(context), request=request)
