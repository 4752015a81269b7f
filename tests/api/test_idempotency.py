"""``Idempotency-Key`` after draft-ietf-httpapi-idempotency-key-header-07: what is sent twice is done once."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.utils import timezone

from teams.actions import stored_answers
from teams.actions.clean_up import delete_expired
from teams.actions.stored_answers import LOST_AFTER, RETENTION, reserve_key
from teams.models import Shop, StoredAnswer
from tests.api.phone import NEW_RECORD
from tests.api.problems import refusal
from tests.api.records import Place

SHOPS = "/api/v1/shops/"


def post_shop(who, key, name="Harbour", address=SHOPS):
    return who.client.post(address, {"name": name}, HTTP_IDEMPOTENCY_KEY=key)


def shops_of(who):
    return Shop.objects.filter(team=who.team, name="Harbour").count()


def test_request_without_the_key_is_carried_out_twice(owner):
    assert [owner.client.post(SHOPS, {"name": f"Harbour {n}"}).status_code for n in range(2)] == [201, 201]
    assert not StoredAnswer.objects.exists()


@pytest.mark.parametrize("key", ['"8e03978e-40d5-43dd-bc93-6894a57f9324"', "8e03978e-40d5-43dd-bc93-6894a57f9324"])
def test_repeat_gets_the_first_answer_and_is_not_carried_out(owner, key):
    first, again = (post_shop(owner, key) for _ in range(2))

    assert (first.status_code, again.status_code, shops_of(owner)) == (201, 201, 1)
    assert again.content == first.content
    assert {name: again[name] for name in ("Content-Type", "Content-Language")} == {
        name: first[name] for name in ("Content-Type", "Content-Language")
    }


def test_repeat_of_a_change_leaves_what_came_since(taster):
    address, key = f"/api/v1/lots/{Place(taster).lot.id}/", {"HTTP_IDEMPOTENCY_KEY": "a"}
    first = taster.client.patch(address, {"name": "First"}, **key)
    taster.client.patch(address, {"name": "Second"})
    again = taster.client.patch(address, {"name": "First"}, **key)

    assert (again.status_code, again.json(), again["ETag"]) == (200, first.json(), first["ETag"])
    assert taster.client.get(address).json()["name"] == "Second"


def test_key_with_another_body_or_address_is_refused(owner):
    post_shop(owner, "a")
    other = [post_shop(owner, "a", name="Other"), post_shop(owner, "a", address="/api/v1/shops")]
    lot = owner.client.post("/api/v1/lots/", {"id": str(uuid4()), **NEW_RECORD["lot"]}, HTTP_IDEMPOTENCY_KEY="a")

    assert [refusal(answer) for answer in (*other, lot)] == [(422, "key-reused", set())] * 3
    assert shops_of(owner) == 1


def test_request_whose_first_is_still_answered_is_refused(owner):
    post_shop(owner, "a")
    StoredAnswer.objects.update(status=None)

    assert refusal(post_shop(owner, "a")) == (409, "key-in-use", set())


def test_request_whose_process_ended_is_carried_out_again_later(owner):
    now = timezone.now()
    reserve_key(owner.member, key="a", request="0" * 64, now=now - LOST_AFTER)

    assert post_shop(owner, "a").status_code == 201


def test_refused_request_leaves_its_key_free(owner):
    assert refusal(post_shop(owner, "a", name=""))[0] == 422
    assert post_shop(owner, "a").status_code == 201


def test_keys_are_each_members_own(owner, stranger):
    assert [post_shop(who, "a").status_code for who in (owner, stranger)] == [201, 201]
    assert (shops_of(owner), shops_of(stranger)) == (1, 1)


def test_answers_are_stored_for_a_day(owner):
    post_shop(owner, "a")
    now = timezone.now()
    delete_expired(now=now + RETENTION - timedelta(minutes=1))
    assert StoredAnswer.objects.count() == 1
    delete_expired(now=now + RETENTION + timedelta(minutes=1))
    assert StoredAnswer.objects.count() == 0


def test_answers_of_one_member_are_bounded_and_the_oldest_go_first(owner, stranger, monkeypatch):
    monkeypatch.setattr(stored_answers, "MAX_PER_MEMBER", 2)
    post_shop(stranger, "a")
    for key in "abc":
        post_shop(owner, key, name=f"Harbour {key}")

    assert sorted(StoredAnswer.objects.filter(member=owner.member).values_list("key", flat=True)) == ["b", "c"]
    assert StoredAnswer.objects.filter(member=stranger.member).count() == 1


def test_key_that_is_older_than_a_day_is_free_before_it_is_cleaned_up(owner):
    post_shop(owner, "a")
    StoredAnswer.objects.update(created_at=timezone.now() - RETENTION)

    assert post_shop(owner, "a", name="Other").status_code == 201


@pytest.mark.parametrize("key", ["", '""', "x" * 256, "a\tb", "ü"])
def test_what_is_no_key_is_refused(owner, key):
    assert refusal(post_shop(owner, key)) == (400, "invalid-key", set())


def test_answers_with_a_secret_are_not_stored(owner):
    sent = {"role": "taster", "shop": str(owner.member.shop_id)}
    made = [owner.client.post("/api/v1/invitations/", sent, HTTP_IDEMPOTENCY_KEY="a").json()["token"] for _ in "ab"]

    assert len(set(made)) == 2
    assert not StoredAnswer.objects.exists()


def test_key_without_a_token_is_refused_as_without_a_key(db, client):
    assert refusal(client.post(SHOPS, {"name": "Harbour"}, HTTP_IDEMPOTENCY_KEY="a"))[:2] == (401, "not-authenticated")
