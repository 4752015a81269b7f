"""Storing what a sheet says, one pot at a time, through the same push as a phone's edits.

Ids are made from the team, the lot's name, the session's label, the infusion's number and the descriptor, so a second
import finds what the first one stored. A value goes in when the record is new, or when the one that stands was
written by an import too; what somebody has edited or deleted since is left alone.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID, uuid5

from django.db import transaction
from django.db.models import Q

from lots.merge import Stamp, StampedRecord
from lots.models import Lot, Synced
from lots.schema import stamp_moment
from tastings.actions.importing.spreadsheet import OF_INFUSION, OF_SESSION, Fault, Known, Pot, Row
from tastings.actions.push import Change, Verdict, push_changes
from tastings.actions.push.checks import UNKNOWN_PARENT
from tastings.models import Descriptor
from tastings.queries.records import visible_records
from tastings.schemas import RECORD_SCHEMAS
from teams.errors import NotAllowed
from teams.models import Member
from teams.queries.people import shops_of

NEW, CORRECTED, SAME, KEPT = "new", "corrected", "same", "kept"


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """What became of one pot.

    ``counts`` says by record type and word how many records are ``new``, ``corrected``, the ``same``, or ``kept``
    because somebody edited or deleted them since an earlier import. ``faults`` names what was refused.
    """

    lot: str
    label: str
    lines: Sequence[int]
    counts: Mapping[tuple[str, str], int]
    faults: Sequence[Fault] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wanted:
    """A record as the sheet has it, and the cell to name if it is refused."""

    type: str
    id: UUID
    fields: Mapping[str, object]
    line: int
    column: str


def known_to(member: Member) -> Known:
    """Return what a sheet of this member's may refer to; raise NotAllowed for one who only reads."""
    if not member.may_write:
        raise NotAllowed("your role only reads")
    lots: dict[str, list[UUID]] = {}
    for name, lot in Lot.objects.filter(team_id=member.team_id, removed=False).values_list("name", "id"):
        lots.setdefault(name, []).append(lot)
    words = Descriptor.objects.filter(Q(team=None) | Q(team_id=member.team_id), removed=False)
    return Known(
        lots=lots,
        shops={shop.name: shop.id for shop in shops_of(member)},
        descriptors=frozenset(words.values_list("key", flat=True)),
    )


@transaction.atomic
def import_pot(member: Member, pot: Pot, *, known: Known, now: datetime, dry_run: bool = False) -> Imported:
    """Store one pot in one transaction; with ``dry_run`` do all of it and take it back.

    Rows that the push refuses are named; the others of the pot stand.
    """
    device = uuid5(member.team_id, "import")
    wanted = list(_wanted(member.team_id, pot, known=known))
    held = _held(member, wanted)
    lines = [row.line for row in pot.rows.values()]
    for parent in wanted:
        if parent.type in ("lot", "session") and (row := held.get(parent.id)) is not None and row.removed:
            reason = f"this {parent.type} was imported before and has been deleted since; bring it back first"
            faults = [Fault(line, parent.type, reason) for line in lines]
            return Imported(lot=pot.lot, label=pot.label, lines=lines, counts={}, faults=faults)
    stamp = Stamp(stamp_moment(now.isoformat()), str(device), str(member.user_id))
    counts: Counter[tuple[str, str]] = Counter()
    sent: list[tuple[_Wanted, Change, str]] = []
    for one in wanted:
        fields, word = _difference(one, held.get(one.id), device=str(device))
        if fields:
            sent.append((one, Change(type=one.type, id=one.id, fields=fields, stamp=stamp), word))
        else:
            counts[one.type, word] += 1
    verdicts = push_changes(member, device=device, changes=[change for _, change, _ in sent], now=now)
    for (one, _, word), verdict in zip(sent, verdicts, strict=True):
        if verdict.verdict != "refused":
            counts[one.type, word] += 1
    if dry_run:
        transaction.set_rollback(True)
    faults = list(_faults([one for one, _, _ in sent], verdicts))
    return Imported(lot=pot.lot, label=pot.label, lines=lines, counts=counts, faults=faults)


def _wanted(team: UUID, pot: Pot, *, known: Known) -> Iterator[_Wanted]:
    """Yield the pot's records, parents first."""
    first = next(iter(pot.rows.values())).line
    place = uuid5(team, f"import lot {pot.lot}")
    lot = place
    if pot.lot in known.lots:
        lot = known.lots[pot.lot][0]
    else:
        yield _Wanted(type="lot", id=lot, fields={"name": pot.lot, "kind": pot.whole["kind"]}, line=first, column="lot")
    session = uuid5(place, f"session {pot.label}")
    whole = {name: pot.whole[name] for name in OF_SESSION if name in pot.whole}
    yield _Wanted(type="session", id=session, fields={"lot": str(lot), **whole}, line=first, column="session")
    for row in pot.rows.values():
        infusion = uuid5(session, f"infusion {row.values['number']}")
        poured = {name: row.values[name] for name in OF_INFUSION if name in row.values}
        yield _Wanted(
            type="infusion", id=infusion, fields={"session": str(session), **poured}, line=row.line, column="number"
        )
        yield from _notes(session, infusion, row)


def _notes(session: UUID, infusion: UUID, row: Row) -> Iterator[_Wanted]:
    said: dict[str, object] = {**row.ratings, **dict.fromkeys(row.noted)}
    for key, intensity in said.items():
        fields = {
            "session": str(session),
            "infusion": str(infusion),
            "moment": "mouth",
            "descriptor": key,
            "intensity": intensity,
        }
        column = "noted" if key in row.noted else key
        yield _Wanted(type="note", id=uuid5(infusion, f"note {key}"), fields=fields, line=row.line, column=column)


def _held(member: Member, wanted: Sequence[_Wanted]) -> dict[UUID, Synced]:
    """Return what the member may see under these ids, tombstones included."""
    held: dict[UUID, Synced] = {}
    for name in RECORD_SCHEMAS:
        if ids := [one.id for one in wanted if one.type == name]:
            held |= {row.id: row for row in visible_records(member, name).filter(id__in=ids)}
    return held


def _difference(wanted: _Wanted, row: Synced | None, *, device: str) -> tuple[Mapping[str, object], str]:
    """Return the fields to send, if any, and the word for what becomes of the record."""
    if row is None:
        return wanted.fields, NEW
    held: StampedRecord = row.stamped()
    other = {name: value for name, value in wanted.fields.items() if held.values.get(name) != value}
    if not other:
        return {}, SAME
    if row.removed:
        return {}, KEPT
    # A field that carries no stamp was never said; one stamped by another device is somebody's later word.
    ours = {
        name: value for name, value in other.items() if name not in held.stamps or held.stamps[name].device == device
    }
    return ours, CORRECTED if ours else KEPT


def _faults(wanted: Sequence[_Wanted], verdicts: Sequence[Verdict]) -> Iterator[Fault]:
    """Yield what was refused; children of a refused record only when nothing else explains it."""
    refused = [(one, verdict) for one, verdict in zip(wanted, verdicts, strict=True) if verdict.verdict == "refused"]
    roots = [
        (one, verdict)
        for one, verdict in refused
        if any(problem.code != UNKNOWN_PARENT for problem in verdict.problems)
    ]
    for one, verdict in roots or refused:
        reason = "; ".join(f"{problem.field}: {problem.detail}".removeprefix(": ") for problem in verdict.problems)
        yield Fault(one.line, one.column, f"{one.type} refused: {reason}")
