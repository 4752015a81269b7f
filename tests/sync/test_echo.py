"""Without echo: what stands as it was sent comes back with its verdict, so that nothing is missing and nothing else."""

from uuid import uuid4

import pytest

from table.phone.phone import with_standing
from table.phone.phone_state import UnsentChange
from tests.api.phone import change, post_sync, sync
from tests.api.problems import refusal
from tests.factories import LotFactory
from tests.sync.test_scope import past  # noqa: F401 - a fixture

pytestmark = pytest.mark.django_db
NEW = {"name": "Mist Ridge", "kind": "oolong"}


def by_id(changes):
    return {one["id"]: one for one in changes}


def complete(answer, sent):
    chunk = [UnsentChange(number=n, change=one, begins=True) for n, one in enumerate(sent)]
    return with_standing(answer, chunk)["changes"]


def test_answer_without_echo_is_completed_to_the_one_with_it(buyer, past):  # noqa: F811
    _, (old, (pour, *_)) = past
    before = sync(buyer.client, scope={"days": 30})
    standing = {"scope": {"days": 30}, "cursor": before["cursor"], "scope_token": before["scope_token"]}
    lot, twice, edited = (LotFactory(team=buyer.team, by=buyer.user) for _ in range(3))
    sent = [
        change("lot", **NEW),
        change("lot", lot.id, remarks="thin"),
        change("lot", twice.id, remarks="thin"),
        change("lot", twice.id, at="2026-03-04T12:31:00Z", remarks="round"),
        change("lot", edited.id, at="2020-01-01T00:00:00Z", name="Older", remarks="thin"),  # the name does not win
        change("lot", **NEW, price_per_kg=90.0),  # 90 when it comes back
        change("session", old.id, remarks="rain"),
        change("infusion", pour.id, remarks="thin"),  # out of scope
        change("infusion", session=str(uuid4()), number=1, steep_s=10),
    ]
    answer = sync(buyer.client, sent, **standing, echo=False)
    verdicts = [verdict["verdict"] for verdict in answer["verdicts"]]
    assert verdicts == [*["applied"] * 4, "merged", *["applied"] * 3, "refused"]
    assert ["record" in verdict for verdict in answer["verdicts"]] == [i in (0, 1, 6) for i in range(9)]
    assert by_id(complete(answer, sent)) == by_id(sync(buyer.client, **standing)["changes"])


def test_what_comes_on_a_later_page_is_not_described_before(taster):
    sent = [change("lot", **NEW) for _ in range(3)]
    first = sync(taster.client, sent, limit=5, echo=False)  # shop, member and three lots
    assert [("record" in verdict, first["more"]) for verdict in first["verdicts"]] == [(True, False)] * 3
    more = [change("lot", **NEW) for _ in range(3)]
    page = sync(taster.client, more, limit=2, cursor=first["cursor"], echo=False)
    assert ["record" in verdict for verdict in page["verdicts"]] == [True, True, False]
    rest = sync(taster.client, cursor=page["cursor"], echo=False)["changes"]
    assert [one["id"] for one in rest] == [more[2]["id"]]
    assert refusal(post_sync(taster.client, echo=1))[2] == {("echo", "type")}
