"""What a phone shows and keeps: unsent edits over what was pulled, verdicts, full passes."""

from datetime import UTC, datetime, timedelta
from uuid import UUID

import pytest

from table.phone import MemoryStore
from table.phone.ids import new_id
from tests.table.scripted import answer, applied, on, page, pulled, takes_all

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)
TEA = {"name": "Mist Ridge", "kind": "oolong"}
START_AGAIN = answer(410, {"type": "/problems/start-again", "title": "Start again", "status": 410})


def test_moments_rise_strictly_whatever_the_clock_does():
    clock = iter([NOON, NOON, NOON - timedelta(hours=1), NOON + timedelta(seconds=1)])
    phone, _, _ = on(clock=lambda: next(clock))
    for _ in range(4):
        phone.edit("lot", "lot-1", {"remarks": "thin"})
    assert [u.change["at"] for u in phone.unsent] == [
        "2026-03-04T12:00:00.000000Z",
        "2026-03-04T12:00:00.000001Z",
        "2026-03-04T12:00:00.000002Z",
        "2026-03-04T12:00:01.000000Z",
    ]


def test_what_was_on_paper_keeps_its_moment():
    phone, _, _ = on(clock=lambda: NOON)
    phone.edit("lot", "lot-1", {"remarks": "thin"}, at=NOON - timedelta(days=1))
    phone.edit("lot", "lot-1", {"remarks": "thin"})
    assert [u.change["at"][:10] for u in phone.unsent] == ["2026-03-03", "2026-03-04"]


def test_ids_are_of_version_7_and_sort_by_moment():
    ids = [new_id(NOON + timedelta(milliseconds=i)) for i in range(3)]
    assert ids == sorted(ids)
    assert {(UUID(i).version, UUID(i).variant) for i in ids} == {(7, "specified in RFC 4122")}
    assert UUID(ids[0]).int >> 80 == NOON.timestamp() * 1000


def test_unsent_edits_lie_over_what_was_pulled():
    phone, _, _ = on(page(pulled(name="Mist Ridge", remarks=None), cursor=1))
    phone.sync()
    phone.edit("lot", "lot-1", {"remarks": "thin"})
    shown = phone.record("lot-1")
    assert (shown.fields, shown.unsent) == ({"name": "Mist Ridge", "remarks": "thin"}, True)
    phone.delete("lot", "lot-1")
    assert (phone.record("lot-1"), phone.records("lot")) == (None, [])
    phone.edit("lot", "lot-1", {"remarks": "round"})
    assert phone.record("lot-1").fields["remarks"] == "round"


def test_what_was_sent_is_shown_until_it_is_pulled():
    phone, script, _ = on(lambda b: page(cursor=3, more=True, verdicts=[applied(b["changes"][0], revision=7)]))
    record = phone.new("lot", TEA)
    script.answers.append(answer(503))
    script.answers += [answer(503)] * 3
    with pytest.raises(Exception, match="503"):
        phone.sync()
    assert (phone.unsent, phone.record(record).fields) == ([], TEA)
    script.answers = [page(pulled(record, revision=7, **TEA), cursor=7)]
    phone.sync()
    assert (phone.record(record).revision, phone.record(record).unsent) == (7, False)


def test_what_hangs_on_a_deleted_session_is_gone_with_it():
    phone, _, _ = on()
    session = phone.new("session", {"lot": "lot-1"})
    infusion = phone.new("infusion", {"session": session, "number": 1})
    assert [record.id for record in phone.records("infusion")] == [infusion]
    phone.delete("session", session)
    assert (phone.records("infusion"), phone.record(infusion)) == ([], None)


def test_an_edit_of_what_is_not_here_shows_nothing():
    phone, _, _ = on()
    phone.edit("lot", "lot-1", {"remarks": "thin"})
    assert phone.record("lot-1") is None


@pytest.mark.parametrize("code", ["unknown_parent", "unknown_record"])
def test_what_lacks_something_stays_to_be_sent_again(code):
    phone, _, _ = on(lambda b: page(verdicts=[applied(b["changes"][0], word="refused", problems=[code])]))
    phone.edit("lot", "lot-1", {"remarks": "thin"})
    (outcome,) = phone.sync().outcomes
    assert (outcome.stays, [u.problems[0]["code"] for u in phone.unsent], phone.refused) == (True, [code], [])
    assert phone.sync().words == {"applied": 1}


def test_edits_of_a_record_that_waits_do_wait_with_it():
    def not_yet(body):
        return page(
            verdicts=[
                applied(c, word="refused", problems=["unknown_parent" if "kind" in c["fields"] else "required"])
                for c in body["changes"]
            ]
        )

    phone, _, _ = on(not_yet)
    record = phone.new("lot", TEA)
    phone.edit("lot", record, {"remarks": "thin"})
    phone.sync()
    assert (len(phone.unsent), phone.refused) == (2, [])
    assert phone.sync().words == {"applied": 2}


def test_what_waited_goes_in_the_same_sync_once_its_parent_is_there():
    known = set()

    def server(body):
        verdicts = []
        for c in body["changes"]:
            lacks = c["type"] == "session" and c["fields"]["lot"] not in known
            known.update([] if lacks else [c["id"]])
            verdicts.append(applied(c, word="refused", problems=["unknown_parent"]) if lacks else applied(c))
        return page(verdicts=verdicts)

    phone, _, _ = on(*[server] * 9, most_changes=1, order=lambda unsent: unsent[::-1])
    lot = phone.new("lot", TEA)
    phone.new("session", {"lot": lot})
    assert phone.sync().words == {"refused": 1, "applied": 2}
    assert phone.unsent == []


def test_what_is_refused_is_listed_and_can_be_set_right():
    phone, _, _ = on(lambda b: page(verdicts=[applied(b["changes"][0], word="refused", problems=["range"])]))
    record = phone.new("lot", TEA | {"quantity_g": -1})
    phone.sync()
    assert (phone.unsent, phone.record(record)) == ([], None)
    (refused,) = phone.refused
    assert refused.problems[0]["code"] == "range"
    phone.amend(refused, {"quantity_g": 1})
    assert (phone.refused, phone.record(record).fields) == ([], TEA | {"quantity_g": 1})
    assert phone.sync().words == {"applied": 1}


def away_for_long(*answers):
    """A phone with two lots and an unsent edit, told to start again."""
    first = page(pulled("lot-1", name="one"), pulled("lot-2", name="two"), cursor=5)
    phone, script, _ = on(first, START_AGAIN, *answers)
    phone.sync()
    phone.edit("lot", "lot-2", {"remarks": "unsent"})
    return phone, script


def test_start_again_pulls_everything_and_forgets_what_did_not_come():
    def first_page(body):
        return page(pulled("lot-2", name="two"), cursor=3, more=True, verdicts=[applied(body["changes"][0])])

    phone, script = away_for_long(first_page, page(pulled("lot-3", name="three"), cursor=9))
    report = phone.sync()
    assert (report.started_again, report.words) == (True, {"applied": 1})
    assert [body["cursor"] for body in script.sent] == [0, 5, 0, 3]
    assert script.sent[1]["changes"] == script.sent[2]["changes"]
    assert [record.id for record in phone.records("lot")] == ["lot-2", "lot-3"]


def test_a_phone_killed_on_its_way_goes_on_where_it_was():
    phone, script = away_for_long(
        lambda b: page(pulled("lot-2", name="two"), cursor=3, more=True, verdicts=[applied(b["changes"][0])]),
        *[answer(503)] * 4,
    )
    with pytest.raises(Exception, match="503"):
        phone.sync()
    assert [record.id for record in phone.records("lot")] == ["lot-1", "lot-2"]
    reborn = MemoryStore()
    reborn.keep(phone._store.state.snapshot())
    phone, script, _ = on(page(pulled("lot-3", name="three"), cursor=9), store=reborn)
    phone.sync()
    assert script.sent[0]["cursor"] == 3
    assert [record.id for record in phone.records("lot")] == ["lot-2", "lot-3"]


def test_410_without_end_is_told():
    phone, _ = away_for_long(START_AGAIN, START_AGAIN)
    with pytest.raises(Exception, match="410"):
        phone.sync()
    assert len(phone.unsent) == 1


def test_nothing_new_sends_one_request():
    phone, script, _ = on(takes_all)
    phone.sync()
    assert len(script.sent) == 1
