"""Lots, or one lot in different pots, side by side on the same even brew."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from uuid import UUID

from django.utils.translation import gettext as _

from tastings.maths.brewing.brews import Brew
from tastings.maths.brewing.even_brew import EvenBrew
from tastings.maths.comparison.side_by_side import Comparison, compare
from tastings.maths.curve.development import Development
from tastings.models import Development as StoredDevelopment
from tastings.models import Session
from tastings.queries.brews import LotBrews, load_brews
from tastings.queries.developments import stored_figures
from tastings.queries.panels import calibration_of, estimate_lot
from tastings.queries.records import record_for, shared_sessions
from teams.errors import Invalid, NotFound, Problem
from teams.models import Member

MOST_GROUPS = 6
BY = ("vessel_material", "shop", "water")
"""Fields by which one lot's sessions can be divided."""
UNSAID = "unknown"


def compare_lots(member: Member, lots: Sequence[UUID]) -> Comparison:
    """Compare two to six lots; raise NotFound, naming each that is not the team's, Invalid for too many or too few."""
    if not 2 <= len(set(lots)) <= MOST_GROUPS or len(set(lots)) != len(lots):
        raise Invalid(problems=[Problem("lots", "range", _("two to %(most)s different lots") % {"most": MOST_GROUPS})])
    if absent := [lot for lot in lots if not _is_there(member, lot)]:
        raise NotFound(problems=[_no_such_lot("lots", lot) for lot in absent])
    tastings = {str(lot): load_brews(lot) for lot in lots}
    rated = tuple(dict.fromkeys(key for tea in tastings.values() for key in tea.rated))
    developments = {str(lot): _figures_of(member, lot, tastings[str(lot)]) for lot in lots}
    even_brews = {lot: tea.even_brew for lot, tea in tastings.items()}
    return _compared(
        member,
        {lot: tea.brews for lot, tea in tastings.items()},
        rated=rated,
        even_brews=even_brews,
        developments=developments,
    )


def _is_there(member: Member, lot: UUID) -> bool:
    try:
        record_for(member, "lot", lot)
    except NotFound:
        return False
    return True


def _no_such_lot(field: str, lot: UUID) -> Problem:
    """Return the same for an absent lot and another team's."""
    return Problem(field, "unknown_parent", _("there is no lot %(id)s") % {"id": lot})


def _figures_of(member: Member, lot: UUID, tastings: LotBrews) -> Development:
    """Return a lot's own figures, as its list and report have them.

    Where they are behind its notes, they are computed as they are going to be stored.
    """
    row = StoredDevelopment.objects.filter(lot_id=lot, computed_revision__gt=0).first()
    stored = None if row is None or row.stale else stored_figures(row)
    if stored is not None:
        return stored
    return estimate_lot(tastings, known=calibration_of(member.team_id, but_lot=lot))


def compare_within(member: Member, lot: UUID, *, by: str) -> Comparison:
    """Compare one lot's sessions parted by what they were brewed in, where or with which water."""
    if not _is_there(member, lot):
        raise NotFound(problems=[_no_such_lot("lot", lot)])
    if by not in BY:
        raise Invalid(problems=[Problem("by", "choice", _("one of %(choices)s") % {"choices": ", ".join(BY)})])
    tastings = load_brews(lot)
    group_of = dict(Session.objects.filter(shared_sessions(), lot_id=lot, removed=False).values_list("id", by))
    groups: dict[str, list[Brew]] = defaultdict(list)
    for brew in tastings.brews:
        groups[str(group_of.get(UUID(brew.session)) or UNSAID)].append(brew)
    most = sorted(groups, key=lambda name: (-len(groups[name]), name))[:MOST_GROUPS]
    even_brews = dict.fromkeys(most, tastings.even_brew)
    return _compared(member, {name: groups[name] for name in sorted(most)}, rated=tastings.rated, even_brews=even_brews)


def _compared(
    member: Member,
    groups: Mapping[str, Sequence[Brew]],
    *,
    rated: Sequence[str],
    even_brews: Mapping[str, EvenBrew],
    developments: Mapping[str, Development] | None = None,
) -> Comparison:
    known = calibration_of(member.team_id)
    return compare(
        groups,
        rated=rated,
        even_brews=even_brews,
        developments=developments,
        scales=known.scales,
        line=known.line,
        slopes=known.slopes,
    )
