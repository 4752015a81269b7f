"""Rows of a team hang together by the team's id, but for what is listed here and explained in docs/growth.md.

A new table, key or index that leaves the team out fails here until someone has said why it may.
"""

import pytest
from django.db import connection

from config.dev.home import ROOT

SHARED = {"teams_team", "teams_user"}
"""What rows of all teams refer to: small, and the same everywhere."""
REFERENCES_WITHOUT = {
    # the session, which is named in both keys, is of the team by another key
    "note_infusion_of_session",
    "photo_infusion_of_session",
    # the cup is of the team by another key
    "session_lot_of_cup",
    # the row's own key is the lot's
    "tastings_development.lot_id",
    # words are a team's or everybody's
    "tastings_note.descriptor_id",
    "tastings_descriptor.merged_into_id",
    # beside one that names the team
    "teams_invitation.shop_id",
    "teams_member.shop_id",
    "teams_storedanswer.member_id",
}
UNIQUE_WITHOUT = {
    # the target of a reference above
    "infusion_of_session",
    "flight_cup_holds",
    # of a flight, which is of a team
    "flight_cup_code_once",
    "flight_lot_once",
    "flight_member_once",
    "flight_cup_place_once",
    # of a member, who is of a team
    "stored_answer_key_once",
    # secret links, looked up before anyone knows whose they are
    "teams_invitation_digest_key",
}
WITHOUT_TEAM = {"tastings_trial", "teams_devicetoken", "teams_signincode"}
"""Tables that are a team's through another: a triangle test, a membership."""

KEYS = """
SELECT c.conname, c.contype::text, c.conrelid::regclass::text, c.confrelid::regclass::text,
    array(SELECT attname::text FROM unnest(c.conkey) AS k JOIN pg_attribute ON attrelid = c.conrelid AND attnum = k)
FROM pg_constraint AS c WHERE c.contype IN ('p', 'u', 'f', 'x') AND c.connamespace = 'public'::regnamespace
"""
PARTIAL = """
SELECT i.relname::text, x.indrelid::regclass::text, pg_get_indexdef(x.indexrelid) FROM pg_index AS x
JOIN pg_class AS i ON i.oid = x.indexrelid WHERE x.indisunique AND i.relnamespace = 'public'::regnamespace
    AND NOT EXISTS (SELECT FROM pg_constraint WHERE conindid = x.indexrelid)
"""


@pytest.fixture
def keyed(db):
    """Tables of ours whose rows say of which team they are."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT attrelid::regclass::text FROM pg_attribute JOIN pg_class ON pg_class.oid = attrelid"
            " WHERE attname = 'team_id' AND relkind = 'r' AND relnamespace = 'public'::regnamespace"
        )
        return {table for (table,) in cursor.fetchall()}


@pytest.fixture
def keys(db):
    with connection.cursor() as cursor:
        cursor.execute(KEYS)
        return cursor.fetchall()


def test_references_among_a_teams_rows_name_the_team(keyed, keys):
    found = {
        name if len(columns) > 1 else f"{table}.{columns[0]}"
        for name, kind, table, target, columns in keys
        if kind == "f" and table in keyed and target in keyed and target not in SHARED and "team_id" not in columns
    }
    assert found == REFERENCES_WITHOUT


def test_what_is_unique_is_so_within_a_team(keyed, keys):
    found = {
        name for name, kind, table, _, columns in keys if kind in "ux" and table in keyed and "team_id" not in columns
    }
    with connection.cursor() as cursor:
        cursor.execute(PARTIAL)
        found |= {name for name, table, columns in cursor.fetchall() if table in keyed and "team_id" not in columns}
    assert found == UNIQUE_WITHOUT


def test_primary_keys_are_ids_that_phones_made(keyed, keys):
    found = {tuple(columns) for _, kind, table, _, columns in keys if kind == "p" and table in keyed}
    assert found == {("id",), ("lot_id",), ("team_id",)}


def test_tables_that_refer_to_a_teams_rows_are_keyed_themselves(keyed, keys):
    found = {table for _, kind, table, target, _ in keys if kind == "f" and target in keyed and table not in keyed}
    assert found == WITHOUT_TEAM


def test_each_exception_is_explained():
    text = (ROOT / "docs" / "growth.md").read_text()
    assert [
        name for name in sorted(REFERENCES_WITHOUT | UNIQUE_WITHOUT | WITHOUT_TEAM) if f"`{name}`" not in text
    ] == []
