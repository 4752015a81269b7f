"""Triangle tests from the table to their answer."""

from threading import Barrier, Thread
from uuid import uuid4

import pytest
from django.db import connections

from tastings.models import Trial, TriangleTest
from teams.models import AuditEntry
from tests.factories import ABSENT_ID, LotFactory, person

pytestmark = pytest.mark.django_db


@pytest.fixture
def lots(taster):
    return LotFactory(team=taster.team), LotFactory(team=taster.team)


def record_test(who, lots, **fields):
    """Record a test of two lots; return its address."""
    made = uuid4()
    body = {"id": str(made), "lot": str(lots[0].id), "against": str(lots[1].id), "held_on": "2026-03-04", **fields}
    answer = who.client.post("/api/v1/triangle-tests/", body)
    assert answer.status_code == 201, answer.content
    return f"/api/v1/triangle-tests/{made}/"


def answer(who, address, *, correct, **fields):
    body = {"id": str(uuid4()), "correct": correct, **fields}
    response = who.client.post(f"{address}trials", body)
    return body["id"], response


def test_answers_are_counted_with_their_exact_probability(taster, lots):
    address = record_test(taster, lots)
    assert taster.client.get(address).json()["result"] is None
    for correct in [True] * 5 + [False]:
        answer(taster, address, correct=correct, taster=str(taster.user.id))
    result = taster.client.get(address).json()["result"]
    # ISO 4120:2021, table A.1 (as quoted in its worked tables): 5 of 6 right are needed at 0.05
    assert (result["n_correct"], result["n_tests"], result["least_correct"], result["different"]) == (5, 6, 5, True)
    assert result["p"] == pytest.approx(13 / 729, rel=2e-3)  # (C(6,5) 2 + 1) / 3^6, by hand


def test_the_same_test_twice_is_one_and_another_under_its_id_is_refused(taster, buyer, lots):
    body = {"id": str(uuid4()), "lot": str(lots[0].id), "against": str(lots[1].id), "held_on": "2026-03-04"}
    first, again = (taster.client.post("/api/v1/triangle-tests/", body) for _ in range(2))
    assert (first.status_code, again.status_code, again.json()) == (201, 201, first.json())
    for who, other in ((taster, {**body, "held_on": "2026-03-05"}), (buyer, body)):
        refused = who.client.post("/api/v1/triangle-tests/", other)
        assert [p["code"] for p in refused.json()["problems"]] == ["taken"]


def test_the_same_answer_twice_counts_once_and_a_withdrawn_one_not_at_all(taster, lots):
    address = record_test(taster, lots)
    made, _ = answer(taster, address, correct=True)
    again = taster.client.post(f"{address}trials", {"id": made, "correct": True})
    assert (again.status_code, again.json()["result"]["n_tests"]) == (201, 1)
    changed = taster.client.post(f"{address}trials", {"id": made, "correct": False})
    assert [p["code"] for p in changed.json()["problems"]] == ["taken"]
    assert taster.client.delete(f"{address}trials/{made}").status_code == 204
    assert taster.client.delete(f"{address}trials/{made}").status_code == 404
    assert taster.client.get(address).json()["result"] is None
    assert Trial.objects.count() == 1


@pytest.mark.parametrize(
    ("field", "value", "code"),
    [
        ("held_on", "yesterday", "date"),
        ("held_on", None, "required"),
        ("alpha", 0, "range"),
        ("alpha", 0.6, "range"),
        ("distinguishers", 1.1, "range"),
        ("lot", "no-id", "id"),
        ("against", str(ABSENT_ID), "unknown_parent"),
        ("id", "no-id", "id"),
        ("p", 0.1, "unknown_field"),
    ],
)
def test_what_does_not_hold_is_named_and_nothing_is_stored(taster, lots, field, value, code):
    body = {"id": str(uuid4()), "lot": str(lots[0].id), "against": str(lots[1].id), "held_on": "2026-03-04"}
    refused = taster.client.post("/api/v1/triangle-tests/", {**body, field: value})
    assert refused.status_code == 422
    assert [(p["field"], p["code"]) for p in refused.json()["problems"]] == [(field, code)]
    assert taster.client.get("/api/v1/triangle-tests/").json()["results"] == []


def test_a_tea_is_not_tested_against_itself(taster, lots):
    body = {"id": str(uuid4()), "lot": str(lots[0].id), "against": str(lots[0].id), "held_on": "2026-03-04"}
    assert [p["code"] for p in taster.client.post("/api/v1/triangle-tests/", body).json()["problems"]] == ["itself"]


def test_viewers_read_and_strangers_find_nothing(taster, viewer, stranger, lots):
    address = record_test(taster, lots)
    assert viewer.client.get(address).status_code == 200
    assert answer(viewer, address, correct=True)[1].status_code == 403
    absent = stranger.client.get(f"/api/v1/triangle-tests/{uuid4()}/")
    foreign = stranger.client.get(address)
    assert (foreign.status_code, foreign.content) == (404, absent.content)
    assert answer(stranger, address, correct=True)[1].status_code == 404
    theirs = LotFactory(team=stranger.team)
    body = {"id": str(uuid4()), "lot": str(lots[0].id), "against": str(theirs.id), "held_on": "2026-03-04"}
    assert [p["field"] for p in stranger.client.post("/api/v1/triangle-tests/", body).json()["problems"]] == ["lot"]


def test_tests_of_one_lot_are_listed(taster, lots):
    record_test(taster, lots)
    record_test(taster, (lots[1], lots[0]))
    found = taster.client.get("/api/v1/triangle-tests/", {"lot": str(lots[1].id)}).json()["results"]
    assert [row["lot"] for row in found] == [str(lots[1].id)]


def test_in_anothers_test_a_taster_records_and_withdraws_their_own_answers(taster, buyer, lots, team):
    colleague = person(team, "taster")
    address = record_test(taster, lots)
    theirs, _ = answer(taster, address, correct=True)
    refused = [
        answer(colleague, address, correct=True)[1],
        answer(colleague, address, correct=True, taster=str(taster.user.id))[1],
        colleague.client.delete(f"{address}trials/{theirs}"),
    ]
    own, made = answer(colleague, address, correct=False, taster=str(colleague.user.id))

    assert [(one.status_code, one.json()["problems"][0]["code"]) for one in refused] == [(403, "not_yours")] * 3
    assert (made.status_code, colleague.client.delete(f"{address}trials/{own}").status_code) == (201, 204)
    assert not AuditEntry.objects.exists()
    assert buyer.client.delete(f"{address}trials/{theirs}").status_code == 204
    assert [one.about["record"] for one in AuditEntry.objects.filter(what="correction")] == [theirs]


@pytest.mark.django_db(transaction=True)
def test_the_same_at_the_same_moment_is_made_once_and_nobody_sees_a_server_error(owner):
    lots = [LotFactory(team=owner.team) for _ in range(2)]
    test = {"id": str(uuid4()), "lot": str(lots[0].id), "against": str(lots[1].id), "held_on": "2026-03-04"}
    trial = {"id": str(uuid4()), "correct": True}

    def at_once(address, body):
        together, codes = Barrier(4, timeout=60), []

        def send():
            together.wait()
            codes.append(type(owner.client)(HTTP_AUTHORIZATION=f"Bearer {owner.token}").post(address, body).status_code)
            connections.close_all()

        threads = [Thread(target=send) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        return sorted(codes)

    assert at_once("/api/v1/triangle-tests/", test) == [201] * 4
    assert at_once(f"/api/v1/triangle-tests/{test['id']}/trials", trial) == [201] * 4
    assert at_once("/api/v1/shops/", {"name": "Harbour"}) == [201, 422, 422, 422]
    assert (TriangleTest.objects.count(), Trial.objects.count()) == (1, 1)


def test_tasters_are_chosen_and_the_test_waits_for_them_until_they_have_answered(taster, buyer, lots):
    viewer, second = person(taster.team, "viewer"), person(taster.team, "taster")
    address = record_test(taster, lots)
    people = [str(one.user.id) for one in (second, taster)]
    chosen = taster.client.put(f"{address}tasters", {"tasters": people, "answers_each": 2})
    assert [(one["user"], one["left"]) for one in chosen.json()["tasters"]] == [(people[0], 2), (people[1], 2)]

    def waiting(who):
        return len(who.client.get(f"/api/v1/triangle-tests/?waits_for={who.user.id}").json()["results"])

    given, _ = answer(second, address, correct=True, taster=people[0])
    before = waiting(second)
    answer(second, address, correct=False, taster=people[0])
    assert (before, waiting(second), waiting(taster), waiting(buyer)) == (1, 0, 1, 0)
    second.client.delete(f"{address}trials/{given}")
    assert waiting(second) == 1

    for sent, field, code in (
        ({"tasters": [str(viewer.user.id)]}, "tasters", "unknown_parent"),
        ({"tasters": [str(ABSENT_ID)]}, "tasters", "unknown_parent"),
        ({"tasters": people, "answers_each": 100}, "answers_each", "range"),
        ({"answers_each": 1}, "tasters", "required"),
    ):
        refused = buyer.client.put(f"{address}tasters", sent)
        assert [(p["field"], p["code"]) for p in refused.json()["problems"]] == [(field, code)]
    assert second.client.put(f"{address}tasters", {"tasters": people}).status_code == 403
    assert len(buyer.client.get(address).json()["tasters"]) == 2
    assert buyer.client.put(f"{address}tasters", {"tasters": []}).json()["tasters"] == []
