"""Writing what a push decided: one statement per record type, one revision per record."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from uuid import UUID

from django.db import connection

from lots.merge import LostValue, pack
from lots.models import FieldHistory
from lots.models.wire import column_name, column_value
from tastings.actions.push.pending import Draft
from tastings.actions.push.rows import among, upsert
from tastings.actions.push.state import Ground
from tastings.models import Infusion, Note, Session
from tastings.queries.records import MODELS, shared_sessions
from tastings.schemas import RECORD_SCHEMAS
from teams.models import Member


def store(ground: Ground, *, revision: int, now: datetime) -> int:
    """Write the dirty drafts and what they overwrote; return the team's revision after that."""
    member = ground.member
    for draft in ground.drafts["session"].values():
        if draft.dirty and draft.row is not None and draft.held.values["private"] != draft.values["private"]:
            revision = renew_children([draft.id], revision=revision)
    for type_name in RECORD_SCHEMAS:
        model = MODELS[type_name]
        dirty = [draft for draft in ground.drafts[type_name].values() if draft.dirty]
        if not dirty:
            continue
        rows = []
        for draft in dirty:
            revision += 1
            draft.revision = revision
            rows.append(_row(draft, ground=ground, now=now))
        upsert(model, rows)
    lost = [
        (d, item) for drafts in ground.drafts.values() for d in drafts.values() if d.dirty or d.lost for item in d.lost
    ]
    FieldHistory.objects.bulk_create((_history(d, item, member) for d, item in lost), ignore_conflicts=True)
    return revision


def heard_before(drafts: Iterable[Draft]) -> set[UUID]:
    """Return which lost values of these drafts are in the history already."""
    ids = [FieldHistory.history_id(draft.id, item) for draft in drafts for item in draft.lost]
    return set(FieldHistory.objects.filter(id__in=among(ids)).values_list("id", flat=True)) if ids else set()


def _row(draft: Draft, *, ground: Ground, now: datetime) -> dict[str, object]:
    """Return the record's columns in wire form."""
    member, held = ground.member, draft.row
    row: dict[str, object] = {
        "id": draft.id,
        "team_id": member.team_id,
        "revision": draft.revision,
        "removed": draft.copy.removed,
        "stamps": pack(draft.copy.stamps),
        "by_id": member.user_id,
        "created_at": held.created_at if held is not None else now,
        "updated_at": now,
    }
    for field in draft.schema.fields:
        value = draft.values.get(field.name)
        row[column_name(field)] = ground.word(value) if field.kind == "key" else column_value(field, value)
    match draft.schema.type:
        case "session":
            was_shared = isinstance(held, Session) and held.shared_once
            row["taster_id"] = held.taster_id if isinstance(held, Session) else member.user_id
            row["shared_once"] = was_shared or not (row["private"] or row["lot_id"] is None)
        case "descriptor":
            row["position"] = 0
        case _:
            pass
    return row


def _history(draft: Draft, lost: LostValue, member: Member) -> FieldHistory:
    return FieldHistory(
        id=FieldHistory.history_id(draft.id, lost),
        team_id=member.team_id,
        type=draft.schema.type,
        record=draft.id,
        field=lost.field,
        value=lost.value,
        at=datetime.fromisoformat(lost.stamp.at),
        claimed_at=lost.stamp.reported,
        device=UUID(lost.stamp.device),
        by_id=UUID(lost.stamp.by),
    )


def renew_children(sessions: Sequence[UUID], *, revision: int) -> int:
    """Give the sessions' infusions and notes new revisions, since who may see them has changed; return the last."""
    for model in (Infusion, Note):
        table = model._meta.db_table
        with connection.cursor() as cursor:
            cursor.execute(
                f"""UPDATE {table} AS kept SET revision = %s + placed.place
                    FROM (SELECT id, row_number() OVER (ORDER BY revision) AS place
                          FROM {table} WHERE session_id = ANY(%s)) AS placed
                    WHERE kept.id = placed.id""",  # noqa: S608 - the table's name is our own
                [revision, list(sessions)],
            )
            revision += cursor.rowcount
    return revision


def lots_touched(ground: Ground) -> set[UUID]:
    """Return the lots whose figures this push bears on."""
    touched: set[str] = set()
    for draft in ground.drafts["session"].values():
        if draft.dirty:
            versions: Sequence[dict[str, object]] = [draft.copy.values]
            if draft.row is not None:
                versions = [draft.held.values, draft.copy.values]
            touched |= {str(values["lot"]) for values in versions if _is_open(values)}
    for type_name in ("infusion", "note"):
        for draft in ground.drafts[type_name].values():
            if draft.dirty and _is_open((session := ground.session_of(draft)).values):
                touched.add(str(session.values["lot"]))
    found = {UUID(lot) for lot in touched}
    rerated = [
        draft.id
        for draft in ground.drafts["descriptor"].values()
        if draft.dirty
        and draft.row is not None
        and draft.held.values["rated_each_infusion"] != draft.values["rated_each_infusion"]
    ]
    if rerated:
        notes = Note.objects.filter(
            shared_sessions("session__"), team_id=ground.member.team_id, descriptor_id__in=rerated
        )
        found |= set(notes.values_list("session__lot_id", flat=True).distinct())
    return found


def _is_open(session: Mapping[str, object]) -> bool:
    """Whether the team shares the session; see `tastings.queries.records.shared_sessions`."""
    return not session.get("private") and session.get("lot") is not None
