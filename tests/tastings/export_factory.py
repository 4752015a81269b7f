"""A team with something of everything, its export, and an export with one line changed."""

import hashlib
import io
import json
import zipfile
from uuid import uuid4

from django.utils import timezone

from lots.models import FieldHistory, Lot
from tastings.actions.logos import check_logo, upload_logo
from tastings.actions.triangles import choose_tasters, record_trial, record_triangle_test, withdraw_trial
from tastings.models import (
    Descriptor,
    Development,
    Flight,
    FlightCup,
    FlightLot,
    FlightMember,
    Infusion,
    Note,
    Photo,
    PhotoContent,
    Pot,
    Session,
    TeamLogo,
    TeamPanel,
    Trial,
    TriangleTaster,
    TriangleTest,
)
from tastings.queries.exporting import ExportScope, export
from teams.models import AuditEntry, DeviceToken, Member, Role, Shop, Team, User
from tests.api.phone import change, sync
from tests.api.records import Place, create
from tests.factories import NOON, LotFactory, person
from tests.tastings.photos.photographs import phone_photo, upload_and_check

HOSTILE = '=HYPERLINK("x")\n茶 𝄞 \u202e<b>\'"; DROP'


def fill_team(team):
    """Fill the team by its API: records, edits that lost, deletions, private and blind sessions, tests, photos."""
    owner, taster = person(team, Role.OWNER, name="Ina"), person(team, Role.TASTER)
    place = Place(taster)
    Place(owner)
    for name in ("lot", "pot", "session", "infusion", "note", "descriptor"):
        create(owner if name == "lot" else taster, name, place.full(name))
    taster.client.patch(f"/api/v1/lots/{place.lot.id}/", {"remarks": HOSTILE, "name": HOSTILE[:40]})
    late = change("lot", place.lot.id, name="Lost", at="2020-01-01T00:00:00Z")
    ahead = change("note", place.note.id, text="@sum", at="2999-01-01T00:00:00Z")
    gone = change("infusion", place.infusion.id, deleted=True)
    sync(taster.client, [late, ahead, gone])
    hidden = Place(taster, private=True)
    sync(taster.client, [change("session", hidden.session.id, water="Secret spring")])
    sync(taster.client, [change("session", hidden.session.id, water="Older", at="2020-01-01T00:00:00Z")])
    other = LotFactory(team=team, by=taster.user)
    test, answer = uuid4(), uuid4()
    body = {"lot": str(place.lot.id), "against": str(other.id), "held_on": "2026-03-04", "alpha": 0.05}
    record_triangle_test(taster.member, test=test, sent=body, now=NOON)
    choose_tasters(taster.member, test=test, sent={"tasters": [str(taster.user.id)], "answers_each": 2})
    record_trial(taster.member, test=test, trial=answer, sent={"correct": True}, now=NOON)
    withdraw_trial(taster.member, test=test, trial=answer, now=NOON)
    record_trial(
        taster.member, test=test, trial=uuid4(), sent={"correct": False, "taster": str(owner.user.id)}, now=NOON
    )
    file = phone_photo()
    upload_and_check(taster, file, session=str(place.session.id))
    upload_and_check(taster, file, lot=str(place.lot.id), of="dry_leaf")
    upload_logo(owner.member, file=file, now=NOON)
    check_logo(team.id, now=NOON)
    return owner, taster, place, hidden


def delete_team(team):
    """Take a team and its people out of the database, as on a server that never had it."""
    for model in (
        TeamLogo,
        Photo,
        PhotoContent,
        Trial,
        TriangleTaster,
        TriangleTest,
        FieldHistory,
        Note,
        Infusion,
        Session,
    ):
        model.objects.filter(**{"test__team" if model is Trial else "team": team}).delete()
    Flight.objects.filter(team=team).delete()
    Lot.objects.filter(team=team).update(from_lot=None)
    for model in (Development, TeamPanel, Lot, Pot, Descriptor, AuditEntry):
        model.objects.filter(team=team).delete()
    people = list(Member.objects.filter(team=team).values_list("user_id", flat=True))
    DeviceToken.objects.filter(member__team=team).delete()
    for model in (Member, Shop):
        model.objects.filter(team=team).delete()
    Team.objects.filter(id=team.id).delete()
    User.objects.filter(id__in=people).delete()


def a_flight(team, *, by, taster, state):
    """Make a flight of two lots with one cup."""
    lots = [LotFactory(team=team, by=by.user, name=f"{state} {n}") for n in (1, 2)]
    flight = Flight.objects.create(
        id=uuid4(), team=team, name=f"Flight {state}", state=state, protocol="covered_bowl", cups_per_sitting=2,
        by=by.user, created_at=NOON, seed=7, revealed_at=NOON if state in ("revealed", "decided") else None,
        expected_order=[str(lot.id) for lot in lots], weights={"taste": 35, "aroma": 65.5},
    )  # fmt: skip
    for lot in lots:
        FlightLot.objects.create(flight=flight, team=team, lot=lot)
    FlightMember.objects.create(flight=flight, team=team, user=taster.user, pours=False)
    cup = FlightCup.objects.create(
        team=team, flight=flight, taster=taster.user, sitting=1, position=1, code=417, lot=lots[0]
    )
    return flight, cup, lots


def open_zip(pieces):
    """Return the opened zip."""
    return zipfile.ZipFile(io.BytesIO(b"".join(pieces)))


def operator_export(team):
    """Return the operator's export of a team."""
    return open_zip(export(ExportScope(Team.objects.get(id=team.id)), now=timezone.now()))


def lines_of(opened, table):
    """Return the lines of a table."""
    return [json.loads(line) for line in opened.read(f"records/{table}.jsonl").decode().splitlines()]


def records_of(opened):
    """Return the bytes of every file but the manifest."""
    return {name: opened.read(name) for name in opened.namelist() if name != "manifest.json"}


def written(path, files, *, manifest):
    """Write an export anew with these files and a manifest that fits them."""
    entries = [
        {"name": name, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest(), "lines": data.count(b"\n")}
        for name, data in files.items()
    ]
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as target:
        for name, data in files.items():
            target.writestr(name, data)
        target.writestr("manifest.json", json.dumps({**manifest, "files": entries}))
    return path
