"""The twelve invented lots: what the buyer wrote down of each, and what each is really like.

Countries and wide regions are real; no garden or supplier is named; the one producer and every price are made up.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from config.demo.leaves import Attribute, DemoLeaf


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoLot:
    """A lot: a short handle for ids and for naming it here, its fields as they travel, its truth, how it is brewed."""

    handle: str
    fields: Mapping[str, object]
    leaf: DemoLeaf
    style: str
    sessions: int
    looks: Mapping[str, tuple[str, ...]]
    """Descriptors by moment, of what belongs to a session as a whole."""
    bought_from: str | None = None
    last_on: date = date(2026, 9, 25)
    """No session after this day."""


def _rock_oolong(k_per_min: float, *, tau_s: float, top: float, roast: float, charm: float) -> DemoLeaf:
    """Return a twisted, roasted cliff oolong: roast first, flowers in the middle, stone at the end."""
    return DemoLeaf(
        k_per_min=k_per_min,
        tau_s=tau_s,
        top=top,
        charm=charm,
        attributes={
            "sweetness": Attribute(5.0, pace=0.6, lag=1.3),
            "bitterness": Attribute(3.2, pace=1.4, lag=0.8),
            "aroma": Attribute(7.5, pace=1.2, lag=0.6),
            "finish": Attribute(6.5, pace=0.8),
            "minerality": Attribute(5.5, pace=0.5, lag=1.6),
            "roast": Attribute(roast, pace=1.8, lag=0.3),
        },
        flavours={
            "charcoal": (0.0, 0.22),
            "high_fire": (0.0, 0.12),
            "dark_chocolate": (0.05, 0.4),
            "orchid": (0.2, 0.62),
            "osmanthus": (0.3, 0.7),
            "returning_sweetness": (0.25, 0.9),
            "wet_stone": (0.45, 1.0),
            "rice_water": (0.7, 1.0),
        },
    )


_ROCK_LOOKS = {
    "dry_leaf": ("leaf_twisted", "leaf_blistered"),
    "warmed_leaf": ("charcoal", "cocoa"),
    "wet_leaf": ("orchid", "wet_stone"),
    "spent_leaf": ("leaf_red_edge",),
    "liquor": ("liquor_amber",),
    "empty_cup": ("caramel",),
}
_ROLLED_LOOKS = {
    "dry_leaf": ("leaf_ball", "leaf_glossy"),
    "warmed_leaf": ("butter",),
    "wet_leaf": ("gardenia",),
    "spent_leaf": ("leaf_stems", "leaf_supple"),
    "liquor": ("liquor_green_yellow",),
    "empty_cup": ("honey",),
}
_GREEN_LOOKS = {
    "dry_leaf": ("leaf_flat", "leaf_even"),
    "warmed_leaf": ("chestnut",),
    "wet_leaf": ("green_bean",),
    "spent_leaf": ("leaf_whole_buds",),
    "liquor": ("liquor_pale_yellow",),
    "empty_cup": ("hay",),
}

LOTS: tuple[DemoLot, ...] = (
    DemoLot(
        handle="cliff 3 sample",
        last_on=date(2026, 3, 27),
        style="rock",
        sessions=4,
        looks=_ROCK_LOOKS,
        leaf=_rock_oolong(1.05, tau_s=80, top=7.4, roast=7.0, charm=7.2),
        fields={
            "name": "Cliff oolong no. 3, sample", "code": "Q-103-S", "kind": "oolong", "country": "CN",
            "region": "northern Fujian", "harvest_year": 2025, "harvest_season": "spring", "oxidation_pct": 45,
            "roast": "dark", "roast_fuel": "charcoal", "roasted_on": "2025-11-18", "status": "sample",
            "quantity_g": 50, "arrived_on": "2026-02-24", "price_per_kg": 310, "currency": "EUR",
            "producer": "Mill Stream workshop (invented)",
            "remarks": "Offered in February; asked for a month's rest after the roast.",
        },
    ),
    DemoLot(
        handle="cliff 3",
        bought_from="cliff 3 sample",
        style="rock",
        sessions=8,
        looks=_ROCK_LOOKS,
        leaf=_rock_oolong(1.0, tau_s=95, top=7.5, roast=6.0, charm=7.6),
        fields={
            "name": "Cliff oolong no. 3, full fire", "code": "Q-103", "kind": "oolong", "country": "CN",
            "region": "northern Fujian", "elevation_low_m": 350, "elevation_high_m": 500, "harvest_year": 2025,
            "harvest_season": "spring", "oxidation_pct": 45, "roast": "dark", "roast_fuel": "charcoal",
            "roasted_on": "2026-02-09", "status": "bought", "quantity_g": 6000, "arrived_on": "2026-04-07",
            "price_per_kg": 295, "currency": "EUR", "producer": "Mill Stream workshop (invented)",
            "remarks": "Bought after the sample. Roasted again before sending.",
        },
    ),
    DemoLot(
        handle="cliff 7",
        style="rock",
        sessions=6,
        looks={**_ROCK_LOOKS, "warmed_leaf": ("toast", "cinnamon"), "liquor": ("liquor_golden",)},
        leaf=_rock_oolong(1.05, tau_s=50, top=7.0, roast=4.0, charm=7.0),
        fields={
            "name": "Cliff oolong no. 7, medium fire", "code": "Q-107", "kind": "oolong", "country": "CN",
            "region": "northern Fujian", "harvest_year": 2026, "harvest_season": "spring", "oxidation_pct": 35,
            "roast": "medium", "roast_fuel": "charcoal", "roasted_on": "2026-06-30", "status": "sample",
            "producer": "Mill Stream workshop (invented)",
            "quantity_g": 100, "arrived_on": "2026-07-14", "price_per_kg": 260, "currency": "EUR",
        },
    ),
    DemoLot(
        handle="high mountain",
        style="rolled",
        sessions=6,
        looks=_ROLLED_LOOKS,
        leaf=DemoLeaf(
            k_per_min=0.85, tau_s=120, top=6.6, charm=7.3,
            attributes={
                "sweetness": Attribute(5.5, pace=0.8), "astringency": Attribute(2.6, pace=1.2),
                "aroma": Attribute(7.2, pace=1.3, lag=0.6), "body": Attribute(5.5, lag=1.2),
            },
            flavours={
                "gardenia": (0.0, 0.5), "cream": (0.1, 0.55), "pear": (0.2, 0.6), "rock_sugar": (0.3, 0.8),
                "bamboo": (0.6, 1.0),
            },
        ),
        fields={
            "name": "High-mountain rolled oolong", "code": "Q-211", "kind": "oolong", "country": "TW",
            "region": "central mountains", "elevation_low_m": 1300, "elevation_high_m": 1500, "harvest_year": 2026,
            "harvest_season": "spring", "oxidation_pct": 18, "roast": "none", "status": "bought", "quantity_g": 4000,
            "arrived_on": "2026-06-02", "price_per_kg": 180, "currency": "EUR",
        },
    ),
    DemoLot(
        handle="roasted rolled",
        style="rolled",
        sessions=5,
        looks={**_ROLLED_LOOKS, "warmed_leaf": ("coffee", "walnut"), "liquor": ("liquor_orange",)},
        leaf=DemoLeaf(
            k_per_min=0.9, tau_s=110, top=7.0, charm=6.9,
            attributes={
                "sweetness": Attribute(5.0, pace=0.7), "bitterness": Attribute(2.8, pace=1.3),
                "aroma": Attribute(6.2, lag=0.7),
                "roast": Attribute(6.0, pace=1.4, lag=0.4),
            },
            flavours={
                "toast": (0.0, 0.35), "walnut": (0.05, 0.5), "brown_sugar": (0.2, 0.7), "plum": (0.35, 0.8),
                "mellowness": (0.5, 1.0),
            },
        ),
        fields={
            "name": "Roasted rolled oolong", "code": "Q-214", "kind": "oolong", "country": "TW",
            "region": "central hills", "harvest_year": 2025, "harvest_season": "winter", "oxidation_pct": 30,
            "roast": "medium_dark", "roast_fuel": "electric", "roasted_on": "2026-03-03", "status": "bought",
            "quantity_g": 5000, "arrived_on": "2026-03-20", "price_per_kg": 140, "currency": "EUR",
        },
    ),
    DemoLot(
        handle="flat green",
        style="green",
        sessions=5,
        looks=_GREEN_LOOKS,
        leaf=DemoLeaf(
            k_per_min=2.6, tau_s=6, top=7.2, charm=7.0,
            attributes={
                "sweetness": Attribute(4.6, pace=0.9), "bitterness": Attribute(3.4),
                "savouriness": Attribute(5.2, pace=1.3),
                "aroma": Attribute(6.6, pace=1.4),
            },
            flavours={
                "chestnut": (0.0, 0.6), "green_bean": (0.1, 0.75), "fresh_green": (0.0, 0.5), "thin": (0.85, 1.0),
            },
        ),
        fields={
            "name": "Early flat green", "code": "Q-301", "kind": "green", "country": "CN", "region": "Zhejiang",
            "harvest_year": 2026, "harvested_on": "2026-03-29", "harvest_season": "spring",
            "pick_standard": "one bud, one leaf", "oxidation_pct": 0, "status": "bought", "quantity_g": 3000,
            "arrived_on": "2026-04-21", "price_per_kg": 220, "currency": "EUR",
        },
    ),
    DemoLot(
        handle="steamed green",
        style="green",
        sessions=4,
        looks={**_GREEN_LOOKS, "warmed_leaf": ("seaweed",), "wet_leaf": ("spinach",), "liquor": ("liquor_cloudy",)},
        leaf=DemoLeaf(
            k_per_min=3.2, tau_s=4, top=8.0, charm=6.6,
            attributes={
                "sweetness": Attribute(4.0), "bitterness": Attribute(4.4, pace=0.8),
                "savouriness": Attribute(7.0, pace=1.3),
                "body": Attribute(6.0),
            },
            flavours={"seaweed": (0.0, 0.55), "spinach": (0.1, 0.8), "broth": (0.0, 0.5), "thin": (0.88, 1.0)},
        ),
        fields={
            "name": "Shaded steamed green", "code": "Q-305", "kind": "green", "country": "JP", "region": "Kyushu",
            "harvest_year": 2026, "harvest_season": "first", "oxidation_pct": 0, "status": "sample", "quantity_g": 80,
            "arrived_on": "2026-06-23", "price_per_kg": 240, "currency": "EUR",
        },
    ),
    DemoLot(
        handle="white buds",
        style="white",
        sessions=5,
        looks={
            "dry_leaf": ("leaf_downy", "leaf_whole_buds"), "warmed_leaf": ("hay",), "wet_leaf": ("cucumber",),
            "spent_leaf": ("leaf_even",), "liquor": ("liquor_downy",), "empty_cup": ("honeysuckle",),
        },
        leaf=DemoLeaf(
            k_per_min=0.36, tau_s=22, top=5.6, charm=6.8,
            attributes={
                "sweetness": Attribute(5.6, pace=0.8), "astringency": Attribute(1.8), "aroma": Attribute(5.0, pace=1.5),
                "body": Attribute(4.6, pace=0.8, lag=1.3),
            },
            flavours={
                "honeysuckle": (0.0, 0.35), "hay": (0.0, 0.5), "melon": (0.1, 0.5), "honey": (0.25, 0.9),
                "silky": (0.3, 1.0),
            },
        ),
        fields={
            "name": "Downy white buds", "code": "Q-402", "kind": "white", "country": "CN", "region": "eastern Fujian",
            "harvest_year": 2026, "harvest_season": "spring", "pick_standard": "buds", "oxidation_pct": 8,
            "status": "bought", "quantity_g": 2500, "arrived_on": "2026-05-12", "price_per_kg": 160, "currency": "EUR",
        },
    ),
    DemoLot(
        handle="yellow",
        style="green",
        sessions=4,
        looks={**_GREEN_LOOKS, "warmed_leaf": ("sweetcorn",), "wet_leaf": ("chestnut",)},
        leaf=DemoLeaf(
            k_per_min=1.3, tau_s=15, top=6.2, charm=6.9,
            attributes={
                "sweetness": Attribute(5.2, pace=0.8), "bitterness": Attribute(2.2), "aroma": Attribute(5.6, pace=1.3),
                "savouriness": Attribute(4.0),
            },
            flavours={"sweetcorn": (0.0, 0.6), "chestnut": (0.05, 0.7), "mellowness": (0.2, 0.9), "thin": (0.85, 1.0)},
        ),
        fields={
            "name": "Smothered yellow", "code": "Q-451", "kind": "yellow", "country": "CN", "region": "western Anhui",
            "harvest_year": 2026, "harvest_season": "spring", "oxidation_pct": 10, "status": "sample",
            "quantity_g": 60, "arrived_on": "2026-05-19", "price_per_kg": 190, "currency": "EUR",
        },
    ),
    DemoLot(
        handle="black tips",
        style="black",
        sessions=5,
        looks={
            "dry_leaf": ("leaf_golden_tips", "leaf_twisted"), "warmed_leaf": ("sweet_potato",), "wet_leaf": ("malt",),
            "spent_leaf": ("leaf_even",), "liquor": ("liquor_red", "liquor_golden_rim"), "empty_cup": ("honey",),
        },
        leaf=DemoLeaf(
            k_per_min=1.25, tau_s=9, top=8.0, charm=7.0,
            attributes={
                "sweetness": Attribute(5.4, pace=0.8), "astringency": Attribute(4.2, pace=0.9),
                "aroma": Attribute(6.8, pace=1.3),
                "body": Attribute(6.6),
            },
            flavours={
                "malt": (0.0, 0.7), "sweet_potato": (0.0, 0.55), "cocoa": (0.15, 0.7), "rose": (0.3, 0.8),
                "thin": (0.88, 1.0),
            },
        ),
        fields={
            "name": "Golden-tipped black", "code": "Q-503", "kind": "black", "country": "CN",
            "region": "southern Yunnan", "harvest_year": 2026, "harvest_season": "spring", "oxidation_pct": 95,
            "status": "bought", "quantity_g": 8000, "arrived_on": "2026-06-16", "price_per_kg": 90, "currency": "EUR",
        },
    ),
    DemoLot(
        handle="ripe dark",
        style="dark",
        sessions=5,
        looks={
            "dry_leaf": ("leaf_broken",), "warmed_leaf": ("old_wood", "jujube"), "wet_leaf": ("forest_floor",),
            "spent_leaf": ("leaf_broken",), "liquor": ("liquor_near_black",), "empty_cup": ("molasses",),
        },
        leaf=DemoLeaf(
            k_per_min=0.75, tau_s=8, top=8.2, charm=6.4,
            attributes={
                "sweetness": Attribute(5.2, pace=0.6, lag=1.5), "bitterness": Attribute(2.4), "body": Attribute(7.4),
                "finish": Attribute(5.0, pace=0.8),
            },
            flavours={
                "forest_floor": (0.0, 0.45), "old_wood": (0.0, 0.7), "jujube": (0.2, 0.8), "camphor": (0.35, 0.75),
                "rice_water": (0.6, 1.0),
            },
        ),
        fields={
            "name": "Ripened dark, loose", "code": "Q-602", "kind": "dark", "country": "CN",
            "region": "southern Yunnan", "harvest_year": 2019, "status": "bought", "quantity_g": 10000,
            "arrived_on": "2026-03-17", "price_per_kg": 60, "currency": "EUR",
        },
    ),
    DemoLot(
        handle="jasmine",
        last_on=date(2026, 5, 10),
        style="green",
        sessions=3,
        looks={
            **_GREEN_LOOKS, "dry_leaf": ("leaf_ball", "leaf_downy"), "warmed_leaf": ("jasmine",),
            "wet_leaf": ("jasmine",),
        },
        leaf=DemoLeaf(
            k_per_min=2.2, tau_s=14, top=6.8, charm=6.2,
            attributes={
                "sweetness": Attribute(4.6), "astringency": Attribute(3.0), "aroma": Attribute(8.0, pace=1.6),
            },
            flavours={"jasmine": (0.0, 0.75), "hay": (0.4, 1.0), "drying": (0.3, 0.7), "thin": (0.85, 1.0)},
        ),
        fields={
            "name": "Jasmine-scented pearls", "code": "Q-701", "kind": "scented", "country": "CN", "region": "Guangxi",
            "harvest_year": 2025, "harvest_season": "summer", "status": "retired", "quantity_g": 0,
            "arrived_on": "2026-01-27", "price_per_kg": 75, "currency": "EUR",
            "remarks": "Sold out in May; not to be bought again from this offer.",
        },
    ),
)  # fmt: skip

SESSIONS = sum(lot.sessions for lot in LOTS)
SHOWN = next(lot for lot in LOTS if lot.handle == "cliff 3")
"""Handle of the lot that the demo points to first."""
