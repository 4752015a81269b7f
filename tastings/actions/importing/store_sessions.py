"""Stores the sessions of a sheet, one at a time, through the same push as a phone's edits.

Ids are made from the team, the lot's name, the session's label, whose tasting it is, the infusion's number and the
descriptor, so a second import finds what the first one stored. A value is stored if the record is new, or if its
present value was imported too; what somebody has edited or deleted since is not overwritten.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID, uuid5

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from lots.merge import Stamp, StampedRecord
from lots.models import Lot, Synced
from lots.schema import format_stamp
from tastings.actions.importing.spreadsheet import (
    OF_INFUSION,
    OF_SESSION,
    CellError,
    ImportedSession,
    ImportTargets,
    SheetRow,
)
from tastings.actions.push import Change, Verdict, push_changes
from tastings.actions.push.checks import UNKNOWN_PARENT
from tastings.models import Descriptor, Session
from tastings.queries.records import visible_records
from tastings.schemas import RECORD_SCHEMAS
from teams.models import Member
from teams.queries.people import require_writer, shops_of

NEW, CORRECTED, SAME, NOT_OVERWRITTEN = "new", "corrected", "same", "kept"


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionImport:
    """What became of one session.

    ``counts`` says by record type and outcome how many records are ``new``, ``corrected``, the ``same``, or ``kept``
    because somebody edited or deleted them since an earlier import. ``errors`` names what was refused.
    """

    lot: str
    label: str
    lines: Sequence[int]
    counts: Mapping[tuple[str, str], int]
    errors: Sequence[CellError] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _TargetRecord:
    """A record as the sheet has it, and the cell to name if it is refused."""

    type: str
    id: UUID
    fields: Mapping[str, object]
    line: int
    column: str


def import_targets(member: Member) -> ImportTargets:
    """Return what a sheet of this member may refer to; raise NotAllowed for one who only reads."""
    require_writer(member)
    lots: dict[str, list[UUID]] = {}
    for name, lot in Lot.objects.filter(team_id=member.team_id, removed=False).values_list("name", "id"):
        lots.setdefault(name, []).append(lot)
    descriptors = Descriptor.objects.filter(Q(team=None) | Q(team_id=member.team_id), removed=False)
    return ImportTargets(
        lots=lots,
        shops={shop.name: shop.id for shop in shops_of(member)},
        descriptors=frozenset(descriptors.values_list("key", flat=True)),
    )


@transaction.atomic
def import_session(
    member: Member, session: ImportedSession, *, targets: ImportTargets, now: datetime, dry_run: bool = False
) -> SessionImport:
    """Store one session in one transaction; with ``dry_run`` do all of it and roll it back.

    Rows that the push refuses are named; the others of the session are stored.
    """
    device = uuid5(member.team_id, "import")
    records = list(_target_records(member, session, targets=targets))
    stored = _stored_records(member, records)
    lines = [row.line for row in session.rows.values()]
    for parent in records:
        if parent.type in ("lot", "session") and (row := stored.get(parent.id)) is not None and row.removed:
            values = {"type": parent.type}
            reason = _("this %(type)s was imported before and has been deleted since; bring it back first") % values
            errors = [CellError(line, parent.type, reason) for line in lines]
            return SessionImport(lot=session.lot, label=session.label, lines=lines, counts={}, errors=errors)
    stamp = Stamp(format_stamp(now), str(device), str(member.user_id))
    counts: Counter[tuple[str, str]] = Counter()
    sent: list[tuple[_TargetRecord, Change, str]] = []
    for record in records:
        fields, outcome = _changed_fields(record, stored.get(record.id), device=str(device))
        if fields:
            sent.append((record, Change(type=record.type, id=record.id, fields=fields, stamp=stamp), outcome))
        else:
            counts[record.type, outcome] += 1
    verdicts = push_changes(member, device=device, changes=[change for _record, change, _outcome in sent], now=now)
    for (record, _change, outcome), verdict in zip(sent, verdicts, strict=True):
        if verdict.verdict != "refused":
            counts[record.type, outcome] += 1
    if dry_run:
        transaction.set_rollback(True)
    errors = list(_refusals([record for record, _change, _outcome in sent], verdicts))
    return SessionImport(lot=session.lot, label=session.label, lines=lines, counts=counts, errors=errors)


def _target_records(member: Member, session: ImportedSession, *, targets: ImportTargets) -> Iterator[_TargetRecord]:
    """Yield the session's records, parents first."""
    first = next(iter(session.rows.values())).line
    lot_namespace = uuid5(member.team_id, f"import lot {session.lot}")
    lot_id = lot_namespace
    if session.lot in targets.lots:
        lot_id = targets.lots[session.lot][0]
    else:
        lot = {"name": session.lot, "kind": session.values["kind"]}
        yield _TargetRecord(type="lot", id=lot_id, fields=lot, line=first, column="lot")
    session_id = _session_id(member, lot_namespace, session.label)
    values = {name: session.values[name] for name in OF_SESSION if name in session.values}
    fields = {"lot": str(lot_id), **values}
    yield _TargetRecord(type="session", id=session_id, fields=fields, line=first, column="session")
    for row in session.rows.values():
        infusion = uuid5(session_id, f"infusion {row.values['number']}")
        fields = {"session": str(session_id), **{name: row.values[name] for name in OF_INFUSION if name in row.values}}
        yield _TargetRecord(type="infusion", id=infusion, fields=fields, line=row.line, column="number")
        yield from _note_records(session_id, infusion, row)


def _session_id(member: Member, lot_namespace: UUID, label: str) -> UUID:
    """Return the id of the member's session: two tasters may both call a pot "1".

    Sessions imported in earlier versions have ids without the taster; the taster's own are found again.
    """
    earlier = uuid5(lot_namespace, f"session {label}")
    if Session.objects.filter(id=earlier, taster_id=member.user_id).exists():
        return earlier
    return uuid5(lot_namespace, f"session {label} of {member.user_id}")


def _note_records(session: UUID, infusion: UUID, row: SheetRow) -> Iterator[_TargetRecord]:
    ratings: dict[str, object] = {**row.ratings, **dict.fromkeys(row.noted)}
    for key, intensity in ratings.items():
        fields = {
            "session": str(session),
            "infusion": str(infusion),
            "moment": "mouth",
            "descriptor": key,
            "intensity": intensity,
        }
        column = "noted" if key in row.noted else key
        yield _TargetRecord(type="note", id=uuid5(infusion, f"note {key}"), fields=fields, line=row.line, column=column)


def _stored_records(member: Member, records: Sequence[_TargetRecord]) -> dict[UUID, Synced]:
    """Return what the member may see under these ids, tombstones included."""
    stored: dict[UUID, Synced] = {}
    for name in RECORD_SCHEMAS:
        if ids := [record.id for record in records if record.type == name]:
            stored |= {row.id: row for row in visible_records(member, name).filter(id__in=ids)}
    return stored


def _changed_fields(target: _TargetRecord, row: Synced | None, *, device: str) -> tuple[Mapping[str, object], str]:
    """Return the fields to send, if any, and the outcome for the record."""
    if row is None:
        return target.fields, NEW
    stored: StampedRecord = row.stamped()
    other = {name: value for name, value in target.fields.items() if stored.values.get(name) != value}
    if not other:
        return {}, SAME
    if row.removed:
        return {}, NOT_OVERWRITTEN
    # A field without a stamp was never set; one stamped by another device was edited by somebody since.
    own = {
        name: value
        for name, value in other.items()
        if name not in stored.stamps or stored.stamps[name].device == device
    }
    return own, CORRECTED if own else NOT_OVERWRITTEN


def _refusals(records: Sequence[_TargetRecord], verdicts: Sequence[Verdict]) -> Iterator[CellError]:
    """Yield what was refused; children of a refused record only when nothing else explains it."""
    refused = [(row, verdict) for row, verdict in zip(records, verdicts, strict=True) if verdict.verdict == "refused"]
    roots = [
        (row, verdict)
        for row, verdict in refused
        if any(problem.code != UNKNOWN_PARENT for problem in verdict.problems)
    ]
    for row, verdict in roots or refused:
        reason = "; ".join(f"{problem.field}: {problem.detail}".removeprefix(": ") for problem in verdict.problems)
        values = {"type": row.type, "reason": reason}
        yield CellError(row.line, row.column, _("%(type)s refused: %(reason)s") % values)
