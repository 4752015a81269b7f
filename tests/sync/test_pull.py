"""What a phone gets to see, and that it misses nothing."""

import gzip
import json
import threading
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.utils import timezone

from table.phone import MemoryStore, Phone, PhoneOptions
from table.phone.phone import utc_now
from tastings.actions.push import push
from tastings.queries.pull import pull
from tastings.schemas import INFUSION
from teams.actions.people import create_team
from teams.models import Team
from tests.api.phone import PHONE, change, post_sync, pulled_records, sync
from tests.api.problems import refusal
from tests.factories import InfusionFactory, LotFactory, NoteFactory, SessionFactory, ShopFactory, TeamFactory, person
from tests.sync.wire import Wire


def everything(client, *, cursor=0, limit=3):
    """Pull until there is no more; return the last state of each record and the cursor."""
    state = {}
    for _ in range(200):
        answer = sync(client, cursor=cursor, limit=limit)
        assert answer["cursor"] >= cursor
        state.update({c["id"]: c for c in answer["changes"]})
        cursor = answer["cursor"]
        if not answer["more"]:
            return state, cursor
    raise AssertionError("it never ends")


@pytest.mark.django_db
def test_pages_of_any_size_give_the_same_records(taster):
    session = SessionFactory(lot__team=taster.team)
    for number in range(1, 6):
        InfusionFactory(session=session, number=number)
    whole, cursor = everything(taster.client, limit=500)
    assert len(whole) == 7 + 2  # a shop and a member
    for limit in (1, 2, 7):
        assert everything(taster.client, limit=limit) == (whole, cursor)


@pytest.mark.django_db
def test_pull_of_nothing_new_reads_the_counter_alone(taster, django_assert_num_queries):
    cursor = everything(taster.client, limit=500)[1]
    with django_assert_num_queries(1):
        assert pull(taster.member, cursor=cursor, limit=500).changes == []


@pytest.mark.django_db
def test_pull_of_a_lot_asks_for_no_session(taster, django_assert_num_queries):
    cursor = everything(taster.client, limit=500)[1]
    lot = LotFactory(team=taster.team)
    with django_assert_num_queries(3):  # the counter, the types with new rows, the lots
        [came] = pull(taster.member, cursor=cursor, limit=500).changes
    assert came["id"] == str(lot.id)


@pytest.mark.django_db
def test_a_private_session_never_shared_never_comes(taster, buyer):
    session = SessionFactory(lot__team=taster.team, by=buyer.user, private=True)
    InfusionFactory(session=session)
    state, cursor = everything(taster.client)
    assert {i for i, one in state.items() if one["type"] not in ("shop", "member")} == {str(session.lot_id)}
    assert cursor == sync(buyer.client)["cursor"]
    assert len(pulled_records(everything(buyer.client)[0].values())) == 3


@pytest.mark.django_db
def test_a_session_turned_private_arrives_as_deleted_and_shared_again_comes_back_whole(taster, buyer):
    session = SessionFactory(lot__team=taster.team, by=buyer.user)
    infusion = InfusionFactory(session=session)
    note = NoteFactory(session=session, infusion=infusion)
    hers = {str(session.id), str(infusion.id), str(note.id)}
    before, cursor = everything(taster.client)
    sync(buyer.client, [change("session", session.id, at="2026-03-04T13:00:00Z", private=True)])
    changed, cursor = everything(taster.client, cursor=cursor)
    assert {i for i, c in changed.items() if c["deleted"] and c["fields"] == {}} == hers
    sync(buyer.client, [change("session", session.id, at="2026-03-04T13:01:00Z", private=False)])
    changed, _ = everything(taster.client, cursor=cursor)
    assert {i for i, c in changed.items() if not c["deleted"]} == hers
    assert changed[str(note.id)]["fields"] == before[str(note.id)]["fields"]


@pytest.mark.django_db(transaction=True)
def test_pulling_while_others_write_misses_nothing():
    team = TeamFactory()
    people = [person(team, "taster") for _ in range(4)]
    lot = LotFactory(team=team)
    written, failures, done = set(), [], threading.Event()

    def write(who):
        try:
            for _ in range(12):
                ids = [uuid4() for _ in range(3)]
                sent = [
                    change("session", i, lot=str(lot.id), started_at="2026-03-04T10:00:00Z", leaf_g=5, vessel_ml=110)
                    for i in ids
                ]
                verdicts = push(who.member, device=uuid4(), sent=sent, now=timezone.now()).verdicts
                assert [v.verdict for v in verdicts] == ["applied"] * 3
                written.update(map(str, ids))
        except BaseException as error:
            failures.append(error)
            raise
        finally:
            connection.close()

    threads = [threading.Thread(target=write, args=(who,)) for who in people]
    for thread in threads:
        thread.start()
    waiter = threading.Thread(target=lambda: ([t.join() for t in threads], done.set()))
    waiter.start()
    pulled, cursor = set(), 0
    while True:
        finished = done.is_set()
        page = pull(people[0].member, cursor=cursor, limit=7)
        pulled |= {c["id"] for c in page.changes if c["type"] == "session"}
        cursor = page.cursor
        if finished and not page.more:
            break
    waiter.join()
    assert not failures
    assert pulled == written
    assert len(written) == 4 * 12 * 3


def new_teams_owner(name):
    return person(create_team(name=name, shop="Ford", username=name, password="a kettle of 9").team, "owner")


@pytest.mark.django_db
def test_cursor_of_another_team_or_ahead_starts_again():
    low, high = sorted((new_teams_owner(name) for name in ("Mist", "Ford")), key=lambda who: who.team.revision)
    cursors = {who: sync(who.client)["cursor"] for who in (low, high)}

    for who, cursor in ((low, cursors[high]), (high, cursors[low]), (low, cursors[low] + 1), (high, 1)):
        made = [change("lot", name="Mist Ridge", kind="oolong")]
        for answer in (
            post_sync(who.client, cursor=cursor, changes=made),
            who.client.post("/api/v1/sync/stream", {"schema": 1, "device": str(PHONE), "cursor": cursor}),
        ):
            assert refusal(answer)[:2] == (410, "start-again")
    for who, cursor in cursors.items():
        assert sync(who.client, cursor=cursor)["changes"] == []  # nothing was applied


@pytest.mark.django_db
def test_a_pulled_change_has_the_moment_of_its_latest_edit(taster):
    lot = LotFactory(team=taster.team, by=taster.user)
    sync(taster.client, [change("lot", lot.id, at="2026-03-05T10:00:00Z", remarks="round")])
    sync(taster.client, [change("lot", lot.id, at="2026-03-05T09:00:00Z", garden="Upper")])

    [pulled] = pulled_records(sync(taster.client)["changes"])

    assert pulled["at"] == "2026-03-05T10:00:00.000000Z"


@pytest.mark.django_db
def test_a_slow_phone_that_corrects_what_it_has_just_seen_wins(buyer, owner):
    def phone_of(someone, clock):
        store = MemoryStore()
        store.append({"event": "signed", "token": someone.token})
        return Phone(Wire(lambda *_: None), store=store, options=PhoneOptions(clock=clock))

    right, slow = phone_of(owner, utc_now), phone_of(buyer, lambda: utc_now() - timedelta(minutes=10))
    lot = right.create("lot", {"name": "Mist Ridge", "kind": "oolong"})
    right.sync()
    slow.sync()

    slow.edit("lot", lot, {"name": "Mist Ridge spring"})
    assert slow.sync().verdicts == {"applied": 1}
    right.sync()
    assert right.record(lot).fields["name"] == "Mist Ridge spring"


@pytest.mark.django_db
def test_answers_are_compressed_for_who_accepts_it(taster):
    for _ in range(20):
        LotFactory(team=taster.team)
    body = {"schema": 1, "device": str(uuid4())}
    plain = taster.client.post("/api/v1/sync", body)
    packed = taster.client.post("/api/v1/sync", body, headers={"accept-encoding": "gzip"})

    assert packed.headers["Content-Encoding"] == "gzip"
    assert json.loads(gzip.decompress(packed.content))["changes"] == plain.json()["changes"]
    assert len(packed.content) < len(plain.content) / 3
    assert "Accept-Encoding" in packed.headers["Vary"]


@pytest.mark.django_db
def test_the_tag_of_a_compressed_answer_can_be_named_in_if_match(taster):
    lot = LotFactory(team=taster.team, by=taster.user, remarks="a long remark " * 40)
    address = f"/api/v1/lots/{lot.id}/"
    read = taster.client.get(address, headers={"accept-encoding": "gzip"})

    changed = taster.client.patch(address, {"remarks": "short"}, headers={"if-match": read.headers["ETag"]})

    assert (read.headers["ETag"][:2], changed.status_code) == ("W/", 200)


@pytest.mark.django_db
def test_a_pulled_change_names_record_revision_and_author(taster):
    infusion = InfusionFactory(session__lot__team=taster.team, steep_s=15, remarks="")
    [change] = [change for change in pull(taster.member, cursor=0, limit=9).changes if change["type"] == "infusion"]
    fields = change["fields"]
    assert {**change, "fields": {}} == {
        "type": "infusion",
        "id": str(infusion.id),
        "revision": infusion.revision,
        "deleted": False,
        "fields": {},
        "at": "2026-03-04T12:00:00.000000Z",
        "by": str(infusion.by_id),
        "author": str(infusion.author_id),
    }
    assert set(fields) == set(INFUSION.by_name())
    assert (fields["session"], fields["steep_s"], fields["remarks"]) == (str(infusion.session_id), 15, None)


@pytest.mark.django_db
def test_a_row_past_the_counter_waits_for_the_next_pull(taster):
    """As one that is written between reading the counter and reading the rows."""
    lot = LotFactory(team=taster.team)
    Team.objects.filter(id=taster.team.id).update(revision=lot.revision - 1)
    early = pull(taster.member, cursor=lot.revision - 1, limit=5)
    Team.objects.filter(id=taster.team.id).update(revision=lot.revision)
    late = pull(taster.member, cursor=early.cursor, limit=5)
    assert (early.changes, early.cursor) == ([], lot.revision - 1)
    assert [change["id"] for change in late.changes] == [str(lot.id)]


@pytest.mark.django_db
def test_rows_of_another_team_stay_there(taster, stranger):
    LotFactory(team=stranger.team)
    Team.objects.update(revision=1000)
    assert {one["id"] for one in pull(taster.member, cursor=0, limit=5).changes} == {
        str(taster.user.id),
        str(taster.member.shop_id),
    }


@pytest.mark.django_db
def test_full_page_of_one_type_hides_no_row_of_another(taster):
    """A row that lies between those of another type, or after as many as the page has room for, comes in its turn."""
    session = SessionFactory(lot__team=taster.team)
    cursor = everything(taster.client)[1]
    made = [InfusionFactory(session=session, number=1), InfusionFactory(session=session, number=2),
            LotFactory(team=taster.team), InfusionFactory(session=session, number=3),
            InfusionFactory(session=session, number=4), LotFactory(team=taster.team)]  # fmt: skip
    ids = [str(one.id) for one in made]
    for begin in (0, 3):
        after = made[begin - 1].revision if begin else cursor
        for end in range(begin + 1, len(ids) + 1):
            page = pull(taster.member, cursor=after, limit=end - begin)
            assert [one["id"] for one in page.changes] == ids[begin:end]
            assert (page.cursor, page.more) == (made[end - 1].revision, end < len(ids))


@pytest.mark.django_db
def test_pages_bring_all_shops_and_one_past_the_counter_waits(taster):
    cursor = everything(taster.client)[1]
    shops = [ShopFactory(team=taster.team) for _ in range(3)]
    ids = [str(one.id) for one in shops]
    for one in shops:
        one.refresh_from_db()
    for limit in (1, 2):
        assert [one["id"] for one in pull(taster.member, cursor=cursor, limit=limit).changes] == ids[:limit]
    Team.objects.filter(id=taster.team.id).update(revision=shops[1].revision)
    early = pull(taster.member, cursor=cursor, limit=5)
    assert ([one["id"] for one in early.changes], early.cursor, early.more) == (ids[:2], shops[1].revision, False)
