"""Records and outbox: unsent edits on top of pulled records, verdicts, pulling everything anew."""

from datetime import UTC, datetime, timedelta
from uuid import UUID

import pytest

from table.phone import MemoryStore
from table.phone.ids import new_id
from tests.table.scripted import apply_all, page, pulled, response, signed_in_phone, verdict_on

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)
TEA = {"name": "Mist Ridge", "kind": "oolong"}
START_AGAIN = response(410, {"type": "/problems/start-again", "title": "Start again", "status": 410})


def refusal(change, code):
    return verdict_on(change, verdict="refused", problems=[code])


def test_at_rises_strictly_whatever_the_clock_does():
    clock = iter([NOON, NOON, NOON - timedelta(hours=1), NOON + timedelta(seconds=1)])
    phone, _, _ = signed_in_phone(clock=lambda: next(clock))
    for _ in range(4):
        phone.edit("lot", "lot-1", {"remarks": "thin"})
    assert [u.change["at"] for u in phone.unsent] == [
        "2026-03-04T12:00:00.000000Z",
        "2026-03-04T12:00:00.000001Z",
        "2026-03-04T12:00:00.000002Z",
        "2026-03-04T12:00:01.000000Z",
    ]


def test_edit_keeps_the_time_that_is_given():
    phone, _, _ = signed_in_phone(clock=lambda: NOON)
    phone.edit("lot", "lot-1", {"remarks": "thin"}, at=NOON - timedelta(days=1))
    phone.edit("lot", "lot-1", {"remarks": "thin"})
    assert [u.change["at"][:10] for u in phone.unsent] == ["2026-03-03", "2026-03-04"]


def test_ids_are_of_version_7_and_sort_by_moment():
    ids = [new_id(NOON + timedelta(milliseconds=i)) for i in range(3)]
    assert ids == sorted(ids)
    assert {(UUID(i).version, UUID(i).variant) for i in ids} == {(7, "specified in RFC 4122")}
    assert UUID(ids[0]).int >> 80 == NOON.timestamp() * 1000


def test_unsent_edits_are_shown_on_top_of_the_pulled_record():
    phone, _, _ = signed_in_phone(page(pulled(name="Mist Ridge", remarks=None), cursor=1))
    phone.sync()
    phone.edit("lot", "lot-1", {"remarks": "thin"})
    shown = phone.record("lot-1")
    assert (shown.fields, shown.unsent) == ({"name": "Mist Ridge", "remarks": "thin"}, True)
    phone.delete("lot", "lot-1")
    assert (phone.record("lot-1"), phone.records("lot")) == (None, [])
    phone.edit("lot", "lot-1", {"remarks": "round"})
    assert phone.record("lot-1").fields["remarks"] == "round"


def test_sent_change_is_shown_until_it_is_pulled():
    def server(body):
        return page(cursor=3, more=True, verdicts=[verdict_on(body["changes"][0], revision=7)])

    phone, script, _ = signed_in_phone(server)
    record = phone.create("lot", TEA)
    script.answers.append(response(503))
    script.answers += [response(503)] * 3
    with pytest.raises(Exception, match="503"):
        phone.sync()
    assert (phone.unsent, phone.record(record).fields) == ([], TEA)
    script.answers = [page(pulled(record, revision=7, **TEA), cursor=7)]
    phone.sync()
    assert (phone.record(record).revision, phone.record(record).unsent) == (7, False)


def test_infusions_of_a_deleted_session_are_not_shown():
    phone, _, _ = signed_in_phone()
    session = phone.create("session", {"lot": "lot-1"})
    infusion = phone.create("infusion", {"session": session, "number": 1})
    assert [record.id for record in phone.records("infusion")] == [infusion]
    phone.delete("session", session)
    assert (phone.records("infusion"), phone.record(infusion)) == ([], None)


def test_edit_of_an_unknown_record_shows_nothing():
    phone, _, _ = signed_in_phone()
    phone.edit("lot", "lot-1", {"remarks": "thin"})
    assert phone.record("lot-1") is None


@pytest.mark.parametrize("code", ["unknown_parent", "unknown_record"])
def test_change_that_lacks_another_record_stays_in_the_outbox(code):
    phone, _, _ = signed_in_phone(lambda body: page(verdicts=[refusal(body["changes"][0], code)]))
    phone.edit("lot", "lot-1", {"remarks": "thin"})
    (outcome,) = phone.sync().outcomes
    assert (outcome.will_retry, [u.problems[0]["code"] for u in phone.unsent], phone.refused) == (True, [code], [])
    assert phone.sync().verdicts == {"applied": 1}


def test_edits_wait_for_the_creation_of_their_record():
    def not_yet(body):
        return page(
            verdicts=[refusal(c, "unknown_parent" if "kind" in c["fields"] else "required") for c in body["changes"]]
        )

    phone, _, _ = signed_in_phone(not_yet)
    record = phone.create("lot", TEA)
    phone.edit("lot", record, {"remarks": "thin"})
    phone.sync()
    assert (len(phone.unsent), phone.refused) == (2, [])
    assert phone.sync().verdicts == {"applied": 2}


def test_waiting_change_is_sent_in_the_same_sync_once_its_parent_is_there():
    known = set()

    def server(body):
        verdicts = []
        for c in body["changes"]:
            lacks = c["type"] == "session" and c["fields"]["lot"] not in known
            known.update([] if lacks else [c["id"]])
            verdicts.append(refusal(c, "unknown_parent") if lacks else verdict_on(c))
        return page(verdicts=verdicts)

    phone, _, _ = signed_in_phone(*[server] * 9, max_changes=1, order=lambda unsent: unsent[::-1])
    lot = phone.create("lot", TEA)
    phone.create("session", {"lot": lot})
    assert phone.sync().verdicts == {"refused": 1, "applied": 2}
    assert phone.unsent == []


def test_refused_change_is_listed_and_can_be_corrected():
    phone, _, _ = signed_in_phone(lambda body: page(verdicts=[refusal(body["changes"][0], "range")]))
    record = phone.create("lot", TEA | {"quantity_g": -1})
    phone.sync()
    assert (phone.unsent, phone.record(record)) == ([], None)
    (refused,) = phone.refused
    assert refused.problems[0]["code"] == "range"
    phone.amend(refused, {"quantity_g": 1})
    assert (phone.refused, phone.record(record).fields) == ([], TEA | {"quantity_g": 1})
    assert phone.sync().verdicts == {"applied": 1}


def phone_to_start_again(*answers):
    """Return a phone with two lots and an unsent edit that gets a 410, and its transport."""
    first = page(pulled("lot-1", name="one"), pulled("lot-2", name="two"), cursor=5)
    phone, script, _ = signed_in_phone(first, START_AGAIN, *answers)
    phone.sync()
    phone.edit("lot", "lot-2", {"remarks": "unsent"})
    return phone, script


def test_start_again_pulls_everything_and_removes_what_did_not_come():
    def first_page(body):
        return page(pulled("lot-2", name="two"), cursor=3, more=True, verdicts=[verdict_on(body["changes"][0])])

    phone, script = phone_to_start_again(first_page, page(pulled("lot-3", name="three"), cursor=9))
    report = phone.sync()
    assert (report.started_again, report.verdicts) == (True, {"applied": 1})
    assert [body["cursor"] for body in script.sent] == [0, 5, 0, 3]
    assert script.sent[1]["changes"] == script.sent[2]["changes"]
    assert [record.id for record in phone.records("lot")] == ["lot-2", "lot-3"]


def test_full_pull_is_continued_after_a_crash():
    phone, script = phone_to_start_again(
        lambda b: page(pulled("lot-2", name="two"), cursor=3, more=True, verdicts=[verdict_on(b["changes"][0])]),
        *[response(503)] * 4,
    )
    with pytest.raises(Exception, match="503"):
        phone.sync()
    assert [record.id for record in phone.records("lot")] == ["lot-1", "lot-2"]
    restarted = MemoryStore()
    restarted.append(phone._store.state.snapshot())
    phone, script, _ = signed_in_phone(page(pulled("lot-3", name="three"), cursor=9), store=restarted)
    phone.sync()
    assert script.sent[0]["cursor"] == 3
    assert [record.id for record in phone.records("lot")] == ["lot-2", "lot-3"]


def test_second_410_raises():
    phone, _ = phone_to_start_again(START_AGAIN, START_AGAIN)
    with pytest.raises(Exception, match="410"):
        phone.sync()
    assert len(phone.unsent) == 1


def test_nothing_new_sends_one_request():
    phone, script, _ = signed_in_phone(apply_all)
    phone.sync()
    assert len(script.sent) == 1
