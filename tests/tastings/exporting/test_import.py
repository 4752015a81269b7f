"""A team comes back from its zip as it was, to the byte, and no other zip is taken."""

import hashlib
import io
import json
import warnings
import zipfile

import pytest
from django.conf import settings as django_settings
from django.core.management import CommandError, call_command
from django.utils import timezone
from PIL import Image

from lots.models import Lot
from tastings.actions.importing.team import ArchiveError, import_team
from tastings.actions.importing.team.pictures import holds_only_pixels
from tastings.actions.logos import check_logo, upload_logo
from tastings.models import Development, Note
from tastings.queries.exporting import TABLES, ExportScope, export, export_for_owner
from tastings.queries.logos import logo_file, logo_of
from tastings.queries.triangles import answers_left, triangle_tests_of
from teams.actions.counters import REVISION_JUMP
from teams.errors import Invalid
from teams.models import Member, Team, User
from tests.api.phone import change, pulled_records, sync
from tests.api.records import Place
from tests.factories import NOON, TeamFactory, person
from tests.tastings.export_factory import (
    HOSTILE,
    delete_team,
    operator_export,
    records_of,
    written,
)
from tests.tastings.photos.photographs import encode_image

pytestmark = pytest.mark.django_db


def quiet(_):
    """Say nothing."""


def bring(path, *, team="Brought", join=()):
    return import_team(path, team=team, join=join, log=quiet, now=timezone.now())


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
    ("history", {"field": "nope"}, "history.jsonl, line 1, field: is not a field of"),
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
