"""A team leaves as one zip and comes back as it was, to the byte; what is hidden from an owner stays so."""

import csv
import hashlib
import io
import json
import shutil
import warnings
import zipfile
from unittest.mock import patch

import pytest
from django.apps import apps
from django.conf import settings as django_settings
from django.core.management import CommandError, call_command
from django.db import transaction
from django.test import override_settings
from django.utils import timezone
from PIL import Image

from lots.models import FieldHistory, Lot
from tastings.actions.importing.team import ArchiveError, import_team
from tastings.actions.importing.team.pictures import holds_only_pixels
from tastings.actions.logos import check_logo, upload_logo
from tastings.models import Development, Note, PhotoContent
from tastings.models.photo_files import image_key, store
from tastings.queries.exporting import TABLES, ExportScope, export, export_for_owner
from tastings.queries.exporting.dictionary import dictionary, meaning
from tastings.queries.exporting.tables import EXCLUDED
from tastings.queries.logos import logo_file, logo_of
from tastings.queries.photos import name_on_disk
from tastings.queries.records import MODELS, visible_records
from tastings.queries.triangles import answers_left, triangle_tests_of
from teams.actions.counters import REVISION_JUMP
from teams.errors import Invalid
from teams.models import AuditEntry, Member, Team, User
from tests.api.phone import change, pulled_records, sync
from tests.api.problems import refusal
from tests.api.records import Place
from tests.api.world import undone
from tests.factories import NOON, LotFactory, NoteFactory, SessionFactory, TeamFactory, person
from tests.tastings.export_factory import (
    HOSTILE,
    a_flight,
    delete_team,
    fill_team,
    lines_of,
    open_zip,
    operator_export,
    records_of,
    written,
)
from tests.tastings.photos.conftest import folder as _folder  # noqa: F401 - photos of a test lie in its own folder
from tests.tastings.photos.photographs import encode_image

pytestmark = pytest.mark.django_db


def quiet(_):
    """Say nothing."""


def all_text(opened):
    """Return everything in a zip as one text."""
    return b"".join(records_of(opened).values()).decode("latin-1")


def bring(path, *, team="Brought", join=()):
    return import_team(path, team=team, join=join, log=quiet, now=timezone.now())


def fill(team):
    """Fill a team with something of everything, flights in three states included; return its people."""
    people = fill_team(team)
    for state in ("tasting", "revealed", "called_off"):
        _, cup, lots = a_flight(team, by=people[0], taster=people[1], state=state)
        revealed = state == "revealed"
        SessionFactory(
            lot=lots[0] if revealed else None, team=team, by=people[1].user, flight_cup=cup, shared_once=revealed
        )
    return people


@pytest.fixture(scope="module")
def filled(django_db_setup, django_db_blocker, tmp_path_factory):
    """A full team with its people, the folder of its photos, and the operator's export of it."""
    photos = tmp_path_factory.mktemp("filled") / "photos"
    with django_db_blocker.unblock(), undone():
        with (
            override_settings(PHOTOS_DIR=photos, PHOTOS_LEAVE_FREE_BYTES=0),
            patch.object(transaction, "on_commit", lambda work, **_: None if work.__name__ == "send" else work()),
        ):
            team = TeamFactory(name="Kettle & Lid")
            people = fill(team)
            exported = b"".join(export(ExportScope(Team.objects.get(id=team.id)), now=timezone.now()))
        yield team, people, photos, exported


@pytest.fixture
def team(filled, db):
    return filled[0]


@pytest.fixture
def full(filled, team):
    """The people of the full team; its photos are the test's own."""
    shutil.copytree(filled[2], django_settings.PHOTOS_DIR)
    return filled[1]


@pytest.fixture
def opened(filled):
    """The operator's export."""
    return zipfile.ZipFile(io.BytesIO(filled[3]))


@pytest.fixture
def taken(filled, full, team, tmp_path):
    """The operator's export as a file; the team is gone from the database, and its pictures from the disk."""
    path = tmp_path / "team.zip"
    path.write_bytes(filled[3])
    for content in PhotoContent.objects.filter(team=team):
        store().delete(image_key(team.id, name_on_disk(content)))
    delete_team(team)
    return path


# Out


def test_every_file_is_in_the_manifest_with_its_hash(team, opened):
    manifest = json.loads(opened.read("manifest.json"))

    assert {entry["name"] for entry in manifest["files"]} | {"manifest.json"} == set(opened.namelist())
    for entry in manifest["files"]:
        data = opened.read(entry["name"])
        assert (entry["bytes"], entry["sha256"]) == (len(data), hashlib.sha256(data).hexdigest())
        if entry["name"].endswith(".jsonl"):
            assert entry["lines"] == data.count(b"\n")
    assert (manifest["format"], manifest["version"], manifest["team"]["id"]) == ("leafspan-team", 1, str(team.id))
    assert sum(name.startswith("photos/") for name in opened.namelist()) == 2  # one picture and its thumbnail


def test_export_has_every_row_and_value_of_the_team(team, opened):

    for type_name, model in MODELS.items():
        rows = {str(row.id): row for row in model.objects.filter(team=team)}
        lines = {line["id"]: line for line in lines_of(opened, f"{type_name}s")}
        assert lines.keys() == rows.keys()
        for row_id, row in rows.items():
            exported = {name: lines[row_id][name] for name in row.wire_values() if name != "built_in"}
            assert exported == {name: value for name, value in row.wire_values().items() if name != "built_in"}
            assert (lines[row_id]["stamps"], lines[row_id]["deleted"]) == (row.stamps, row.removed)
    assert len(lines_of(opened, "history")) == FieldHistory.objects.filter(team=team).count() == 3
    assert [line["correct"] for line in sorted(lines_of(opened, "trials"), key=lambda t: not t["correct"])] == [
        True,
        False,
    ]
    assert {line["state"] for line in lines_of(opened, "flights")} == {"tasting", "revealed", "called_off"}


def test_no_password_and_no_token_leaves(full, opened):
    owner = full[0]
    everything = b"".join(records_of(opened).values())

    for secret in (owner.token, owner.device.digest, owner.user.password):
        assert secret.encode() not in everything
    names = {column.name for table in TABLES for column in table.columns}
    assert not names & {"password", "digest", "token", "is_active"}


def test_every_table_is_exported_or_left_out_by_name():
    exported = {table.model._meta.label for table in TABLES}
    ours = {
        model._meta.label for app in ("teams", "lots", "tastings") for model in apps.get_app_config(app).get_models()
    }

    assert ours - exported - EXCLUDED.keys() == set(), (
        "say in tastings/queries/exporting/tables.py what becomes of these"
    )
    assert (exported & EXCLUDED.keys(), EXCLUDED.keys() - ours) == (set(), set())


def test_owner_gets_what_an_owner_may_see_and_nothing_else(full, opened):
    owner, _, _, hidden = full
    is_operator, seen = opened, open_zip(owner.client.get("/api/v1/team/export"))

    for type_name in MODELS:
        may = {str(row.id) for row in visible_records(owner.member, type_name) if row.team_id}
        assert {line["id"] for line in lines_of(seen, f"{type_name}s")} == may, type_name
    text = all_text(seen)
    blind = [line for line in lines_of(is_operator, "flights") if line["state"] == "tasting"]
    cups = [line for line in lines_of(is_operator, "flight_cups") if line["flight"] == blind[0]["id"]]
    secrets = [str(hidden.session.id), str(hidden.infusion.id), str(hidden.note.id), "Secret spring", "Older"]
    secrets += [line["id"] for line in [*blind, *cups]]
    assert [secret for secret in secrets if secret in text] == []
    assert [secret for secret in secrets if secret not in all_text(is_operator)] == []
    assert {line["state"] for line in lines_of(seen, "flights")} == {"revealed", "called_off"}
    manifest = json.loads(seen.read("manifest.json"))
    assert manifest["made_for"] == "owner"
    assert any("Private sessions of other members" in reason for reason in manifest["left_out"])


def test_owners_own_private_and_blind_sessions(team, full):
    owner = full[0]
    mine = Place(owner, private=True)
    _, cup, _ = a_flight(team, by=owner, taster=owner, state="tasting")
    blind = SessionFactory(lot=None, team=team, by=owner.user, flight_cup=cup, shared_once=False)
    NoteFactory(session=blind, descriptor=mine.descriptor)
    seen = open_zip(export_for_owner(owner.member, now=NOON))

    ids = {line["id"] for line in lines_of(seen, "sessions")}
    assert str(mine.session.id) in ids
    assert str(blind.id) not in ids  # its cup stays hidden, and without the cup it could not stand
    assert str(blind.id) not in {line["session"] for line in lines_of(seen, "notes")}


def test_only_an_owner_exports(full, buyer, taster, viewer):
    for who in (buyer, taster, viewer):
        assert refusal(who.client.get("/api/v1/team/export"))[:2] == (403, "not-allowed")


def test_answer_is_a_download_that_is_not_cached(full):
    answer = full[0].client.get("/api/v1/team/export", HTTP_ACCEPT="application/zip")

    assert (answer.status_code, answer["Content-Type"], answer["Cache-Control"]) == (200, "application/zip", "no-store")
    assert answer["Content-Disposition"].startswith('attachment; filename="team-')
    assert open_zip(answer).testzip() is None


def test_audit_log_lists_exports(full, team, tmp_path):
    owner = full[0]
    b"".join(owner.client.get("/api/v1/team/export").streaming_content)
    call_command("export_team", team=str(team.id), to=tmp_path / "team.zip", stdout=io.StringIO())
    entries = AuditEntry.objects.filter(team=team, what="export").order_by("at").values_list("who", "about__made_for")

    assert list(entries) == [(owner.user.id, "owner"), (None, "operator")]


def test_another_teams_records_are_not_in_it(full, stranger, team):
    other = Place(stranger)
    text = all_text(operator_export(team))

    assert [str(row.id) for row in (other.lot, other.session, other.note) if str(row.id) in text] == []
    assert stranger.user.username not in text


def test_sheets_cannot_be_taken_for_formulas(stranger):
    # what a spreadsheet may take for a formula: from memory of OWASP's page on CSV injection
    remarks = [f"{start}SUM(A1)" for start in "=+-@\t\r"]
    for remark in remarks:
        LotFactory(team=stranger.team, by=stranger.user, remarks=remark, elevation_low_m=-12.5)
    text = operator_export(stranger.team).read("sheets/lots.csv").decode("utf-8-sig")
    lots = list(csv.DictReader(io.StringIO(text, newline="")))

    assert {row["remarks"] for row in lots} == {f"'{remark}" for remark in remarks}
    assert {row["elevation_low_m"] for row in lots} == {"-12.5"}  # a number stays one


def test_sheets_have_live_records_in_rows_of_one_width(team, opened):

    for type_name, model in MODELS.items():
        rows = list(csv.reader(io.StringIO(opened.read(f"sheets/{type_name}s.csv").decode("utf-8-sig"), newline="")))
        live = model.objects.filter(team=team, removed=False)
        if type_name in ("infusion", "note"):
            live = live.filter(session__removed=False)
        assert len(rows) - 1 == live.count() > 0
        assert {len(row) for row in rows} == {len(rows[0])}


def test_dictionary_describes_every_field_with_kind_limits_and_meaning(team, opened):
    exported = json.loads(opened.read("dictionary.json"))

    for table in TABLES:
        fields = {field["name"]: field for field in exported["records"][table.name]["fields"]}
        for line in lines_of(opened, table.name):
            assert line.keys() == fields.keys()
    infusion = {field["name"]: field for field in exported["records"]["infusions"]["fields"]}
    assert infusion["kettle_c"] == {
        "name": "kettle_c", "kind": "number", "required": False, "unit": "°C", "low": 0, "high": 100,
        "meaning": "water in the kettle; null: not read",
    }  # fmt: skip
    assert "| kettle_c | number | °C | at least 0; at most 100 | water in the kettle; null: not read |" in (
        opened.read("dictionary.md").decode()
    )
    schemas = [field for model in MODELS.values() for field in model.schema.fields]
    assert [field.name for field in schemas if meaning(field) == field.name.replace("_", " ")] == []
    assert exported == json.loads(json.dumps(dictionary()))


def test_picture_that_went_meanwhile_is_left_out_with_its_photos(full, team):
    [content] = PhotoContent.objects.filter(team=team)
    store().delete(image_key(team.id, name_on_disk(content)))
    opened = operator_export(team)

    assert lines_of(opened, "photo_contents") == lines_of(opened, "photos") == []
    assert not [name for name in opened.namelist() if name.startswith("photos/")]


# In


def test_round_trip_is_equal_to_the_byte_of_every_record(full, team, tmp_path, taken):
    before = records_of(zipfile.ZipFile(taken))
    done = bring(taken, team="Kettle & Lid")
    after = operator_export(Team.objects.get(id=done.team))

    assert records_of(after) == before
    assert json.loads(after.read("manifest.json"))["team"]["name"] == "Kettle & Lid"
    assert done.lines == {table.name: before[table.file].count(b"\n") for table in TABLES}
    assert sum(done.lines.values()) > 50


def test_time_zone_comes_along_and_an_export_from_before_it_is_imported_in_utc(full, team, tmp_path):
    Team.objects.filter(id=team.id).update(time_zone="Asia/Taipei")
    path = tmp_path / "seen.zip"
    path.write_bytes(b"".join(export_for_owner(full[0].member, now=NOON)))
    delete_team(team)
    done = bring(path)
    brought = Team.objects.get(id=done.team).time_zone
    delete_team(Team.objects.get(id=done.team))
    before = bring(changed(path, tmp_path, "settings", time_zone=...))

    assert (brought, Team.objects.get(id=before.team).time_zone) == ("Asia/Taipei", "UTC")


def test_owners_export_comes_back_equal_too(full, team, tmp_path):
    path = tmp_path / "seen.zip"
    path.write_bytes(b"".join(export_for_owner(full[0].member, now=NOON)))
    delete_team(team)
    done = bring(path)

    assert records_of(operator_export(Team.objects.get(id=done.team))) == records_of(zipfile.ZipFile(path))


def test_people_come_without_a_password_and_figures_are_due(full, taken):
    owner, _, place, hidden = full
    done = bring(taken)
    people = {one.user_id: one for one in Member.objects.filter(team_id=done.team).select_related("user")}

    assert people[owner.user.id].role == "owner"
    assert not any(one.user.has_usable_password() for one in people.values())
    assert people[owner.user.id].user.name == "Ina"
    due = {row.lot_id: row for row in Development.objects.filter(team_id=done.team)}
    assert place.lot.id in due
    assert hidden.lot.id not in due
    assert all(row.stale for row in due.values())
    revision = Team.objects.get(id=done.team).revision
    assert revision > REVISION_JUMP
    assert {row.due_revision for row in due.values()} == {revision}


def test_imported_team_goes_on(full, taken):
    _, taster, place, _ = full
    done = bring(taken)
    user = User.objects.get(id=taster.user.id)
    user.set_password("choose your own 9")
    user.save()
    phone_ = type(taster.client)()
    sent = {"username": user.username, "password": "choose your own 9", "device": "phone"}
    phone_.credentials(HTTP_AUTHORIZATION=f"Bearer {phone_.post('/api/v1/auth/tokens', sent).json()['token']}")
    old_cursor = 1_000_000  # of a phone that went on with the old server for long
    answer = sync(
        phone_, [change("lot", place.lot.id, remarks="still ours", at=timezone.now().isoformat())], cursor=old_cursor
    )

    assert [verdict["verdict"] for verdict in answer["verdicts"]] == ["applied"]
    assert [(c["id"], c["fields"]["remarks"]) for c in pulled_records(answer["changes"])] == [
        (str(place.lot.id), "still ours")
    ]
    [photo] = phone_.get(f"/api/v1/photos/?session={place.session.id}").json()["results"]
    served = phone_.get(f"/api/v1/photos/{photo['id']}/image")
    assert b"".join(served.streaming_content).startswith(b"\xff\xd8")
    assert Lot.objects.get(id=place.lot.id).name == HOSTILE[:40]
    assert done.team == user.memberships.get().team_id


def test_beside_the_original_it_is_refused(full, team, tmp_path):
    path = tmp_path / "team.zip"
    path.write_bytes(b"".join(export(ExportScope(team), now=NOON)))

    with pytest.raises(ArchiveError, match="is on this server already"):
        bring(path)
    assert not Team.objects.filter(name="Brought").exists()


def test_team_with_records_is_refused(full, taken):
    other = TeamFactory(name="Busy House")
    Place(person(other, "owner"))

    with pytest.raises(Invalid, match="holds records already"):
        bring(taken, team="Busy House")


def test_existing_empty_team_preserves_its_own_people(full, taken):
    newcomer = person(TeamFactory(name="Empty House"), "owner")
    done = bring(taken, team="Empty House")

    assert done.team == newcomer.team.id
    assert Member.objects.filter(team_id=done.team, user=newcomer.user, left_at=None).exists()
    assert Member.objects.filter(team_id=done.team).count() == done.lines["members"] + 1


def test_name_taken_by_someone_else_is_named_with_its_line(full, taken):
    User.objects.create(username=full[1].user.username.upper())

    with pytest.raises(ArchiveError, match=r"records/members.jsonl, line \d, username: .* is someone else's name"):
        bring(taken)


def test_person_who_has_a_login_here_joins_only_if_named_and_from_now_on(full, taken):
    known = User.objects.create(id=full[0].user.id, username=full[0].user.username, name="Ina of old")
    began = timezone.now()
    with pytest.raises(ArchiveError, match=rf"members.jsonl, line \d, username: .*give --join {known.username}"):
        bring(taken)
    assert not Member.objects.filter(user=known).exists()
    done = bring(taken, join=[known.username])

    member = Member.objects.get(team_id=done.team, user=known)
    assert (member.role, member.joined_at >= began) == ("owner", True)
    assert User.objects.get(id=known.id).name == "Ina of old"


def test_person_who_has_a_login_here_and_had_left_the_team_needs_no_naming(full, taken):
    known = User.objects.create(id=full[0].user.id, username=full[0].user.username)
    path = changed(taken, taken.parent, "members", left_at="2026-03-05T00:00:00Z", having=str(known.id))

    assert Member.objects.get(team_id=bring(path).team, user=known).left_at is not None


def test_logo_comes_back_and_a_new_one_takes_its_place(full, taken):
    team = bring(taken).team
    shown = logo_of(team)
    with logo_file(team).open() as picture:
        assert Image.open(picture).format == "JPEG"
    owner = Member.objects.get(team_id=team, user_id=full[0].user.id)
    upload_logo(owner, file=encode_image(Image.new("RGB", (30, 30)), "PNG"), now=timezone.now())
    check_logo(team, now=timezone.now())

    assert (shown.state, shown.has_picture) == ("kept", True)
    assert logo_of(team).content_id != shown.content_id


def test_who_is_to_taste_comes_back(full, taken):
    member = Member.objects.get(team_id=bring(taken).team, user_id=full[1].user.id)
    [test] = triangle_tests_of(member, lot=None, waits_for=member.user_id, after=None, limit=9)

    assert answers_left(test) == {member.user_id: 2}


def test_export_of_an_earlier_version_is_taken(taken):
    with zipfile.ZipFile(taken) as opened:
        files, manifest = records_of(opened), json.loads(opened.read("manifest.json"))
    del files["records/logo.jsonl"], files["records/triangle_tasters.jsonl"]

    brought = bring(written(taken.parent / "earlier.zip", files, manifest=manifest))
    assert (brought.lines["logo"], brought.lines["triangle_tasters"], logo_of(brought.team)) == (0, 0, None)


def test_picture_with_more_than_pixels_is_refused(full, taken):
    with zipfile.ZipFile(taken) as opened:
        files, manifest = records_of(opened), json.loads(opened.read("manifest.json"))
    [name] = [name for name in files if name.startswith("photos/") and "thumbnail" not in name]
    plain = files[name]
    assert holds_only_pixels(plain)
    noted = io.BytesIO()
    exif = Image.Exif()
    exif[0x010F] = "A camera"
    Image.open(io.BytesIO(plain)).save(noted, "JPEG", exif=exif)
    for hidden in (
        noted.getvalue(),
        plain + b"PK\x03\x04",
        plain[:2] + b"\xff\xfe\x00\x06note" + plain[2:],
        plain[:-2],
    ):
        assert not holds_only_pixels(hidden)
    files[name] = plain + b"PK\x03\x04"
    contents = [json.loads(line) for line in files["records/photo_contents.jsonl"].splitlines()]
    contents[0]["image_sha256"] = hashlib.sha256(files[name]).hexdigest()
    files["records/photo_contents.jsonl"] = b"".join(json.dumps(one).encode() + b"\n" for one in contents)

    with pytest.raises(ArchiveError, match="holds more than pixels"):
        bring(written(taken.parent / "hidden.zip", files, manifest=manifest))


def changed(taken, tmp_path, table, *, having="", **fields):
    """Return the export with the first line of a table that has a text changed in some fields, hashes and all."""
    with zipfile.ZipFile(taken) as opened:
        files, manifest = records_of(opened), json.loads(opened.read("manifest.json"))
    name = f"records/{table}.jsonl"
    lines = files[name].splitlines()
    at = next(i for i, line in enumerate(lines) if having.encode() in line)
    line = json.loads(lines[at])
    for field, value in fields.items():
        line[field] = value(line) if callable(value) else value
        if value is ...:
            del line[field]
    lines[at] = json.dumps(line).encode()
    files[name] = b"".join(line + b"\n" for line in lines)
    return written(tmp_path / "changed.zip", files, manifest=manifest)


NOBODY = "00000000-0000-7000-8000-00000000dead"


WRONG = [
    ("infusions", {"kettle_c": 120}, "infusions.jsonl, line 1, kettle_c: must be at most 100"),
    ("lots", {"kind": "coffee"}, "lots.jsonl, line 1, kind: must be one of"),
    ("lots", {"name": None}, "lots.jsonl, line 1, name: must not be null"),
    ("lots", {"extra": 1}, "lots.jsonl, line 1, extra: is not part of it"),
    ("lots", {"code": ...}, "lots.jsonl, line 1, code: is missing"),
    ("lots", {"remarks": "a\x00b"}, "lots.jsonl, line 1, remarks: holds a character"),
    ("lots", {"remarks": "\ud800"}, "lots.jsonl, line 1, remarks: holds a character"),
    ("lots", {"from_lot": NOBODY}, "lots.jsonl, line 1, from_lot: names what is not in the file"),
    ("lots", {"by": NOBODY}, "lots.jsonl, line 1, by: is nobody of members.jsonl"),
    ("lots", {"deleted": True}, "lots.jsonl, line 1, deleted: is not what the stamps say"),
    ("lots", {"stamps": [["soon", "x", "y", "", ["name"]]]}, "lots.jsonl, line 1, stamps: "),
    ("lots", {"revision": 0}, "lots.jsonl, line 1, revision: must be at least 1"),
    ("sessions", {"taster": NOBODY}, "sessions.jsonl, line 1, taster: is nobody"),
    ("sessions", {"shop": NOBODY}, "sessions.jsonl, line 1, shop: names what is not in the file"),
    ("sessions", {"more_low": 9, "more_high": 2}, "sessions.jsonl, line 1, more_low: must not be more"),
    ("sessions", {"shared_once": False}, "sessions.jsonl, line 1: does not fit the rule session_open_is_shared"),
    ("notes", {"descriptor_id": NOBODY}, "notes.jsonl, line 1, descriptor_id: is neither built in"),
    ("notes", {"infusion": NOBODY}, "notes.jsonl, line 1, infusion: names what is not in the file"),
    ("notes", {"session": NOBODY}, "notes.jsonl, line 1, session: names what is not in the file"),
    ("notes", {"intensity": 5.55}, "notes.jsonl, line 1, intensity: must be in steps"),
    ("trials", {"test": NOBODY}, "trials.jsonl, line 1, test: is no test"),
    ("photos", {"content": NOBODY}, "photos.jsonl, line 1, content: is no picture"),
    ("photos", {"of": "people"}, "photos.jsonl, line 1, of: must be one of"),
    ("lots", {"from_lot": lambda line: line["id"]}, "lots.jsonl, line 1, from_lot: leads back to this lot"),
    ("sessions", {"started_at": "9999-12-31T23:59:59Z"}, "sessions.jsonl, line 1, started_at: lies more than two days"),
    ("history", {"field": "nope"}, "history.jsonl, line 1, field: is not a field of a"),
    ("members", {"username": "x\u202ey"}, "members.jsonl, line 1, username: holds an invisible character"),
    ("members", {"role": "king"}, "members.jsonl, line 1, role: must be one of"),
    ("history", {"value": "a\x00b"}, "history.jsonl, line 1"),
    ("settings", {"ready_roast": 11}, "settings.jsonl, line 1"),
    ("settings", {"time_zone": "Mars/Olympus"}, "settings.jsonl, line 1"),
    ("photo_contents", {"image_sha256": "0" * 64}, "is not the picture that photo_contents tells of"),
    ("flight_cups", {"code": 7}, "flight_cups.jsonl, line 1: does not fit the rule flight_cup_code_three_digits"),
]


def test_error_names_file_line_and_field_and_nothing_is_stored(full, taken):
    for table, fields, problem in WRONG:
        path = changed(taken, taken.parent, table, **fields)

        with pytest.raises(ArchiveError) as caught:
            bring(path)
        assert problem in str(caught.value)
        assert not Team.objects.filter(name="Brought").exists(), problem
        assert not User.objects.filter(id=full[0].user.id).exists(), problem
        assert not Note.objects.exists(), problem
        kept = (django_settings.PHOTOS_DIR / "kept").rglob("*.jpg")
        assert len(list(kept)) <= 1, problem  # the thumbnail `taken` left


def rewritten(taken, tmp_path, *, keep=lambda name: True, more=(), spoil=None):
    """Return the zip with its manifest, without some files, with others, or with a byte of one turned."""
    path = tmp_path / "rewritten.zip"
    with zipfile.ZipFile(taken) as opened, zipfile.ZipFile(path, "w") as target:
        for name in opened.namelist():
            data = opened.read(name)
            if name == spoil:
                data = bytes([data[0] ^ 1]) + data[1:]
            if keep(name):
                target.writestr(name, data)
        with warnings.catch_warnings(action="ignore"):  # that a name stands there already
            for name, data in more:
                target.writestr(name, data)
    return path


def test_zip_that_was_cut_short_damaged_or_stuffed_is_refused(full, taken, tmp_path):
    cut = tmp_path / "cut.zip"
    cut.write_bytes(taken.read_bytes()[:-2000])
    bad = {
        "is no zip, or was cut short": lambda: cut,
        "there is|No such file": lambda: tmp_path / "absent.zip",
        "manifest.json: is missing": lambda: rewritten(taken, tmp_path, keep=lambda name: name != "manifest.json"),
        "records/notes.jsonl: is missing": lambda: rewritten(
            taken, tmp_path, keep=lambda n: n != "records/notes.jsonl"
        ),
        "in the manifest or in the zip": lambda: rewritten(taken, tmp_path, keep=lambda n: n != "sheets/lots.csv"),
        "is damaged": lambda: rewritten(taken, tmp_path, spoil="records/lots.jsonl"),
        "nothing that an export holds": lambda: rewritten(taken, tmp_path, more=[("photos/../../../etc/passwd", b"x")]),
        "twice": lambda: rewritten(taken, tmp_path, more=[("records/lots.jsonl", b"{}")]),
    }
    for message, make in bad.items():
        with pytest.raises(ArchiveError, match=message):
            bring(make())
    assert not Team.objects.filter(name="Brought").exists()


def test_zip_bomb_is_not_unpacked_beyond_what_it_declares(full, taken, tmp_path, monkeypatch):
    with zipfile.ZipFile(taken) as opened:
        files, manifest = records_of(opened), json.loads(opened.read("manifest.json"))
    bomb = written(tmp_path / "bomb.zip", files | {"records/lots.jsonl": b" " * 64_000_000}, manifest=manifest)
    assert bomb.stat().st_size < 200_000
    with pytest.raises(ArchiveError, match=r"lots.jsonl, line 1: is longer than"):
        bring(bomb)


def test_line_that_is_no_json_is_named(full, taken, tmp_path):
    with zipfile.ZipFile(taken) as opened:
        files, manifest = records_of(opened), json.loads(opened.read("manifest.json"))
    lots = files["records/lots.jsonl"]
    for line in (b"\xff\xfe", b"{", b"[1]", b'{"a":1,"a":2}', b'{"a":NaN}', b"[" * 100_000):
        path = written(tmp_path / "odd.zip", files | {"records/lots.jsonl": lots + line + b"\n"}, manifest=manifest)
        with pytest.raises(ArchiveError, match=rf"lots.jsonl, line {lots.count(bytes([10])) + 1}: is no JSON"):
            bring(path)


def test_commands_tell_what_they_did_and_what_stands_against_it(full, team, tmp_path):
    path, output = tmp_path / "team.zip", io.StringIO()
    call_command("export_team", team=team.name, to=path, stdout=output)
    assert "records/notes.jsonl: " in output.getvalue()
    assert path.stat().st_mode & 0o777 == 0o600
    with pytest.raises(CommandError, match="File exists"):
        call_command("export_team", team=team.name, to=path)
    with pytest.raises(CommandError, match="no team is called"):
        call_command("export_team", team="Nobody", to=path)
    with pytest.raises(CommandError, match=r"nothing was imported\. records/"):
        call_command("import_team", path, team="Brought", stdout=output)
    delete_team(team)
    call_command("import_team", path, team="Brought", stdout=output)
    assert "imported" in output.getvalue().splitlines()[-1]
    assert list(tmp_path.glob("*.part")) == []
