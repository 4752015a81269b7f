"""Storing what a push decided: one statement per record type, one revision per record."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import cache
from uuid import UUID

from django.db import connection

from lots.merge import LostValue, pack
from lots.models import FieldHistory
from lots.models.wire import column_name, column_value
from lots.schema import uuid_of
from tastings.actions.push.pending import PendingRecord
from tastings.actions.push.rows import insert_statement, upsert_statement
from tastings.actions.push.state import PushState
from tastings.models import Infusion, Note, Session
from tastings.queries.records import MODELS, shared_sessions
from tastings.schemas import RECORD_SCHEMAS
from teams.models import Member
from teams.postgresql.together import Statement

_DECIDES_WHO_HAS_IT = ("private", "lot", "started_at")
"""Fields of a session by which others see its infusions and notes, or a phone's scope holds them."""


_AUTHOR = {"session": "taster_id"}
"""By record type, the column that says who made a record where it has another name."""


def store(state: PushState, *, now: datetime) -> tuple[int, list[Statement]]:
    """Write the values that lost; return the team's revision after the push and what writes the dirty records."""
    revision, statements = state.revision, list[Statement]()
    shared = {"team_id": state.member.team_id, "by_id": state.member.user_id, "updated_at": now}
    for pending in state.records["session"].values():
        if any(pending.changes_field(name) for name in _DECIDES_WHO_HAS_IT):
            revision = renew_child_revisions([pending.id], revision=revision)
    for type_name in RECORD_SCHEMAS:
        new, stored = list[dict[str, object]](), list[dict[str, object]]()
        for pending in state.dirty(type_name):
            revision += 1
            pending.revision = revision
            (new if pending.row is None else stored).append(_row(pending, state=state))
        if new:
            on_insert = {"created_at": now, _AUTHOR.get(type_name, "author_id"): state.member.user_id}
            statements.append(insert_statement(MODELS[type_name], new, shared | on_insert))
        if stored:
            statements.append(upsert_statement(MODELS[type_name], stored, shared))
    history = [
        _history(pending, lost, state.member)
        for records in state.records.values()
        for pending in records.values()
        for lost in pending.lost
    ]
    FieldHistory.objects.bulk_create(history, ignore_conflicts=True)
    return revision, statements


def _row(pending: PendingRecord, *, state: PushState) -> dict[str, object]:
    """Return what a record's columns hold, in wire form, beside what all records of the push share."""
    stored = pending.row
    row: dict[str, object] = {
        "id": pending.id,
        "revision": pending.revision,
        "removed": pending.current.removed,
        "stamps": pack(pending.current.stamps),
    }
    values = pending.values
    for name, column, empty, is_key in _columns(pending.schema.type):
        value = values.get(name)
        row[column] = empty if value is None else state.descriptor_id(value) if is_key else value
    if stored is not None:
        row["created_at"] = stored.created_at
        row[_AUTHOR.get(pending.schema.type, "author_id")] = stored.author_id
    if pending.schema.type == "session":
        row["shared_once"] = (isinstance(stored, Session) and stored.shared_once) or _is_shared(pending.values)
    elif pending.schema.type == "descriptor":
        row["position"] = 0
    return row


@cache
def _columns(type_name: str) -> list[tuple[str, str, object, bool]]:
    """Return each field's name, column, what the column holds without a value, and whether it is a word's key."""
    fields = RECORD_SCHEMAS[type_name].fields
    return [(field.name, column_name(field), column_value(field, None), field.kind == "key") for field in fields]


def _history(pending: PendingRecord, lost: LostValue, member: Member) -> FieldHistory:
    return FieldHistory(
        id=FieldHistory.history_id(pending.id, lost),
        team_id=member.team_id,
        type=pending.schema.type,
        record=pending.id,
        field=lost.field,
        value=lost.value,
        at=datetime.fromisoformat(lost.stamp.at),
        claimed_at=lost.stamp.reported,
        device=UUID(lost.stamp.device),
        by_id=UUID(lost.stamp.by),
    )


def renew_child_revisions(sessions: Sequence[UUID], *, revision: int) -> int:
    """Give the sessions' infusions and notes new revisions, since who has them has changed; return the last."""
    for model in (Infusion, Note):
        table = model._meta.db_table
        with connection.cursor() as cursor:
            cursor.execute(
                f"""UPDATE {table} AS child SET revision = %s + numbered.place
                    FROM (SELECT id, row_number() OVER (ORDER BY revision) AS place
                          FROM {table} WHERE session_id = ANY(%s)) AS numbered
                    WHERE child.id = numbered.id""",  # noqa: S608 - the table's name is our own
                [revision, list(sessions)],
            )
            revision += cursor.rowcount
    return revision


def changed_photo_parents(state: PushState) -> list[UUID]:
    """Return the sessions and lots whose photos come or go with this push."""
    return [
        pending.id
        for pending in (*state.dirty("session"), *state.dirty("lot"))
        if pending.row is not None
        and (
            pending.stored.removed != pending.current.removed
            or (pending.schema.type == "session" and any(map(pending.changes_field, _DECIDES_WHO_HAS_IT)))
        )
    ]


def changed_lots(state: PushState) -> set[UUID]:
    """Return the lots whose figures this push changes."""
    sessions: list[Mapping[str, object]] = []
    for pending in state.dirty("session"):
        sessions.append(pending.values)
        if pending.row is not None:
            sessions.append(pending.stored.values)
    parents = {str(pending.values["session"]) for name in ("infusion", "note") for pending in state.dirty(name)}
    sessions += [state.records["session"][uuid_of(parent)].values for parent in parents]
    lots = {UUID(str(session["lot"])) for session in sessions if _is_shared(session)}
    # the kind decides which even brew the sessions are evened out to
    lots |= {pending.id for pending in state.dirty("lot") if pending.row is not None and pending.changes_field("kind")}
    rated = [p.id for p in state.records["descriptor"].values() if p.changes_field("rated_each_infusion")]
    if rated:
        notes = Note.objects.filter(shared_sessions("session__"), team_id=state.member.team_id, descriptor_id__in=rated)
        lots |= set(notes.values_list("session__lot_id", flat=True).distinct())
    return lots


def _is_shared(session: Mapping[str, object]) -> bool:
    """Whether the team sees the session; see `tastings.queries.records.shared_sessions`."""
    return not session.get("private") and session.get("lot") is not None
