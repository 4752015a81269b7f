"""A blind flight with its people, as tests need it: set up by the API, planned as a worker would."""

from datetime import UTC, datetime
from types import SimpleNamespace
from uuid import UUID, uuid4

from django.utils import timezone

from tastings.actions.flights.planning import plan_flight
from tastings.models import Flight, FlightCup
from teams.models import Role
from tests.api.phone import change, sync
from tests.factories import LotFactory, person

MADE = "2026-03-04T12:30:00Z"


def flight_of(team, *, n_lots=4, n_tasters=2, planned=True, buyer=None, **fields):
    """Set a flight up; return who is in it, its lots, its id and ``cups_of(person)``."""
    buyer = buyer or person(team, Role.BUYER)
    pourer = person(team, Role.TASTER)
    tasters = [person(team, Role.TASTER) for _ in range(n_tasters)]
    lots = [LotFactory(team=team, by=buyer.user, status="sample", name=f"Sample {i}") for i in range(n_lots)]
    flight = str(uuid4())
    body = {
        "id": flight,
        "name": "Spring samples",
        "lots": [str(lot.id) for lot in lots],
        "tasters": [str(one.user.id) for one in tasters],
        "pourers": [str(pourer.user.id)],
        "cups_per_sitting": n_lots,
        **fields,
    }
    answer = buyer.client.post("/api/v1/flights/", body)
    assert answer.status_code == 201, answer.content
    if planned:
        assert plan_flight(UUID(flight), now=timezone.now())
    return SimpleNamespace(
        id=flight,
        address=f"/api/v1/flights/{flight}/",
        lots=lots,
        buyer=buyer,
        pourer=pourer,
        tasters=tasters,
        cups_of=lambda who: who.client.get(f"/api/v1/flights/{flight}/").json()["cups"],
    )


def row(flight):
    """Return the stored flight."""
    return Flight.objects.get(id=flight.id)


def lot_in(cup):
    """Return what is in a cup, as the database alone knows."""
    return str(FlightCup.objects.get(id=cup["id"]).lot_id)


def taste(taster, cup, *, liking=None, at=MADE, started_at="2026-03-04T10:00:00Z", moment="mouth", **session):
    """Send a session of a cup, with a liking if given; return the ids of session, infusion and note."""
    ids = SimpleNamespace(session=str(uuid4()), infusion=str(uuid4()), note=str(uuid4()))
    brew = {"flight_cup": cup["id"], "started_at": started_at, "leaf_g": 5, "vessel_ml": 110}
    changes = [
        change("session", ids.session, at=at, **brew, **session),
        change("infusion", ids.infusion, at=at, session=ids.session, number=1, steep_s=120, kettle_c=100),
    ]
    if liking is not None:
        changes.append(
            change("note", ids.note, at=at, session=ids.session, infusion=ids.infusion, moment=moment,
                   descriptor="liking", intensity=liking)
        )  # fmt: skip
    answer = sync(taster.client, changes)
    assert [verdict["verdict"] for verdict in answer["verdicts"]] == ["applied"] * len(changes), answer["verdicts"]
    return ids


def taste_all(flight, *, quality=lambda lot, taster: 5.0, at=MADE):
    """Let every taster taste every cup in order; ``quality(index of the lot, index of the taster)`` is the liking."""
    index = {str(lot.id): i for i, lot in enumerate(flight.lots)}
    for t, taster in enumerate(flight.tasters):
        for minute, cup in enumerate(flight.cups_of(taster)):
            started = datetime(2026, 3, 4, 10, minute % 60, tzinfo=UTC).isoformat().replace("+00:00", "Z")
            taste(taster, cup, liking=quality(index.get(lot_in(cup), -1), t), at=at, started_at=started)


def reveal(flight, **body):
    """Reveal; the answer must be a success."""
    answer = flight.buyer.client.post(f"{flight.address}reveal", body)
    assert answer.status_code == 200, answer.content
    return answer.json()
