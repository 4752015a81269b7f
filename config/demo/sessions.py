"""The demo's sessions: who, which lot, when, in which vessel; the ratings come from `simulated_cups`."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np

from config.demo.company import BRAM, HARBOUR, HILL, ILVA, MILL, TASTERS, DemoShop, Person
from config.demo.lots import LOTS, DemoLot
from tastings.maths.brewing.brews import Brew, Pour

SEED = 20260302
"""Seed of every random draw of the demo, so that every run is the same."""
FIRST_ON = date(2026, 3, 2)
"""First and last day of the demo's sessions."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoVessel:
    """A vessel on the shelf."""

    name: str
    vessel_ml: float
    material: str
    pour_s: float
    vessel_g: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoStyle:
    """How a kind of leaf is usually brewed at these tables (common practice, no source)."""

    leaf_g_per_100_ml: float
    kettle_c: float
    rinse_s: float | None
    steeps_s: tuple[float, ...]


STYLES: Mapping[str, DemoStyle] = {
    "rock": DemoStyle(
        leaf_g_per_100_ml=4.4, kettle_c=100, rinse_s=5, steeps_s=(12, 10, 12, 15, 18, 22, 28, 36, 50, 70, 95, 130)
    ),
    "rolled": DemoStyle(
        leaf_g_per_100_ml=4.4, kettle_c=99, rinse_s=8, steeps_s=(22, 16, 18, 20, 24, 30, 38, 50, 70, 95, 130)
    ),
    "green": DemoStyle(leaf_g_per_100_ml=3.6, kettle_c=82, rinse_s=None, steeps_s=(25, 22, 30, 45, 65, 90, 120)),
    "white": DemoStyle(
        leaf_g_per_100_ml=4.2, kettle_c=94, rinse_s=None, steeps_s=(20, 20, 22, 25, 30, 40, 55, 75, 100, 130)
    ),
    "black": DemoStyle(leaf_g_per_100_ml=3.9, kettle_c=97, rinse_s=None, steeps_s=(12, 12, 16, 22, 32, 48, 75, 110)),
    "dark": DemoStyle(
        leaf_g_per_100_ml=4.6, kettle_c=100, rinse_s=10, steeps_s=(8, 8, 8, 10, 13, 17, 24, 34, 48, 70, 100)
    ),
}

_BOWL = DemoVessel(name="Covered bowl", vessel_ml=110, material="porcelain", pour_s=6)
_CLAY = DemoVessel(name="Red clay pot", vessel_ml=120, material="unglazed_clay", pour_s=12, vessel_g=165)
_GLASS = DemoVessel(name="Glass pot", vessel_ml=150, material="glass", pour_s=8)
VESSELS_BY_SHOP: Mapping[DemoShop, tuple[DemoVessel, ...]] = {
    HARBOUR: (_BOWL, _CLAY, DemoVessel(name="Silver pot", vessel_ml=100, material="silver", pour_s=7, vessel_g=190)),
    MILL: (_BOWL, _GLASS, DemoVessel(name="Blue stoneware pot", vessel_ml=180, material="glazed_stoneware", pour_s=14)),
    HILL: (_BOWL, _CLAY, DemoVessel(name="Iron pot", vessel_ml=300, material="cast_iron", pour_s=18, vessel_g=900)),
}
_PRIVATE = ("white buds", 4)
"""The private session: only its taster sees it."""
_PURPOSES = ("selection", "reference", "training", "guest")


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoSession:
    """One session as planned. ``brew`` has the pours as far as leaf or time could last, unrated."""

    lot: DemoLot
    number: int
    """From 0 within the lot."""
    person: Person
    started_at: datetime
    pot: DemoVessel
    brew: Brew
    purpose: str
    last_pour_in_time: int
    """The infusion after which the taster would stop even if the leaf had more to give."""
    private: bool = False
    remarks: str = ""
    pour_remarks: Mapping[int, str]

    @property
    def rng(self) -> np.random.Generator:
        """Return the draws of this session's tasting: a change of another session leaves them alone."""
        return np.random.default_rng([SEED, 1, LOTS.index(self.lot), self.number])


def demo_sessions(lot: DemoLot) -> Iterator[DemoSession]:
    """Yield a lot's sessions in the order they took place."""
    arrived = date.fromisoformat(str(lot.fields["arrived_on"]))
    first = max(arrived + timedelta(days=1), FIRST_ON)
    days = (lot.last_on - first).days
    for number in range(lot.sessions):
        rng = np.random.default_rng([SEED, 0, LOTS.index(lot), number])
        on = first + timedelta(days=days * number // max(lot.sessions - 1, 1))
        person = BRAM if number == 0 else TASTERS[(LOTS.index(lot) + number) % len(TASTERS)]
        if private := (lot.handle, number) == _PRIVATE:
            person = ILVA
        started_at = datetime.combine(on, time(8 + int(rng.integers(10)), int(rng.integers(60))), UTC)
        purpose = _PURPOSES[int(rng.integers(len(_PURPOSES)))]
        if number == 0:
            purpose = "selection" if lot.fields["status"] == "sample" else "arrival"
        pot = _pot(person, even_steeps=purpose == "reference", rng=rng)
        brew = _brew(lot, person, pot=pot, even_steeps=purpose == "reference", rng=rng)
        longest = brew.pours[-1].number
        yield _with_departures(
            DemoSession(
                lot=lot,
                number=number,
                person=person,
                started_at=started_at,
                pot=pot,
                brew=brew,
                purpose=purpose,
                last_pour_in_time=int(rng.integers(min(5, longest), longest + 1)),
                private=private,
                remarks="For myself, in the quiet of the evening." if private else "",
                pour_remarks={},
            )
        )


def _pot(person: Person, *, even_steeps: bool, rng: np.random.Generator) -> DemoVessel:
    """Return the pot of a session: reference sessions keep to the plain bowl; the others come up one time in two."""
    shelf = VESSELS_BY_SHOP[person.shop]
    return shelf[0] if even_steeps or rng.random() < 0.5 else shelf[int(rng.integers(1, len(shelf)))]


def _brew(lot: DemoLot, person: Person, *, pot: DemoVessel, even_steeps: bool, rng: np.random.Generator) -> Brew:
    style = STYLES[lot.style]
    boils_c = 100.0 if person.shop.altitude_m is None else 95.0
    kettle_c = min(style.kettle_c + float(rng.integers(-1, 2)), boils_c)
    steeps = [17.0] * 10 if even_steeps else [float(max(round(s * person.pace), 4)) for s in style.steeps_s]
    numbered = [(number, steep_s) for number, steep_s in enumerate(steeps, start=1)]
    if style.rinse_s is not None:
        numbered.insert(0, (0, style.rinse_s))
    return Brew(
        session="",
        taster=person.username,
        shop=person.shop.name,
        leaf_g=round(style.leaf_g_per_100_ml * pot.vessel_ml / 100 * float(rng.normal(1.0, 0.06)), 1),
        vessel_ml=pot.vessel_ml,
        vessel_material=pot.material,
        vessel_g=pot.vessel_g,
        warmed=bool(rng.random() < 0.9),
        room_c=person.shop.room_c,
        altitude_m=person.shop.altitude_m,
        ending=None,
        more_low=None,
        more_high=None,
        pours=tuple(
            Pour(
                number=number,
                steep_s=max(steep_s + float(rng.integers(-1, 3)), 3.0),
                pour_s=pot.pour_s,
                kettle_c=kettle_c - float(rng.integers(0, 2)),
                water_ml=round(pot.vessel_ml * 0.93),
                rest_s=float(rng.integers(25, 120)),
                ratings={},
                noted=frozenset(),
                tasted=number > 0,
            )
            for number, steep_s in numbered
        ),
    )


def _with_departures(planned: DemoSession) -> DemoSession:
    """Add departures to a few sessions."""
    match planned.lot.handle, planned.number:
        case "cliff 3", 4:
            return replace(
                planned,
                brew=_with_pour(planned.brew, 4, lambda pour: replace(pour, kettle_c=90.0)),
                last_pour_in_time=9,
                pour_remarks={4: "Kettle had cooled to about 90 before I noticed. Thin, for this leaf."},
            )
        case "cliff 3", 5:
            return replace(planned, brew=replace(planned.brew, warmed=False), remarks="Pot straight from the shelf.")
        case "flat green", 2:
            return replace(
                planned,
                brew=_with_pour(planned.brew, 3, lambda pour: replace(pour, steep_s=95.0)),
                pour_remarks={3: "A customer came in; the pot stood."},
            )
        case _:
            return planned


def _with_pour(brew: Brew, number: int, changed: Callable[[Pour], Pour]) -> Brew:
    """Return the brew with one pour changed."""
    pours = (changed(pour) if pour.number == number else pour for pour in brew.pours)
    return replace(brew, pours=tuple(pours))
