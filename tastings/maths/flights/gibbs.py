"""The chains of :mod:`tastings.maths.flights.model`: every unknown drawn given the others, many chains side by side."""

import numpy as np
from numpy.random import Generator

from tastings.maths.arrays import FloatArray
from tastings.maths.flights.cups import Tray
from tastings.maths.flights.repeats import Repeats, one_hot

N_CHAINS = 32
LOT_SD, SHIFT_SD, SITTING_SD, TASTE_SD = 0.1, 0.12, 0.04, 0.05
"""Before any cup, as shares of the scale: a point of ten between lots and between tasters' levels, half a point of
taste, and little between one taster's sittings (common practice, no source). Half-normal but for lots, whose spread is
Rayleigh's, with no weight at 0: candidates are never all alike, and a few cups that happen to agree must not say so
(Chung and others 2013, Psychometrika 78:685-709, from memory, high)."""
NOISE_SD, NOISE_LOG_SD = 0.08, 1.0
"""Log-normal before any cup, as a share of the scale."""
GAIN_SD = 0.25
"""Half-normal of the spread of gains around 1."""
CARRY_SD = 0.25
POSITION_SD, FIRST_SD = 0.012, 0.04
"""Of the slope for each cup, and of the first cup's difference, as shares of the scale."""
NOISE_FREEDOM = 12.0
"""How alike tasters' noise is: a variance counts beforehand as if estimated from so many cups."""
_SPREADS = np.exp(np.linspace(np.log(0.004), np.log(0.6), 72))  # shares of the scale; 0.004 is below any rounding
_RAYLEIGH = 2 * np.log(_SPREADS) - 0.5 * (_SPREADS / LOT_SD) ** 2  # of the logarithm
_LEAST_GAIN, _MOST_GAIN = 0.2, 3.0


class Chains:
    """Chains side by side; every array begins with the chain. Lengths are shares of the scale."""

    def __init__(self, cups: Tray, *, scale: float, chance: Generator) -> None:
        self.chance, self.scale = chance, scale
        self.offset = float(cups.score.mean()) / scale
        self.said = cups.score / scale - self.offset
        self.taster, self.sitting = cups.taster, cups.sitting
        self.cells = Repeats(cups)
        self.n_lots, self.n_tasters, self.n_sittings = len(cups.lots), len(cups.tasters), len(cups.sittings)
        self.whose = cups.sitting_taster()
        self.sat = one_hot(self.whose, self.n_tasters)
        n = self.said.size
        self.own = one_hot(cups.lot, self.n_lots)
        self.before = one_hot(cups.previous, self.n_lots)
        self.at = one_hot(cups.sitting, self.n_sittings)
        self.by = one_hot(cups.taster, self.n_tasters)
        self.place = np.column_stack([cups.position - cups.position.mean(), cups.position == 1]).astype(np.float64)
        self.place -= self.place.mean(axis=0)
        # Cups of one sitting, tasted once or more than once, have one weight: sums over them are made once.
        stratum = 2 * cups.sitting + ~self.cells.single
        self.strata = 2 * self.n_sittings
        one = one_hot(stratum, self.strata)
        self.stratum_taster = np.repeat(self.whose, 2)
        self.stratum_many = np.tile([0, 1], self.n_sittings)
        self.n_own, self.n_before = one.T @ self.own, one.T @ self.before
        cross = np.einsum("ns,nl,nm->slm", one, self.own, self.before, optimize=True)
        self.crossed = (cross + cross.transpose(0, 2, 1)).reshape(self.strata, -1)
        side = np.column_stack([np.ones(n), self.place])
        self.own_side = np.einsum("ns,nl,nk->slk", one, self.own, side, optimize=True)
        self.before_side = np.einsum("ns,nl,nk->slk", one, self.before, side, optimize=True)
        self.side_side = np.einsum("ns,nk,nm->skm", one, side, side, optimize=True)
        self._begin()

    def _begin(self) -> None:
        shape = (N_CHAINS,)
        normal = self.chance.standard_normal
        self.lot_sd = LOT_SD * np.exp(0.5 * normal(shape))
        self.shift_sd = SHIFT_SD * np.exp(0.3 * normal(shape))
        self.sitting_sd = SITTING_SD * np.exp(0.3 * normal(shape))
        self.taste_sd = TASTE_SD * np.exp(0.3 * normal(shape))
        self.noise_sd = NOISE_SD * np.exp(0.3 * normal(shape))
        self.gain_sd = GAIN_SD * np.exp(0.3 * normal(shape))
        self.carry = 0.1 * normal(shape)
        self.gain = np.ones((N_CHAINS, self.n_tasters))
        self.louder = np.ones((N_CHAINS, self.n_tasters))
        self.taste = np.zeros((N_CHAINS, self.cells.n))

    def step(self) -> None:
        """Draw everything once, each part given the others."""
        self._draw_middle()
        self._draw_shift()
        self._draw_lot_spread()
        self._draw_gain_and_carry()
        self._draw_noise()

    def state(self) -> tuple[FloatArray, ...]:
        """Return the draws as :class:`Draws` holds them."""
        s = self.scale
        by_taster = self.level_at @ self.sat / self.sat.sum(axis=0)
        team = by_taster.mean(axis=1)
        parts = (
            s * (self.offset + team),
            s * self.lot,
            s * (by_taster - team[:, None]),
            self.gain,
            self.carry,
            s * self.slope[:, 0],
            s * self.slope[:, 1],
            s * self.lot_sd,
            s * self.shift_sd,
            s * self.sitting_sd,
            self.gain_sd,
            s * self.taste_sd,
            s * self.noise_sd,
            s * self.noise_sd[:, None] * np.sqrt(self.louder),
        )
        return tuple(np.asarray(part, dtype=np.float64) for part in parts)

    def _weights(self) -> tuple[FloatArray, FloatArray]:
        """Return weights by stratum and by cup; a single cup's noise has the taste for the lot in it."""
        noise, taste = self.noise_sd**2, self.taste_sd**2
        both = np.stack([1 / (noise + taste), 1 / noise], axis=1)
        by_stratum = both[:, self.stratum_many] / self.louder[:, self.stratum_taster]
        return by_stratum, by_stratum[:, 2 * self.sitting + ~self.cells.single]

    def _draw_middle(self) -> None:
        """Draw lots, sittings, level and position together, by solving for perturbed scores and beliefs."""
        weight, by_cup = self._weights()
        gain, carry = self.gain[:, self.stratum_taster], self.carry
        n_lots, n_sittings = self.n_lots, self.n_sittings
        size = n_lots + n_sittings + 3
        lots, sits, place = slice(n_lots), slice(n_lots, n_lots + n_sittings), slice(size - 2, size)
        precision = np.zeros((N_CHAINS, size, size))
        heavy = weight * gain**2
        precision[:, lots, lots] = carry[:, None, None] * (heavy @ self.crossed).reshape(-1, n_lots, n_lots)
        diagonal = np.arange(n_lots)
        precision[:, diagonal, diagonal] += heavy @ self.n_own + carry[:, None] ** 2 * (heavy @ self.n_before)
        mixed = np.tensordot(weight * gain, self.own_side[:, :, 1:], 1) + carry[:, None, None] * np.tensordot(
            weight * gain, self.before_side[:, :, 1:], 1
        )
        precision[:, lots, place] = mixed
        by_sitting = (weight * gain)[:, None, :] * (
            self.own_side[:, :, 0].T + carry[:, None, None] * self.before_side[:, :, 0].T
        )
        precision[:, lots, sits] = by_sitting.reshape(N_CHAINS, n_lots, n_sittings, 2).sum(axis=3)
        side = weight[:, :, None] * self.side_side[:, 0, :]
        side = side.reshape(N_CHAINS, n_sittings, 2, 3).sum(axis=2)
        where = n_lots + np.arange(n_sittings)
        precision[:, where, where] = side[:, :, 0]
        precision[:, sits, place] = side[:, :, 1:]
        precision[:, place, place] = np.tensordot(weight, self.side_side[:, 1:, 1:], 1)
        precision[:, place, lots] = mixed.transpose(0, 2, 1)
        precision[:, sits, lots] = precision[:, lots, sits].transpose(0, 2, 1)
        precision[:, place, sits] = precision[:, sits, place].transpose(0, 2, 1)

        normal = self.chance.standard_normal
        told = by_cup * (self.said - self.taste @ self.cells.member.T) + np.sqrt(by_cup) * normal(by_cup.shape)
        right = np.zeros((N_CHAINS, size))
        through = told * self.gain[:, self.taster]
        right[:, lots] = through @ self.own + carry[:, None] * (through @ self.before)
        right[:, sits] = told @ self.at
        right[:, place] = told @ self.place

        self._believe(precision, right)
        drawn = np.linalg.solve(precision, right[:, :, None])[:, :, 0]
        self.lot, self.level_at, self.level, self.slope = (
            drawn[:, lots], drawn[:, sits], drawn[:, size - 3], drawn[:, place],
        )  # fmt: skip

    def _believe(self, precision: FloatArray, right: FloatArray) -> None:
        """Add what is believed beforehand: lots and slopes on their own, a taster's sittings by what they share."""
        normal, size, n_sittings = self.chance.standard_normal, right.shape[1], self.n_sittings
        lots, sits = slice(self.n_lots), slice(self.n_lots, self.n_lots + n_sittings)
        diagonal, level, place = np.arange(self.n_lots), size - 3, slice(size - 2, size)
        precision[:, diagonal, diagonal] += self.lot_sd[:, None] ** -2
        right[:, lots] += normal((N_CHAINS, self.n_lots)) / self.lot_sd[:, None]
        believed = np.array([POSITION_SD, FIRST_SD])
        ends = np.arange(size - 2, size)
        precision[:, ends, ends] += believed**-2
        right[:, place] += normal((N_CHAINS, 2)) / believed
        n_each = self.sat.sum(axis=0)[self.whose]
        own, shared = self.sitting_sd[:, None] ** 2, self.shift_sd[:, None] ** 2
        shrunk = shared / (own + n_each * shared) / own
        same = self.sat @ self.sat.T
        tie = np.eye(n_sittings) / own[:, :, None] - same * shrunk[:, :, None]
        common = 1 / (own + n_each * shared)
        precision[:, sits, sits] += tie
        precision[:, sits, level] = precision[:, level, sits] = -common
        precision[:, level, level] = common.sum(axis=1) + 0.3**-2
        wobble = self.sitting_sd[:, None] * normal((N_CHAINS, n_sittings))
        wobble += self.shift_sd[:, None] * normal((N_CHAINS, self.n_tasters))[:, self.whose]
        pushed = np.einsum("cst,ct->cs", tie, wobble)
        right[:, sits] += pushed
        right[:, level] += normal(N_CHAINS) / 0.3 - pushed.sum(axis=1)

    def _draw_shift(self) -> None:
        """Draw tasters' shifts, and the spreads of shifts and sittings."""
        n_each, above = self.sat.sum(axis=0), (self.level_at - self.level[:, None]) @ self.sat
        precision = n_each / self.sitting_sd[:, None] ** 2 + self.shift_sd[:, None] ** -2
        mean = above / self.sitting_sd[:, None] ** 2 / precision
        shift = mean + self.chance.standard_normal(mean.shape) / np.sqrt(precision)
        self.shift_sd = self._spread((shift**2).sum(axis=1), self.n_tasters, usual=SHIFT_SD)
        left = self.level_at - self.level[:, None] - shift[:, self.whose]
        self.sitting_sd = self._spread((left**2).sum(axis=1), self.n_sittings, usual=SITTING_SD)

    def _draw_lot_spread(self) -> None:
        """Draw the spread of lots given the lots, and again given the lots in units of it."""
        self.lot_sd = self._pick(
            _RAYLEIGH - self.n_lots * np.log(_SPREADS) - 0.5 * (self.lot**2).sum(axis=1)[:, None] / _SPREADS**2
        )
        _, weight = self._weights()
        unit = self.lot / self.lot_sd[:, None]
        tasted = self.gain[:, self.taster] * (unit @ self.own.T + self.carry[:, None] * (unit @ self.before.T))
        steep = (weight * tasted**2).sum(axis=1)[:, None]
        toward = (weight * tasted * self._left(lots=False)).sum(axis=1)[:, None]
        new = self._pick(_SPREADS * toward - 0.5 * _SPREADS**2 * steep + _RAYLEIGH)
        self.lot = unit * new[:, None]
        self.lot_sd = new

    def _draw_gain_and_carry(self) -> None:
        _, weight = self._weights()
        left = self._left(lots=False)
        own, before = self.lot @ self.own.T, self.lot @ self.before.T
        tasted = own + self.carry[:, None] * before
        steep = (weight * tasted**2) @ self.by + self.gain_sd[:, None] ** -2
        mean = ((weight * tasted * left) @ self.by + self.gain_sd[:, None] ** -2) / steep
        drawn = mean + self.chance.standard_normal(mean.shape) / np.sqrt(steep)
        self.gain = np.clip(drawn, _LEAST_GAIN, _MOST_GAIN)
        grid = 2.5 * _SPREADS  # gains spread by 0.01 to 1.5
        squares = ((self.gain - 1) ** 2).sum(axis=1)[:, None]
        chances = -(self.n_tasters - 1) * np.log(grid) - 0.5 * squares / grid**2 - 0.5 * (grid / GAIN_SD) ** 2
        self.gain_sd = 2.5 * self._pick(chances)
        gain = self.gain[:, self.taster]
        steep_c = (weight * (gain * before) ** 2).sum(axis=1) + CARRY_SD**-2
        mean_c = (weight * gain * before * (left - gain * own)).sum(axis=1) / steep_c
        self.carry = mean_c + self.chance.standard_normal(N_CHAINS) / np.sqrt(steep_c)

    def _draw_noise(self) -> None:
        """Draw noise, the spread of tastes, how loud each taster's noise is, and tastes."""
        cells, left = self.cells, self._left(lots=True, taste=False)
        louder = self.louder[:, self.taster]
        single = ((left**2 / louder)[:, cells.single]).sum(axis=1)[:, None]
        n_single = int(cells.single.sum())
        means = left @ cells.member / cells.count if cells.n else np.zeros((N_CHAINS, 0))
        apart = (left - means @ cells.member.T) ** 2 / louder
        within = apart[:, ~cells.single].sum(axis=1)[:, None]
        n_within = left.shape[1] - n_single - cells.n
        between = cells.count * means**2 / self.louder[:, cells.taster]
        by_size = [
            (int(k), between[:, cells.count == k].sum(axis=1)[:, None], int((cells.count == k).sum()))
            for k in cells.sizes
        ]

        def likelihood(noise: FloatArray, taste: FloatArray) -> FloatArray:
            found = -0.5 * (n_single * np.log(noise + taste) + single / (noise + taste))
            found = found - 0.5 * (n_within * np.log(noise) + within / noise)
            for k, squares, often in by_size:
                found = found - 0.5 * (often * np.log(noise + k * taste) + squares / (noise + k * taste))
            return np.asarray(found, dtype=np.float64)

        beforehand = -0.5 * (np.log(_SPREADS / NOISE_SD) / NOISE_LOG_SD) ** 2
        self.noise_sd = self._pick(likelihood(_SPREADS**2, self.taste_sd[:, None] ** 2) + beforehand)
        self.taste_sd = self._pick(likelihood(self.noise_sd[:, None] ** 2, _SPREADS**2) + _half_normal(TASTE_SD))
        noise, taste = self.noise_sd[:, None] ** 2, self.taste_sd[:, None] ** 2
        squares = (left**2 * cells.single) @ self.by / (noise + taste)
        squares = squares + (((left - means @ cells.member.T) ** 2) * ~cells.single) @ self.by / noise
        if cells.n:
            squares = squares + (cells.count * means**2 / (noise + cells.count * taste)) @ one_hot(
                cells.taster, self.n_tasters
            )
        shape = (NOISE_FREEDOM + self.by.sum(axis=0)) / 2
        self.louder = (NOISE_FREEDOM + squares) / 2 / self.chance.standard_gamma(shape, size=squares.shape)
        if cells.n:
            scaled = self.louder[:, cells.taster]
            precision = (cells.count / noise + 1 / taste) / scaled
            mean = cells.count * means / noise / scaled / precision
            self.taste = mean + self.chance.standard_normal(mean.shape) / np.sqrt(precision)

    def _left(self, *, lots: bool, taste: bool = True) -> FloatArray:
        """Return what is left of the scores without sittings and position, and lots and tastes if asked."""
        left = self.said - self.level_at[:, self.sitting] - self.slope @ self.place.T
        if taste:
            left = left - self.taste @ self.cells.member.T
        if lots:
            tasted = self.lot @ self.own.T + self.carry[:, None] * (self.lot @ self.before.T)
            left = left - self.gain[:, self.taster] * tasted
        return np.asarray(left, dtype=np.float64)

    def _spread(self, squares: FloatArray, n: int, *, usual: float) -> FloatArray:
        """Draw the spread of n things around 0 whose squares sum to so much."""
        return self._pick(-n * np.log(_SPREADS) - 0.5 * squares[:, None] / _SPREADS**2 + _half_normal(usual))

    def _pick(self, log_chances: FloatArray) -> FloatArray:
        """Draw from the grid of spreads, whose points stand at even distances of the logarithm."""
        chances = np.cumsum(np.exp(log_chances - log_chances.max(axis=1, keepdims=True)), axis=1)
        place = (chances < self.chance.random((N_CHAINS, 1)) * chances[:, -1:]).sum(axis=1)
        return np.asarray(_SPREADS[np.minimum(place, _SPREADS.size - 1)], dtype=np.float64)


def _half_normal(usual: float) -> FloatArray:
    """Return the log density of the logarithm of a half-normal spread, on the grid."""
    return np.asarray(np.log(_SPREADS) - 0.5 * (_SPREADS / usual) ** 2, dtype=np.float64)
