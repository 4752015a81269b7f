"""Nothing that anyone but the pourer can read before the reveal depends on which code is which lot.

Every route, the live stream's word, a full pull, histories, refusals and the log are read as every role; then the lots
are moved round among the cups in the database, and all is read again: it must be the same, byte for byte. A link from
code to lot, however hidden, would differ. Any two cups have another sum of likings than any other two, so no figure of
any lot would stay the same: each role asks for one of the lots, and two roles for each.
"""

import io
import json
import re
import zipfile
from uuid import uuid4

import pytest

from api.operations.events import _event, _Listener, _token_team
from tastings.models import FlightCup
from teams.models import Role
from tests.api.phone import change, sync
from tests.api.records import TYPES, Place
from tests.api.routes import routes
from tests.api.test_tenancy import stored_photo, triangle_test_of
from tests.factories import ABSENT_ID, person
from tests.flights import flight_of, taste

PASSING = re.compile(
    rb'"(now|last_used_at|at|made_at|exported_at)":\s*"[^"]*"'
    rb'|name="(?:csrfmiddlewaretoken|new)" value="[^"]*"|nonce="[^"]*"'
)
"""Headers that depend on the time of the request or are random."""
DRAWN = {"Content-Security-Policy", "Set-Cookie", "ETag", "Expires", "Last-Modified", "RateLimit", "X-Request-ID"}
"""Headers that hold or follow from such."""
MOVING = ("/metrics", "/api/v1/events", "/api/v1/schema", "/api/v1/docs", "/sign-out/", "/api/v1/audit", "/team/audit/")
"""Addresses without data of a team, streams, and those that grow by being read: the audit log by each export."""
LIKINGS = (0.5, 1, 2.5, 5.5, 6.5, 9)
"""In steps of a half a Golomb ruler, all of whose sums of two marks are different."""


@pytest.fixture
def scene(team, lexicon):
    """A flight half tasted, beside an ordinary tasting of one of its lots."""
    flight = flight_of(team, n_lots=3, n_tasters=3)
    place = Place(flight.tasters[0])
    tasted = [(who, cup) for who in flight.tasters for cup in flight.cups_of(who)[:2]]
    ids = [taste(who, cup, liking=liking) for (who, cup), liking in zip(tasted, LIKINGS, strict=True)]
    everyone = {
        "owner": person(team, Role.OWNER),
        "buyer": flight.buyer,
        "taster": flight.tasters[0],
        "other taster": flight.tasters[1],
        "bystander": person(team, Role.TASTER),
        "viewer": person(team, Role.VIEWER),
    }
    return flight, place, ids, everyone


def addresses(flight, place, taster, ids, **other):
    """Return every readable address, with ids that are there where the route takes some; ``other`` has the lot's."""
    known = {
        "flight_id": flight.id,
        "shop_id": taster.member.shop_id,
        "user_id": taster.user.id,
        "taster_id": taster.user.id,
        **other,
    }
    found = []
    for address, parameters, methods in routes():
        if "get" not in methods or address.startswith(MOVING):
            continue
        if "{record_type}" in address and "{record_id}" in address:
            there = [(name, getattr(place, name).id) for name in TYPES]
            there += [(kind, getattr(made, kind)) for made in ids[:1] for kind in ("session", "infusion", "note")]
            found += [address.format(record_type=name, record_id=record) for name, record in there]
            continue
        if address.startswith("/team/words/"):
            found.append(address.format(record_id=place.descriptor.id))
            continue
        if "{record_id}" in address:
            name = address.removeprefix("/api/v1/").partition("s/")[0]
            found.append(address.format(record_id=getattr(place, name).id))
            continue
        found.append(address.format(**dict.fromkeys(parameters, ABSENT_ID) | known))
    for made in ids:
        for kind in ("session", "infusion", "note"):
            found += [f"/api/v1/{kind}s/{getattr(made, kind)}/{more}" for more in ("", "history")]
    found += [f"/api/v1/{name}s/" for name in TYPES]
    found += [f"/api/v1/sessions/?lot={one.id}" for one in flight.lots]
    against = next(one.id for one in flight.lots if one.id != known["lot_id"])
    return list(dict.fromkeys([*found, f"/api/v1/compare?lots={known['lot_id']},{against}"]))


def answers_to(who, wanted, guesses):
    """Return all that one person can read: status, headers, body."""
    answers = []
    for address in wanted:
        answer = who.client.get(address)
        body = b"".join(answer.streaming_content) if answer.streaming else answer.content
        headers = {name: value for name, value in answer.items() if name not in DRAWN}
        answers.append((address, answer.status_code, headers, members_of(body)))
    _, stream, counter = _token_team(who.token)  # what the live stream would tell this device now
    answers.append(_event(_Listener(token=who.device.id, stream=stream, last_sent_cursor=counter, latest=counter)))
    answers.append(json.dumps({**sync(who.client), "now": ""}))
    answers.append(json.dumps([v["problems"] for v in sync(who.client, guesses)["verdicts"]]))
    return answers


def members_of(body):
    """Return a body without what passes; of a zip its files."""
    if not body.startswith(b"PK"):
        return PASSING.sub(b"", body)
    with zipfile.ZipFile(io.BytesIO(body)) as pack:
        return {name: PASSING.sub(b"", pack.read(name)) for name in pack.namelist()}


def move_round(flight):
    """Put another lot into every cup."""
    cups = list(FlightCup.objects.filter(flight_id=flight.id).order_by("id"))
    lots = [lot.id for lot in flight.lots]
    after = dict(zip(lots, lots[1:] + lots[:1], strict=True))
    for cup in cups:
        cup.lot_id = after[cup.lot_id]
    FlightCup.objects.bulk_update(cups, ["lot"])


@pytest.mark.long
def test_nothing_before_the_reveal_depends_on_what_is_in_the_cups(scene, caplog):
    flight, place, ids, everyone = scene
    taster = everyone["taster"]
    made = {"photo_id": stored_photo(place, taster).id, **triangle_test_of(place, taster)}
    # the sessions of one cup of each of two tasters: one's own and another's
    wanted = {
        role: addresses(flight, place, taster, [ids[0], ids[2]], **made, lot_id=lot.id)
        for role, lot in zip(everyone, 2 * flight.lots, strict=True)
    }
    guesses = [change("session", ids[0].session, at="2027-01-01T00:00:00Z", lot=str(lot.id)) for lot in flight.lots]
    guesses += [change("session", str(uuid4()), flight_cup=ids[0].session, started_at="2026-03-04T10:00:00Z",
                       leaf_g=5, vessel_ml=110)]  # fmt: skip
    first = {address for of_role in wanted.values() for address in of_role if "/lots/" in address}
    answers_to(everyone["owner"], sorted(first), guesses)  # what is made at the first reading of a lot is made

    read = []
    for _ in range(2):
        caplog.clear()
        read.append({role: answers_to(who, wanted[role], guesses) for role, who in everyone.items()})
        read[-1]["log"] = [record.getMessage() for record in caplog.records]
        move_round(flight)

    assert read[0].keys() == read[1].keys()
    for role in read[0]:
        different = [pair for pair in zip(read[0][role], read[1][role], strict=True) if pair[0] != pair[1]]
        assert different == [], role


def test_the_reading_would_notice_a_link(scene):
    """The pourer's own plan does depend on it."""
    flight, _, _, _ = scene
    wanted = [f"{flight.address}pouring"]
    before = answers_to(flight.pourer, wanted, [])
    move_round(flight)

    assert answers_to(flight.pourer, wanted, []) != before


def test_nobody_but_the_pourer_reads_the_pouring_plan(scene):
    flight, _, _, everyone = scene
    for who in everyone.values():
        assert who.client.get(f"{flight.address}pouring").status_code == 403
        assert who.client.get(f"/flights/{flight.id}/pouring/").status_code == 403
