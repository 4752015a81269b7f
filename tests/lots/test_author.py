"""Who made a record: it is set once, and never changes."""

from importlib import import_module
from uuid import uuid4

import pytest
from django.db import connection

from lots.merge import Stamp, pack
from lots.models import FieldHistory, Lot
from tests.api.phone import change, sync
from tests.api.records import TYPES, Place
from tests.factories import DEVICE, NOON, LotFactory, TeamFactory, UserFactory

migration = import_module("lots.migrations.0004_author_filled")


@pytest.mark.django_db
@pytest.mark.parametrize("type_name", TYPES)
def test_an_edit_by_another_member_leaves_the_author(taster, owner, type_name):
    place = Place(taster)
    record = str(getattr(place, type_name).id)
    field = {
        "lot": "remarks",
        "pot": "name",
        "session": "remarks",
        "infusion": "remarks",
        "note": "text",
        "descriptor": "label",
    }
    answer = sync(owner.client, [change(type_name, record, at="2026-03-05T10:00:00Z", **{field[type_name]: "sweet"})])

    [pulled] = [one for one in answer["changes"] if one["id"] == record]
    read = owner.client.get(f"/api/v1/{type_name}s/{record}/").json()
    people = {"by": str(owner.user.id), "author": str(taster.user.id)}
    assert answer["verdicts"][0]["verdict"] == "applied"
    assert {name: pulled[name] for name in people} == {name: read[name] for name in people} == people


@pytest.mark.django_db
def test_a_built_in_descriptor_has_no_author(taster, lexicon):
    found = taster.client.get("/api/v1/descriptors/", {"key": "strength"}).json()["results"]
    assert [one["author"] for one in found] == [None]


@pytest.mark.django_db(transaction=True)
def test_migration_takes_who_made_the_earliest_edit_known():
    """Of the edits that stand and of those that lost."""
    team, users = TeamFactory(), [UserFactory() for _ in range(3)]
    stamps = pack({
        "name": Stamp("2026-03-04T12:00:00.000000Z", str(DEVICE), str(users[2].id)),
        "kind": Stamp("2026-03-04T11:00:00.000000Z", str(DEVICE), str(users[1].id)),
    })  # fmt: skip
    overwritten, edited = (LotFactory(team=team, by=users[2], stamps=stamps) for _ in range(2))
    unstamped = LotFactory(team=team, by=users[2], stamps=[])
    FieldHistory.objects.create(
        id=uuid4(), team=team, type="lot", record=overwritten.id, field="name", value="Ridge",
        at=NOON.replace(hour=10), device=DEVICE, by=users[0],
    )  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute(migration.no_longer_require("lots_lot"))
        cursor.execute("ALTER TABLE lots_lot DISABLE TRIGGER lots_lot_author_stays")  # it came later
        try:
            cursor.execute("UPDATE lots_lot SET author_id = NULL")
            cursor.execute(migration.fill("lots_lot"))
        finally:
            for statement in migration.require("lots_lot"):
                cursor.execute(statement)
            cursor.execute("ALTER TABLE lots_lot ENABLE TRIGGER lots_lot_author_stays")

    authors = dict(Lot.objects.values_list("id", "author_id"))
    assert authors == {overwritten.id: users[0].id, edited.id: users[1].id, unstamped.id: users[2].id}
