"""What a phone gets and gives up when its scope changes, in pages.

Rows are sent by type and id, so the same token gives the same page again. Rows that change meanwhile have later
revisions and come with the pull that follows.
"""

from collections.abc import Mapping
from dataclasses import replace
from uuid import UUID

from django.db.models import Q

from tastings.models import Photo
from tastings.queries.pull_only import pull_only_fields
from tastings.queries.pulled_rows import PulledRow, PullOnlyRow, out_of_scope, read_rows
from tastings.queries.records import MODELS, visible_sessions
from tastings.queries.scope import SCOPED_TYPES, Scope, ScopeToken, sessions_in, sessions_outside
from teams.models import Member


def next_page(member: Member, token: ScopeToken, *, limit: int) -> tuple[list[Mapping[str, object]], ScopeToken]:
    """Return the next changes of a change of scope, at most ``limit``, and the token after them."""
    first, after = (0, None) if token.after is None else (SCOPED_TYPES.index(token.after[0]), token.after[1])
    changes: list[Mapping[str, object]] = []
    for type_name in SCOPED_TYPES[first:]:
        rows = _rows(member, type_name, token=token, after=after, limit=limit - len(changes))
        changes += _changes(member, type_name, rows, scope=token.target)
        if len(changes) >= limit:
            return changes, replace(token, after=(type_name, rows[-1].id))
        after = None
    return changes, token.changed()


def _rows(
    member: Member, type_name: str, *, token: ScopeToken, after: UUID | None, limit: int
) -> list[PulledRow | PullOnlyRow]:
    """Return the live rows of a type that come or go, by id."""
    condition = Q(team_id=member.team_id) & visible_sessions(member, "session__")
    condition &= _not_in(token.scope, of=token.target) | _not_in(token.target, of=token.scope)
    if after is not None:
        condition &= Q(id__gt=after)
    if type_name == "photo":
        photos = Photo.objects.filter(condition, removed_at=None).order_by("id")[:limit]
        return [PullOnlyRow("photo", *row) for row in photos.values_list("id", "revision", "session_id")]
    model = MODELS[type_name]
    return [*read_rows(model, model._default_manager.filter(condition, removed=False).order_by("id")[:limit])]


def _not_in(scope: Scope | None, *, of: Scope | None) -> Q:
    """Return the condition of rows whose session is in one scope and not in another."""
    return Q(pk__in=[]) if scope is None else sessions_in(of, "session__") & ~sessions_in(scope, "session__")


def _changes(
    member: Member, type_name: str, rows: list[PulledRow | PullOnlyRow], *, scope: Scope | None
) -> list[Mapping[str, object]]:
    outside = sessions_outside({row.session for row in rows if row.session}, scope=scope)
    photos = [row.id for row in rows if type_name == "photo" and row.session not in outside]
    fields = pull_only_fields(member, "photo", photos) if photos else {}
    return [
        out_of_scope(row)
        if row.session in outside
        else row.payload(deleted=False)
        if isinstance(row, PulledRow)
        else row.payload(fields.get(row.id))
        for row in rows
    ]
