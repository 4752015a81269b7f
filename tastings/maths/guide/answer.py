"""The answer of a guide: how to brew a lot in one vessel, as the public contract words it."""

from dataclasses import dataclass

from tastings.maths.curve.development import plain
from tastings.maths.guide.guests import Caffeine, Cost, Serving
from tastings.maths.guide.pots import Vessel
from tastings.maths.guide.remedies import Remedies
from tastings.maths.guide.target import Target


@dataclass(frozen=True, slots=True)
class GuidedPour:
    """One infusion of the guide.

    Parameters
    ----------
    number : int
        From 1.
    steep_s, pour_s, contact_s : float
        As timed; contact is the steep and half the pour. [s]
    expected_strength, low, high : float or None
        Mean cup with its central 80 % interval; None while nobody has rated the lot's strength. [points, 0 to 10]
    likely_miss_pct : float or None
        By how much the cup is likely to miss its target, root mean square over what the leaf may be like; None for an
        infusion by a standard. [% of the target]
    weaker_steep_s, stronger_steep_s : float or None
        The steep for a cup one point weaker or stronger; None when none of 3 to 300 s gives it. [s]
    """

    number: int
    steep_s: float
    pour_s: float
    contact_s: float
    expected_strength: float | None
    low: float | None
    high: float | None
    likely_miss_pct: float | None = None
    weaker_steep_s: float | None = None
    stronger_steep_s: float | None = None

    def as_json(self) -> dict[str, object]:
        """Return it in plain types."""
        return {
            "number": self.number,
            "steep_s": plain(self.steep_s),
            "pour_s": plain(self.pour_s),
            "contact_s": plain(self.contact_s),
            "expected_strength": _maybe(self.expected_strength),
            "low": _maybe(self.low),
            "high": _maybe(self.high),
            "likely_miss_pct": _maybe(self.likely_miss_pct),
            "weaker_steep_s": _maybe(self.weaker_steep_s),
            "stronger_steep_s": _maybe(self.stronger_steep_s),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """How to brew a lot in one vessel.

    Parameters
    ----------
    style : str
        One of :data:`tastings.maths.guide.pots.STYLES`.
    vessel : Vessel
        With its leaf, which may have been worked out here.
    vessel_ml : float
        What it holds to the brim; ``vessel.vessel_ml`` is the water in it. [ml]
    rinse_s : float or None
        Contact of a rinse that is thrown away; None for none, as where most sessions of the lot had none. [s]
    infusions : tuple[GuidedPour, ...]
        Up to twelve, the last one worth drinking among them; of a style that is brewed to a strength, none while
        nobody has rated the lot's.
    last_at_target : int or None
        The last infusion that reaches the target within 300 s; 0 when none does, None when unknown or by a standard.
    last_sure : int or None
        The last infusion up to which no cup is likely to miss its target by more than 20 %; beyond it the times are
        guesses. 0 and None as above.
    last_worthwhile : int or None
        The last infusion above the finish line with probability at least 0.5; 0 when none is, None when unknown.
    target : Target or None
        What the steeps aim at; None when unknown or by a standard.
    change : Remedies or None
        What to do about a cup too strong or too thin.
    serving : Serving or None
        Leaf and water for the guests; None for an evaluation.
    caffeine : Caffeine or None
        None for a herbal lot, or when no infusion is known to be worth drinking.
    cost : Cost or None
        None without a price.
    source : str or None
        Which standard laid it down; None when it was worked out here.
    notes : tuple[str, ...]
        Where the times deserve less trust, or the pot should be another.
    cautions : tuple[str, ...]
        What to be careful about.
    """

    style: str
    vessel: Vessel
    vessel_ml: float
    rinse_s: float | None
    infusions: tuple[GuidedPour, ...]
    last_at_target: int | None
    last_sure: int | None
    last_worthwhile: int | None
    target: Target | None
    change: Remedies | None
    serving: Serving | None
    caffeine: Caffeine | None
    cost: Cost | None
    source: str | None
    notes: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def target_strength(self) -> float | None:
        """Return what the steeps aim at [points]."""
        return None if self.target is None else self.target.strength

    def as_json(self) -> dict[str, object]:
        """Return the figures of ``GET /lots/{id}/brew-guide`` in plain types, rounded to 3 decimals."""
        target = self.target
        return {
            "style": self.style,
            "pot": {
                "leaf_g": plain(self.vessel.leaf_g),
                "vessel_ml": plain(self.vessel_ml),
                "water_ml": plain(self.vessel.vessel_ml),
                "kettle_c": round(self.vessel.poured_c, 1),
                "vessel_material": self.vessel.vessel_material,
                "vessel_g": _maybe(self.vessel.vessel_g),
                "warmed": self.vessel.warmed,
                "altitude_m": plain(self.vessel.altitude_m),
            },
            "rinse_s": _maybe(self.rinse_s),
            "infusions": [one.as_json() for one in self.infusions],
            "last_at_target": self.last_at_target,
            "last_sure": self.last_sure,
            "last_worthwhile": self.last_worthwhile,
            "target_strength": _maybe(self.target_strength),
            "target_from": target.chosen_from if target else None,
            "target_evidence": {
                "low": plain(target.low),
                "high": plain(target.high),
                "probability": _maybe(target.probability),
                "cups": target.cups,
                "sessions": target.sessions,
                "reason": target.reason,
            }
            if target
            else None,
            "change": self.change.as_json() if self.change else None,
            "serving": self.serving.as_json() if self.serving else None,
            "caffeine": self.caffeine.as_json() if self.caffeine else None,
            "cost": self.cost.as_json() if self.cost else None,
            "source": self.source,
            "notes": list(self.notes),
            "cautions": [*self.cautions, *self.notes],
        }


def _maybe(value: float | None) -> float | None:
    return None if value is None else plain(value)
