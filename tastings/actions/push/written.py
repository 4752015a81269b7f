"""The rows that a push stores, in the form of a pull."""

from collections.abc import Mapping
from functools import cache
from uuid import UUID

from lots.models.wire import TO_WIRE, column_value
from lots.schema import uuid_of
from tastings.actions.push.state import PushState
from tastings.queries.written_rows import Written, WrittenRow, record_change
from tastings.schemas import RECORD_SCHEMAS


def written_rows(state: PushState, *, after: int, upto: int) -> Written | None:
    """Return what was stored under these revisions; None if others than the changed records have got some of them."""
    dirty = [pending for name in RECORD_SCHEMAS for pending in state.dirty(name)]
    if len(dirty) != upto - after:
        return None
    by = str(state.member.user_id)
    keys: dict[object, object] = {}
    rows, sessions = list[WrittenRow](), dict[UUID, Mapping[str, object]]()
    for pending in dirty:
        name, values, session = pending.schema.type, pending.values, pending.id
        if name in ("infusion", "note"):
            session = uuid_of(str(values["session"]))
            sessions[session] = state.records["session"][session].values
        fields = {field: empty if (value := values.get(field)) is None else value for field, empty in _fields(name)}
        author = by if pending.row is None else str(pending.row.author_id)
        if name == "note" and (key := fields["descriptor"]) is not None:
            if key not in keys:  # the row has the descriptor that this one was merged into
                target = state.merge_target(key)
                keys[key] = key if target is None else target.key
            fields["descriptor"] = keys[key]
        elif name == "session":
            fields["taster"] = author
        elif name == "descriptor":
            fields["built_in"] = False
        removed, revision = pending.current.removed, pending.revision or 0
        change = record_change(
            name,
            pending.id,
            revision=revision,
            deleted=removed,
            fields={} if removed else fields,
            at=max(pending.current.stamps.values()).at,
            by=by,
            author=author,
        )
        rows.append(WrittenRow(name, pending.id, revision, removed, session, change))
    return Written(after, upto, rows, sessions)


@cache
def _fields(type_name: str) -> tuple[tuple[str, object], ...]:
    """Return each field's name and what a pull says when it has no value."""
    fields = RECORD_SCHEMAS[type_name].fields
    return tuple((field.name, TO_WIRE[field.kind](column_value(field, None))) for field in fields)
