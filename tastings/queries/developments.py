"""Reads of the stored figures, as the contract words them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from uuid import UUID

from django.db.models import OuterRef, Q, Subquery

from lots.schema import format_utc
from tastings.maths.curve.departures import otherwise
from tastings.maths.curve.estimate import develop
from tastings.maths.curve.sentence import sentence
from tastings.models import Descriptor, Development, Infusion, Session
from tastings.queries.records import record_for, shared_sessions
from teams.models import Member


@dataclass(frozen=True, slots=True)
class Figures:
    """A lot's figures in wire form, and a tag that changes whenever they do."""

    body: Mapping[str, object]
    tag: str
    tasted: Sequence[Mapping[str, object]]


def development_for(member: Member, lot: UUID) -> Figures:
    """Return the stored figures of the team's lot; raise NotHere when there is no such lot."""
    record_for(member, "lot", lot)
    return figures_of(lot)


def figures_of(lot: UUID) -> Figures:
    """Return the stored figures of a lot that the caller has been found to see."""
    return _figures(lot, Development.objects.filter(lot_id=lot).first())


def _figures(lot: UUID, found: Development | None) -> Figures:
    if found is None:
        found = Development(lot_id=lot)
    result = found.result if found.result is not None else _nothing_yet()
    body = {
        "lot": str(lot),
        "revision": found.computed_revision,
        "computed_at": _moment(found.computed_at),
        "stale": found.stale,
    } | result
    tag = f"{found.computed_revision}-{found.due_revision}-{found.method}-{_moment(found.computed_at)}"
    return Figures(body, tag, found.tasted)


@cache
def _nothing_yet() -> dict[str, object]:
    return develop((), rated=()).as_json() | {
        "sentence": sentence((), labels={}),
        "otherwise": otherwise(()).as_json(),
    }


def _moment(at: datetime | None) -> str | None:
    return format_utc(at) if at else None


def sessions_shown(member: Member, lot: UUID) -> list[dict[str, object]]:
    """Return the shared sessions behind a lot's figures with what a report tells of them."""
    pours = Infusion.objects.filter(session_id=OuterRef("id"), removed=False, number__gt=0).order_by("number")
    sessions = (
        Session.objects.filter(shared_sessions(), team_id=member.team_id, lot_id=lot, removed=False)
        .annotate(first_kettle_c=Subquery(pours.values("kettle_c")[:1]))
        .select_related("shop", "taster")
        .only(*_SHOWN, "shop__name", "taster__name", "taster__username")
        .order_by("started_at", "id")
    )
    fields = [field for field in Session.schema.fields if field.name in _SHOWN]
    return [
        {
            "id": str(session.id),
            **{field.name: session.wire_value(field) for field in fields},
            "taster": str(session.taster_id),
            "taster_name": str(session.taster),
            "shop": session.shop.name if session.shop else "",
            "kettle_c": session.first_kettle_c,
        }
        for session in sessions
    ]


_SHOWN = ("started_at", "leaf_g", "vessel_ml", "vessel_material", "ending")


def labels_of(member: Member) -> dict[str, str]:
    """Return what each descriptor is called, by key."""
    return labels_of_team(member.team_id)


def labels_of_team(team: UUID) -> dict[str, str]:
    """Return what each descriptor is called in a team, by key."""
    words = Descriptor.objects.filter(Q(team=None) | Q(team_id=team)).order_by("-removed", "position")
    return dict(words.values_list("key", "label"))
