"""Quotas of teams and members: photos, uploads, notes, other records, event streams; what owners see of them."""

import asyncio
import time
from uuid import uuid4

import pytest
import redis
from django.core.exceptions import ImproperlyConfigured

from api.operations.events import EventStreams
from config.quotas import DEFAULTS, quota_settings
from tastings.actions.pruning import prune_all
from tastings.actions.quotas import recount_records
from tastings.models import Note, Photo, RecordCount
from teams.models import Role
from teams.stream_counts import LIFETIME_S, Stream, close_stream, open_streams, renew_streams
from tests.api.phone import change, sync, verdict_names
from tests.api.problems import refusal
from tests.api.records import Place
from tests.api.test_events import Stream as OpenedStream
from tests.factories import NOON, LotFactory, TeamFactory, person
from tests.tastings.photos.photographs import announced

pytestmark = pytest.mark.django_db
USAGE = "/api/v1/team/usage"


@pytest.fixture
def quotas(settings):
    """Set quotas, each as (team, member)."""

    def chosen(**some):
        settings.QUOTAS = {**DEFAULTS, **some}

    return chosen


def lots(number):
    return [change("lot", name=f"Lot {n}", kind="oolong") for n in range(number)]


def notes(place, number):
    return [change("note", session=place.words["session"], moment="mouth", descriptor="honey") for _ in range(number)]


def words(number):
    return [change("descriptor", key=f"own_{n}_{uuid4().hex[:6]}", label=f"Own {n}") for n in range(number)]


def codes(answer):
    return [[problem["code"] for problem in verdict["problems"]] for verdict in answer["verdicts"]]


def used(owner, name):
    """Return used and left of a quota: of the team, and of each member who uses any of it."""
    answer = owner.client.get(USAGE).json()

    def of(rows):
        return next((row["used"], row["left"]) for row in rows if row["name"] == name)

    return of(answer["team"]), {row["user"]: of(row["quotas"]) for row in answer["members"] if of(row["quotas"])[0]}


def test_change_beyond_a_members_quota_is_refused_alone(quotas, taster, buyer, owner):
    quotas(records=(100, 3))
    mine = lots(4)
    answer = sync(taster.client, mine)
    other = sync(buyer.client, lots(1))
    again = sync(taster.client, mine)
    edited = sync(taster.client, [change("lot", mine[0]["id"], at="2026-03-05T00:00:00Z", name="Known")])

    assert verdict_names(answer) == ["applied"] * 3 + ["refused"]
    assert codes(answer)[3] == ["quota"]
    assert "your own limit is reached: lots" in answer["verdicts"][3]["problems"][0]["detail"]
    assert verdict_names(again) == ["unchanged"] * 3 + ["refused"]
    assert verdict_names(other) + verdict_names(edited) == ["applied"] * 2
    assert used(owner, "records") == ((4, 96), {str(taster.user.id): (3, 0), str(buyer.user.id): (1, 2)})


def test_change_beyond_the_teams_quota_is_refused_for_everyone_and_no_other_team(quotas, taster, buyer, stranger):
    quotas(records=(2, 100))
    answers = [sync(who.client, lots(1)) for who in (taster, taster, buyer, stranger)]

    assert [verdict_names(answer)[0] for answer in answers] == ["applied", "applied", "refused", "applied"]
    assert "the team's limit is reached" in answers[2]["verdicts"][0]["problems"][0]["detail"]


def test_words_have_limits_of_their_own_and_deleted_ones_count(quotas, taster, buyer, owner):
    quotas(words=(4, 3))
    made = sync(taster.client, [*words(4), *lots(1)])
    assert codes(made) == [[], [], [], ["quota"], []]
    first = made["verdicts"][0]["id"]
    sync(taster.client, [change("descriptor", first, at="2026-03-05T10:00:00Z", deleted=True)])
    assert codes(sync(taster.client, words(1))) == [["quota"]]
    assert codes(sync(buyer.client, words(2))) == [[], ["quota"]]
    assert used(owner, "words") == ((4, 0), {str(taster.user.id): (3, 0), str(buyer.user.id): (1, 2)})
    assert used(owner, "records")[0][0] == 5


def test_notes_have_a_quota_of_their_own(quotas, taster, lexicon):
    quotas(notes=(100, 2))
    place = Place(taster)
    RecordCount.objects.all().delete()  # of the place, which no push has made
    answer = sync(taster.client, [*notes(place, 3), *lots(1)])

    assert verdict_names(answer) == ["applied", "applied", "refused", "applied"]


def test_rest_answers_507_and_names_the_quota(quotas, taster):
    quotas(records=(100, 0))
    answer = taster.client.post("/api/v1/lots/", {"id": str(uuid4()), "name": "Mist Ridge", "kind": "oolong"})

    assert refusal(answer) == (507, "quota-full", {("", "quota")})
    assert "lots, sessions, infusions" in answer.json()["detail"]


def test_count_by_pushes_is_what_counting_the_rows_gives(taster, buyer, lexicon):
    place = Place(taster)
    recount_records(taster.team.id)
    first = notes(place, 3)
    sync(taster.client, [*first, *lots(2), change("note", moment="mouth")])  # the last is refused
    sync(buyer.client, [*lots(1), change("lot", place.lot.id, name="edited")])
    sync(taster.client, [change("note", first[0]["id"], at="2026-03-05T00:00:00Z", deleted=True), *first])
    counted = list(RecordCount.objects.order_by("id").values())
    recount_records(taster.team.id)

    assert list(RecordCount.objects.order_by("id").values()) == counted
    assert sum(row["notes"] for row in counted) == Note.objects.filter(team=taster.team).count()


def test_nightly_job_corrects_the_counts(taster):
    sync(taster.client, lots(2))
    RecordCount.objects.update(records=77)
    prune_all(now=NOON)

    assert RecordCount.objects.get().records == 2


@pytest.mark.parametrize(
    ("chosen", "sent", "detail"),
    [
        ({"photos": (100, 1)}, 2, "your own limit is reached: photos, 1"),
        ({"photos": (1, 100)}, 2, "the team's limit is reached: photos, 1"),
        ({"photo_bytes": (100, 18)}, 3, "your own limit is reached: photos, megabytes"),
        ({"photo_bytes": (18, 100)}, 3, "the team's limit is reached: photos, megabytes"),
        ({"uploads": (100, 2)}, 3, "your own limit is reached: photos on their way, 2"),
        ({"uploads": (2, 100)}, 3, "the team's limit is reached: photos on their way, 2"),
    ],
)
def test_photo_beyond_a_quota_is_refused_and_leaves_nothing(quotas, taster, chosen, sent, detail):
    quotas(**chosen)
    lot = str(LotFactory(team=taster.team, by=taster.user).id)
    bodies = [announced(b"picture %d" % n, lot=lot) for n in range(sent)]  # of 9 bytes each
    answers = [taster.client.post("/api/v1/photos/", body) for body in bodies]
    again = taster.client.post("/api/v1/photos/", bodies[0])

    assert [answer.status_code for answer in answers] == [201] * (sent - 1) + [507]
    assert refusal(answers[-1]) == (507, "quota-full", {("", "quota")})
    assert answers[-1].json()["detail"].startswith(detail)
    assert again.status_code == 200  # what was announced before stays announced
    assert Photo.objects.count() == sent - 1


def test_photo_taken_away_makes_room(quotas, taster, owner):
    quotas(photos=(1, 1))
    lot = str(LotFactory(team=taster.team, by=taster.user).id)
    first, second = (announced(b"picture %d" % n, lot=lot) for n in range(2))
    assert taster.client.post("/api/v1/photos/", first).status_code == 201
    assert used(owner, "photos") == ((1, 0), {str(taster.user.id): (1, 0)})
    assert taster.client.delete(f"/api/v1/photos/{first['id']}/").status_code == 204

    assert taster.client.post("/api/v1/photos/", second).status_code == 201


@pytest.mark.django_db(transaction=True)
def test_streams_beyond_the_quota_are_answered_429(quotas, settings):
    quotas(streams=(3, 2))
    team = TeamFactory()
    viewer, other, third = (person(team, Role.VIEWER) for _ in range(3))
    stranger = person(TeamFactory(), Role.OWNER)

    async def scene():
        table, elsewhere = EventStreams(), EventStreams()  # two processes
        opened = [await OpenedStream(table, viewer.token).open(), await OpenedStream(elsewhere, viewer.token).open()]
        refused = OpenedStream(table, viewer.token)
        await refused.task
        opened += [await OpenedStream(table, other.token).open(), await OpenedStream(table, stranger.token).open()]
        for_the_team = OpenedStream(elsewhere, third.token)
        await for_the_team.task
        seen = await asyncio.to_thread(open_streams, team.id)
        await opened[0].hang_up()
        again = await OpenedStream(elsewhere, third.token).open()
        for stream in (*opened[1:], again):
            await stream.hang_up()
        return refused, for_the_team, seen

    refused, for_the_team, seen = asyncio.run(scene())
    for stream, detail in ((refused, "your own limit is reached"), (for_the_team, "the team's limit is reached")):
        start = stream.sent[0]
        assert (start["status"], dict(start["headers"])[b"retry-after"]) == (429, b"60")
        assert "/problems/quota-full" in stream.text
        assert detail in stream.text
    assert seen == {viewer.user.id: 2, other.user.id: 1}
    assert open_streams(team.id) == {}


@pytest.mark.django_db(transaction=True)
def test_streams_opened_at_once_are_limited_too(quotas):
    quotas(streams=(100, 5))
    viewer = person(TeamFactory(), Role.VIEWER)

    async def scene():
        table = EventStreams()
        streams = [OpenedStream(table, viewer.token) for _ in range(30)]
        for stream in streams:
            await stream.until(lambda stream=stream: stream.sent)
        found = [stream.sent[0]["status"] for stream in streams]
        for stream in streams:
            await stream.hang_up()
        return found

    assert sorted(asyncio.run(scene())) == [200] * 5 + [429] * 25


@pytest.mark.django_db(transaction=True)
def test_without_the_broker_a_process_limits_its_own_streams(quotas, settings):
    quotas(streams=(100, 1))
    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    viewer = person(TeamFactory(), Role.VIEWER)

    async def scene():
        table = EventStreams()
        first, second = await OpenedStream(table, viewer.token).open(), OpenedStream(table, viewer.token)
        await second.task
        await first.hang_up()
        return second.sent[0]["status"]

    assert asyncio.run(scene()) == 429
    assert open_streams(viewer.team.id) == {}


def test_stream_of_a_process_that_died_is_not_counted_for_long(settings, monkeypatch):
    stream = Stream(uuid4(), team=uuid4(), user=uuid4())
    started_at = time.time() - LIFETIME_S
    with monkeypatch.context() as earlier:
        earlier.setattr(time, "time", lambda: started_at)
        renew_streams([stream])
    ended = open_streams(stream.team)
    renew_streams([stream])
    running = open_streams(stream.team)
    close_stream(stream)
    with redis.Redis.from_url(settings.REDIS_URL) as client:
        left = client.exists(f"leafspan:streams:{stream.team}")

    assert (ended, running, left) == ({}, {stream.user: 1}, 0)


def test_only_owners_see_what_is_used(owner, buyer, taster, viewer, stranger):
    sync(taster.client, lots(1))

    assert [who.client.get(USAGE).status_code for who in (owner, buyer, taster, viewer)] == [200, 403, 403, 403]
    assert used(stranger, "records")[0][0] == 0
    assert str(taster.user.id) not in stranger.client.get(USAGE).content.decode()


def test_settings_are_read_from_the_environment():
    assert quota_settings({}) == DEFAULTS
    assert quota_settings({"LEAFSPAN_QUOTA_PHOTOS": "7/3"})["photos"] == (7, 3)
    for wrong in ("7", "7/", "a/b", "7/3/1", "-1/3", "1.5/2"):
        with pytest.raises(ImproperlyConfigured, match="LEAFSPAN_QUOTA_NOTES"):
            quota_settings({"LEAFSPAN_QUOTA_NOTES": wrong})
