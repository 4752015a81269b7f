"""Reading the state of a push in a handful of queries."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar
from uuid import UUID

import msgspec
from django.db import connection

from lots.models import Lot, Synced
from lots.schema import uuid_of
from tastings.actions.push.change import Change
from tastings.actions.push.pending import PendingRecord
from tastings.actions.push.rows import rows_of, rows_statement
from tastings.actions.push.state import MergeTarget, PushState, Records, StoredDescriptor
from tastings.actions.quotas import RecordAllowance
from tastings.models import Descriptor, FlightCup, Infusion, Note, Pot, Session
from tastings.queries.quotas import record_counts_statement, used_by_member
from tastings.schemas import RECORD_SCHEMAS
from teams.models import Member, Shop
from teams.postgresql.together import run_together
from teams.row_security import ids_in_use_statement, readable_by_kind

_Row = TypeVar("_Row", bound=Synced)
_DESCRIPTORS = """
    SELECT word.id, word.key, word.removed, target.id, target.key
    FROM tastings_descriptor AS word LEFT JOIN tastings_descriptor AS target ON target.id = word.merged_into_id
    WHERE word.key = ANY(%s) AND (word.team_id IS NULL OR word.team_id = %s)
    ORDER BY word.removed, word.position
"""
"""Live ones first: a key in a note means the descriptor that has it now."""
_Word = tuple[UUID, str, bool, UUID | None, str | None]
"""One row of it."""
_CHAINS = """
    WITH RECURSIVE chain (id, from_lot_id) AS (
        SELECT id, from_lot_id FROM lots_lot WHERE id = ANY(%s) AND team_id = %s
        UNION SELECT lot.id, lot.from_lot_id FROM lots_lot AS lot JOIN chain ON lot.id = chain.from_lot_id
    ) SELECT id, from_lot_id FROM chain
"""


@dataclass(slots=True)
class _Names:
    """Ids and keys that changes name."""

    records: dict[str, set[UUID]] = field(default_factory=lambda: {name: set() for name in RECORD_SCHEMAS})
    keys: set[str] = field(default_factory=set)
    shops: set[UUID] = field(default_factory=set)
    cups: set[UUID] = field(default_factory=set)
    samples: set[UUID] = field(default_factory=set)


def read_state(member: Member, changes: Collection[Change], *, for_whole_team: bool) -> PushState:
    """Lock the team's row; read the records that the changes name and those that these refer to.

    ``for_whole_team`` reads private and blind sessions of others too.
    """
    return _Reader(member, for_whole_team=for_whole_team).read(_names_in(changes))


def _names_in(changes: Iterable[Change]) -> _Names:
    names = _Names()
    for change in changes:
        names.records[change.type].add(change.id)
        if change.type == "descriptor" and (key := change.fields.get("key")) is not None:
            names.keys.add(str(key))
        for schema_field in RECORD_SCHEMAS[change.type].references:
            if (value := change.fields.get(schema_field.name)) is None:
                continue
            if schema_field.kind == "key":
                names.keys.add(str(value))
            elif schema_field.to == "shop":
                names.shops.add(uuid_of(str(value)))
            elif schema_field.to == "flight_cup":
                names.cups.add(uuid_of(str(value)))
            elif schema_field.to is not None:
                if schema_field.name == "from_lot":
                    names.samples.add(uuid_of(str(value)))
                names.records[schema_field.to].add(uuid_of(str(value)))
    return names


class _Reader:
    """Reads for one member, and notes which built-in descriptors are named."""

    def __init__(self, member: Member, *, for_whole_team: bool) -> None:
        self._member, self._for_whole_team = member, for_whole_team
        self._built_in: set[UUID] = set()

    def read(self, names: _Names) -> PushState:
        # Asked for every id first, and only what is readable is read: an id of another team, or of a hidden session,
        # takes as long to answer as a free one, and a new tasting costs no read of each type. Lots are read at once:
        # nothing hides them within the team, and nearly all that are named are there.
        reader = None if self._for_whole_team else self._member.user_id
        named = set[UUID]().union(*names.records.values())
        team = self._member.team_id
        team_found, ids_found, counts, words, *named_lots = run_together([
            ("SELECT revision FROM teams_team WHERE id = %s FOR NO KEY UPDATE", [team]),
            ids_in_use_statement(named, team=team, member=reader),
            record_counts_statement(team),
            (_DESCRIPTORS, [list(names.keys), team]),
            *([rows_statement(Lot, names.records["lot"])] if names.records["lot"] else []),
        ])  # fmt: skip
        [(revision,)] = msgspec.convert(team_found, list[tuple[int]])
        in_use = readable_by_kind(ids_found)
        ids = {name: {row for row in rows if in_use.get(row, {}).get(name)} for name, rows in names.records.items()}
        # children before parents, so that the parents of stored records are read too
        notes = self._rows(Note, ids["note"])
        keys = names.keys | {note.descriptor.key for note in notes if note.descriptor is not None}
        ids["session"] |= {note.session_id for note in notes}
        infusions = self._rows(Infusion, ids["infusion"])
        ids["session"] |= {infusion.session_id for infusion in infusions}
        sessions = self._rows(Session, ids["session"])
        lots = self._own(rows_of(Lot, named_lots[0])) if named_lots else []
        more_lots = {session.lot_id for session in sessions if session.lot_id is not None} - {lot.id for lot in lots}
        records: Records = {
            "descriptor": _pending(self._rows(Descriptor, ids["descriptor"])),
            "lot": _pending([*lots, *self._rows(Lot, more_lots)]),
            "pot": _pending(self._rows(Pot, ids["pot"])),
            "session": _pending(sessions),
            "infusion": _pending(infusions),
            "note": _pending(notes),
        }
        cups = self._cups(names.cups)
        revealed = {cup.lot_id for cup in cups.values() if not cup.flight.is_blind} - records["lot"].keys()
        records["lot"] |= _pending(self._rows(Lot, revealed))
        return PushState(
            member=self._member,
            revision=revision,
            records=records,
            used_ids=in_use.keys(),
            ids_of_several_types=sum(map(len, names.records.values())) > len(named),
            built_in=self._built_in,
            descriptors=self._descriptors(words, keys=keys - names.keys),
            allowance=RecordAllowance(self._member, used=used_by_member(counts)),
            shops=self._shops(names.shops),
            samples=self._samples(names.samples),
            cups=cups,
        )

    def _shops(self, ids: set[UUID]) -> set[UUID]:
        if not ids:
            return set()
        return set(Shop.objects.filter(team_id=self._member.team_id, id__in=ids).values_list("id", flat=True))

    def _samples(self, lots: set[UUID]) -> Mapping[UUID, UUID | None]:
        """Follow the lots to the samples they were bought from."""
        if not lots:
            return {}
        with connection.cursor() as cursor:
            cursor.execute(_CHAINS, [list(lots), self._member.team_id])
            return dict(cursor.fetchall())

    def _cups(self, ids: set[UUID]) -> Mapping[UUID, FlightCup]:
        if not ids:
            return {}
        own = FlightCup.objects.filter(team_id=self._member.team_id, taster_id=self._member.user_id)
        return {cup.id: cup for cup in own.filter(id__in=ids).select_related("flight")}

    def _descriptors(self, words: list[tuple[object, ...]], *, keys: set[str]) -> Mapping[str, list[StoredDescriptor]]:
        """Return by key the descriptors that were read, those with more keys, and those that they were merged into."""
        by_key: dict[str, list[StoredDescriptor]] = {}
        targets = set(keys)
        while True:
            for row, key, removed, target, target_key in msgspec.convert(words, list[_Word]):
                merged_into = None if target is None or target_key is None else MergeTarget(target, target_key)
                by_key.setdefault(key, []).append(StoredDescriptor(row, removed, merged_into))
                if merged_into is not None:
                    targets.add(merged_into.key)
            if not (unread := targets - by_key.keys()):
                return by_key
            [words] = run_together([(_DESCRIPTORS, [list(unread), self._member.team_id])])
            targets = set()

    def _rows(self, model: type[_Row], ids: Collection[UUID]) -> list[_Row]:
        """Read the team's rows with these ids."""
        return self._own(rows_of(model, run_together([rows_statement(model, ids)])[0])) if ids else []

    def _own(self, rows: Iterable[_Row]) -> list[_Row]:
        """Return the team's rows; note which of the others are built in."""
        own = []
        for row in rows:
            if row.team_id == self._member.team_id:
                own.append(row)
            elif isinstance(row, Descriptor) and row.is_built_in:
                self._built_in.add(row.id)
        return own


def _pending(rows: Iterable[Synced]) -> dict[UUID, PendingRecord]:
    return {row.id: PendingRecord.from_row(row) for row in rows}
