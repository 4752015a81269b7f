"""What a push stands on: the records it names and those they hang on, read in a handful of queries.

Records of another team, and of others' sessions that are private or blind, are kept apart in ``hidden``: to the
member they do not exist.
"""

from collections.abc import Iterable, Sequence
from typing import TypeVar, cast
from uuid import UUID

from django.db.models import Case, Q, QuerySet, Value, When

from lots.models import Lot, Synced
from lots.schema import uuid_of
from tastings.actions.push.change import Change
from tastings.actions.push.pending import Draft
from tastings.actions.push.rows import among
from tastings.models import Descriptor, FlightCup, Infusion, Note, Session
from tastings.queries.records import visible_sessions, with_descriptors
from tastings.schemas import RECORD_SCHEMAS
from teams.models import Member, Shop
from teams.row_security import taken

_Row = TypeVar("_Row", bound=Synced)
_OF_WORDS = ("key", "removed", "merged_into__key", "merged_into__removed")
"""What is looked at of descriptors that are named: each push names a dozen, and they are wide."""


class Ground:
    """The drafts at hand by type and id, the team's shops, and the descriptors by key."""

    def __init__(self, member: Member, changes: Sequence[Change], *, for_whole_team: bool = False) -> None:
        self.member, self._for_whole_team = member, for_whole_team
        self.drafts: dict[str, dict[UUID, Draft]] = {name: {} for name in RECORD_SCHEMAS}
        self.hidden: set[tuple[str, UUID]] = set()
        self.built_in: set[UUID] = set()
        self.descriptors: dict[str, list[Descriptor]] = {}
        self.shops: set[UUID] = set()
        self.cups: dict[UUID, FlightCup] = {}
        """Of flights, by id: the member's own."""
        self._read(changes)

    def find(self, type_name: str, record: object) -> Draft | None:
        """Return the record if it exists for the member, stored or accepted in this push."""
        draft = self.drafts[type_name].get(uuid_of(str(record)))
        return draft if draft is not None and draft.exists else None

    def draft_of(self, change: Change) -> Draft:
        """Return the draft a change works on, a new one if there is none."""
        return self.drafts[change.type].setdefault(change.id, Draft(RECORD_SCHEMAS[change.type], change.id, None))

    def word(self, key: object) -> UUID | None:
        """Return the descriptor a key means: a live one first, stored or accepted in this push, then a merged one's."""
        if (live := self._live_word(key)) is not None:
            return live
        if (merged := self.merged(key)) is not None:
            return merged.id
        for draft in self.drafts["descriptor"].values():
            if draft.exists and draft.values["key"] == key:
                return draft.id
        return next((word.id for word in self.descriptors.get(str(key), ())), None)

    def merged(self, key: object) -> Descriptor | None:
        """Return what the word with this key was merged into; None while there is a word with this key."""
        if self._live_word(key) is not None:
            return None
        return next((word.merged_into for word in self.descriptors.get(str(key), ()) if word.merged_into), None)

    def _live_word(self, key: object) -> UUID | None:
        for word in self.descriptors.get(str(key), ()):
            if not word.removed:
                return word.id
        for draft in self.drafts["descriptor"].values():
            if draft.exists and not draft.copy.removed and draft.values["key"] == key:
                return draft.id
        return None

    def session_of(self, draft: Draft) -> Draft:
        """Return the session an infusion or note hangs on."""
        return self.drafts["session"][uuid_of(str(draft.values["session"]))]

    def _read(self, changes: Sequence[Change]) -> None:
        named: dict[str, set[UUID]] = {name: set() for name in RECORD_SCHEMAS}
        keys: set[str] = set()
        shops: set[UUID] = set()
        cups: set[UUID] = set()
        for change in changes:
            named[change.type].add(change.id)
            for field in RECORD_SCHEMAS[change.type].fields:
                if (value := change.fields.get(field.name)) is None:
                    continue
                if field.kind == "key" or (change.type, field.name) == ("descriptor", "key"):
                    keys.add(str(value))
                elif field.to == "shop":
                    shops.add(uuid_of(str(value)))
                elif field.to == "flight_cup":
                    cups.add(uuid_of(str(value)))
                elif field.to is not None:
                    named[field.to].add(uuid_of(str(value)))
        # children before parents, so that the parents of what is stored are read too
        notes = self._children(Note, named["note"])
        keys |= {note.descriptor.key for note in notes}
        named["session"] |= {note.session_id for note in notes}
        infusions = self._children(Infusion, named["infusion"])
        named["session"] |= {infusion.session_id for infusion in infusions}
        sessions = [s for s in self._rows(Session, named["session"]) if not self._hide(s, seen=self._sees(s))]
        named["lot"] |= {session.lot_id for session in sessions if session.lot_id is not None}
        self._keep("lot", self._rows(Lot, named["lot"]))
        self._keep("session", sessions)
        self._keep("infusion", infusions)
        self._keep("note", notes)
        self._keep("descriptor", self._rows(Descriptor, named["descriptor"]))
        # asked of all that the member does not see, so that what is hidden costs what is not there does
        self.hidden |= taken({name: named[name] - self.drafts[name].keys() - self.built_in for name in RECORD_SCHEMAS})
        if shops:
            self.shops = set(
                Shop.objects.filter(team_id=self.member.team_id, id__in=shops).values_list("id", flat=True)
            )
        if cups:
            mine = FlightCup.objects.filter(team_id=self.member.team_id, taster_id=self.member.user_id)
            self.cups = {cup.id: cup for cup in mine.filter(id__in=cups).select_related("flight")}
            revealed = {cup.lot_id for cup in self.cups.values() if not cup.flight.is_blind} - self.drafts["lot"].keys()
            self.drafts["lot"] |= {row.id: Draft.of_row(row) for row in self._rows(Lot, revealed)}
        self._read_words(keys)

    def _read_words(self, keys: set[str]) -> None:
        """Read the descriptors with these keys, and those that they were merged into."""
        own = Q(team=None) | Q(team_id=self.member.team_id)
        while keys:
            words = Descriptor.objects.filter(own, key__in=keys).select_related("merged_into").only(*_OF_WORDS)
            # live ones first: a note with a key means the word in use now
            for word in words.order_by("removed", "position"):
                self.descriptors.setdefault(word.key, []).append(word)
            found = [word for key in keys for word in self.descriptors.get(key, ())]
            keys = {word.merged_into.key for word in found if word.merged_into} - self.descriptors.keys()

    def _rows(self, model: type[_Row], ids: Iterable[UUID]) -> list[_Row]:
        return self._mine(model._default_manager.filter(id__in=among(ids))) if ids else []

    def _children(self, model: type[_Row], ids: Iterable[UUID]) -> list[_Row]:
        """Return infusions or notes. The session of a hidden one is not even read, or the time it takes would tell."""
        if not ids:
            return []
        seen = Case(When(visible_sessions(self.member, "session__"), then=Value("yes")), default=Value(""))
        rows = cast("QuerySet[_Row]", model._default_manager.filter(id__in=among(ids)).annotate(seen=seen))
        return [row for row in self._mine(rows) if not self._hide(row, seen=bool(row.seen))]  # type: ignore[attr-defined]  # annotated

    def _sees(self, session: Session) -> bool:
        opened = not session.private and session.lot_id is not None
        return opened or session.taster_id == self.member.user_id

    def _mine(self, rows: QuerySet[_Row]) -> list[_Row]:
        """Return the team's rows."""
        mine = []
        for row in with_descriptors(rows):
            if row.team_id == self.member.team_id:
                mine.append(row)
            elif isinstance(row, Descriptor) and row.is_built_in:
                self.built_in.add(row.id)
        return mine

    def _hide(self, row: Synced, *, seen: bool) -> bool:
        hidden = not (seen or self._for_whole_team)
        if hidden:
            self.hidden.add((row.schema.type, row.id))
        return hidden

    def _keep(self, type_name: str, rows: Iterable[Synced]) -> None:
        self.drafts[type_name] = {row.id: Draft.of_row(row) for row in rows}
