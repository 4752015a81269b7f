"""The ratings behind a curve: as they were given, and brought to the even brew."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from tastings.maths.arrays import BoolArray, FloatArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST
from tastings.maths.brewing.heat import contact_s
from tastings.maths.curve.evidence import PreparedSession
from tastings.maths.curve.lack_of_fit import Residuals
from tastings.maths.curve.sufficient_statistics import SessionRatings


@dataclass(frozen=True, slots=True)
class TastedPoint:
    """One rating as it was given, and as it would have been on the even brew [points, 0 to 10].

    ``brewing`` is what the fitted model says the brewing added to the even brew's cup [points], ``contact_s`` how long
    the water was on the leaf [s].
    """

    session: str
    taster: str
    infusion: int
    descriptor: str
    rating: float
    adjusted: float
    brewing: float
    contact_s: float


@dataclass(frozen=True, slots=True)
class TastedSession:
    """One session's ratings of a descriptor, and what the fitted model expects of all its pours [points].

    ``slope`` is what each cup tasted before adds to a rating. [points]
    """

    prepared: PreparedSession
    ratings: SessionRatings
    expected: FloatArray
    slope: float = 0.0

    @property
    def common(self) -> FloatArray:
        """Return the ratings less what was expected, on the team's common scale [points]."""
        rested = self.ratings.ratings - self.slope * self.ratings.order
        return np.asarray(rested / self.ratings.scale.gain - self.expected[self.ratings.index], dtype=np.float64)

    def residuals(self) -> Residuals:
        """Return what the ratings leave over; those at an end of the scale are left out."""
        return self._left_over(self.ratings.censored == 0)

    def left_over(self) -> Residuals:
        """Return what the ratings leave over, weak cups rated 0 among them; a 10 may have been any more."""
        return self._left_over(self.ratings.censored <= 0)

    def _left_over(self, settled: BoolArray) -> Residuals:
        index = self.ratings.index[settled]
        return Residuals(
            number=np.array([self.prepared.pours[i].number for i in index], dtype=np.int64),
            residual=self.common[settled],
            expected=self.expected[index],
        )


def tasted_points(
    descriptor: str, sessions: Iterable[TastedSession], *, even_mean: FloatArray
) -> tuple[TastedPoint, ...]:
    """Return every rating of a descriptor but those of a rinse.

    Parameters
    ----------
    descriptor : str
        Its key.
    sessions : Iterable[TastedSession]
        The sessions that rated it.
    even_mean : float64[n_infusions]
        The even brew's mean cups, at least as many as were rated. [points]
    """
    return tuple(
        TastedPoint(
            session=session.prepared.brew.session,
            taster=session.prepared.brew.taster,
            infusion=pour.number,
            descriptor=descriptor,
            rating=float(pour.ratings[descriptor]),
            adjusted=min(max(float(even_mean[pour.number - 1] + residual), LOWEST), HIGHEST),
            brewing=float(session.expected[i] - even_mean[pour.number - 1]),
            contact_s=contact_s(pour),
        )
        for session in sessions
        for i, residual in zip(session.ratings.index, session.common, strict=True)
        if (pour := session.prepared.pours[i]).number > 0
    )
