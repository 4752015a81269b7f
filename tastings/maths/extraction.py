"""From steeping to the strength of each cup, on a grid of what the leaf may be like.

Dry leaf wets with a lag tau: after t seconds of contact it has extracted as if for w(t) = t - tau (1 - e^(-t/tau)). A
pour is a step x_j = rate_j (w(t_j) - w(t_(j-1))) / 60, in minutes at 100 deg C. First-order depletion leaves e^(-k
sum x); the cup gets what left the leaf, h_j = (ratio_j f_j / 0.08)^n, so that a twelfth of the leaf's content in the
even brew tastes like 1, and n is an exponent of perception (Stevens). ``h`` depends on the brewing only; every
attribute of a lot shares it.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from tastings.maths.brewing import FloatArray, Steeping

USUAL_SHARE = 0.08
_LEAST_SHARE = 1e-9


@dataclass(frozen=True, slots=True)
class Grid:
    """Nodes over extraction rate k, wetting lag tau and perception exponent n.

    k is in 1/min at 100 deg C, tau in s, with prior
    weights.

    ``log_prior`` has one entry per node, in the order k, tau, n, and its exponentials sum to 1.
    """

    k_per_min: FloatArray
    tau_s: FloatArray
    n: FloatArray
    log_prior: FloatArray

    @property
    def n_nodes(self) -> int:
        """Return the number of nodes."""
        return self.log_prior.size


def make_grid(*, n_k: int = 32, n_tau: int = 24, n_n: int = 5) -> Grid:
    """Lay out the grid: k over 0.03-2 /min, tau over 2-400 s, n over 0.3-1.1.

    Notes
    -----
    Priors: log k ~ N(log 0.25, 0.8), log tau ~ N(log 30, 0.9), n ~ N(0.7, 0.25). The centre of k is that of an
    unstirred pot of whole leaf, 0.20-0.26 /min (Hicks, Hsieh and Bell 1996), not of the laboratory; the lag is at
    least the 15 s seen on one leaf.
    """
    k, tau, n = np.geomspace(0.03, 2.0, n_k), np.geomspace(2.0, 400.0, n_tau), np.linspace(0.3, 1.1, n_n)
    log_prior = (
        _log_normal((np.log(k) - np.log(0.25)) / 0.8)[:, None, None]
        + _log_normal((np.log(tau) - np.log(30.0)) / 0.9)[None, :, None]
        + _log_normal((n - 0.7) / 0.25)[None, None, :]
    ).ravel()
    log_prior -= np.log(np.exp(log_prior).sum())
    return Grid(k_per_min=k, tau_s=tau, n=n, log_prior=log_prior)


@cache
def usual_grid() -> Grid:
    """Return the grid of the usual size, laid out once."""
    return make_grid()


def wetted_s(contact_s: FloatArray, *, tau_s: FloatArray | float) -> FloatArray:
    """Return for how long leaf has in effect extracted after so much contact [s].

    Examples
    --------
    >>> round(float(wetted_s(np.array(200.0), tau_s=15.0)), 3)
    185.0
    """
    return np.asarray(contact_s + tau_s * np.expm1(-contact_s / tau_s), dtype=np.float64)


def shares(steeping: Steeping, *, k_per_min: FloatArray, tau_s: FloatArray) -> FloatArray:
    """Return the share of the leaf's content that each pour takes.

    Parameters
    ----------
    steeping : Steeping
        One session, rinse included.
    k_per_min, tau_s : float64[n_k], float64[n_tau]
        Extraction rate [1/min at 100 deg C] and wetting lag [s].

    Returns
    -------
    float64[n_k, n_tau, n_pours]
        Shares of the whole, their sum below 1.
    """
    tau = tau_s[:, None]
    wetted = wetted_s(np.cumsum(steeping.contact_s)[None, :], tau_s=tau)
    steps = steeping.rate * np.diff(wetted, axis=1, prepend=0.0) / 60
    before = np.cumsum(steps, axis=1) - steps
    k = k_per_min[:, None, None]
    return np.asarray(np.exp(-k * before) * -np.expm1(-k * steps), dtype=np.float64)


def cup_strength(steeping: Steeping, *, grid: Grid) -> FloatArray:
    """Return the strength h of each cup at every node of the grid.

    Returns
    -------
    float64[n_nodes, n_pours]
        About 1 for a cup that holds a twelfth of the leaf's content at the even brew's leaf per water.
    """
    share = shares(steeping, k_per_min=grid.k_per_min, tau_s=grid.tau_s)
    log_cup = np.log(np.maximum(share, _LEAST_SHARE) * (steeping.ratio / USUAL_SHARE))
    return np.exp(log_cup[:, :, None, :] * grid.n[:, None]).reshape(grid.n_nodes, -1)


def paired_cups(steeping: Steeping, *, k_per_min: FloatArray, tau_s: FloatArray, n: FloatArray) -> FloatArray:
    """Return float64[n_leaves, n_pours]: strength h for leaves given one by one rather than on a grid."""
    wetted = wetted_s(np.cumsum(steeping.contact_s)[None, :], tau_s=tau_s[:, None])
    steps = k_per_min[:, None] * steeping.rate * np.diff(wetted, axis=1, prepend=0.0) / 60
    share = np.exp(steps - np.cumsum(steps, axis=1)) * -np.expm1(-steps)
    content = np.maximum(share, _LEAST_SHARE) * (steeping.ratio / USUAL_SHARE)
    return np.asarray(content ** n[:, None], dtype=np.float64)


def _log_normal(z: FloatArray) -> FloatArray:
    return np.asarray(-0.5 * z * z, dtype=np.float64)
