"""A team leaves as one zip; what is hidden from an owner stays so."""

import csv
import hashlib
import io
import json

import pytest
from django.apps import apps
from django.core.management import call_command

from lots.models import FieldHistory
from tastings.models import PhotoContent
from tastings.models.photo_files import image_key, store
from tastings.queries.exporting import TABLES, export_for_owner
from tastings.queries.exporting.dictionary import dictionary, meaning
from tastings.queries.exporting.tables import EXCLUDED
from tastings.queries.photos import name_on_disk
from tastings.queries.records import MODELS, visible_records
from teams.models import AuditEntry
from tests.api.problems import refusal
from tests.api.records import Place
from tests.factories import NOON, LotFactory, NoteFactory, SessionFactory
from tests.tastings.export_factory import (
    a_flight,
    lines_of,
    open_zip,
    operator_export,
    records_of,
)

pytestmark = pytest.mark.django_db


def all_text(opened):
    """Return everything in a zip as one text."""
    return b"".join(records_of(opened).values()).decode("latin-1")


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
