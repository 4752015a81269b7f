"""Many rows in one statement: rows read are those that Django reads, and rows written are refused, not cut."""

from uuid import UUID

import pytest
from django.db import DataError, IntegrityError, transaction
from psycopg.errors import StringDataRightTruncation

from lots.models import Lot
from tastings.actions.push.rows import (
    check_constraints_now,
    insert_statement,
    rows_of,
    rows_statement,
    upsert_statement,
)
from tastings.models import Session
from tastings.queries.records import MODELS
from teams.postgresql.together import run_together
from tests.api.records import Place
from tests.factories import DescriptorFactory, LotFactory, NoteFactory, SessionFactory

pytestmark = pytest.mark.django_db
ABSENT = UUID(int=77)


def read(model, *ids):
    """Read rows with one statement, ordered by id."""
    [rows] = run_together([rows_statement(model, ids)])
    return sorted(rows_of(model, rows), key=lambda row: row.id)


def content(row):
    """Return the values of a row and the database that it came from."""
    values = {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}
    return values, row._state.db, row._state.adding


def test_rows_are_those_that_django_reads(taster):
    place = Place(taster)
    DescriptorFactory(team=taster.team, synonyms=["rain on stone"])
    NoteFactory(session=place.session, descriptor=None)
    LotFactory(team=taster.team, price_per_kg="123.45")
    for model in MODELS.values():
        stored = list(model.objects.order_by("id"))
        rows = read(model, ABSENT, *(row.id for row in stored))
        assert stored
        assert [content(row) for row in rows] == [content(row) for row in stored]
    for note, stored in zip(rows_with_words(), MODELS["note"].objects.order_by("id"), strict=True):
        assert (note is None) == (stored.descriptor is None)
        assert note is None or content(note) == content(stored.descriptor)


def rows_with_words():
    """Return the words of all notes, read together with these."""
    notes = read(MODELS["note"], *MODELS["note"].objects.values_list("id", flat=True))
    assert all("descriptor" in note._state.fields_cache for note in notes)
    return [note.descriptor for note in notes]


@pytest.mark.parametrize("statement", [insert_statement, upsert_statement])
@pytest.mark.parametrize("is_shared", [False, True])
def test_a_text_that_is_too_long_is_refused_and_not_cut(taster, statement, is_shared):
    lot = LotFactory(team=taster.team)
    row, shared = {"id": str(lot.id), "kind": "oolong"}, {"team_id": taster.team.id}
    (shared if is_shared else row)["name"] = "x" * 201
    with pytest.raises(DataError) as refused, transaction.atomic():
        run_together([statement(Lot, [row], shared)])
    assert isinstance(refused.value.__cause__, StringDataRightTruncation)


def test_a_deferred_constraint_is_checked_at_once_and_deferred_again(taster):
    session = SessionFactory(lot__team=taster.team, by=taster.user)
    point_at = Session.objects.filter(id=session.id).update
    assert point_at(lot_id=ABSENT) == 1
    with pytest.raises(IntegrityError), transaction.atomic():
        check_constraints_now()
    point_at(lot_id=session.lot_id)
    check_constraints_now()
    assert point_at(lot_id=ABSENT) == point_at(lot_id=session.lot_id) == 1
