"""What is known of a lot, its sessions and its cups, put into words for the page. Pure."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from tastings.reports.words import count_words, counted, figure, listed, one_decimal, plain, steep_span
from tastings.wording.labels import COUNTRIES, label


def provenance(lot: Mapping[str, Any]) -> list[str]:
    """Return what is known of a lot's kind and origin, one short phrase each, in the order one would say them.

    Price and supplier are left out on purpose: the page is shown to guests.
    """
    low, high = lot.get("elevation_low_m"), lot.get("elevation_high_m")
    heights = [f"{figure(h)}" for h in (low, high) if h is not None]
    season = " ".join(str(lot[f]) for f in ("harvest_season", "harvest_year") if lot.get(f))
    oxidation = lot.get("oxidation_pct")
    roast = lot.get("roast")
    parts = [
        str(lot.get("kind") or "").capitalize(),
        *(str(lot.get(f) or "") for f in ("cultivar", "garden", "region")),
        _country(lot),
        f"{' to '.join(dict.fromkeys(heights))} m" if heights else "",
        f"{season} harvest" if season else "",
        f"{figure(oxidation)}\u00a0% oxidised" if oxidation is not None else "",
        ("unroasted" if roast == "none" else f"{str(roast).replace('_', ' ')} roast") if roast else "",
        f"made by {lot['producer']}" if lot.get("producer") else "",
        f"lot {lot['code']}" if lot.get("code") else "",
    ]
    return [part for part in parts if part.strip()]


def origin(lot: Mapping[str, Any]) -> list[str]:
    """Return only the kind and where it grew, for a line of a list."""
    parts = [*(str(lot.get(field) or "") for field in ("kind", "garden", "region")), _country(lot)]
    return [part[0].upper() + part[1:] for part in parts if part.strip()]


def _country(lot: Mapping[str, Any]) -> str:
    code = str(lot.get("country") or "")
    return label(COUNTRIES, code) if code else ""


def evidence_sentence(evidence: Mapping[str, Any], steeps: Mapping[str, Any]) -> str:
    """Say how much tasting the figures rest on."""
    counts = [
        counted(int(evidence.get(field) or 0), noun)
        for field, noun in (
            ("sessions", "session"),
            ("infusions", "infusion"),
            ("tasters", "taster"),
            ("shops", "shop"),
        )
        if evidence.get(field)
    ]
    if not counts:
        return "No session behind it yet."
    spent, stopped = int(steeps.get("sessions_spent") or 0), int(steeps.get("sessions_stopped") or 0)
    ends = [
        f"{spent} went on until the leaf was spent" if spent else "",
        f"{stopped} stopped before" if stopped else "",
    ]
    said = listed(filter(None, ends))
    return f"This rests on {listed(counts)}" + (f"; of the sessions, {said}." if said else ".")


def even_brew_sentence(brew: Mapping[str, Any]) -> str:
    """Say what the even brew is; empty text when the record does not."""
    if any(brew.get(f) is None for f in ("leaf_g", "vessel_ml", "kettle_c", "contact_s")):
        return ""
    rinse = f", after a rinse of {figure(brew['rinse_s'])} s" if brew.get("rinse_s") else ""
    return (
        "All figures are for one and the same brew, so that lots can be compared: "
        f"{figure(brew['leaf_g'])} g in {figure(brew['vessel_ml'])} ml, "
        f"water at {figure(brew['kettle_c'])} °C, {figure(brew['contact_s'])} s for each infusion{rinse}."
    )


def steep_facts(steeps: Mapping[str, Any]) -> dict[str, str] | None:
    """Return the count and its range apart, the range empty where there is none; None while the count is unknown."""
    if steeps.get("recommended") is None:
        return None
    return {"count": count_words(steeps["recommended"]), "span": steep_span(steeps).partition(" (")[2].rstrip(")")}


def cup_row(point: Mapping[str, Any]) -> dict[str, Any]:
    """Write one point of the strength curve for the table of numbers."""
    span = [one_decimal(point[f]) for f in ("low", "high") if point.get(f) is not None]
    observed = point.get("observed")
    return {
        "infusion": point["infusion"],
        "mean": one_decimal(point["mean"]),
        "span": " to ".join(span),
        "observed": "none" if observed is None else one_decimal(observed),
        "n": point.get("n") or 0,
    }


def layer_row(layer: Mapping[str, Any], labels: Mapping[str, str]) -> dict[str, Any]:
    """Write one cup of the layers; the first has nothing to be new against."""
    first = layer["infusion"] == 1
    return {
        "infusion": layer["infusion"],
        "leading": [plain(key, labels) for key in layer.get("leading") or ()],
        "new": [] if first else [plain(key, labels) for key in layer.get("new") or ()],
        "gone": [plain(key, labels) for key in layer.get("gone") or ()],
        "richness": "none" if layer.get("richness") is None else one_decimal(layer["richness"]),
    }


def day_of(value: object) -> str:
    """Write a moment as a day; text that is no moment is returned as it is."""
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            return str(value)
    return f"{value.day} {value:%B %Y}" if isinstance(value, date) else ""


def session_row(session: Mapping[str, Any], people: Mapping[str, str]) -> dict[str, str]:
    """Write one session: when, who, where, and how it was brewed."""
    taster = str(session.get("taster") or "")
    day = day_of(session.get("started_at"))
    leaf, vessel, kettle = (session.get(f) for f in ("leaf_g", "vessel_ml", "kettle_c"))
    pot = " ".join(
        filter(
            None,
            (
                f"{figure(leaf)} g" if leaf is not None else "",
                f"in {figure(vessel)} ml" if vessel is not None else "",
                str(session.get("vessel_material") or "").replace("_", " "),
            ),
        )
    )
    name = people.get(taster, taster)
    return {
        "id": str(session.get("id")),
        "href": str(session.get("href") or ""),
        "name": ", ".join(filter(None, (day, name))) or "Session",
        "day": day,
        "taster": name,
        "shop": str(session.get("shop") or ""),
        "brew": ", ".join(filter(None, (pot, f"kettle at {figure(kettle)} °C" if kettle is not None else ""))),
    }


def left_out_rows(left_out: Sequence[Mapping[str, Any]], names: Mapping[str, str]) -> list[dict[str, str]]:
    """Write what the figures leave out, and why."""
    return [
        {
            "session": names.get(str(item.get("session")), "One session"),
            "infusion": "" if item.get("infusion") is None else f"infusion {item['infusion']}",
            "reason": str(item.get("reason") or "").replace("_", " "),
        }
        for item in left_out
    ]


def comparable(development: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return the curves that may be shown on the even brew.

    Liking is a judgement on a cup and nothing that leaves the leaf: while nobody rated the strength of the cups, what
    it would be on another brew is not known.
    """
    curves = list(development.get("curves") or ())
    rated = any(curve["descriptor"] == "strength" for curve in curves)
    return [curve for curve in curves if rated or curve["descriptor"] != "liking"]


def caution_text(caution: object) -> str:
    """Return the caution's text, whether it comes as text or with a code."""
    if isinstance(caution, Mapping):
        return str(caution.get("detail") or caution.get("text") or caution.get("code") or "")
    return str(caution)
