"""The team's lots as its page lists them: searched, filtered, sorted and paged in the database."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from math import ceil
from unicodedata import normalize
from uuid import UUID

from django.db.models import (
    BooleanField,
    Count,
    ExpressionWrapper,
    F,
    FloatField,
    Func,
    JSONField,
    Max,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
)
from django.db.models.expressions import OrderBy
from django.db.models.fields.json import KeyTextTransform

from lots.models import Lot
from tastings.figures import from_stored
from tastings.maths.curve.development import CurvePoint, DescriptorCurve
from tastings.maths.curve.profile import Profile
from tastings.maths.curve.steep_count import Steeps
from tastings.models import Development, Flight, Session
from tastings.queries.records import shared_sessions
from tastings.queries.reports import LotFacts
from teams.models import Member, Team

PER_PAGE = 40
SORTS = ("name", "tasted", "strength", "steeps", "liking", "price")
PROFILES = ("build_up", "steady", "slow_fade", "quick_fade", "undecided")
MOST_WORDS = 8
_SEARCHED = ("name", "code", "kind", "cultivar", "garden", "region", "country", "producer")


@dataclass(frozen=True, slots=True)
class LotFilters:
    """What a list is searched and filtered by, and its order; an empty field leaves nothing out."""

    q: str = ""  # words that must all occur in the lot's name, code, kind, cultivar or origin
    # kind, status, profile, year: what a lot must have
    kind: str = ""
    status: str = ""
    profile: str = ""
    year: int | None = None
    sort: str = "name"  # one of `SORTS`
    page: int = 1  # counted from 1; one beyond the last is the last

    @property
    def are_set(self) -> bool:
        """Whether any filter is set."""
        return bool(self.q.strip() or self.kind or self.status or self.profile or self.year)


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedLot:
    """A lot as a list shows it.

    ``strength`` and ``liking`` are means of the cups worth drinking on the even brew [points]; figures are None, and
    ``curve`` is empty, while none are stored.
    """

    id: UUID
    team_id: UUID
    facts: LotFacts
    status: str | None
    day: date  # of its arrival, else of writing it down
    chosen_at: str | None  # when a flight decided to buy it
    price_per_kg: float | None
    currency: str | None
    tasted_at: datetime | None
    strength: float | None
    liking: float | None
    stale: bool
    profile: Profile | None
    steeps: Steeps | None
    curve: tuple[CurvePoint, ...]


@dataclass(frozen=True, slots=True)
class LotPage:
    """One page of the list: how many lots match, which page this is, how many there are, years to choose from."""

    lots: Sequence[ListedLot]
    total: int
    page: int
    pages: int
    years: Sequence[int]


class _GoodCups(Func):
    """The mean of a curve over the cups worth drinking; null without the curve."""

    template = "(%(expressions)s->'good_cups'->>'%(key)s')::float8"
    output_field = FloatField()


class _Curve(Func):
    """One curve of a lot's figures."""

    template = "jsonb_path_query_first(%(expressions)s, '$.curves[*] ? (@.descriptor == \"%(key)s\")')"
    output_field = JSONField()


class _Choice(Func):
    """What a decision says of a lot that it made: the id is that of the bought lot."""

    template = "jsonb_build_array(jsonb_build_object('bought', %(expressions)s))"
    output_field = JSONField()


_RESULT = F("development__result")


def lots_page(members: Collection[Member], filters: LotFilters) -> LotPage:
    """Return a page of the lots of all teams that someone is in. Takes three queries, however many lots there are."""
    everything = _lots(members)
    rows = _matching(everything, filters)
    total = rows.count()
    pages = max(1, ceil(total / PER_PAGE))
    page = min(max(filters.page, 1), pages)
    shown = _with_figures(rows).order_by(*_order(filters.sort))[(page - 1) * PER_PAGE : page * PER_PAGE]
    years = everything.order_by("-harvest_year").values_list("harvest_year", flat=True).distinct()
    return LotPage(
        lots=[_listed(lot) for lot in shown],
        total=total,
        page=page,
        pages=pages,
        years=[year for year in years if year is not None],
    )


def lists_state(members: Collection[Member]) -> object:
    """Return a value that changes whenever a list of these teams' lots may have changed."""
    teams = [member.team_id for member in members]
    figures = Development.objects.filter(team_id__in=teams).aggregate(
        Max("computed_at"), Sum("computed_revision"), Sum("due_revision"), failed=Count("lot_id", filter=~Q(failure=""))
    )
    return figures, set(Team.objects.filter(id__in=teams).values_list("id", "revision", "name"))


def lots_named(members: Collection[Member], lots: Collection[UUID]) -> list[ListedLot]:
    """Return those of the lots that someone may see, in the order given, as a list shows them."""
    order = {lot: place for place, lot in enumerate(lots)}
    rows = _with_figures(_lots(members).filter(id__in=order))
    return [_listed(lot) for lot in sorted(rows, key=lambda lot: order[lot.id])]


def _lots(members: Collection[Member]) -> QuerySet[Lot]:
    return Lot.objects.filter(team_id__in=[member.team_id for member in members], removed=False)


def _matching(rows: QuerySet[Lot], filters: LotFilters) -> QuerySet[Lot]:
    for word in normalize("NFC", filters.q).split()[:MOST_WORDS]:  # as `lots.schema` stores texts
        anywhere = Q()
        for name in _SEARCHED:
            anywhere |= Q(**{f"{name}__icontains": word})
        rows = rows.filter(anywhere)
    for name, value in (("kind", filters.kind), ("status", filters.status), ("harvest_year", filters.year)):
        if value:
            rows = rows.filter(**{name: value})
    if filters.profile:
        label = Q(development__result__profile__label=filters.profile)
        # a lot nobody has tasted is undecided too
        rows = rows.filter(label | Q(development__result__isnull=True) if filters.profile == "undecided" else label)
    return rows


def _with_figures(rows: QuerySet[Lot]) -> QuerySet[Lot]:
    """Read what a list shows of the figures, without the rest of them, which is a hundred times as much."""
    tasted = Session.objects.filter(shared_sessions(), lot_id=OuterRef("id"), removed=False).order_by("-started_at")
    chosen = Flight.objects.filter(
        team_id=OuterRef("team_id"), decision__chosen__contains=_Choice(OuterRef("id"))
    ).order_by("id")
    big = ("result", "tasted", "line_evidence")
    return (
        rows.select_related("development")
        .defer(*(f"development__{name}" for name in big))
        .annotate(
            tasted_at=Subquery(tasted.values("started_at")[:1]),
            chosen_at=Subquery(chosen.annotate(at=KeyTextTransform("at", "decision")).values("at")[:1]),
            profile=F("development__result__profile"),
            steeps=F("development__result__steeps"),
            recommended=F("development__result__steeps__recommended"),
            curve=_Curve(_RESULT, key="strength"),
            strength=_GoodCups(_RESULT, key="strength"),
            liking=_GoodCups(_RESULT, key="liking"),
        )
    )


def _order(sort: str) -> Sequence[OrderBy | str]:
    """Return the order: lots without the figure last, equal ones by name."""
    by_name = ("name", "id")
    match sort:
        case "tasted" | "strength" | "steeps" | "liking":
            figure = {"tasted": "tasted_at", "steeps": "recommended"}.get(sort, sort)
            return (F(figure).desc(nulls_last=True), *by_name)
        case "price":  # amounts in different currencies cannot be compared, so each currency stands by itself
            unpriced = ExpressionWrapper(Q(price_per_kg=None), output_field=BooleanField())
            return (OrderBy(unpriced), OrderBy(F("currency")), OrderBy(F("price_per_kg")), *by_name)
        case _:
            return by_name


def _listed(lot: Lot) -> ListedLot:
    annotated = vars(lot)  # what annotate adds is unknown to the type of a row
    row = getattr(lot, "development", None)
    profile, steeps, curve = (annotated[name] for name in ("profile", "steeps", "curve"))
    fields = lot.wire_values()
    return ListedLot(
        id=lot.id,
        team_id=lot.team_id,
        facts=from_stored(LotFacts, fields),
        status=lot.status or None,
        day=lot.arrived_on or lot.created_at,
        chosen_at=annotated["chosen_at"],
        price_per_kg=None if lot.price_per_kg is None else float(lot.price_per_kg),
        currency=lot.currency or None,
        tasted_at=annotated["tasted_at"],
        strength=annotated["strength"],
        liking=annotated["liking"],
        stale=row is not None and row.stale,
        profile=from_stored(Profile, profile) if profile else None,
        steeps=from_stored(Steeps, steeps) if steeps else None,
        curve=from_stored(DescriptorCurve, curve).points if curve else (),
    )
