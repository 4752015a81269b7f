"""Two blind flights of the invented merchant: one tasted, revealed and decided, one half tasted.

Each goes the way of a real one: the owner sets it up, a worker plans it, one person pours by the plan, the others
taste under codes on their phones. What is really in the cups is in this table and in the pouring plan, nowhere else.
"""

import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid5

import numpy as np

from config.demo.company import BRAM, ODDO, SURI, TAMSIN, Person
from table.phone import Phone, RefusedError

_PLAN_LIMIT_S = 60.0
_LOOK_AGAIN_S = 0.25
_CARRY_OVER = 0.15
"""Points that a cup gains for each point by which the one before it was worse, and the other way round."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """A candidate: its name, what it costs and how good it really is: points of liking, 0 to 10."""

    name: str
    price_per_kg: float
    quality: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoFlight:
    """A flight, who tastes and how much of it is done. ``decided`` is the sample bought and how many grams."""

    handle: str
    name: str
    kind: str
    began_on: datetime
    samples: tuple[Sample, ...]
    tasters: tuple[Person, ...]
    pourer: Person
    cups_per_sitting: int
    sittings: int
    repeats: int = 0
    tasted_by: tuple[Person, ...]
    reveal: bool
    decided: tuple[int, float, str] | None = None


FLIGHTS = (
    DemoFlight(
        handle="autumn",
        name="Autumn rolled oolongs",
        kind="oolong",
        began_on=datetime(2026, 10, 20, 9, tzinfo=UTC),
        samples=(
            Sample(name="Lantern Gully, autumn, lot A", price_per_kg=64, quality=6.1),
            Sample(name="Lantern Gully, autumn, lot B", price_per_kg=71, quality=6.4),
            Sample(name="Saltwind Terrace, autumn", price_per_kg=58, quality=5.2),
            Sample(name="Upper Fernhollow, late picking", price_per_kg=83, quality=7.4),
            Sample(name="Upper Fernhollow, first baskets", price_per_kg=96, quality=7.5),
            Sample(name="Owl Bridge, hand rolled", price_per_kg=77, quality=6.8),
            Sample(name="Owl Bridge, machine rolled", price_per_kg=49, quality=5.6),
            Sample(name="Three Wells, light roast", price_per_kg=69, quality=6.2),
            Sample(name="Three Wells, no roast", price_per_kg=66, quality=5.9),
            Sample(name="Cloudgate Farm, trial lot", price_per_kg=54, quality=4.8),
        ),
        tasters=(BRAM, ODDO, TAMSIN),
        pourer=SURI,
        cups_per_sitting=6,
        sittings=2,
        repeats=1,
        tasted_by=(BRAM, ODDO, TAMSIN),
        reveal=True,
        decided=(3, 12_000, "As good as the first baskets for less money; the first baskets can follow if it sells."),
    ),
    DemoFlight(
        handle="winter",
        name="Winter greens, early samples",
        kind="green",
        began_on=datetime(2026, 11, 18, 9, tzinfo=UTC),
        samples=(
            Sample(name="Millrace, steamed", price_per_kg=38, quality=5.4),
            Sample(name="Millrace, pan fired", price_per_kg=42, quality=6.0),
            Sample(name="Heronwater, pan fired", price_per_kg=51, quality=6.6),
            Sample(name="Heronwater, second grade", price_per_kg=33, quality=4.9),
            Sample(name="Pebble Lane, pan fired", price_per_kg=45, quality=5.8),
        ),
        tasters=(BRAM, SURI),
        pourer=ODDO,
        cups_per_sitting=5,
        sittings=1,
        tasted_by=(BRAM,),
        reveal=False,
    ),
)


def flight_id(team: UUID, flight: DemoFlight) -> UUID:
    """Return the flight's id."""
    return uuid5(team, f"demo flight {flight.handle}")


def sample_id(team: UUID, flight: DemoFlight, index: int) -> UUID:
    """Return the id of one of its samples."""
    return uuid5(team, f"demo sample {flight.handle} {index}")


def run_flight(flight: DemoFlight, *, team: UUID, runner: Phone, phones: Mapping[str, Phone]) -> bool:
    """Run a flight from the first sample to the decision; return whether there was anything left to do.

    Ids are made from ``team``; ``runner`` is the phone of an owner, ``phones`` are all by user name.
    """
    address = f"/api/v1/flights/{flight_id(team, flight)}/"
    try:
        runner.request("GET", address)
    except RefusedError as refusal:
        if refusal.status != 404:
            raise
    else:
        return False
    _write_samples(flight, team=team, runner=runner)
    people = {name: str(phone.request("GET", "/api/v1/me")["user"]) for name, phone in phones.items()}
    runner.request(
        "POST",
        "/api/v1/flights/",
        body={
            "id": str(flight_id(team, flight)),
            "name": flight.name,
            "lots": [str(sample_id(team, flight, i)) for i in range(len(flight.samples))],
            "tasters": [people[person.username] for person in flight.tasters],
            "pourers": [people[flight.pourer.username]],
            "cups_per_sitting": flight.cups_per_sitting,
            "sittings": flight.sittings,
            "repeats": flight.repeats,
            "remarks": "Invented, like all of the demo.",
        },
    )
    _wait_for_plan(runner, address)
    plan = phones[flight.pourer.username].request("GET", f"{address}pouring")
    really = {str(sample_id(team, flight, i)): sample.quality for i, sample in enumerate(flight.samples)}
    quality = {pour["code"]: really[pour["lot"]] for pour in plan["pours"]}
    for place, person in enumerate(flight.tasted_by):
        phone = phones[person.username]
        cups = phone.request("GET", address)["cups"]
        for at, type_name, record, fields in _tasted(flight, person, cups, quality=quality, seed=place):
            phone.edit(type_name, record, fields, at=at)
        phone.sync(pull=False)
    if flight.reveal:
        runner.request("POST", f"{address}reveal", body={})
    if flight.decided:
        index, quantity_g, reason = flight.decided
        chosen = {
            "lot": str(sample_id(team, flight, index)),
            "bought": str(uuid5(team, f"demo bought {flight.handle}")),
            "quantity_g": quantity_g,
        }
        runner.request("POST", f"{address}decision", body={"reason": reason, "chosen": [chosen]})
    return True


def _write_samples(flight: DemoFlight, *, team: UUID, runner: Phone) -> None:
    arrived = flight.began_on - timedelta(days=4)
    for i, sample in enumerate(flight.samples):
        fields = {
            "name": sample.name,
            "kind": flight.kind,
            "status": "sample",
            "price_per_kg": sample.price_per_kg,
            "currency": "EUR",
            "quantity_g": 60,
            "arrived_on": arrived.date().isoformat(),
            "harvest_year": 2026,
        }
        runner.edit("lot", str(sample_id(team, flight, i)), fields, at=arrived)
    runner.sync(pull=False)


def _wait_for_plan(runner: Phone, address: str) -> None:
    deadline = time.monotonic() + _PLAN_LIMIT_S
    while runner.request("GET", address)["plan"]["state"] == "making":
        if time.monotonic() > deadline:
            raise RefusedError("no worker makes the serving plan of the demo's flight", status=503)
        time.sleep(_LOOK_AGAIN_S)


def _tasted(
    flight: DemoFlight,
    person: Person,
    cups: Sequence[Mapping[str, object]],
    *,
    quality: Mapping[object, float],
    seed: int,
) -> Iterator[tuple[datetime, str, str, dict[str, object]]]:
    """Yield what a taster notes of each cup: the session of a covered bowl, three pours, a liking for each."""
    rng = np.random.default_rng([len(flight.samples), seed])
    before: float | None = None
    for number, cup in enumerate(cups):
        true = quality[cup["code"]]
        felt = true + (_CARRY_OVER * (true - before) if before is not None and cup["position"] != 1 else 0.0)
        before = true
        at = flight.began_on + timedelta(days=int(str(cup["sitting"])), minutes=14 * number)
        session = str(uuid5(UUID(str(cup["id"])), "session"))
        yield at, "session", session, {
            "flight_cup": cup["id"], "started_at": at.isoformat(), "leaf_g": 5, "vessel_ml": 110,
            "vessel_material": "porcelain", "vessel_g": 150, "warmed": True, "purpose": "selection",
        }  # fmt: skip
        for pour, steep_s in enumerate((120, 180, 300), start=1):
            at += timedelta(seconds=steep_s)
            infusion = str(uuid5(UUID(session), f"infusion {pour}"))
            yield at, "infusion", infusion, {
                "session": session, "number": pour, "steep_s": steep_s, "pour_s": 10, "kettle_c": 99,
            }  # fmt: skip
            liking = person.shift + person.gain * (felt - 5) + 5 + float(rng.normal(0.0, person.noise))
            yield at, "note", str(uuid5(UUID(infusion), "liking")), {
                "session": session, "infusion": infusion, "moment": "mouth", "descriptor": "liking",
                "intensity": round(2 * min(max(liking, 0.0), 10.0)) / 2,
            }  # fmt: skip
