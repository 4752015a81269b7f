"""What a blind flight says, as figures."""

from collections.abc import Mapping
from dataclasses import dataclass

from tastings.maths.curve.development import plain
from tastings.maths.flights.further_cups import FurtherCups
from tastings.maths.flights.ranking import Friedman, Page
from tastings.maths.flights.standings import Figure, Standing

SETTLED = 0.8
"""Probability of being best at which a flight is settled: the odds that every interval of ours is told with, four to
one. What is left over is shared by the lots close behind, so that a wrong choice then costs little as well."""


@dataclass(frozen=True, slots=True)
class Spreads:
    """Standard deviations of what makes scores differ; None where these cups cannot tell. [points; of gain, none].

    Parameters
    ----------
    lots : Figure
        Between lots.
    shift, gain : Figure or None
        Between tasters' levels and between their gains; None for one taster.
    sitting : Figure or None
        Between sittings of one taster; None when nobody sat twice.
    taste : Figure or None
        Of a taster's own taste for a lot; None without a lot tasted twice by one taster.
    noise : Figure
        What is left in a usual taster's score; with the taste in it when that is None.
    """

    lots: Figure
    shift: Figure | None
    gain: Figure | None
    sitting: Figure | None
    taste: Figure | None
    noise: Figure


@dataclass(frozen=True, slots=True)
class TasterEffect:
    """How one taster used the scale in this flight.

    ``shift`` is above the team's mean [points], ``gain`` the share of a difference between lots that the scores show,
    ``noise`` what is left in the scores [points], ``repeatability_sd`` that of hidden duplicates, None without.
    """

    taster: str
    cups: int
    shift: Figure
    gain: Figure
    noise: Figure
    repeatability_sd: float | None


@dataclass(frozen=True, slots=True)
class Judgement:
    """What a flight says.

    Parameters
    ----------
    sentence : str
        The answer in plain words; ``flight_sentence.sentence`` says it again with other names.
    standings : tuple[Standing, ...]
        Of the lots that may be chosen, the highest adjusted mean first; empty without a cup.
    controls : tuple[Standing, ...]
        Of those that may not, the same way.
    settled : bool
        The leader's probability of being best is at least :data:`SETTLED`, and there is another lot.
    expected_loss : float or None
        What choosing the leader now is expected to give away against the best lot. [points]
    next : tuple[FurtherCups, ...]
        Further cups by what they would bring, the whole team's first.
    spreads : Spreads or None
        Variance components as standard deviations; None without a cup.
    tasters : tuple[TasterEffect, ...]
        In the order of their names.
    carry_over : Figure or None
        Share of the previous lot's difference from the level that is still in the score; below 0 where a good cup
        makes the next one look worse. None when no cup followed another.
    position, first_cup : Figure or None
        Change from each cup to the next, and what the first cup gets beside that; None for single cups. [points]
    repeatability_sd : float or None
        Of hidden duplicates; None without. [points]
    friedman : Friedman or None
        Whether tasters rank the lots alike.
    kendall_w : float or None
        Concordance of the tasters who have tasted every lot; None for fewer than two.
    rank_sums : Mapping[str, float] or None
        ISO 8587's, of a full table.
    rank_sum_difference : float or None
        By how much two of them must differ.
    page : Page or None
        When an order was expected and at least two tasters have tasted all of it.
    least_significant_difference : float or None
        Of two lots' means by the mixed model with fixed lots, sittings as random blocks; a typical pair's. [points]
    differ : tuple[tuple[str, str], ...]
        Pairs told apart by it, the better first, each pair at its own least difference; none unless ``friedman`` is
        below ``alpha``, as ISO 8587 has it.
    alpha : float
        Of these tests.
    """

    sentence: str
    standings: tuple[Standing, ...]
    controls: tuple[Standing, ...]
    settled: bool
    expected_loss: float | None
    next: tuple[FurtherCups, ...]
    spreads: Spreads | None
    tasters: tuple[TasterEffect, ...]
    carry_over: Figure | None
    position: Figure | None
    first_cup: Figure | None
    repeatability_sd: float | None
    friedman: Friedman | None
    kendall_w: float | None
    rank_sums: Mapping[str, float] | None
    rank_sum_difference: float | None
    page: Page | None
    least_significant_difference: float | None
    differ: tuple[tuple[str, str], ...]
    alpha: float

    def as_json(self) -> dict[str, object]:
        """Return the figures in plain types, rounded to 3 decimals."""
        return {
            "sentence": self.sentence,
            "standings": [one.as_json() for one in self.standings],
            "controls": [one.as_json() for one in self.controls],
            "settled": self.settled,
            "settled_at": SETTLED,
            "expected_loss": _maybe(self.expected_loss),
            "next": [one.as_json() for one in self.next],
            "spreads": None if self.spreads is None else _spreads_json(self.spreads),
            "tasters": [_taster_json(one) for one in self.tasters],
            "carry_over": _figure(self.carry_over),
            "position": _figure(self.position),
            "first_cup": _figure(self.first_cup),
            "repeatability_sd": _maybe(self.repeatability_sd),
            "friedman": None if self.friedman is None else self.friedman.as_json(),
            "kendall_w": _maybe(self.kendall_w),
            "rank_sums": None if self.rank_sums is None else dict(self.rank_sums),
            "rank_sum_difference": _maybe(self.rank_sum_difference),
            "page": None if self.page is None else self.page.as_json(),
            "least_significant_difference": _maybe(self.least_significant_difference),
            "differ": [list(pair) for pair in self.differ],
            "alpha": self.alpha,
        }


def _maybe(value: float | None) -> float | None:
    return None if value is None else plain(value)


def _figure(figure: Figure | None) -> dict[str, float] | None:
    return None if figure is None else figure.as_json()


def _spreads_json(spreads: Spreads) -> dict[str, object]:
    names = ("lots", "shift", "gain", "sitting", "taste", "noise")
    return {f"{name}_sd": _figure(getattr(spreads, name)) for name in names}


def _taster_json(one: TasterEffect) -> dict[str, object]:
    return {
        "taster": one.taster,
        "cups": one.cups,
        "shift": one.shift.as_json(),
        "gain": one.gain.as_json(),
        "noise": one.noise.as_json(),
        "repeatability_sd": _maybe(one.repeatability_sd),
    }
