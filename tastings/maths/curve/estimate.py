"""From the sessions of a lot to how its flavour develops: the one way into this folder."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import LOWEST, Brew, TasterScale, form_of, validated_brews
from tastings.maths.brewing.even_brew import BOILING, EVEN_INFUSIONS, MOST_INFUSIONS, EvenBrew
from tastings.maths.brewing.extraction import Grid, default_grid
from tastings.maths.curve.counterfactual import Counterfactual, counterfactual
from tastings.maths.curve.departures import departures
from tastings.maths.curve.development import CurvePoint, DescriptorCurve, Development, Evidence, LackOfFitAt
from tastings.maths.curve.endings import (
    LINES,
    N_DRAWS,
    SPENT,
    STOPPED,
    FinishLine,
    ending_log_likelihood,
    line_log_likelihood,
    peak_of,
)
from tastings.maths.curve.even_cups import EvenCups, even_cups_of
from tastings.maths.curve.evidence import LeftOut, PreparedSession, prepare_sessions
from tastings.maths.curve.lack_of_fit import lack_of_fit
from tastings.maths.curve.layers import find_layers, noted_weights, rated_weights
from tastings.maths.curve.level_error import level_error_sd, with_level_error
from tastings.maths.curve.model_error import ModelError
from tastings.maths.curve.next_session import next_session
from tastings.maths.curve.order_slope import USUAL_SLOPES, OrderSlope
from tastings.maths.curve.posterior import MIN_NODE_WEIGHT, Posterior, fit_all
from tastings.maths.curve.profile import (
    LABELS,
    UNDECIDED,
    Curve,
    Profile,
    curve_shapes,
    curve_tail,
    summarise_cups,
    undecided_profile,
    weighted_profile,
)
from tastings.maths.curve.scale_effects import open_share
from tastings.maths.curve.steep_count import Steeps, count_worthwhile, unknown_count
from tastings.maths.curve.sufficient_statistics import SessionRatings
from tastings.maths.curve.tasted import TastedPoint, TastedSession, tasted_points

STRENGTH = "strength"
LEAST_CUP = 1e-3  # a shape needs a cup above 0


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
    curve: Curve
    profile: Profile
    points: tuple[TastedPoint, ...]
    error: ModelError
    level_sd: float  # of the error of the level [points]
    tail: float  # share of draws that the interval leaves out on each side


def estimate_development(  # noqa: PLR0913 - what is known of the team beforehand, one by one
    brews: Sequence[Brew],
    *,
    rated: Sequence[str],
    even_brew: EvenBrew = BOILING,
    scales: Mapping[str, Mapping[str, TasterScale]] | None = None,
    line: FinishLine | None = None,
    slopes: Mapping[str, OrderSlope] = USUAL_SLOPES,
) -> Development:
    """Compute how a lot's flavour develops over infusions.

    Parameters
    ----------
    brews : Sequence[Brew]
        The lot's sessions, in any order; the answer does not depend on it.
    rated : Sequence[str]
        Keys of the descriptors that get a curve, in the order wanted; ``strength`` always comes first. Ratings of
        other descriptors count as noted.
    even_brew : EvenBrew, optional
        What the sessions are evened out to; that of oolong when left out.
    scales : Mapping[str, Mapping[str, TasterScale]], optional
        Gain and offset by descriptor and taster; 1 and 0 for those not in it.
    line : FinishLine, optional
        The team's finish line, from its other lots (:func:`tastings.maths.curve.endings.estimate_finish_line`);
        N(2.5, 1) when left out.
    slopes : Mapping[str, OrderSlope], optional
        What is believed of the slope of the cups' order, by descriptor, from the team's other lots.

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
    form = form_of(brews)
    followed, left_out = prepare_sessions(validated_brews(brews), grid=default_grid(form), scales=scales or {})
    fitted = _fitted(followed, keys=list(dict.fromkeys((STRENGTH, *rated))), grid=default_grid(form), slopes=slopes)
    followed, grid = fitted.followed, fitted.grid
    even = even_cups_of(followed, even_brew=even_brew, grid=grid, form=form)
    shown = _attributes(fitted, even=even)
    strength = shown[0] if shown and shown[0].key == STRENGTH else None

    flavours = _flavours(shown, followed=followed)
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
        sessions_spent=sum(session.brew.ending == SPENT for session in followed),
        sessions_stopped=sum(session.brew.ending == STOPPED for session in followed),
        curves=tuple(_curve(attribute) for attribute in shown),
        layers=find_layers(flavours),
        flavour_points={key: tuple(weights.tolist()) for key, weights in flavours.items() if weights.any()},
        departures=tuple(
            departure
            for s in followed
            if strength is not None  # what a departure did to a strength that nobody rated is not known
            for departure in departures(s, even_brew=even_brew, node_level=strength.posterior.node_level, grid=grid)
        ),
        next=next_session(
            followed,
            strength=strength.curve if strength else None,
            profile=main_profile,
            steeps=steeps,
            fatigue=strength.posterior.slope_probability if strength else 0.0,
            infusions=MOST_INFUSIONS,
        ),
        leaf_range_g=_leaf_range_g(followed),
        lack_of_fit=tuple(LackOfFitAt(row.key, row.error.lack_of_fit.worst) for row in shown if row.error.lack_of_fit),
        strength_beyond=() if strength is None else _strength_beyond(strength, steeps=steeps, even=even),
        tasted=tuple(point for attribute in shown for point in attribute.points),
        good_cups=_good_cups(shown, steeps=steeps),
        even_brew=even_brew,
        counterfactual=Counterfactual(STRENGTH)
        if strength is None
        else counterfactual(STRENGTH, strength.points, even_mean=strength.curve.mean),
        line_evidence=evidence_of_line,
        slope_evidence={row.key: evidence for row in shown if (evidence := row.posterior.slope_evidence) is not None},
    )


def warm_up() -> None:
    """Compute one made-up session, so that the tables which all fits share are built."""
    brew = BOILING.brew()
    pours = (*brew.pours[:1], *(replace(pour, ratings={STRENGTH: 5.0}) for pour in brew.pours[1:]))
    estimate_development([replace(brew, pours=pours)], rated=(STRENGTH,))


def _fitted(
    followed: Sequence[PreparedSession], *, keys: Sequence[str], grid: Grid, slopes: Mapping[str, OrderSlope]
) -> _Fitted:
    tasted = {
        key: [(place, ratings) for place, s in enumerate(followed) if (ratings := s.ratings_of(key)) is not None]
        for key in keys
    }
    posteriors = fit_all(
        {key: [ratings for _, ratings in used] for key, used in tasted.items() if used or key == STRENGTH},
        grid=grid,
        slopes=slopes,
    )
    likely = np.logical_or.reduce([posterior.node_weights > MIN_NODE_WEIGHT for posterior in posteriors.values()])
    part, index = grid.around(likely)
    return _Fitted(
        followed=tuple(replace(session, grid=part) for session in followed),
        tasted=tasted,
        posteriors={key: posterior.on(index) for key, posterior in posteriors.items()},
        grid=part,
    )


def _steeps(
    strength: _Attribute, *, followed: Sequence[PreparedSession], even: EvenCups, line: FinishLine, grid: Grid
) -> tuple[Steeps, tuple[float, ...]]:
    """Count the worthwhile infusions, each draw weighed with each finish line by how both agree with the endings."""
    draws = strength.posterior.draws(n_draws=N_DRAWS)
    peak = peak_of(draws, even_cups=even.cups[:, :MOST_INFUSIONS])
    agreed = ending_log_likelihood(followed, draws=draws, peak=peak, grid=grid)
    log_weight = agreed + line.log_weights()
    cups = strength.error.applied(draws.on_scale(even.of(draws, infusions=MOST_INFUSIONS)))
    counted = count_worthwhile(
        np.repeat(cups, LINES.size, axis=0),
        finish_line=np.tile(LINES, draws.level.size),
        weights=np.exp(log_weight - log_weight.max()).ravel(),
    )
    return counted, line_log_likelihood(agreed)


def _attributes(fitted: _Fitted, *, even: EvenCups) -> list[_Attribute]:
    """Compute what is shown of each rated attribute, in the order of the posteriors."""
    levels = np.stack([posterior.node_level for posterior in fitted.posteriors.values()])
    expected = [levels @ session.cups for session in fitted.followed]
    attributes = []
    for row, (key, posterior) in enumerate(fitted.posteriors.items()):
        slope = posterior.slope_shown
        tasted = [TastedSession(s, ratings, expected[place][row], slope) for s, place, ratings in fitted.used(key)]
        if tasted:
            attributes.append(_attribute(key, posterior=posterior, tasted=tasted, even=even))
    return attributes


def _attribute(key: str, *, posterior: Posterior, tasted: Sequence[TastedSession], even: EvenCups) -> _Attribute:
    departure = lack_of_fit([session.residuals() for session in tasted], infusions=even.shown)
    share = open_share(
        [session.ratings.taster for session in tasted],
        n_tasters=max((session.ratings.n_tasters or 0 for session in tasted), default=0) or None,
    )
    points = tasted_points(key, tasted, even_mean=posterior.node_level @ even.cups)
    error = ModelError.given(
        [session.left_over() for session in tasted],
        infusions=even.shown,
        sigma=posterior.sigma,
        open_share=share,
        dryness=even.dryness(posterior),
        lack_of_fit=departure,
    )
    draws = posterior.draws()
    strength = even.of(draws, infusions=even.shown)
    cups = error.applied(draws.on_scale(strength))
    shapes = curve_shapes(np.maximum(strength if departure is None else cups, LEAST_CUP)[:, :EVEN_INFUSIONS])
    label = weighted_profile(shapes, weights=np.ones(len(cups)), prior=even.label_prior)
    level_sd = level_error_sd([session.ratings.scale for session in tasted], open_share=share, sigma=posterior.sigma)
    tail = curve_tail(len(tasted))
    shown = summarise_cups(with_level_error(cups, sd=level_sd), in_mean=draws.in_mean, tail=tail)
    return _Attribute(
        key=key,
        posterior=posterior,
        curve=shown,
        profile=_as_shown(label, shown),
        points=points,
        error=error,
        level_sd=level_sd,
        tail=tail,
    )


def _strength_beyond(strength: _Attribute, *, steeps: Steeps, even: EvenCups) -> tuple[CurvePoint, ...]:
    """Return the cups between the end of the curve and the upper end of the count's range, as the curve goes on."""
    last = max(steeps.recommended or 0, steeps.high or 0)
    if last <= even.shown:
        return ()
    draws = strength.posterior.draws()
    cups = strength.error.applied(draws.on_scale(even.of(draws, infusions=last)))
    curve = summarise_cups(with_level_error(cups, sd=strength.level_sd), in_mean=draws.in_mean, tail=strength.tail)
    rows = zip(curve.mean, curve.low, curve.high, strict=True)
    whole = [
        CurvePoint(n, float(mean), float(low), float(high), None, 0) for n, (mean, low, high) in enumerate(rows, 1)
    ]
    return tuple(whole[even.shown :])


def _as_shown(label: Profile, shown: Curve) -> Profile:
    """Return the profile with peak, rise and half strength of the curve that is shown, so that both agree.

    A mean curve may have another label than most draws. Then peak and half strength stay those of the draws, for the
    label's sake.
    """
    mean = np.maximum(shown.mean[:EVEN_INFUSIONS], LEAST_CUP)
    own = curve_shapes(mean[None, :])
    if label.label in (UNDECIDED, LABELS[int(own.label[0])]):
        half = float(own.half[0])
        label = replace(
            label, peak_infusion=int(own.peak[0]), half_strength_infusion=int(half) if np.isfinite(half) else None
        )
    return replace(label, rise=max(float(mean[label.peak_infusion - 1] / mean[0]), 1.0))


def _good_cups(attributes: Sequence[_Attribute], *, steeps: Steeps) -> Mapping[str, float]:
    """Return the mean of each curve over the cups worth drinking, the first at least; none while strength is open."""
    if steeps.recommended is None:
        return {}
    n = max(steeps.recommended, 1)
    return {attribute.key: float(attribute.curve.mean[:n].mean()) for attribute in attributes}


def _leaf_range_g(followed: Sequence[PreparedSession]) -> tuple[float, float] | None:
    """Return the least and the most leaf of the sessions [g]; None without one."""
    weights_g = [session.brew.leaf_g for session in followed]
    return (min(weights_g), max(weights_g)) if weights_g else None


def _curve(attribute: _Attribute) -> DescriptorCurve:
    adjusted: dict[int, list[float]] = defaultdict(list)
    for point in attribute.points:
        adjusted[point.infusion].append(point.adjusted)
    shown = attribute.curve
    return DescriptorCurve(
        descriptor=attribute.key,
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
        profile=attribute.profile,
    )


def _flavours(attributes: Sequence[_Attribute], *, followed: Sequence[PreparedSession]) -> Mapping[str, FloatArray]:
    """Return the weight of each descriptor at each infusion that somebody tasted. [points]."""
    tasted = np.zeros(MOST_INFUSIONS)
    noted: dict[str, FloatArray] = defaultdict(lambda: np.zeros(MOST_INFUSIONS))
    for session in followed:
        for pour in session.pours:
            if pour.tasted and 0 < pour.number <= MOST_INFUSIONS:
                tasted[pour.number - 1] += 1
                for key in pour.noted | {name for name, rating in pour.ratings.items() if rating > LOWEST}:
                    noted[key][pour.number - 1] += 1
    weights = {row.key: rated_weights(row.curve.mean, ratings=len(row.points)) for row in attributes}
    for key in sorted(noted.keys() - weights.keys()):
        weights[key] = noted_weights(noted[key], tasted=tasted)
    last = int(np.flatnonzero(tasted).max(initial=-1)) + 1
    return {key: weight[:last] for key, weight in weights.items()}


def _evidence(followed: Sequence[PreparedSession], *, left_out: tuple[LeftOut, ...]) -> Evidence:
    return Evidence(
        sessions=len(followed),
        infusions=sum(1 for session in followed for pour in session.pours if pour.ratings or pour.noted),
        tasters=len({session.brew.taster for session in followed}),
        shops=len({session.brew.shop for session in followed if session.brew.shop is not None}),
        left_out=left_out,
    )
