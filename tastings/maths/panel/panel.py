"""How a team's tasters do as a panel: how repeatable each is, whether they tell lots apart, how far they agree.

All figures are made from ratings already brought to the even brew, so that a cool kettle does not count against the
taster who had it. A taster's value for a lot is the lot's own level plus the mean of what that taster's ratings differ
from the lot's curve, so that tasters who stopped early compare with those who went on.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import sqrt
from statistics import fmean

import numpy as np
from scipy.special import fdtrc

from tastings.maths.arrays import FloatArray
from tastings.maths.panel.agreement import AgreementError, concordance, intraclass

LEVEL_INFUSIONS = 6
"""Number of infusions over which a lot's level is the mean of its curve."""
LEAST_LOTS = 3
MOST_TABLE_TASTERS = 12


@dataclass(frozen=True, slots=True)
class Rated:
    """One rating brought to the even brew, and the lot's curve there [points, 0 to 10]."""

    lot: str
    session: str
    taster: str
    infusion: int
    adjusted: float
    curve: float


@dataclass(frozen=True, slots=True)
class TasterFigures:
    """How one taster does."""

    taster: str
    # sessions, lots: what the figures rest on
    sessions: int
    lots: int
    # standard deviation of this taster's ratings of the same infusion of the same lot over sessions; None without a
    # repeated session [points]
    repeatability_sd: float | None
    # correlation of this taster's lots with the mean of the others', from -1 to 1; None below three lots in common
    agreement: float | None
    # probability of lots differing as much in this taster's sessions if they were all alike (one-way analysis of
    # variance); small when the taster tells lots apart; None without repeated sessions
    discrimination_p: float | None


@dataclass(frozen=True, slots=True)
class PanelAgreement:
    """How far the tasters agree, on the lots that all of ``tasters`` have tasted; None where there are too few.

    ``single`` is ICC(2,1), ``mean`` is ICC(3,k) (Shrout and Fleiss 1979), ``w`` Kendall's coefficient of concordance.
    """

    tasters: tuple[str, ...]
    lots: int
    single: float | None
    mean: float | None
    w: float | None


@dataclass(frozen=True, slots=True)
class Panel:
    """The panel for one descriptor."""

    tasters: tuple[TasterFigures, ...]
    agreement: PanelAgreement


def panel(ratings: Sequence[Rated], *, levels: Mapping[str, float]) -> Panel:
    """Return how each taster does and how far they agree, for one descriptor.

    Parameters
    ----------
    ratings : Sequence[Rated]
        Of all lots, in any order.
    levels : Mapping[str, float]
        Each lot's level on the even brew. [points]

    Returns
    -------
    Panel
        Tasters in the order of their names.
    """
    sessions: dict[tuple[str, str], dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for rating in sorted(ratings, key=lambda r: (r.lot, r.session, r.infusion)):
        sessions[rating.taster, rating.lot][rating.session].append(levels[rating.lot] + rating.adjusted - rating.curve)
    means = {place: [fmean(values) for values in by_session.values()] for place, by_session in sessions.items()}
    cells = {place: fmean(values) for place, values in means.items()}
    names = sorted({taster for taster, _ in cells})
    return Panel(
        tasters=tuple(
            TasterFigures(
                taster=name,
                sessions=sum(len(values) for (taster, _), values in means.items() if taster == name),
                lots=sum(taster == name for taster, _ in cells),
                repeatability_sd=_repeatability([rating for rating in ratings if rating.taster == name]),
                agreement=_with_others(name, cells=cells),
                discrimination_p=_discrimination([values for (taster, _), values in means.items() if taster == name]),
            )
            for name in names
        ),
        agreement=_agreement(cells, names=names),
    )


def _repeatability(ratings: Sequence[Rated]) -> float | None:
    groups: dict[tuple[str, int], list[float]] = defaultdict(list)
    for rating in ratings:
        groups[rating.lot, rating.infusion].append(rating.adjusted)
    repeated = [np.asarray(values) for values in groups.values() if len(values) > 1]
    freedom = sum(values.size - 1 for values in repeated)
    if not freedom:
        return None
    return sqrt(sum(float(((values - values.mean()) ** 2).sum()) for values in repeated) / freedom)


def _with_others(name: str, *, cells: Mapping[tuple[str, str], float]) -> float | None:
    mine, theirs = [], []
    for (taster, lot), value in sorted(cells.items()):
        others = [other for (t, place), other in cells.items() if place == lot and t != name]
        if taster == name and others:
            mine.append(value)
            theirs.append(fmean(others))
    if len(mine) < LEAST_LOTS or np.ptp(mine) < 1e-9 or np.ptp(theirs) < 1e-9:
        return None
    return float(np.corrcoef(mine, theirs)[0, 1])


def _discrimination(lots: Sequence[Sequence[float]]) -> float | None:
    """Return the p value of a one-way analysis of variance of session means over lots."""
    n = sum(len(values) for values in lots)
    between, within = len(lots) - 1, n - len(lots)
    if between < 1 or within < 1:
        return None
    centre = fmean(value for values in lots for value in values)
    spread = sum(len(values) * (fmean(values) - centre) ** 2 for values in lots) / between
    noise = sum((value - fmean(values)) ** 2 for values in lots for value in values) / within
    return float(fdtrc(between, within, spread / max(noise, 1e-12)))


def _agreement(cells: Mapping[tuple[str, str], float], *, names: Sequence[str]) -> PanelAgreement:
    tasters, lots = _fullest_table(cells, names=names)
    if len(tasters) < 2 or len(lots) < LEAST_LOTS:
        return PanelAgreement(tasters=tuple(tasters), lots=len(lots), single=None, mean=None, w=None)
    table: FloatArray = np.array([[cells[taster, lot] for taster in tasters] for lot in lots])
    try:
        icc, w = intraclass(table), concordance(table)
    except AgreementError:
        return PanelAgreement(tasters=tuple(tasters), lots=len(lots), single=None, mean=None, w=None)
    return PanelAgreement(tasters=tuple(tasters), lots=len(lots), single=icc.two_way, mean=icc.fixed_mean, w=w)


def _fullest_table(cells: Mapping[tuple[str, str], float], *, names: Sequence[str]) -> tuple[list[str], list[str]]:
    """Return tasters and the lots that all of them tasted, so that the table without gaps is as large as it can be."""
    tasted = {name: {lot for taster, lot in cells if taster == name} for name in names}
    most = sorted(names, key=lambda name: (-len(tasted[name]), name))[:MOST_TABLE_TASTERS]
    best: tuple[int, list[str], list[str]] = (0, [], [])
    for size in range(2, len(most) + 1):
        for group in combinations(most, size):
            shared = set.intersection(*(tasted[name] for name in group))
            if len(shared) >= LEAST_LOTS and size * len(shared) > best[0]:
                best = (size * len(shared), sorted(group), sorted(shared))
    return best[1], best[2]
