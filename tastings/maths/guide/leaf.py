"""What is known of one lot's leaf, ready to be brewed in any vessel: equally likely leaves with their weights."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST, Brew, TasterScale, form_of, validated_brews
from tastings.maths.brewing.even_brew import BOILING, EVEN_INFUSIONS, EvenBrew
from tastings.maths.brewing.extraction import DrawnLeaves, cup_strength_by_leaf, default_grid
from tastings.maths.brewing.heat import Steeping, steeping_of
from tastings.maths.curve.endings import LINES, FinishLine, ending_log_likelihood, peak_of
from tastings.maths.curve.evidence import PreparedSession, prepare_sessions
from tastings.maths.curve.lack_of_fit import Residuals, lack_of_fit
from tastings.maths.curve.posterior import Posterior, fit

STRENGTH = "strength"
N_DRAWS = 512


@dataclass(frozen=True, slots=True)
class Leaf:
    """Draws of the posterior of a lot's strength."""

    # k_per_min, tau_s, n, level, float64[n_draws]: extraction rate [1/min at 100 deg C], wetting lag [s], exponent of
    # taste and level [points] of each
    k_per_min: FloatArray
    tau_s: FloatArray
    n: FloatArray
    level: FloatArray
    # float64[n_draws, n_lines]: how likely each draw is together with each of
    # `tastings.maths.curve.endings.LINES`, given how the sessions ended; they sum to 1
    line_weights: FloatArray
    even_brew: EvenBrew = BOILING  # that of the lot's kind

    def cups(self, brew: Brew) -> FloatArray:
        """Return float64[n_draws, n_pours]: the strength of each pour in each draw [points, 0 to 10]."""
        return self.steeped(steeping_of(brew, brew.pours))

    def steeped(self, steeping: Steeping) -> FloatArray:
        """Return the same for pours whose heat is known."""
        cups = cup_strength_by_leaf(steeping, k_per_min=self.k_per_min, tau_s=self.tau_s, n=self.n)
        return self.on_scale(cups)

    def on_scale(self, cups: FloatArray) -> FloatArray:
        """Return strengths h, float64[n_draws, any], as points of each draw's level [0 to 10]."""
        return np.clip(self.level[:, None] * cups, LOWEST, HIGHEST)

    def drawn(self, steeping: Steeping) -> DrawnLeaves:
        """Return the leaf as all pours but the last leave it."""
        return DrawnLeaves.after(
            steeping.contact_s[:-1], rate=steeping.rate[:-1], k_per_min=self.k_per_min, tau_s=self.tau_s, n=self.n
        )

    def even_cups(self) -> FloatArray:
        """Return float64[n_draws, 12]: the even brew's cups [points, 0 to 10]."""
        return self.cups(self.even_brew.brew())[:, -EVEN_INFUSIONS:]

    def worth(self, cup: FloatArray) -> float:
        """Return the probability that a cup, of strength float64[n_draws], is above the finish line."""
        return float(self.line_weights[cup[:, None] > LINES].sum())

    @property
    def finish_line(self) -> float:
        """Return the mean finish line [points]."""
        return float(self.line_weights.sum(axis=0) @ LINES)


@dataclass(frozen=True, slots=True)
class KnownLeaf:
    """The usable sessions, and the leaf as they tell it; None while nobody has rated the strength.

    ``node_level`` gives a mean cup from those of the usual grid's nodes; ``lack_of_fit_at`` is the infusion that
    departs most from the extraction model, None while the ratings follow it.
    """

    followed: tuple[PreparedSession, ...]
    leaf: Leaf | None = None
    node_level: FloatArray | None = None
    lack_of_fit_at: int | None = None

    @property
    def farthest_rated_s(self) -> float:
        """Return how far the leaf was drawn where a cup was still rated, at most: contact at 100 deg C in all [s]."""
        reached = [
            float(drawn_s(session.steeping)[index].max())
            for session in self.followed
            if (index := session.rated_indexes(STRENGTH)).size
        ]
        return max(reached, default=0.0)


def drawn_s(steeping: Steeping) -> FloatArray:
    """Return how far the leaf is drawn by each pour and those before: contact at 100 deg C, float64[n_pours] [s]."""
    return np.cumsum(steeping.rate * steeping.contact_s)


def known_leaf(
    brews: Sequence[Brew],
    *,
    even_brew: EvenBrew = BOILING,
    scales: Mapping[str, Mapping[str, TasterScale]] | None = None,
    line: FinishLine | None = None,
) -> KnownLeaf:
    """Return what the sessions of a lot tell of its leaf.

    Parameters
    ----------
    brews, even_brew, scales, line
        As in :func:`tastings.maths.curve.estimate.estimate_development`.

    Raises
    ------
    BrewError
        A number of a brew cannot be one.
    """
    grid = default_grid(form_of(brews))
    followed, _ = prepare_sessions(validated_brews(brews), grid=grid, scales=scales or {})
    tasted = [ratings for session in followed if (ratings := session.ratings_of(STRENGTH)) is not None]
    if not tasted:
        return KnownLeaf(followed=followed)
    posterior = fit(tasted, grid=grid)
    draws = posterior.draws(n_draws=N_DRAWS)
    k, tau, n = np.unravel_index(draws.node, grid.shape)
    peak = peak_of(draws, even_cups=even_brew.cups(grid))
    agreed = ending_log_likelihood(followed, draws=draws, peak=peak, grid=grid)
    log_weight = agreed + (line or FinishLine()).log_weights()
    weight = np.exp(log_weight - log_weight.max())
    leaf = Leaf(
        k_per_min=grid.k_per_min[k],
        tau_s=grid.tau_s[tau],
        n=grid.n[n],
        level=draws.level,
        line_weights=weight / weight.sum(),
        even_brew=even_brew,
    )
    return KnownLeaf(
        followed=followed,
        leaf=leaf,
        node_level=posterior.node_level,
        lack_of_fit_at=_lack_of_fit_at(followed, posterior=posterior),
    )


def _lack_of_fit_at(followed: Sequence[PreparedSession], *, posterior: Posterior) -> int | None:
    rated = [(session, ratings) for session in followed if (ratings := session.ratings_of(STRENGTH)) is not None]
    left = []
    for place, (session, ratings) in enumerate(rated):
        if place in posterior.outliers:
            continue
        settled = ratings.index[ratings.censored == 0]
        expected = posterior.node_level @ session.cups[:, settled]
        common = ratings.ratings[ratings.censored == 0] / ratings.scale.gain
        number = np.array([session.pours[i].number for i in settled], dtype=np.int64)
        left.append(Residuals(number=number, residual=common - expected, expected=expected))
    departure = lack_of_fit(left, infusions=EVEN_INFUSIONS)
    return None if departure is None else departure.worst
