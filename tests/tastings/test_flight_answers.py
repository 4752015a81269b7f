"""What a flight says: notes as the server had them at the reveal, and nothing that came later."""

from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from django.utils import timezone

from tastings.actions.flights.answering import answer_flight
from tastings.actions.flights.jobs import enqueue_due_flights
from tastings.actions.lexicon import load_lexicon
from tastings.models import Flight, Session
from tests.api.openapi import schema_errors
from tests.api.phone import change, sync
from tests.api.problems import refusal
from tests.api.world import undone
from tests.factories import TeamFactory
from tests.flights import flight_of, lot_in, reveal, row, taste, taste_all

pytestmark = pytest.mark.django_db
AFTER = timedelta(seconds=5)


@pytest.fixture(scope="module")
def planned(django_db_setup, django_db_blocker):
    """A flight that nobody has tasted yet; what a test does is undone with the test."""
    with django_db_blocker.unblock(), undone():
        load_lexicon()
        yield flight_of(TeamFactory(), n_lots=4, n_tasters=3)


@pytest.fixture
def flight(planned, db):
    return planned


@pytest.fixture
def team(planned, db):
    return planned.buyer.team


@pytest.fixture
def lexicon(planned):
    """Loaded with the flight."""


def answer_of(flight):
    """Return the answer once a worker has made it."""
    answer_flight(UUID(flight.id), now=timezone.now())
    answer = flight.buyer.client.get(f"{flight.address}answer")
    assert answer.status_code == 200, answer.content
    return answer.json()


def means(answer, measure="liking"):
    """Return each lot's plain and adjusted mean, in the order of the lots' ids."""
    found = next(one for one in answer["measures"] if one["measure"] == measure)
    return {one["lot"]: (one["raw_mean"], one["mean"]) for one in found["standings"]}


def test_answer_comes_after_the_reveal_and_names_the_best(flight):
    taste_all(flight, quality=lambda lot, taster: 3.0 + 1.5 * lot + 0.5 * taster)
    early = flight.buyer.client.get(f"{flight.address}answer")
    reveal(flight)
    waiting = flight.buyer.client.get(f"{flight.address}answer").json()
    answer = answer_of(flight)
    [measure] = answer["measures"]

    assert refusal(early)[:2] == (409, "wrong-state")
    assert (waiting["stale"], waiting["measures"], answer["stale"]) == (True, [], False)
    assert [one["lot"] for one in measure["standings"]] == [str(lot.id) for lot in reversed(flight.lots)]
    assert measure["standings"][0]["p_best"] > 0.9
    assert measure["sentence"].startswith("Sample 3 is the best of the four lots")
    assert measure["standings"][0]["raw_mean"] == pytest.approx(8.0)


def test_answer_is_as_documented(flight):
    taste_all(flight, quality=lambda lot, taster: 4.0 + lot)
    for lot, price in zip(flight.lots, (20, 30, 40, 50), strict=True):
        flight.buyer.client.patch(f"/api/v1/lots/{lot.id}/", {"price_per_kg": price, "currency": "EUR"})
    shown = reveal(flight)
    answer = answer_of(flight)

    assert schema_errors("FlightAnswer", answer) == []
    assert schema_errors("Flight", shown) == []
    assert schema_errors("PouringPlan", flight.pourer.client.get(f"{flight.address}pouring").json()) == []
    assert {one["price"] for one in answer["measures"][0]["worth"]} == {20, 30, 40, 50}


@pytest.mark.parametrize("at", ["2026-03-04T12:50:00Z", None])
def test_what_is_changed_after_the_reveal_does_not_count_whatever_moment_it_claims(flight, at):
    first = flight.cups_of(flight.tasters[0])[0]
    ids = taste(flight.tasters[0], first, liking=6)
    reveal(flight, reason="time is up")
    before = means(answer_of(flight))
    at = at or (timezone.now() + AFTER).isoformat()
    sync(flight.tasters[0].client, [change("note", ids.note, at=at, intensity=10)])

    assert means(answer_of(flight)) == before
    sync(flight.tasters[0].client, [change("note", ids.note, at=timezone.now().isoformat(), deleted=True)])
    sync(flight.tasters[0].client, [change("session", ids.session, at=timezone.now().isoformat(), private=True)])
    assert means(answer_of(flight)) == before
    assert before[lot_in(first)][0] == pytest.approx(6.0)


def test_what_the_server_had_at_the_reveal_counts_whatever_moment_it_claims(flight):
    first = flight.cups_of(flight.tasters[0])[0]
    taste(flight.tasters[0], first, liking=6, at=(timezone.now() + timedelta(seconds=90)).isoformat())
    reveal(flight, reason="time is up")

    assert means(answer_of(flight))[lot_in(first)][0] == pytest.approx(6.0)


def test_a_session_that_is_said_to_begin_earlier_after_the_reveal_leaves_the_order_of_tasting(flight):
    """Its place in the sitting goes into the figures: carry-over and position."""
    taste_all(flight, quality=lambda lot, taster: 3.0 + lot)
    reveal(flight)
    before = answer_of(flight)
    moved = Session.objects.filter(taster=flight.tasters[0].user).order_by("started_at").last()
    at = timezone.now().isoformat()
    sync(flight.tasters[0].client, [change("session", moved.id, at=at, started_at="2026-03-04T08:00:00Z")])
    Flight.objects.filter(id=flight.id).update(answer_wanted=9)

    assert answer_of(flight)["measures"] == before["measures"]


def test_scores_of_a_flight_that_was_revealed_before_they_were_frozen_are_frozen_once(flight):
    first = flight.cups_of(flight.tasters[0])[0]
    ids = taste(flight.tasters[0], first, liking=6)
    reveal(flight, reason="time is up")
    Flight.objects.filter(id=flight.id).update(counted=None)
    before = means(answer_of(flight))
    sync(flight.tasters[0].client, [change("note", ids.note, at=timezone.now().isoformat(), intensity=1)])
    Flight.objects.filter(id=flight.id).update(answer_wanted=9)

    assert means(answer_of(flight)) == before
    assert before[lot_in(first)][0] == pytest.approx(6.0)


def test_reveal_freezes_live_ratings_of_liking_with_their_place(flight, team):
    other = flight_of(team, n_lots=2, n_tasters=1)
    taste(other.tasters[0], other.cups_of(other.tasters[0])[0], liking=1)
    taster = flight.tasters[0]
    cup, hidden_cup, deleted_cup, _ = flight.cups_of(taster)
    ids = taste(taster, cup, liking=6.5)
    whole, bare, gone = uuid4(), uuid4(), uuid4()
    of_session = {"session": ids.session, "moment": "finish"}
    notes = [
        change("note", whole, descriptor="liking", intensity=8, **of_session),
        change("note", bare, descriptor="liking", **of_session),
        change("note", gone, descriptor="liking", intensity=1, **of_session),
        change("note", gone, at="2026-03-04T12:50:00Z", deleted=True),
        change("note", descriptor="strength", intensity=3, **of_session),
    ]
    sync(taster.client, notes)
    hidden = taste(taster, hidden_cup, liking=9, private=True, started_at="2026-03-04T10:05:00Z")
    deleted = taste(taster, deleted_cup, liking=2)
    sync(taster.client, [change("session", deleted.session, at="2026-03-04T12:50:00Z", deleted=True)])
    reveal(flight, reason="time is up")

    counted = row(flight).counted
    assert counted["revision"] > 0
    assert sorted(counted["sessions"], key=lambda one: one["private"]) == [
        {
            "session": ids.session,
            "taster": str(taster.user.id),
            "lot": lot_in(cup),
            "sitting": 1,
            "began": "2026-03-04T10:00:00.000000Z",
            "private": False,
            "ratings": sorted(
                [
                    {"note": ids.note, "infusion": ids.infusion, "moment": "mouth", "points": 6.5},
                    {"note": str(whole), "infusion": "", "moment": "finish", "points": 8.0},
                ],
                key=lambda rating: rating["note"],
            ),
            "cup": cup["id"],
            "admitted_by": None,
            "admitted_at": None,
        },
        {
            "session": hidden.session,
            "taster": str(taster.user.id),
            "lot": lot_in(hidden_cup),
            "sitting": 1,
            "began": "2026-03-04T10:05:00.000000Z",
            "private": True,
            "ratings": [],
            "cup": hidden_cup["id"],
            "admitted_by": None,
            "admitted_at": None,
        },
    ]


def test_sessions_that_do_not_count_are_listed_with_the_reason(flight):
    taster = flight.tasters[0]
    private, silent, late, good = flight.cups_of(taster)
    hidden = taste(taster, private, liking=9, private=True)
    mute = taste(taster, silent)
    taste(taster, good, liking=4)
    reveal(flight, reason="time is up")
    taste(taster, late, liking=9, at=timezone.now().isoformat())
    answer = answer_of(flight)

    assert {one["session"]: one["reason"] for one in answer["left_out"]} == {
        hidden.session: "private",
        mute.session: "no_liking",
    }
    assert {lot for lot, (raw, _) in means(answer).items() if raw is not None} == {lot_in(good)}


def test_cup_counts_once_however_often_its_taster_sends_it(flight):
    """A taster could else decide the flight by sending the cup of a favourite again and again."""
    taster = flight.tasters[0]
    cup = flight.cups_of(taster)[0]
    silent = taste(taster, cup, started_at="2026-03-04T09:00:00Z")
    first = taste(taster, cup, liking=4)
    again = [taste(taster, cup, liking=10, started_at=f"2026-03-04T11:{i:02}:00Z") for i in range(12)]
    reveal(flight, reason="time is up")
    answer = answer_of(flight)
    standing = next(one for one in answer["measures"][0]["standings"] if one["lot"] == lot_in(cup))

    assert (standing["cups"], standing["raw_mean"]) == (1, pytest.approx(4.0))
    reasons = {one["session"]: one["reason"] for one in answer["left_out"]}
    assert reasons == {silent.session: "no_liking", **{one.session: "same_cup" for one in again}}
    assert first.session not in reasons


def test_of_two_sessions_of_a_cup_the_one_with_every_factor_counts(team, lexicon):
    shares = {"dry_leaf": 0, "liquor_colour": 1, "aroma": 0, "taste": 99, "spent_leaf": 0}
    flight = flight_of(team, n_lots=2, n_tasters=1, **{f"weight_{name}_pct": share for name, share in shares.items()})
    taster = flight.tasters[0]
    cup = flight.cups_of(taster)[0]
    broken_off = taste(taster, cup, liking=9)
    whole = taste(taster, cup, liking=7, started_at="2026-03-04T11:00:00Z")
    liquor = {"session": whole.session, "moment": "liquor", "descriptor": "liking", "intensity": 6}
    sync(taster.client, [change("note", **liquor)])
    reveal(flight, reason="time is up")
    answer = answer_of(flight)

    assert [(one["session"], one["reason"]) for one in answer["left_out"]] == [(broken_off.session, "same_cup")]
    assert means(answer, "liking")[lot_in(cup)][0] == pytest.approx(7.0)


def test_weighted_score_takes_each_factor_from_its_moment(team, lexicon):
    flight = flight_of(team, n_lots=2, n_tasters=1, weights_for="oolong")
    taster = flight.tasters[0]
    cup, other = flight.cups_of(taster)
    ids = taste(taster, cup, liking=7)
    likings = {"dry_leaf": 5, "liquor": 6, "lid": 9, "warmed_leaf": 7, "spent_leaf": 4}
    notes = [
        change("note", session=ids.session, moment=moment, descriptor="liking", intensity=points)
        for moment, points in likings.items()
    ]
    sync(taster.client, notes)
    taste(taster, other, liking=5)
    reveal(flight)
    answer = answer_of(flight)

    # GB/T 23776 weights of oolong, from memory: 20 dry leaf, 5 liquor, 30 aroma, 35 taste, 10 spent leaf
    expected = (20 * 50 + 5 * 60 + 30 * 80 + 35 * 70 + 10 * 40) / 100
    assert means(answer, "weighted")[lot_in(cup)][0] == pytest.approx(expected)
    assert [one["reason"] for one in answer["left_out"]] == ["factors_missing"]
    assert means(answer, "liking")[lot_in(other)][0] == pytest.approx(5.0)


def test_only_factors_that_carry_weight_are_needed(team, lexicon):
    shares = {"dry_leaf": 0, "liquor_colour": 1, "aroma": 0, "taste": 99, "spent_leaf": 0}
    flight = flight_of(team, n_lots=2, n_tasters=1, **{f"weight_{name}_pct": share for name, share in shares.items()})
    taster = flight.tasters[0]
    both, taste_alone = flight.cups_of(taster)
    ids = taste(taster, both, liking=7)
    note = {"session": ids.session, "moment": "liquor", "descriptor": "liking", "intensity": 6}
    sync(taster.client, [change("note", **note)])
    taste(taster, taste_alone, liking=5)
    reveal(flight)
    answer = answer_of(flight)

    assert means(answer, "weighted")[lot_in(both)][0] == pytest.approx((1 * 60 + 99 * 70) / 100)
    assert [one["reason"] for one in answer["left_out"]] == ["factors_missing"]


def test_liking_of_the_whole_cup_stands_before_that_of_its_infusions(flight):
    taster = flight.tasters[0]
    cup = flight.cups_of(taster)[0]
    ids = taste(taster, cup, liking=2)
    whole = {"session": ids.session, "moment": "finish", "descriptor": "liking", "intensity": 8}
    sync(taster.client, [change("note", **whole)])
    reveal(flight, reason="time is up")

    assert means(answer_of(flight))[lot_in(cup)][0] == pytest.approx(8.0)


def test_lost_jobs_are_asked_for_again(flight, django_capture_on_commit_callbacks):
    reveal(flight, reason="time is up")
    now = timezone.now()
    assert enqueue_due_flights(now=now) == 0
    assert enqueue_due_flights(now=now + timedelta(minutes=3)) == 1
    answer_flight(UUID(flight.id), now=now)
    assert enqueue_due_flights(now=now + timedelta(minutes=9)) == 0
    Flight.objects.filter(id=flight.id).update(state="tasting", revealed_at=None, plan_wanted=9)
    assert enqueue_due_flights(now=now + timedelta(minutes=9)) == 1


def test_answer_of_an_earlier_method_is_computed_again(flight):
    taste_all(flight, quality=lambda lot, taster: 4.0 + lot)
    reveal(flight)
    before = answer_of(flight)
    Flight.objects.filter(id=flight.id).update(answer={"measures": [{"measure": "liking"}], "left_out": []})
    unreadable = flight.buyer.client.get(f"{flight.address}answer").json()
    page = flight.buyer.client.get(f"/flights/{flight.id}/")
    now = timezone.now()

    assert (unreadable["stale"], unreadable["measures"], page.status_code) == (True, [], 200)
    assert enqueue_due_flights(now=now) == 1
    assert enqueue_due_flights(now=now) == 0
    assert answer_of(flight)["measures"] == before["measures"]
    assert enqueue_due_flights(now=now) == 0


def test_reference_is_told_apart_from_the_candidates(team, lexicon):
    known = flight_of(team, n_lots=2).lots[0]
    flight = flight_of(team, n_lots=3, n_tasters=2, reference=str(known.id), cups_per_sitting=4)
    taste_all(flight, quality=lambda lot, taster: 5.0 + lot)
    reveal(flight)
    [measure] = answer_of(flight)["measures"]

    assert [one["lot"] for one in measure["controls"]] == [str(known.id)]
    assert str(known.id) not in {one["lot"] for one in measure["standings"]}
