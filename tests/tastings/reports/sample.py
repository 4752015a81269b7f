"""An invented lot with invented figures, sessions and ratings. No real tea, person or shop."""

import math
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from tastings.figures import from_stored
from tastings.maths.brewing.even_brew import BOILING
from tastings.maths.curve.counterfactual import Counterfactual, CounterfactualPoint
from tastings.maths.curve.departures import Departure
from tastings.maths.curve.development import CurvePoint, DescriptorCurve, Development, Evidence
from tastings.maths.curve.estimate import estimate_development
from tastings.maths.curve.evidence import LeftOut
from tastings.maths.curve.layers import Layer
from tastings.maths.curve.next_session import NextSession
from tastings.maths.curve.profile import Profile
from tastings.maths.curve.steep_count import Steeps
from tastings.maths.curve.tasted import TastedPoint
from tastings.queries.developments import LotDevelopment, SessionFacts
from tastings.queries.reports import LotFacts, ReportContent

LOT_ID = UUID("01890000-0000-7000-8000-000000000001")
LOT_FIELDS: dict[str, Any] = {
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
"""As the lot's record holds them."""
LOT = from_stored(LotFacts, LOT_FIELDS)
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


def _curve(descriptor: str) -> DescriptorCurve:
    points = []
    for infusion in range(1, 13):
        mean = _mean(descriptor, infusion)
        half = 0.35 + 0.06 * infusion
        points.append(
            CurvePoint(
                infusion=infusion,
                mean=mean,
                low=max(mean - half, 0.0),
                high=min(mean + half, 10.0),
                observed=mean + 0.2 * math.sin(3.0 * infusion) if infusion <= 10 else None,
                n=6 if infusion <= 7 else max(12 - infusion - 2, 0),
            )
        )
    return DescriptorCurve(descriptor, tuple(points), profile())


def profile() -> Profile:
    """Return the course of a tea that builds up."""
    return Profile(
        label="build_up",
        probability={"build_up": 0.87, "steady": 0.12, "quick_fade": 0.01},
        peak_infusion=3,
        rise=1.21,
        half_strength_infusion=9,
    )


def figures(**changed: Any) -> Development:
    """Return the figures of a lot that six sessions stand behind, with some of them changed."""
    whole = Development(
        evidence=Evidence(
            sessions=6,
            infusions=52,
            tasters=3,
            shops=2,
            left_out=(LeftOut("s5", 4, "not_steeped"), LeftOut("s2", None, "not_rated")),
        ),
        profile=profile(),
        steeps=Steeps(recommended=9, low=7, high=10, finish_line=2.5),
        sessions_spent=2,
        sessions_stopped=4,
        curves=tuple(_curve(descriptor) for descriptor in _SHAPES),
        layers=(
            _layer(1, ["roast", "aroma", "caramel"], [], []),
            _layer(2, ["aroma", "roast", "body"], ["orchid"], []),
            _layer(3, ["aroma", "body", "roast"], ["minerality"], []),
            _layer(4, ["body", "finish", "aroma"], ["sweetness"], ["caramel"]),
            _layer(5, ["finish", "body", "minerality"], [], []),
            _layer(6, ["finish", "sweetness", "minerality"], ["returning_sweetness"], ["bitterness"]),
            _layer(7, ["sweetness", "finish", "minerality"], [], ["roast"]),
            _layer(8, ["sweetness", "finish"], [], ["orchid", "savouriness"]),
        ),
        departures=(
            *(
                departure(session="s2", infusion=infusion, kind="cool_water", effect=effect, was=92.0, usual=98.0)
                for infusion, effect in ((1, -0.6), (2, -0.5), (3, -0.5))
            ),
            departure(session="s4", infusion=5, kind="long_steep", effect=1.1, was=45.0, usual=20.0),
            departure(session="s6", infusion=1, kind="cold_vessel", effect=-0.3, was=91.0, usual=95.0),
            departure(
                session="s6",
                kind="leaf_ratio",
                effect=0.8,
                whole_session=True,
                n_cups=8,
                was=120.0,
                usual=None,
                leaf_g=7.0,
                ratio=1.28,
            ),
        ),
        next=NextSession(code="pour_further", reach=9, steeps_low=7, steeps_high=10),
        leaf_range_g=(5.0, 7.0),
        lack_of_fit=(),
        good_cups={"strength": 6.1, "liking": 7.2},
        even_brew=BOILING,
        counterfactual=Counterfactual(
            "strength",
            (
                CounterfactualPoint(
                    infusion=5, ratings=6, departed=1, shown=7.4, without=6.9, brewing=0.4, contact_s=21.0
                ),
            ),
        ),
        tasted=tasted(),
    )
    return replace(whole, **changed)


def departure(**changed: Any) -> Departure:
    """Return one departure of one cup, with some of its figures changed."""
    one = Departure(
        session="s1",
        infusion=1,
        kind="cool_water",
        effect=-0.5,
        whole_session=False,
        n_cups=1,
        was=92.0,
        usual=98.0,
    )
    return replace(one, **changed)


def _layer(infusion: int, leading: list[str], new: list[str], gone: list[str]) -> Layer:
    return Layer(infusion, tuple(leading), tuple(new), tuple(gone), 5.9 - 0.31 * infusion)


def development(found: Development | None = None, *, stale: bool = False) -> LotDevelopment:
    """Return the stored figures of the lot: those of :func:`figures`, or others."""
    return LotDevelopment(
        lot=LOT_ID,
        revision=41,
        computed_at=datetime(2026, 3, 4, 10, 11, 12, tzinfo=UTC),
        stale=stale,
        figures=figures() if found is None else found,
        tag="41-41-5-2026-03-04T10:11:12Z",
    )


def untasted() -> Development:
    """Return the figures of a lot before any session."""
    return estimate_development((), rated=())


def empty() -> LotDevelopment:
    """Return the stored figures of a lot before any session."""
    return development(untasted())


def undecided_profile() -> Profile:
    """Return a course that is not settled."""
    chances = {"build_up": 0.47, "steady": 0.31, "slow_fade": 0.1, "quick_fade": 0.12}
    return replace(profile(), label="undecided", probability=chances)


def undecided() -> LotDevelopment:
    """Return the stored figures of a lot whose course is not settled."""
    return development(figures(profile=undecided_profile()))


def tasted() -> tuple[TastedPoint, ...]:
    """Return what the tasters of the six sessions rated, and that rating brought to the even brew."""
    found = []
    for index, (session, taster) in enumerate(_SESSIONS):
        for infusion in range(1, 8 + index % 3):
            adjusted = _mean("strength", infusion) + 0.7 * math.sin(1.7 * infusion + 2.3 * index)
            found.append(
                TastedPoint(session, taster, infusion, "strength", round(2 * adjusted) / 2, adjusted, 0.0, 20.0)
            )
    return tuple(found)


def sessions() -> tuple[SessionFacts, ...]:
    """Return the facts of the six sessions."""
    return tuple(
        SessionFacts(
            id=session,
            started_at=datetime(2026, 2, 3 + 4 * index, 14, 5, tzinfo=UTC),
            taster=taster,
            taster_name=TASTERS[taster],
            shop=("Harbour shop (invented)", "Hill shop (invented)")[index % 2],
            leaf_g=7.0 if session == "s6" else 5.0,
            vessel_ml=120.0 if session == "s6" else 110.0,
            vessel_material="unglazed_clay" if index % 2 else "porcelain",
            kettle_c=92.0 if session == "s2" else 99.0,
        )
        for index, (session, taster) in enumerate(_SESSIONS)
    )


def report(**changed: Any) -> ReportContent:
    """Return everything the report is written from, with some of it changed."""
    whole = ReportContent(
        lot=LOT,
        development=development(),
        tasters=TASTERS,
        sessions=sessions(),
        labels=LABELS,
    )
    return replace(whole, **changed)
