"""Computes the strength of each cup for a grid of leaf parameters (k, tau, n).

Dry leaf wets with a lag tau: after t seconds of contact the effective extraction time is w(t) = t - tau (1 -
e^(-t/tau)). A pour is a step x_j = rate_j (w(t_j) - w(t_(j-1))) / 60, in minutes at 100 deg C. First-order depletion
leaves the share e^(-k sum x) in the leaf. The rest is in the cup: c_j = ratio_j f_j / 0.08, which is 1 for a twelfth of
the leaf's content in the even brew.

Perceived strength is not proportional to content. It follows Fechner's logarithm, h = log(1 + b c) / log(1 + b): almost
proportional for weak cups, flatter for strong ones. The uncertain parameter is n, the exponent (Stevens) at c = 1; b
follows from it, and n = 1 is proportional. A constant exponent, c^n, overestimates weak cups: in simulation by 0.3
points from infusion 8 on. ``h`` depends on the brewing only and is the same for every attribute of a lot.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import exp, log1p

import numpy as np
import scipy

from tastings.maths.arrays import BoolArray, FloatArray, IndexArray
from tastings.maths.brewing.heat import Steeping

REFERENCE_SHARE = 0.08
_MIN_SHARE = 1e-9


@dataclass(frozen=True, slots=True)
class Grid:
    """Nodes over extraction rate k [1/min at 100 deg C], wetting lag tau [s] and exponent of taste n, with a prior.

    ``log_prior`` has one entry per node, in the order k, tau, n; over the whole grid its exponentials sum to 1. It is
    that of one form of leaf; ``any_form`` is that of a leaf whose form is not known.
    """

    k_per_min: FloatArray
    tau_s: FloatArray
    n: FloatArray
    log_prior: FloatArray
    any_form: FloatArray

    @property
    def n_nodes(self) -> int:
        """Return the number of nodes."""
        return self.log_prior.size

    @property
    def shape(self) -> tuple[int, int, int]:
        """Return how many values k, tau and n have."""
        return self.k_per_min.size, self.tau_s.size, self.n.size

    def around(self, mask: BoolArray) -> tuple["Grid", IndexArray]:
        """Return the smallest box of the grid that contains the masked nodes, and the indexes of its nodes.

        Parameters
        ----------
        mask : bool[n_nodes]
            At least one of them true.
        """
        axis_index = np.nonzero(mask.reshape(self.shape))
        k, tau, n = (slice(int(axis.min()), int(axis.max()) + 1) for axis in axis_index)
        index = np.arange(self.n_nodes, dtype=np.intp).reshape(self.shape)[k, tau, n].ravel()
        part = Grid(
            k_per_min=self.k_per_min[k],
            tau_s=self.tau_s[tau],
            n=self.n[n],
            log_prior=self.log_prior[index],
            any_form=self.any_form[index],
        )
        return part, index


@dataclass(frozen=True, slots=True)
class Make:
    """What leaf of one make is usually like: rate [1/min at 100 deg C] and wetting lag [s], medians."""

    k_per_min: float
    tau_s: float


ROLLED, TWISTED, BROKEN = Make(0.20, 45.0), Make(0.40, 22.0), Make(0.90, 9.0)
MAKES = (ROLLED, TWISTED, BROKEN)
"""Makes that are equally likely where the form of the leaf is not known. Own values; that of rolled leaf is near the
0.20-0.26 /min of whole leaf in an unstirred pot (Hicks, Hsieh and Bell 1996)."""
MAKE_OF_FORM = {
    "rolled": ROLLED,
    "twisted": TWISTED,
    "needle": TWISTED,
    "flat": TWISTED,
    "broken": BROKEN,
    "powder": BROKEN,
}
"""Compressed leaf is none of them: whole leaves and dust are pressed alike."""
K_SPREAD, TAU_SPREAD = 0.55, 0.7
"""Sds of log k and log tau among leaves of one make (own values)."""


def make_grid(*, n_k: int = 26, n_tau: int = 14, n_n: int = 7, form: str = "") -> Grid:
    """Make the grid: k over 0.04-6 /min, tau over 2-400 s, n over 0.2-1.

    Parameters
    ----------
    n_k, n_tau, n_n : int
        Values of each.
    form : str
        Of the leaf: a key of :data:`MAKE_OF_FORM`; any other counts as not known.

    Notes
    -----
    Priors: log k and log tau normal about those of the leaf's make, n ~ N(0.7, 0.25); an equal mixture of the makes
    where the form is not known. Against a grid of three times as many nodes the mean curve of eight sessions moved
    by less than 0.01 points and its sd by less than 4 %, lots with ratings at an end of the scale left out.
    """
    k, tau, n = np.geomspace(0.04, 6.0, n_k), np.geomspace(2.0, 400.0, n_tau), np.linspace(0.2, 1.0, n_n)

    def log_prior(makes: Sequence[Make]) -> FloatArray:
        leaf = np.logaddexp.reduce(
            [
                _log_normal((np.log(k) - np.log(make.k_per_min)) / K_SPREAD)[:, None]
                + _log_normal((np.log(tau) - np.log(make.tau_s)) / TAU_SPREAD)[None, :]
                for make in makes
            ]
        )
        nodes = leaf[:, :, None] + _log_normal((n - 0.7) / 0.25)
        nodes[:, :, -1] -= np.log(2)  # the last node covers half a step, since n ends there
        return np.asarray(nodes.ravel() - np.log(np.exp(nodes).sum()), dtype=np.float64)

    known = MAKE_OF_FORM.get(form)
    any_form = log_prior(MAKES)
    return Grid(
        k_per_min=k, tau_s=tau, n=n, log_prior=any_form if known is None else log_prior([known]), any_form=any_form
    )


@cache
def _default_grid(form: str) -> Grid:
    return make_grid(form=form)


def default_grid(form: str = "") -> Grid:
    """Return the grid of the default size for a form of leaf; each is made once."""
    return _default_grid(form if form in MAKE_OF_FORM else "")


def effective_contact_s(contact_s: FloatArray, *, tau_s: FloatArray | float) -> FloatArray:
    """Return the effective extraction time after a contact time [s].

    Examples
    --------
    >>> round(float(effective_contact_s(np.array(200.0), tau_s=15.0)), 3)
    185.0
    """
    return np.asarray(contact_s + tau_s * np.expm1(-contact_s / tau_s), dtype=np.float64)


def extracted_shares(steeping: Steeping, *, k_per_min: FloatArray, tau_s: FloatArray) -> FloatArray:
    """Return the share of the leaf's content that each pour extracts.

    Parameters
    ----------
    steeping : Steeping
        One session, rinse included.
    k_per_min, tau_s : float64[n_k], float64[n_tau]
        Extraction rate [1/min at 100 deg C] and wetting lag [s].

    Returns
    -------
    float64[n_k, n_tau, n_pours]
        Shares of the leaf's content; they sum to less than 1.
    """
    tau = tau_s[:, None]
    effective_s = effective_contact_s(np.cumsum(steeping.contact_s)[None, :], tau_s=tau)
    steps = steeping.rate * np.diff(effective_s, axis=1, prepend=0.0) / 60
    before = np.cumsum(steps, axis=1) - steps
    k = k_per_min[:, None, None]
    return np.asarray(np.exp(-k * before) * -np.expm1(-k * steps), dtype=np.float64)


def cup_strength(steeping: Steeping, *, grid: Grid) -> FloatArray:
    """Return the strength h of each cup at every node of the grid.

    Returns
    -------
    float64[n_nodes, n_pours]
        About 1 for a cup with a twelfth of the leaf's content, at the even brew's leaf per water.
    """
    share = extracted_shares(steeping, k_per_min=grid.k_per_min, tau_s=grid.tau_s)
    content = np.maximum(share, _MIN_SHARE) * (steeping.ratio / REFERENCE_SHARE)
    return perceived_strength(content[:, :, None, :], n=grid.n[:, None]).reshape(grid.n_nodes, -1)


def perceived_strength(content: FloatArray, *, n: FloatArray) -> FloatArray:
    """Return the perceived strength of a cup of this content; 1 for a content of 1.

    Parameters
    ----------
    content : float64[...]
        Relative to the reference cup. [above 0]
    n : float64[...]
        Exponent at a content of 1; broadcast against ``content``. [above 0, at most 1]

    Examples
    --------
    >>> perceived_strength(np.array([0.5, 1.0, 2.0]), n=np.array([0.5])).round(3).tolist()
    [0.681, 1.0, 1.368]
    """
    return _strength(content, b=_log_slopes(n))


def _strength(content: FloatArray, *, b: FloatArray) -> FloatArray:
    return np.asarray(np.log1p(b * content) / np.log1p(b), dtype=np.float64)


def _log_slopes(n: FloatArray) -> FloatArray:
    """Return the b of each exponent, in the shape of ``n``."""
    exponents, index = np.unique(n, return_inverse=True)
    return np.array([_log_slope(float(exponent)) for exponent in exponents])[index].reshape(n.shape)


@cache
def _log_slope(n: float) -> float:
    """Return the b for which log(1 + b c) has the exponent n at c = 1."""
    if n > 1 - 1e-6:
        return 1e-6

    def excess(log_b: float) -> float:
        b = exp(log_b)
        return b / (1 + b) / log1p(b) - n

    return exp(scipy.optimize.brentq(excess, -14.0, 600.0))


def cup_strength_by_leaf(steeping: Steeping, *, k_per_min: FloatArray, tau_s: FloatArray, n: FloatArray) -> FloatArray:
    """Return float64[n_leaves, n_pours]: strength h for leaf parameters given one by one, not on a grid."""
    effective_s = effective_contact_s(np.cumsum(steeping.contact_s)[None, :], tau_s=tau_s[:, None])
    steps = k_per_min[:, None] * steeping.rate * np.diff(effective_s, axis=1, prepend=0.0) / 60
    share = np.exp(steps - np.cumsum(steps, axis=1)) * -np.expm1(-steps)
    return perceived_strength(np.maximum(share, _MIN_SHARE) * (steeping.ratio / REFERENCE_SHARE), n=n[:, None])


@dataclass(frozen=True, slots=True)
class DrawnLeaves:
    """Leaves given one by one, as some pours have left them: strengths of the next pour for many contacts at once."""

    # k_per_min, tau_s, b, float64[n_leaves]: extraction rate [1/min at 100 deg C], wetting lag [s] and slope of the
    # logarithm of taste of each
    k_per_min: FloatArray
    tau_s: FloatArray
    b: FloatArray
    contact_s: float  # contact of the pours before [s]
    # effective_s, left, float64[n_leaves]: effective extraction time of these [s], and the share of its content that
    # each leaf still has
    effective_s: FloatArray
    left: FloatArray

    @classmethod
    def after(
        cls, contact_s: FloatArray, *, rate: FloatArray, k_per_min: FloatArray, tau_s: FloatArray, n: FloatArray
    ) -> "DrawnLeaves":
        """Return the leaves after pours of these contact times [s] and rates, float64[n_pours]."""
        until_s = np.concatenate(([0.0], np.cumsum(contact_s)))
        effective_s = effective_contact_s(until_s[None, :], tau_s=tau_s[:, None])
        minutes = np.diff(effective_s, axis=1) @ rate / 60
        return cls(
            k_per_min=k_per_min,
            tau_s=tau_s,
            b=_log_slopes(n),
            contact_s=float(until_s[-1]),
            effective_s=effective_s[:, -1],
            left=np.exp(-k_per_min * minutes),
        )

    def strength_of_next(self, contact_s: FloatArray, *, rate: FloatArray, ratio: float) -> FloatArray:
        """Return float64[n_leaves, n_times]: strength h of the next pour for each contact time [s] with its rate."""
        effective_s = effective_contact_s(self.contact_s + contact_s[None, :], tau_s=self.tau_s[:, None])
        steps = self.k_per_min[:, None] * rate * (effective_s - self.effective_s[:, None]) / 60
        share = self.left[:, None] * -np.expm1(-steps)
        return _strength(np.maximum(share, _MIN_SHARE) * (ratio / REFERENCE_SHARE), b=self.b[:, None])


def _log_normal(z: FloatArray) -> FloatArray:
    return np.asarray(-0.5 * z * z, dtype=np.float64)
