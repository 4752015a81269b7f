"""What changed in a team since a cursor, as one member may see it.

Revisions are handed out under a lock that is held until commit, so everything up to the team's counter is there to
read. The counter is read before the rows: a row written meanwhile carries a later revision and comes next time.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from uuid import UUID

from lots.models import Synced
from tastings.models import Infusion, Note, Session
from tastings.queries.records import MODELS, with_words
from teams.models import Member, Team


@dataclass(frozen=True, slots=True)
class Page:
    """Changes in the order of their revisions, the cursor to come back with, and whether there is more."""

    changes: list[Mapping[str, object]]
    cursor: int
    more: bool


def pull(member: Member, *, cursor: int, limit: int) -> Page:
    """Return up to ``limit`` changed records after ``cursor``.

    A session private to someone else, and what hangs on it, comes as a deletion if others could see it once; else it
    does not come at all, and the page may hold fewer changes than the limit though there is more.
    """
    counter = Team.objects.values_list("revision", flat=True).get(id=member.team_id)
    found: list[Synced] = []
    for model in MODELS.values():
        rows = model._default_manager.filter(team_id=member.team_id, revision__gt=cursor, revision__lte=counter)
        found += with_words(rows).order_by("revision")[: limit + 1]
    found.sort(key=lambda row: row.revision)
    page, more = found[:limit], len(found) > limit
    hidden, unseen = _hidden(member, page)
    changes = [
        _change(row, gone=row.removed or _session_of(row) in hidden) for row in page if _session_of(row) not in unseen
    ]
    # a cursor ahead of the counter (a restored backup) is not moved back: it only ever grows
    return Page(changes, page[-1].revision if more else max(counter, cursor), more)


def _session_of(row: Synced) -> UUID | None:
    if isinstance(row, Session):
        return row.id
    return row.session_id if isinstance(row, Infusion | Note) else None


def _hidden(member: Member, rows: Collection[Synced]) -> tuple[set[UUID], set[UUID]]:
    """Return the sessions of these rows that the member may no longer see, and those they never could."""
    ids = {session for row in rows if (session := _session_of(row)) is not None}
    hidden: set[UUID] = set()
    unseen: set[UUID] = set()
    if ids:
        others = Session.objects.filter(id__in=ids, private=True).exclude(taster_id=member.user_id)
        for session, shared_once in others.values_list("id", "shared_once"):
            (hidden if shared_once else unseen).add(session)
    return hidden, unseen


def _change(row: Synced, *, gone: bool) -> Mapping[str, object]:
    return {
        "type": row.shape.type,
        "id": str(row.id),
        "revision": row.revision,
        "deleted": gone,
        "fields": {} if gone else row.wire_values(),
        "by": str(row.by_id),
    }
