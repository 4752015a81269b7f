"""Scores that arrive after the reveal are shown, and count once a buyer or owner admits them."""

from uuid import UUID, uuid4

import pytest
from django.test import Client

from teams.models import AuditEntry
from tests.api.phone import change, sync
from tests.api.problems import refusal
from tests.flights import flight_of, lot_in, reveal, row, taste
from tests.tastings.test_flight_answers import answer_of, means

pytestmark = pytest.mark.django_db
EARLY = "2026-03-04T12:40:00Z"


@pytest.fixture
def flight(team, lexicon):
    return flight_of(team, n_lots=2, n_tasters=2)


@pytest.fixture
def tasted(flight):
    """A revealed flight of which each taster has tasted the first cup; gives the first taster's ids."""
    ids = [taste(one, flight.cups_of(one)[0], liking=6) for one in flight.tasters]
    reveal(flight, reason="time is up")
    return ids[0]


def second_cup_of(flight, taster):
    """Return a taster's second cup; after the reveal everyone sees all."""
    return [cup for cup in flight.cups_of(taster) if cup["taster"] == str(taster.user.id)][1]


def late_of(flight):
    return answer_of(flight)["late"]


def admit(flight, one, *, who=None, **body):
    address = f"{flight.address}late/{one['session']}/admit"
    return (who or flight.buyer).client.post(address, {"revision": one["revision"], **body})


def test_a_rating_sent_late_is_shown_with_what_counts(flight, tasted):
    assert late_of(flight) == []
    sync(flight.tasters[0].client, [change("note", tasted.note, at=EARLY, intensity=10)])
    [late] = late_of(flight)

    assert (late["session"], late["taster"]) == (tasted.session, str(flight.tasters[0].user.id))
    assert (late["liking"], late["counted_liking"], late["admissible"]) == (10, 6, True)
    assert late["arrived_at"] > row(flight).revealed_at.isoformat()[:19]


def test_an_admitted_score_counts_and_is_in_the_audit_log(flight, tasted):
    taster = flight.tasters[0]
    cup = second_cup_of(flight, taster)
    new = taste(taster, cup, liking=9, at=EARLY)
    [late] = late_of(flight)
    assert means(answer_of(flight)).get(lot_in(cup), (None,))[0] in (None, 6.0)  # the other taster's, or nobody's
    answer = admit(flight, late)

    assert answer.status_code == 200, answer.content
    assert (answer.json()["stale"], answer.json()["late"]) == (True, [])
    entry = AuditEntry.objects.get(what="late_score")
    assert (entry.who_id, entry.about["session"], entry.about["liking"]) == (flight.buyer.user.id, new.session, 9)
    ratings = [one["ratings"] for one in row(flight).counted["sessions"] if one["session"] == new.session]
    assert [[rating["points"] for rating in some] for some in ratings] == [[9.0]]
    assert late_of(flight) == []
    sync(taster.client, [change("note", new.note, at="2026-03-04T12:50:00Z", intensity=1)])
    assert [one["counted_liking"] for one in late_of(flight)] == [9]


def test_what_another_than_the_taster_wrote_is_shown_and_cannot_be_admitted(flight, tasted):
    sync(flight.buyer.client, [change("note", tasted.note, at=EARLY, intensity=10)])
    [late] = late_of(flight)

    assert (late["liking"], late["counted_liking"], late["admissible"]) == (10, 6, False)
    assert refusal(admit(flight, late))[:2] == (409, "wrong-state")
    sync(flight.tasters[0].client, [change("note", tasted.note, at="2026-03-04T12:50:00Z", intensity=8)])
    [late] = late_of(flight)
    assert (late["liking"], late["admissible"]) == (8, True)


def test_only_buyers_and_owners_admit_and_only_what_they_were_shown(flight, tasted, stranger):
    sync(flight.tasters[0].client, [change("note", tasted.note, at=EARLY, intensity=10)])
    [late] = late_of(flight)
    before = row(flight).counted

    assert refusal(admit(flight, late, who=flight.tasters[0]))[:2] == (403, "not-allowed")
    assert admit(flight, late, who=stranger).status_code == 404
    assert admit(flight, {**late, "session": str(uuid4())}).status_code == 404
    assert refusal(admit(flight, late, revision=0))[2] == {("revision", "range")}
    sync(flight.tasters[0].client, [change("note", tasted.note, at="2026-03-04T12:50:00Z", intensity=9)])
    assert refusal(admit(flight, late))[:2] == (412, "changed")
    assert row(flight).counted == before


def test_a_private_session_is_shown_to_nobody(flight, tasted):
    taster = flight.tasters[0]
    taste(taster, second_cup_of(flight, taster), liking=9, at=EARLY, private=True)
    sync(taster.client, [change("session", tasted.session, at="2026-03-04T13:00:00Z", private=True)])
    assert late_of(flight) == []


def test_page_shows_late_scores_and_a_buyer_admits_one(flight, tasted):
    sync(flight.tasters[0].client, [change("note", tasted.note, at=EARLY, intensity=10)])
    answer_of(flight)
    pages = {}
    for who in (flight.buyer, flight.tasters[1]):
        browser = pages[who.user.id] = Client()
        browser.force_login(who.user)
    mine, theirs = (pages[who.user.id].get(f"/flights/{flight.id}/") for who in (flight.buyer, flight.tasters[1]))
    action = f"/flights/{flight.id}/late/{tasted.session}/"
    [late] = late_of(flight)

    assert (action in mine.content.decode(), action in theirs.content.decode()) == (True, False)
    assert "10" in theirs.content.decode()
    refused = pages[flight.tasters[1].user.id].post(action, {"revision": late["revision"]})
    outdated = pages[flight.buyer.user.id].post(action, {"revision": 1})
    done = pages[flight.buyer.user.id].post(action, {"revision": late["revision"]})
    assert (refused.status_code, outdated.status_code) == (403, 412)
    assert (done.status_code, done["Location"]) == (302, f"/flights/{flight.id}/")
    assert late_of(flight) == []


def test_changes_of_who_pours_are_in_the_audit_log(flight):
    pourer, other = flight.pourer.user.id, flight.buyer.user.id
    flight.buyer.client.patch(flight.address, {"pourers": [str(other)]})
    flight.buyer.client.patch(flight.address, {"remarks": "rain"})

    entries = [
        (one.who_id, one.about["added"], one.about["removed"])
        for one in AuditEntry.objects.filter(what="pourers_change", about__flight=flight.id).order_by("at")
    ]
    assert entries == [(other, [str(pourer)], []), (other, [str(other)], [str(pourer)])]
    assert UUID(flight.id)
