"""From the sessions of a lot to how its flavour develops: the one way into this folder."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST, Brew, TasterScale, validated_brews
from tastings.maths.brewing.extraction import Grid, cup_strength, default_grid
from tastings.maths.brewing.heat import EVEN_INFUSIONS, even_brew, steeping_of
from tastings.maths.curve.departures import departures
from tastings.maths.curve.development import (
    CurvePoint,
    DescriptorCurve,
    Development,
    Evidence,
    LackOfFitAt,
    TastedPoint,
)
from tastings.maths.curve.endings import (
    LINES,
    N_DRAWS,
    SPENT,
    STOPPED,
    FinishLine,
    ending_log_likelihood,
    line_log_likelihood,
)
from tastings.maths.curve.evidence import LeftOut, PreparedSession, prepare_sessions
from tastings.maths.curve.lack_of_fit import LackOfFit, Residuals, lack_of_fit
from tastings.maths.curve.layers import NOTED, Layer, find_layers
from tastings.maths.curve.next_session import next_session
from tastings.maths.curve.posterior import MIN_NODE_WEIGHT, Posterior, fit_all
from tastings.maths.curve.profile import (
    Curve,
    CurveShapes,
    Profile,
    curve_shapes,
    summarise_cups,
    undecided_profile,
    weighted_profile,
)
from tastings.maths.curve.steep_count import Steeps, count_worthwhile, unknown_count
from tastings.maths.curve.sufficient_statistics import SessionRatings

STRENGTH = "strength"
LEAST_CUP = 1e-3  # a shape needs a cup above 0


@dataclass(frozen=True, slots=True)
class _EvenCups:
    """The even brew on the grid: cups of every infusion that was tasted somewhere, and the shapes of its own twelve."""

    cups: FloatArray
    shapes: CurveShapes


@dataclass(frozen=True, slots=True)
class _Fitted:
    """The sessions and what they say, on the part of the grid on which anything is likely.

    With many sessions that is a small part, and what is computed of each session after the fit shrinks with it.
    ``tasted`` has, by attribute, the places of the sessions that rated it. The strength has a posterior also when
    nobody rated it: the prior.
    """

    followed: tuple[PreparedSession, ...]
    tasted: Mapping[str, Sequence[tuple[int, SessionRatings]]]
    posteriors: Mapping[str, Posterior]
    grid: Grid

    def used(self, key: str) -> list[tuple[PreparedSession, int, SessionRatings]]:
        """Return the sessions behind an attribute's curve, each with its place; outliers are left out."""
        outliers = self.posteriors[key].outliers
        return [
            (self.followed[place], place, ratings)
            for i, (place, ratings) in enumerate(self.tasted[key])
            if i not in outliers
        ]

    def outliers(self) -> Iterator[LeftOut]:
        """Name the sessions that the curves do without."""
        for key, posterior in self.posteriors.items():
            for i in sorted(posterior.outliers):
                session = self.followed[self.tasted[key][i][0]].brew.session
                yield LeftOut(session, None, "outlier", descriptor=key)


@dataclass(frozen=True, slots=True)
class _Attribute:
    """Everything computed for one descriptor."""

    key: str
    posterior: Posterior
    lack_of_fit: LackOfFit | None
    curve: Curve
    profile: Profile
    points: tuple[TastedPoint, ...]


def estimate_development(
    brews: Sequence[Brew],
    *,
    rated: Sequence[str],
    scales: Mapping[str, Mapping[str, TasterScale]] | None = None,
    line: FinishLine | None = None,
) -> Development:
    """Compute how a lot's flavour develops over infusions.

    Parameters
    ----------
    brews : Sequence[Brew]
        The lot's sessions, in any order; the answer does not depend on it.
    rated : Sequence[str]
        Keys of the descriptors that get a curve, in the order wanted; ``strength`` always comes first. Ratings of
        other descriptors count as noted.
    scales : Mapping[str, Mapping[str, TasterScale]], optional
        Gain and offset by descriptor and taster; 1 and 0 for those not in it.
    line : FinishLine, optional
        The team's finish line, from its other lots (:func:`tastings.maths.curve.endings.estimate_finish_line`);
        N(2.5, 1) when left out.

    Returns
    -------
    Development
        With a curve for each of ``rated`` that has at least one usable rating.

    Raises
    ------
    BrewError
        A number in a brew cannot be one; :class:`tastings.maths.brewing.brews.RatingError` for a rating outside 0 to
        10.
    """
    followed, left_out = prepare_sessions(validated_brews(brews), grid=default_grid(), scales=scales or {})
    fitted = _fitted(followed, keys=list(dict.fromkeys((STRENGTH, *rated))))
    followed, grid = fitted.followed, fitted.grid
    even = _even_cups(followed, grid=grid)
    found = _attributes(fitted, even=even)
    strength = found[0] if found and found[0].key == STRENGTH else None

    known_line = line or FinishLine()
    steeps, evidence_of_line = unknown_count(finish_line=known_line.mean), (0.0,) * LINES.size
    main_profile = undecided_profile()
    if strength is not None:
        steeps, evidence_of_line = _steeps(strength, followed=followed, even=even, line=known_line, grid=grid)
        main_profile = strength.profile
    return Development(
        evidence=_evidence(followed, left_out=(*left_out, *fitted.outliers())),
        profile=main_profile,
        steeps=steeps,
        sessions_spent=sum(one.brew.ending == SPENT for one in followed),
        sessions_stopped=sum(one.brew.ending == STOPPED for one in followed),
        curves=tuple(_curve(one) for one in found),
        layers=_layers(found, followed=followed),
        departures=tuple(
            departure
            for one in followed
            if strength is not None  # what a departure did to a strength that nobody rated is not known
            for departure in departures(one, node_level=strength.posterior.node_level, grid=grid)
        ),
        next=next_session(
            followed,
            strength=strength.curve if strength else None,
            profile=main_profile,
            steeps=steeps,
            infusions=EVEN_INFUSIONS,
        ),
        leaf_range_g=_leaf_range_g(followed),
        lack_of_fit=tuple(LackOfFitAt(one.key, one.lack_of_fit.worst) for one in found if one.lack_of_fit is not None),
        tasted=tuple(point for one in found for point in one.points),
        line_evidence=evidence_of_line,
    )


def warm_up() -> None:
    """Compute one made-up session, so that the tables which all fits share are built."""
    brew = even_brew()
    pours = (*brew.pours[:1], *(replace(pour, ratings={STRENGTH: 5.0}) for pour in brew.pours[1:]))
    estimate_development([replace(brew, pours=pours)], rated=(STRENGTH,))


def _fitted(followed: Sequence[PreparedSession], *, keys: Sequence[str]) -> _Fitted:
    grid = default_grid()
    tasted = {
        key: [(place, ratings) for place, one in enumerate(followed) if (ratings := one.ratings_of(key)) is not None]
        for key in keys
    }
    posteriors = fit_all(
        {key: [ratings for _, ratings in some] for key, some in tasted.items() if some or key == STRENGTH}, grid=grid
    )
    likely = np.logical_or.reduce([one.node_weights > MIN_NODE_WEIGHT for one in posteriors.values()])
    part, index = grid.around(likely)
    return _Fitted(
        followed=tuple(replace(one, grid=part) for one in followed),
        tasted=tasted,
        posteriors={key: one.on(index) for key, one in posteriors.items()},
        grid=part,
    )


def _even_cups(followed: Sequence[PreparedSession], *, grid: Grid) -> _EvenCups:
    longest = max((one.pours[-1].number for one in followed), default=0)
    brew = even_brew(infusions=max(EVEN_INFUSIONS, longest))
    cups = cup_strength(steeping_of(brew, brew.pours), grid=grid)[:, 1:]  # the rinse is not drunk
    return _EvenCups(cups=cups, shapes=curve_shapes(cups[:, :EVEN_INFUSIONS]))


def _steeps(
    strength: _Attribute, *, followed: Sequence[PreparedSession], even: _EvenCups, line: FinishLine, grid: Grid
) -> tuple[Steeps, tuple[float, ...]]:
    """Count the worthwhile infusions, each draw weighed with each finish line by how both agree with the endings."""
    draws = strength.posterior.draws(n_draws=N_DRAWS)
    agreed = ending_log_likelihood(followed, draws=draws, grid=grid)
    log_weight = agreed + line.log_weights()
    cups = draws.cups(even.cups[:, :EVEN_INFUSIONS])
    if strength.lack_of_fit is not None:
        cups = strength.lack_of_fit.applied(cups)
    counted = count_worthwhile(
        np.repeat(cups, LINES.size, axis=0),
        finish_line=np.tile(LINES, draws.level.size),
        weights=np.exp(log_weight - log_weight.max()).ravel(),
    )
    return counted, line_log_likelihood(agreed)


def _attributes(fitted: _Fitted, *, even: _EvenCups) -> list[_Attribute]:
    """Compute what is shown of each rated attribute, in the order of the posteriors."""
    levels = np.stack([one.node_level for one in fitted.posteriors.values()])
    expected = [levels @ one.cups for one in fitted.followed]
    found = []
    for row, (key, posterior) in enumerate(fitted.posteriors.items()):
        tasted = [(one, ratings, expected[place][row]) for one, place, ratings in fitted.used(key)]
        if tasted:
            found.append(_attribute(key, posterior=posterior, tasted=tasted, even=even))
    return found


def _attribute(
    key: str,
    *,
    posterior: Posterior,
    tasted: Sequence[tuple[PreparedSession, SessionRatings, FloatArray]],
    even: _EvenCups,
) -> _Attribute:
    even_mean = posterior.node_level @ even.cups
    points, left = [], []
    for one, ratings, expected in tasted:
        # The difference that the brewing makes is added to the rating, both on the team's common scale.
        common = ratings.ratings / ratings.scale.gain - expected[ratings.index]
        settled = ratings.censored == 0
        left.append(
            Residuals(
                number=np.array([one.pours[i].number for i in ratings.index[settled]], dtype=np.int64),
                residual=common[settled],
                expected=expected[ratings.index[settled]],
            )
        )
        for i, residual in zip(ratings.index, common, strict=True):
            pour = one.pours[i]
            if pour.number > 0:
                points.append(
                    TastedPoint(
                        session=one.brew.session,
                        taster=one.brew.taster,
                        infusion=pour.number,
                        descriptor=key,
                        rating=float(pour.ratings[key]),
                        adjusted=min(max(float(even_mean[pour.number - 1] + residual), LOWEST), HIGHEST),
                    )
                )
    found = lack_of_fit(left, infusions=EVEN_INFUSIONS)
    cups = posterior.draws().cups(even.cups[:, :EVEN_INFUSIONS])
    if found is None:
        label = weighted_profile(even.shapes, weights=posterior.node_weights)
    else:
        cups = found.applied(cups)
        label = weighted_profile(curve_shapes(np.maximum(cups, LEAST_CUP)), weights=np.ones(len(cups)))
    shown = summarise_cups(cups)
    return _Attribute(
        key=key,
        posterior=posterior,
        lack_of_fit=found,
        curve=shown,
        profile=_as_shown(label, shown),
        points=tuple(points),
    )


def _as_shown(label: Profile, shown: Curve) -> Profile:
    """Return the profile with the rise of the curve that is shown, so that the two say the same."""
    rise = float(shown.mean[label.peak_infusion - 1] / max(shown.mean[0], LEAST_CUP))
    return replace(label, rise=max(rise, 1.0))


def _leaf_range_g(followed: Sequence[PreparedSession]) -> tuple[float, float] | None:
    """Return the least and the most leaf of the sessions [g]; None without one."""
    weights_g = [one.brew.leaf_g for one in followed]
    return (min(weights_g), max(weights_g)) if weights_g else None


def _curve(found: _Attribute) -> DescriptorCurve:
    adjusted: dict[int, list[float]] = defaultdict(list)
    for point in found.points:
        adjusted[point.infusion].append(point.adjusted)
    shown = found.curve
    return DescriptorCurve(
        descriptor=found.key,
        points=tuple(
            CurvePoint(
                infusion=number,
                mean=float(shown.mean[number - 1]),
                low=float(shown.low[number - 1]),
                high=float(shown.high[number - 1]),
                observed=sum(adjusted[number]) / len(adjusted[number]) if number in adjusted else None,
                n=len(adjusted[number]) if number in adjusted else 0,
            )
            for number in range(1, shown.mean.size + 1)
        ),
        profile=found.profile,
    )


def _layers(found: Sequence[_Attribute], *, followed: Sequence[PreparedSession]) -> tuple[Layer, ...]:
    tasted_cups: dict[int, int] = defaultdict(int)
    noted_cups: dict[str, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    weights = {one.key: one.curve.mean for one in found}
    for one in followed:
        for pour in one.pours:
            if pour.tasted and 0 < pour.number <= EVEN_INFUSIONS:
                tasted_cups[pour.number] += 1
                for key in pour.noted | {name for name, rating in pour.ratings.items() if rating > LOWEST}:
                    noted_cups[key][pour.number] += 1
    for key in sorted(noted_cups.keys() - weights.keys()):
        weights[key] = np.array(
            [
                NOTED * noted_cups[key][n] / tasted_cups[n] if tasted_cups.get(n) else 0.0
                for n in range(1, EVEN_INFUSIONS + 1)
            ]
        )
    return find_layers(weights, infusions=max(tasted_cups, default=0))


def _evidence(followed: Sequence[PreparedSession], *, left_out: tuple[LeftOut, ...]) -> Evidence:
    return Evidence(
        sessions=len(followed),
        infusions=sum(1 for one in followed for pour in one.pours if pour.ratings or pour.noted),
        tasters=len({one.brew.taster for one in followed}),
        shops=len({one.brew.shop for one in followed if one.brew.shop is not None}),
        left_out=left_out,
    )
