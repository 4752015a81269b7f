"""What a flight says: notes as they stood at the reveal, whenever they came, and nothing noted with the names known."""

from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from django.utils import timezone
from drf_spectacular.generators import SchemaGenerator

from tastings.actions.flights.answering import answer_flight
from tastings.actions.flights.jobs import enqueue_due_flights
from tastings.models import Flight
from tests.api.phone import change, sync
from tests.api.problems import refusal
from tests.api.test_schema import schema_errors
from tests.flights import flight_of, lot_in, reveal, row, taste, taste_all

pytestmark = pytest.mark.django_db
AFTER = timedelta(seconds=5)


@pytest.fixture
def flight(team, lexicon):
    return flight_of(team, n_lots=4, n_tasters=3)


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
    document = SchemaGenerator().get_schema(request=None, public=True)
    answer = answer_of(flight)

    assert schema_errors(document, "FlightAnswer", answer) == []
    assert schema_errors(document, "Flight", shown) == []
    assert schema_errors(document, "PouringPlan", flight.pourer.client.get(f"{flight.address}pouring").json()) == []
    assert {one["price"] for one in answer["measures"][0]["worth"]} == {20, 30, 40, 50}


def test_what_is_changed_with_the_names_known_does_not_count(flight):
    first = flight.cups_of(flight.tasters[0])[0]
    ids = taste(flight.tasters[0], first, liking=6)
    reveal(flight, reason="time is up")
    before = means(answer_of(flight))
    later = (timezone.now() + AFTER).isoformat()
    sync(flight.tasters[0].client, [change("note", ids.note, at=later, intensity=10)])

    assert row(flight).answer_wanted == 2  # the change is looked at, and found to be too late
    assert means(answer_of(flight)) == before
    sync(flight.tasters[0].client, [change("note", ids.note, at=later, deleted=True)])
    assert means(answer_of(flight)) == before
    assert before[lot_in(first)][0] == pytest.approx(6.0)


def test_what_was_noted_before_counts_though_it_comes_after(flight):
    first, second = flight.cups_of(flight.tasters[0])[:2]
    taste(flight.tasters[0], first, liking=6)
    reveal(flight, reason="time is up")
    assert means(answer_of(flight))[lot_in(second)][0] is None
    taste(flight.tasters[0], second, liking=3, started_at="2026-03-04T10:30:00Z")

    assert means(answer_of(flight))[lot_in(second)][0] == pytest.approx(3.0)


def test_value_that_was_overwritten_after_the_reveal_is_found_in_the_history(flight):
    first = flight.cups_of(flight.tasters[0])[0]
    ids = taste(flight.tasters[0], first, liking=6)
    sync(flight.tasters[0].client, [change("note", ids.note, at="2026-03-04T13:00:00Z", intensity=7)])
    reveal(flight, reason="time is up")
    sync(flight.tasters[0].client, [change("note", ids.note, at=(timezone.now() + AFTER).isoformat(), intensity=1)])

    assert means(answer_of(flight))[lot_in(first)][0] == pytest.approx(7.0)


def at_the_reveal(flight, *, later=timedelta(0)):
    """Return the moment of the reveal, or some time after it, as a phone sends it."""
    return (row(flight).revealed_at + later).isoformat()


TICK = timedelta(microseconds=1)


@pytest.mark.parametrize(("later", "liking"), [(timedelta(0), 2.0), (TICK, 6.0)])
def test_rating_of_the_moment_of_the_reveal_counts_and_a_later_one_does_not(flight, later, liking):
    first = flight.cups_of(flight.tasters[0])[0]
    ids = taste(flight.tasters[0], first, liking=6)
    reveal(flight, reason="time is up")
    sync(flight.tasters[0].client, [change("note", ids.note, at=at_the_reveal(flight, later=later), intensity=2)])

    assert means(answer_of(flight))[lot_in(first)][0] == pytest.approx(liking)


def test_overwritten_rating_of_the_moment_of_the_reveal_counts(flight):
    first = flight.cups_of(flight.tasters[0])[0]
    ids = taste(flight.tasters[0], first, liking=6)
    reveal(flight, reason="time is up")
    for later, liking in ((timedelta(0), 2), (AFTER, 9)):
        note = change("note", ids.note, at=at_the_reveal(flight, later=later), intensity=liking)
        sync(flight.tasters[0].client, [note])

    assert means(answer_of(flight))[lot_in(first)][0] == pytest.approx(2.0)


@pytest.mark.parametrize("what", ["session", "note"])
@pytest.mark.parametrize(("later", "liking"), [(timedelta(0), None), (TICK, 6.0)])
def test_deletion_of_the_moment_of_the_reveal_counts_and_a_later_one_does_not(flight, what, later, liking):
    first, second = flight.cups_of(flight.tasters[0])[:2]
    ids = taste(flight.tasters[0], first, liking=6)
    taste(flight.tasters[0], second, liking=3)
    reveal(flight, reason="time is up")
    gone = change(what, getattr(ids, what), at=at_the_reveal(flight, later=later), deleted=True)
    sync(flight.tasters[0].client, [gone])

    assert means(answer_of(flight))[lot_in(first)][0] == (liking and pytest.approx(liking))


@pytest.mark.parametrize(("later", "reasons"), [(timedelta(0), []), (TICK, ["after_the_reveal"])])
def test_session_of_the_moment_of_the_reveal_counts_and_a_later_one_does_not(flight, later, reasons):
    first = flight.cups_of(flight.tasters[0])[0]
    reveal(flight, reason="time is up")
    taste(flight.tasters[0], first, liking=6, at=at_the_reveal(flight, later=later))

    assert [one["reason"] for one in answer_of(flight)["left_out"]] == reasons


@pytest.mark.parametrize(("later", "liking"), [(timedelta(0), 5.0), (TICK, 4.0)])
def test_note_moved_to_another_infusion_after_the_reveal_does_not_count(flight, later, liking):
    taster = flight.tasters[0]
    first = flight.cups_of(taster)[0]
    ids, second, other = taste(taster, first, liking=4), str(uuid4()), str(uuid4())
    brew = {"session": ids.session, "number": 2, "steep_s": 60, "kettle_c": 100}
    note = {"session": ids.session, "infusion": second, "moment": "mouth", "descriptor": "liking", "intensity": 6}
    sync(taster.client, [change("infusion", second, **brew), change("note", other, **note)])
    reveal(flight, reason="time is up")
    moved = change("note", other, at=at_the_reveal(flight, later=later), infusion=ids.infusion)
    answer = sync(taster.client, [moved])

    assert answer["verdicts"][0]["verdict"] == "applied"
    assert means(answer_of(flight))[lot_in(first)][0] == pytest.approx(liking)


def test_sessions_that_do_not_count_are_listed_with_the_reason(flight):
    taster = flight.tasters[0]
    private, silent, late, good = flight.cups_of(taster)
    hidden = taste(taster, private, liking=9, private=True)
    mute = taste(taster, silent)
    taste(taster, good, liking=4)
    reveal(flight, reason="time is up")
    after = taste(taster, late, liking=9, at=timezone.now().isoformat())
    answer = answer_of(flight)

    assert {one["session"]: one["reason"] for one in answer["left_out"]} == {
        hidden.session: "private",
        mute.session: "no_liking",
        after.session: "after_the_reveal",
    }
    assert {lot for lot, (raw, _) in means(answer).items() if raw is not None} == {lot_in(good)}


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
