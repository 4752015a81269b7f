"""Simulated tastings that the estimator does not assume.

A lot's taste saturates as a Hill curve of what is in the cup, or follows Stevens's power of it, where the estimator
takes a logarithm; its activation energy is its own. The kettle starts 0 to 6 deg C low and wanders by a degree from
pour to pour; contacts are off by -6 to +8 s, the leaf by 15 %. That is recorded, the water with a thermometer that is a
degree off. Each taster has a gain, a shift and a noise, which are not recorded; ratings are rounded to half points and
end at 0 and 10.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST, Brew, Pour
from tastings.maths.brewing.even_brew import EVEN_INFUSIONS, even_brew
from tastings.maths.brewing.extraction import REFERENCE_SHARE, extracted_shares
from tastings.maths.brewing.heat import arrhenius_factor, steeping_of

N_TASTERS = 4
WANDER_C = 1.0
THERMOMETER_C = 1.0


class Leaf(Protocol):
    """What one lot is really like: the true strength of any brew of it."""

    def cups(self, brew: Brew) -> FloatArray:
        """Return the true strength of each pour of a brew. [points, 0 to 10]."""

    def even_cups(self, *, infusions: int = EVEN_INFUSIONS) -> FloatArray:
        """Return the true strength of the even-brew infusions. [points, 0 to 10]."""


@dataclass(frozen=True, slots=True)
class SimulatedLeaf:
    """What one lot is really like."""

    k_per_min: float
    tau_s: float
    ea_kj_mol: float
    top: float
    half: float
    slope: float
    power: float | None = None
    """Stevens's exponent where the taste follows a power; then ``top`` is the strength of a usual cup."""

    def cups(self, brew: Brew) -> FloatArray:
        """Return the true strength of each pour of a brew. [points, 0 to 10]."""
        steeping = steeping_of(brew, brew.pours)
        rate = arrhenius_factor((steeping.start_c + steeping.end_c) / 2, ea_kj_mol=self.ea_kj_mol)
        share = extracted_shares(
            replace(steeping, rate=rate), k_per_min=np.array([self.k_per_min]), tau_s=np.array([self.tau_s])
        )[0, 0]
        content = share * steeping.ratio / REFERENCE_SHARE
        if self.power is not None:
            return np.asarray(np.clip(self.top * content**self.power, LOWEST, HIGHEST), dtype=np.float64)
        content **= self.slope
        return np.asarray(self.top * content / (content + self.half**self.slope), dtype=np.float64)

    def even_cups(self, *, infusions: int = EVEN_INFUSIONS) -> FloatArray:
        """Return the true strength of the even-brew infusions. [points, 0 to 10]."""
        return self.cups(even_brew(infusions=infusions))[1:]


# Typical k [1/min at 100 deg C] and wetting lag [s] of leaf as it comes: tightly rolled, twisted, small or broken.
MAKES = ((0.22, 60.0), (0.45, 20.0), (1.1, 7.0))


def draw_leaf(rng: np.random.Generator, *, power: bool = False) -> SimulatedLeaf:
    """Draw a lot: tightly rolled, twisted, or small and broken leaf, each as likely."""
    k_per_min, tau_s = MAKES[int(rng.integers(len(MAKES)))]
    leaf = SimulatedLeaf(
        k_per_min=k_per_min * float(np.exp(rng.normal(0.0, 0.4))),
        tau_s=tau_s * float(np.exp(rng.normal(0.0, 0.5))),
        ea_kj_mol=float(rng.uniform(20.0, 50.0)),
        top=float(rng.uniform(7.0, 10.0)),
        half=float(rng.uniform(0.5, 1.5)),
        slope=float(rng.uniform(0.9, 1.6)),
    )
    if not power:
        return leaf
    return replace(leaf, top=float(rng.uniform(4.0, 8.0)), power=float(rng.uniform(0.4, 1.0)))


@dataclass(frozen=True, slots=True)
class TeamSpread:
    """How much the tasters of a team differ: sds of gain [1] and shift [points], range of the noise [points]."""

    gain_sd: float = 0.15
    shift_sd: float = 0.5
    noise: tuple[float, float] = (0.5, 1.0)


@dataclass(frozen=True, slots=True)
class Table:
    """What goes on at the tasting table."""

    fatigue_per_cup: float = 0.0  # every cup is felt so much weaker than the one before it, in all sessions [points]
    # kettle_c, typed_c [deg C]: water of every pour where `draw_session` does not draw it, and what is noted instead
    kettle_c: float | None = None
    typed_c: float | None = None
    same_taster: bool = False  # whether one taster of the team tastes every session
    last: int | None = None  # every session ends with this infusion
    joins_at: int = 1  # the infusion at which the taster joins; those before are poured and not tasted
    session_shift_sd: float = 0.0  # a shift of each session's own [points]


USUAL_SPREAD, USUAL_TABLE = TeamSpread(), Table()


@dataclass(frozen=True, slots=True)
class SimulatedTeam:
    """The tasters of one team: gain, shift and noise of each."""

    gain: FloatArray
    shift: FloatArray
    noise: FloatArray


def draw_team(
    rng: np.random.Generator, *, n_tasters: int = N_TASTERS, spread: TeamSpread = USUAL_SPREAD
) -> SimulatedTeam:
    """Draw a team, of four by default; their mean defines the team's scale."""
    gain = np.clip(rng.normal(1.0, spread.gain_sd, n_tasters), 0.6, 1.4)
    shift = rng.normal(0.0, spread.shift_sd, n_tasters)
    return SimulatedTeam(
        gain=gain / gain.mean(),
        shift=shift - shift.mean(),
        noise=rng.uniform(*spread.noise, n_tasters),
    )


def draw_session(
    leaf: Leaf,
    team: SimulatedTeam,
    *,
    number: int,
    rng: np.random.Generator,
    line: float | None = None,
    others: Mapping[str, Leaf] | None = None,
    among: Sequence[int] | None = None,
    table: Table = USUAL_TABLE,
) -> Brew:
    """Brew and taste a lot once, the way it happens at a tasting table.

    With a finish line the session ends where a cup is found spent, or at the hour, which is 5 to 12 infusions.
    ``others`` are further descriptors, rated of the same cups by the same taster; ``among`` are those of the team who
    may have tasted.
    """
    taster = int(rng.integers(team.gain.size)) if among is None else int(rng.choice(among))
    if table.same_taster:
        taster = 0
    low_c = rng.uniform(0.0, 6.0)
    last = int(rng.integers(8, EVEN_INFUSIONS + 1))
    even = even_brew()
    kettle_c = np.clip(100.0 - low_c + np.cumsum(rng.normal(0.0, WANDER_C, last + 1)), 80.0, 100.0)
    if table.kettle_c is not None:
        kettle_c = np.full(last + 1, table.kettle_c)
    if table.last is not None:
        kettle_c = kettle_c[: table.last + 1]
    pours = tuple(
        replace(
            pour,
            steep_s=max(pour.steep_s + float(rng.uniform(-6.0, 8.0)) - 2.5, 1.0),
            pour_s=5.0,
            kettle_c=float(water_c),
            water_ml=None,
        )
        for pour, water_c in zip(even.pours, kettle_c, strict=False)
    )
    brew = replace(
        even,
        session=f"session {number}",
        taster=f"taster {taster}",
        leaf_g=even.leaf_g * float(rng.uniform(0.85, 1.15)),
        warmed=bool(rng.random() < 0.7),
        pours=pours,
    )
    noise = team.noise[taster]
    strength = {
        key: team.shift[taster] + team.gain[taster] * taste.cups(brew) + rng.normal(0, noise, len(pours))
        for key, taste in {"strength": leaf, **(others or {})}.items()
    }
    felt = float(rng.normal(0.0, table.session_shift_sd)) if table.session_shift_sd else 0.0
    tired = table.fatigue_per_cup * (np.arange(-1.0, len(pours) - 1) - (table.joins_at - 1))
    strength = {key: values + felt - tired for key, values in strength.items()}
    read_off_c = float(rng.normal(0.0, THERMOMETER_C))
    rated = tuple(
        _add_ratings(
            replace(
                pour,
                kettle_c=round(pour.kettle_c + read_off_c) if table.typed_c is None else table.typed_c,
                tasted=pour.tasted and pour.number >= table.joins_at,
            ),
            strength={key: float(s[i]) for key, s in strength.items()},
        )
        for i, pour in enumerate(pours)
    )
    if line is None:
        return replace(brew, pours=rated)
    hour = min(int(rng.integers(5, EVEN_INFUSIONS + 1)), last)
    found_spent = rng.random(last) < 1 / (1 + np.exp((leaf.cups(brew)[1:] - line) / 0.35))
    found_spent[: int(leaf.even_cups().argmax())] = False  # nobody calls leaf spent that is still opening
    first = int(found_spent[:hour].argmax()) + 1 if found_spent[:hour].any() else hour
    ending = "spent" if found_spent[:hour].any() else "stopped"
    return replace(brew, pours=rated[: first + 1], ending=ending)


def _add_ratings(pour: Pour, *, strength: Mapping[str, float]) -> Pour:
    if not pour.tasted:
        return pour
    ratings = {key: float(np.clip(np.round(2 * points) / 2, LOWEST, HIGHEST)) for key, points in strength.items()}
    return replace(pour, ratings=ratings)
