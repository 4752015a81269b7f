"""An invented lot with an invented development record, in the contract's shape. No real tea, person or shop."""

import math
from typing import Any

LOT: dict[str, Any] = {
    "id": "01890000-0000-7000-8000-000000000001",
    "name": "Mist Terrace Rock Oolong (invented)",
    "code": "MT-24-07",
    "kind": "oolong",
    "cultivar": "narrow-leaf bush",
    "country": "CN",
    "region": "Example Hills",
    "garden": "Lower Terrace",
    "elevation_low_m": 450,
    "elevation_high_m": 620,
    "harvest_year": 2024,
    "harvest_season": "spring",
    "oxidation_pct": 45,
    "roast": "medium_dark",
    "producer": "Invented Tea Works",
    "price_per_kg": "180.00",
    "currency": "EUR",
}
TASTERS = {"t1": "Ina Example", "t2": "Bo Sample", "t3": "Kim Invented"}
LABELS = {
    "strength": "Strength",
    "roast": "Roast",
    "aroma": "Aroma",
    "bitterness": "Bitterness",
    "astringency": "Astringency",
    "body": "Body",
    "sweetness": "Sweetness",
    "minerality": "Minerality",
    "finish": "Finish",
    "savouriness": "Savouriness",
    "liking": "Liking",
    "orchid": "Orchid",
    "caramel": "Caramel",
    "returning_sweetness": "Returning sweetness",
}
_SHAPES = {  # peak height, infusion of the peak, breadth
    "strength": (7.4, 3.4, 4.2),
    "roast": (6.6, 1.0, 3.4),
    "aroma": (6.9, 2.2, 4.0),
    "bitterness": (3.1, 2.0, 2.6),
    "astringency": (2.8, 2.6, 3.0),
    "body": (6.5, 3.6, 4.2),
    "savouriness": (2.2, 3.2, 4.0),
    "liking": (7.6, 4.4, 5.0),
    "minerality": (5.6, 5.4, 3.6),
    "finish": (6.3, 4.6, 4.4),
    "sweetness": (6.1, 6.8, 4.6),
}
_SESSIONS = [("s1", "t1"), ("s2", "t2"), ("s3", "t3"), ("s4", "t1"), ("s5", "t2"), ("s6", "t3")]


def _mean(descriptor: str, infusion: int) -> float:
    height, peak, breadth = _SHAPES[descriptor]
    return height * math.exp(-0.5 * ((infusion - peak) / breadth) ** 2)


def _curve(descriptor: str) -> dict[str, Any]:
    points = []
    for infusion in range(1, 13):
        mean = _mean(descriptor, infusion)
        half = 0.35 + 0.06 * infusion
        points.append(
            {
                "infusion": infusion,
                "mean": mean,
                "low": max(mean - half, 0.0),
                "high": min(mean + half, 10.0),
                "observed": mean + 0.2 * math.sin(3.0 * infusion) if infusion <= 10 else None,
                "n": 6 if infusion <= 7 else max(12 - infusion - 2, 0),
            }
        )
    return {"descriptor": descriptor, "points": points, "profile": profile()}


def profile() -> dict[str, Any]:
    return {
        "label": "build_up",
        "probability": {"build_up": 0.87, "steady": 0.12, "quick_fade": 0.01},
        "peak_infusion": 3,
        "rise": 1.21,
        "half_strength_infusion": 9,
    }


def development() -> dict[str, Any]:
    """Return a fresh record of a lot that six sessions stand behind."""
    return {
        "lot": LOT["id"],
        "revision": 41,
        "computed_at": "2026-03-04T10:11:12Z",
        "stale": False,
        "evidence": {
            "sessions": 6,
            "infusions": 52,
            "tasters": 3,
            "shops": 2,
            "left_out": [
                {"session": "s5", "infusion": 4, "reason": "no_steep_time"},
                {"session": "s2", "infusion": None, "reason": "not a flavour rated in numbers"},
            ],
        },
        "even_brew": {
            "leaf_g": 5,
            "vessel_ml": 110,
            "kettle_c": 100,
            "warmed": True,
            "rinse_s": 10,
            "contact_s": 20,
            "infusions": 12,
        },
        "profile": profile(),
        "steeps": {
            "recommended": 9,
            "low": 7,
            "high": 10,
            "level": 0.8,
            "finish_line": 2.5,
            "sessions_spent": 2,
            "sessions_stopped": 4,
        },
        "curves": [_curve(d) for d in _SHAPES],
        "layers": [
            _layer(1, ["roast", "aroma", "caramel"], [], []),
            _layer(2, ["aroma", "roast", "body"], ["orchid"], []),
            _layer(3, ["aroma", "body", "roast"], ["minerality"], []),
            _layer(4, ["body", "finish", "aroma"], ["sweetness"], ["caramel"]),
            _layer(5, ["finish", "body", "minerality"], [], []),
            _layer(6, ["finish", "sweetness", "minerality"], ["returning_sweetness"], ["bitterness"]),
            _layer(7, ["sweetness", "finish", "minerality"], [], ["roast"]),
            _layer(8, ["sweetness", "finish"], [], ["orchid", "savouriness"]),
        ],
        "departures": [
            _departure("s2", 1, "cool_water", -0.6, "kettle at 92 °C"),
            _departure("s2", 2, "cool_water", -0.5, "kettle at 92 °C"),
            _departure("s2", 3, "cool_water", -0.5, "kettle at 92 °C"),
            _departure("s4", 5, "long_steep", 1.1, "45 s of contact against 20 s; cup about 1.1 points stronger"),
            _departure("s6", 1, "cold_vessel", -0.3, "bowl not warmed, 21 °C room"),
            _departure("s6", 2, "leaf_ratio", 0.8, "7 g in 120 ml"),
            _departure("s6", 3, "leaf_ratio", 0.7, "7 g in 120 ml"),
        ],
        "next": "Go on until the leaf is spent: four of six sessions stopped earlier, so the end is the least sure.",
        "cautions": ["Boiling water scalds.", "Twelve infusions of 5 g carry the caffeine of the whole leaf."],
    }


def _layer(infusion, leading, new, gone):
    richness = 5.9 - 0.31 * infusion
    return {"infusion": infusion, "leading": leading, "new": new, "gone": gone, "richness": richness}


def _departure(session, infusion, kind, effect, detail):
    return {"session": session, "infusion": infusion, "kind": kind, "effect": effect, "detail": detail}


def empty() -> dict[str, Any]:
    """Return the record of a lot before any session."""
    none = {"sessions": 0, "infusions": 0, "tasters": 0, "shops": 0, "left_out": []}
    even = dict.fromkeys(("build_up", "steady", "quick_fade"), 1 / 3)
    unknown = {"recommended": None, "low": None, "high": None, "level": 0.8, "finish_line": 2.5}
    return {
        **development(),
        "evidence": none,
        "profile": {
            "label": "undecided",
            "probability": even,
            "peak_infusion": 1,
            "rise": 1.0,
            "half_strength_infusion": None,
        },
        "steeps": {**unknown, "sessions_spent": 0, "sessions_stopped": 0},
        "curves": [],
        "layers": [],
        "departures": [],
        "next": "Any session would do: nothing is known yet.",
    }


def undecided() -> dict[str, Any]:
    """Return the record of a lot whose course is not settled."""
    chances = {"build_up": 0.47, "steady": 0.41, "quick_fade": 0.12}
    return {**development(), "profile": {**profile(), "label": "undecided", "probability": chances}}


def tasted() -> list[dict[str, Any]]:
    """Return what the tasters of the six sessions rated, and that rating brought to the even brew."""
    found = []
    for index, (session, taster) in enumerate(_SESSIONS):
        for infusion in range(1, 8 + index % 3):
            adjusted = _mean("strength", infusion) + 0.7 * math.sin(1.7 * infusion + 2.3 * index)
            rating = round(2 * adjusted) / 2
            found.append(
                {
                    "session": session,
                    "taster": taster,
                    "infusion": infusion,
                    "descriptor": "strength",
                    "rating": rating,
                    "adjusted": adjusted,
                }
            )
    return found


def sessions() -> list[dict[str, Any]]:
    """Return the facts of the six sessions."""
    return [
        {
            "id": session,
            "started_at": f"2026-02-{3 + 4 * index:02d}T14:05:00Z",
            "taster": taster,
            "shop": ("Harbour shop (invented)", "Hill shop (invented)")[index % 2],
            "leaf_g": 7.0 if session == "s6" else 5.0,
            "vessel_ml": 120 if session == "s6" else 110,
            "vessel_material": "unglazed_clay" if index % 2 else "porcelain",
            "kettle_c": 92 if session == "s2" else 99,
        }
        for index, (session, taster) in enumerate(_SESSIONS)
    ]


def report(**changed: Any) -> dict[str, Any]:
    """Return everything the report page takes, with some of it changed."""
    whole = {
        "lot": LOT,
        "development": development(),
        "tasted": tasted(),
        "tasters": TASTERS,
        "sessions": sessions(),
        "labels": LABELS,
    }
    return {**whole, **changed}
