"""A phone with an older app keeps working when the records change: shown with a second version."""

from uuid import uuid4

import pytest

from api.sync.schema_versions import SCHEMA_VERSIONS, SchemaVersion
from tests.api.phone import PHONE, change, sync
from tests.api.problems import refusal
from tests.factories import InfusionFactory

pytestmark = pytest.mark.django_db


def renamed(change, *, old, new):
    """Return an infusion's change with one field under another name."""
    if isinstance(change, dict) and change.get("type") == "infusion" and isinstance(change.get("fields"), dict):
        fields = {new if name == old else name: value for name, value in change["fields"].items()}
        return {**change, "fields": fields}
    return change


@pytest.fixture
def two_versions(monkeypatch):
    """Another version that calls `steep_s` by the name `drawn_s`."""
    other = SchemaVersion(
        upgrade=lambda sent: renamed(sent, old="drawn_s", new="steep_s"),
        downgrade=lambda pulled: renamed(pulled, old="steep_s", new="drawn_s"),
    )
    monkeypatch.setitem(SCHEMA_VERSIONS, 2, other)


def speak(client, schema, changes=(), cursor=0):
    body = {"schema": schema, "device": str(PHONE), "cursor": cursor, "changes": list(changes)}
    return client.post("/api/v1/sync", body).json()


def test_phones_of_both_versions_edit_one_record(taster, two_versions):
    infusion = InfusionFactory(session__lot__team=taster.team, session__by=taster.user, steep_s=15)
    newer = change("infusion", infusion.id, at="2026-03-04T13:00:00Z", drawn_s=20)
    assert [v["verdict"] for v in speak(taster.client, 2, [newer])["verdicts"]] == ["applied"]
    older = change("infusion", infusion.id, at="2026-03-04T13:00:01Z", steep_s=25)
    assert [v["verdict"] for v in sync(taster.client, [older])["verdicts"]] == ["applied"]
    pulled = {
        schema: next(c["fields"] for c in speak(taster.client, schema)["changes"] if c["type"] == "infusion")
        for schema in (1, 2)
    }
    assert (pulled[1]["steep_s"], pulled[2]["drawn_s"]) == (25, 25)
    assert pulled[1].keys() - pulled[2].keys() == {"steep_s"}


def test_a_version_that_nobody_speaks_is_told_which_are(taster, two_versions):
    answer = taster.client.post("/api/v1/sync", {"schema": 3, "device": str(uuid4())})
    assert refusal(answer)[:2] == (409, "unknown-schema")
    assert "1, 2" in answer.json()["detail"]


def test_a_field_of_the_other_version_is_not_known(taster, two_versions):
    infusion = InfusionFactory(session__lot__team=taster.team)
    answer = sync(taster.client, [change("infusion", infusion.id, drawn_s=20)])
    assert [(p["field"], p["code"]) for p in answer["verdicts"][0]["problems"]] == [("drawn_s", "unknown_field")]
