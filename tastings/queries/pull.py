"""Pull: what changed in a team since a cursor, as one member may see it.

Revisions are given under a lock that lasts until commit, so every row up to the team's counter can be read. The counter
is read before the rows: a row written meanwhile has a later revision and comes with the next pull.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter
from uuid import UUID

from django.db import connection
from django.db.models import Q

from tastings.models import Session
from tastings.queries.pull_only import PULL_ONLY, pull_only_fields
from tastings.queries.pulled_rows import PulledRow, PullOnlyRow, out_of_scope, read_rows
from tastings.queries.records import MODELS, shared_sessions
from tastings.queries.scope import SCOPED_TYPES, Scope, ScopeToken, sessions_in, sessions_outside
from tastings.queries.scope_change import next_page
from tastings.queries.written_rows import Written, WrittenRow
from teams.models import Member, Team

_Row = PulledRow | PullOnlyRow | WrittenRow
_Rows = Sequence[_Row]


@dataclass(frozen=True, slots=True)
class PulledPage:
    """Changes, the cursor to come back with, whether there is more, and what the phone has of a scope then."""

    changes: list[Mapping[str, object]]
    cursor: int
    more: bool
    token: ScopeToken | None = None


def pull(  # noqa: PLR0913 - what a phone asks for, one by one
    member: Member,
    *,
    cursor: int,
    limit: int,
    scope: Scope | None = None,
    token: ScopeToken | None = None,
    written: Written | None = None,
) -> PulledPage:
    """Return up to ``limit`` changed records after ``cursor``, in the order of their revisions.

    Someone else's private or blind session, with its infusions and notes, comes as a deletion if others could see it
    before; else it does not come at all, and the page may hold fewer changes than the limit though there is more.
    ``scope`` limits of which sessions infusions, notes and photos come; ``token`` says what the phone has, if it ever
    named a scope (`tastings.queries.scope`). ``written`` is what the same request has pushed: it ends the page, unread.
    """
    if cursor == 0:
        written = None  # a phone that begins gets nothing from outside its scope, not even to forget it
    counter = _revision_of(member.team_id) if written is None else written.upto
    if cursor == 0:
        token = ScopeToken(scope=scope, revision_at_start=counter)
    token = token or ScopeToken(scope=None)
    if not token.is_changing and token.scope != scope:
        token = token.changing_to(scope)
    if token.is_changing:
        changes, token = next_page(member, token, limit=limit)
        return PulledPage(changes, cursor, more=True, token=token)
    if token.scope is None:
        token = None
    rows = _rows_after(member, cursor=cursor, counter=counter, limit=limit, token=token, written=written)
    page, has_more = rows[:limit], len(rows) > limit
    reached = page[-1].revision if has_more else max(counter, cursor)
    return PulledPage(_changes(member, page, token=token, written=written), reached, has_more, token)


def _revision_of(team: UUID) -> int:
    return Team.objects.values_list("revision", flat=True).get(id=team)


_PULL_ONLY_HEAD = {"member": ("user_id", "revision", "user_id"), "photo": ("id", "revision", "session_id")}
"""Columns that hold id, revision and session of the types that phones only pull."""


def _rows_after(  # noqa: PLR0913 - as above
    member: Member, *, cursor: int, counter: int, limit: int, token: ScopeToken | None, written: Written | None
) -> _Rows:
    """Return the rows after a cursor, sometimes more than one beyond the limit."""
    read_upto = counter if written is None else written.after
    rows = _read_rows(member, after=cursor, upto=read_upto, limit=limit, token=token)
    return rows if written is None else [*rows, *written.rows]


def _read_rows(member: Member, *, after: int, upto: int, limit: int, token: ScopeToken | None) -> _Rows:
    """Return the rows between two revisions in their order, at most one more than the limit of each type."""
    if after >= upto:
        return []
    changed = _changed_types(member.team_id, cursor=after, counter=upto)
    newer = Q(team_id=member.team_id, revision__gt=after)
    conditions = dict.fromkeys((*MODELS, *PULL_ONLY), newer)
    if token is not None:  # what lay outside the scope when the phone began never came, so it need not be taken back
        in_scope = Q(revision__gt=token.revision_at_start) | sessions_in(token.scope, "session__")
        conditions |= {
            "infusion": newer & in_scope,
            "note": newer & in_scope,
            "photo": newer & (Q(session=None) | in_scope),
        }
    rows_found: list[PulledRow | PullOnlyRow] = []
    for name in (model for model in reversed([*MODELS]) if model in changed):  # the most numerous ones first
        wanted_rows = MODELS[name]._default_manager.filter(conditions[name], revision__lte=upto)
        rows = read_rows(MODELS[name], wanted_rows.order_by("revision")[: limit + 1])
        rows_found += rows
        if len(rows) > limit:
            upto = rows[-1].revision  # the page ends before it
    for name in changed & PULL_ONLY.keys():
        heads = PULL_ONLY[name]._default_manager.filter(conditions[name], revision__lte=upto).order_by("revision")
        columns = _PULL_ONLY_HEAD.get(name, ("id", "revision", "id"))
        rows_found += [PullOnlyRow(name, *row) for row in heads.values_list(*columns)[: limit + 1]]
    return sorted(rows_found, key=attrgetter("revision"))


_CHANGED_TYPES = " UNION ALL ".join(
    f"SELECT '{name}' WHERE EXISTS (SELECT FROM {model._meta.db_table} WHERE team_id = %(team)s"  # noqa: S608 - names of our own tables
    " AND revision > %(cursor)s AND revision <= %(counter)s)"
    for name, model in {**MODELS, **PULL_ONLY}.items()
)


def _changed_types(team: UUID, *, cursor: int, counter: int) -> set[str]:
    """Return the types that have rows after a cursor: most pulls bring rows of two or three."""
    with connection.cursor() as db:
        db.execute(_CHANGED_TYPES, {"team": team, "cursor": cursor, "counter": counter})
        return {name for (name,) in db.fetchall()}


def _changes(
    member: Member, page: _Rows, *, token: ScopeToken | None, written: Written | None
) -> list[Mapping[str, object]]:
    """Return the changes of rows as a phone gets them."""
    rows = [row for row in page if not isinstance(row, WrittenRow)]  # the others are of sessions that the member sees
    deleted, skipped = _invisible_sessions(member, rows)
    outside = set[UUID]()
    if token is not None and token.scope is not None:
        scoped = {row.session for row in rows if row.session and row.type in SCOPED_TYPES}
        outside = sessions_outside(scoped, scope=token.scope)
        outside |= written.sessions_outside(token.scope) - scoped if written else set()
    shown = [row for row in page if row.session not in skipped]
    fields = {
        name: pull_only_fields(member, name, [row.id for row in shown if row.type == name])
        for name in PULL_ONLY.keys() & {row.type for row in shown}
    }
    return [
        out_of_scope(row)
        if row.session in outside and row.type in SCOPED_TYPES
        else row.payload(deleted=row.removed or row.session in deleted)
        if isinstance(row, PulledRow | WrittenRow)
        else row.payload(fields[row.type].get(row.id))
        for row in shown
    ]


_OF_SESSIONS = ("session", *SCOPED_TYPES)


def _invisible_sessions(member: Member, rows: Collection[PulledRow | PullOnlyRow]) -> tuple[set[UUID], set[UUID]]:
    """Return the sessions of these rows that the member can no longer see, and those that they never could."""
    ids = {row.session for row in rows if row.session and row.type in _OF_SESSIONS}
    no_longer: set[UUID] = set()
    never: set[UUID] = set()
    if ids:
        others = Session.objects.filter(~shared_sessions(), id__in=ids).exclude(taster_id=member.user_id)
        for session, shared_once in others.values_list("id", "shared_once"):
            (no_longer if shared_once else never).add(session)
    return no_longer, never
