"""Reads of the stored figures of lots."""

from dataclasses import dataclass
from datetime import datetime
from functools import cache
from uuid import UUID

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import OuterRef, Q, Subquery

from lots.models import Lot
from lots.schema import format_utc
from tastings.figures import if_readable
from tastings.maths.brewing.even_brew import even_brew_of
from tastings.maths.curve.development import Development
from tastings.maths.curve.estimate import estimate_development
from tastings.models import Descriptor, Infusion, Session
from tastings.models import Development as StoredDevelopment
from tastings.queries.records import record_for, shared_sessions
from teams.models import Member


@dataclass(frozen=True, slots=True)
class LotDevelopment:
    """A lot's stored figures, and whether they are behind.

    ``tag`` changes whenever they do; ``figures`` are those of a lot nobody has tasted while none are stored.
    """

    lot: UUID
    revision: int
    computed_at: datetime | None
    stale: bool
    figures: Development
    tag: str
    kind: str = ""
    water_tds_mg_l: tuple[float, ...] = ()
    """Dissolved solids of the waters of its shared sessions, where they are known."""


def development_for(member: Member, lot: UUID) -> LotDevelopment:
    """Return the stored figures of the team's lot; raise NotFound when there is no such lot."""
    record_for(member, "lot", lot)
    return development_of(lot)


def development_of(lot: UUID) -> LotDevelopment:
    """Return the stored figures of a lot that the caller may see."""
    waters = Session.objects.filter(shared_sessions(), lot_id=lot, removed=False, water_tds_mg_l__isnull=False)
    of_lot = (
        Lot.objects.select_related("development")
        .annotate(waters=ArraySubquery(waters.values("water_tds_mg_l")))
        .get(id=lot)
    )
    row = getattr(of_lot, "development", None) or StoredDevelopment(lot_id=lot)
    computed_at = format_utc(row.computed_at) if row.computed_at else None
    figures = stored_figures(row)
    return LotDevelopment(
        lot=lot,
        revision=row.computed_revision,
        computed_at=row.computed_at,
        stale=row.stale,
        figures=_untasted(of_lot.kind) if figures is None else figures,
        tag=f"{row.computed_revision}-{row.due_revision}-{row.method}-{computed_at}",
        kind=of_lot.kind,
        water_tds_mg_l=tuple(vars(of_lot)["waters"]),
    )


def stored_figures(row: StoredDevelopment) -> Development | None:
    """Return a row's figures; None when it has none, or they are of an older method and wait to be computed again."""
    return if_readable(Development, None if row.result is None else {**row.result, "tasted": row.tasted})


@cache
def _untasted(kind: str) -> Development:
    return estimate_development((), rated=(), even_brew=even_brew_of(kind))


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionFacts:
    """A session behind a lot's figures, as far as a report shows it; ``href`` is where a page finds it."""

    id: str
    started_at: datetime | None
    taster: str
    taster_name: str
    shop: str
    leaf_g: float | None
    vessel_ml: float | None
    vessel_material: str | None
    kettle_c: float | None
    href: str = ""


def sessions_of_lot(member: Member, lot: UUID) -> tuple[SessionFacts, ...]:
    """Return the shared sessions behind a lot's figures, the first first."""
    pours = Infusion.objects.filter(session_id=OuterRef("id"), removed=False, number__gt=0).order_by("number")
    sessions = (
        Session.objects.filter(shared_sessions(), team_id=member.team_id, lot_id=lot, removed=False)
        .annotate(first_kettle_c=Subquery(pours.values("kettle_c")[:1]))
        .select_related("shop", "taster")
        .only("started_at", "leaf_g", "vessel_ml", "vessel_material", "shop__name", "taster__name", "taster__username")
        .order_by("started_at", "id")
    )
    return tuple(
        SessionFacts(
            id=str(session.id),
            started_at=session.started_at,
            taster=str(session.taster_id),
            taster_name=str(session.taster),
            shop=session.shop.name if session.shop else "",
            leaf_g=session.leaf_g,
            vessel_ml=session.vessel_ml,
            vessel_material=session.vessel_material,
            kettle_c=session.first_kettle_c,
        )
        for session in sessions
    )


def labels_of(member: Member) -> dict[str, str]:
    """Return what each descriptor is called, by key."""
    return labels_of_team(member.team_id)


def labels_of_team(team: UUID) -> dict[str, str]:
    """Return what each descriptor is called in a team, by key."""
    words = Descriptor.objects.filter(Q(team=None) | Q(team_id=team)).order_by("-removed", "position")
    return dict(words.values_list("key", "label"))


def families_of(member: Member) -> dict[str, str]:
    """Return the family of each descriptor, by key."""
    words = Descriptor.objects.filter(Q(team=None) | Q(team_id=member.team_id)).order_by("-removed")
    return dict(words.values_list("key", "family"))
