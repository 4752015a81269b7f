"""The brew guide as the report shows it: which pot, the steeps, how far the leaf reaches. Pure."""

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tastings.maths.curve.steep_count import Steeps
from tastings.maths.guide.answer import Guide, GuidedPour
from tastings.maths.guide.guests import Caffeine, Serving
from tastings.queries.guides import UsualPot, UsualPotGuide
from tastings.wording import guide as words
from tastings.wording.labels import MATERIALS, label
from tastings.wording.numbers import duration, in_fives, isolated, number, number_range, one_decimal
from tastings.wording.profile import count_words


@dataclass(frozen=True, slots=True)
class GuideRow:
    """One infusion of the guide."""

    infusion: int
    steep: str
    strength: str
    span: str


@dataclass(frozen=True, slots=True)
class GuideSection:
    """The guide in words: ``brief`` and ``until`` for a first look, the rest for those who read on."""

    brief: str
    until: str
    guests: str
    pot: str
    aim: str
    notes: tuple[str, ...]
    change: tuple[str, ...]
    caffeine: str
    rows: tuple[GuideRow, ...]


def guide_section(usual: UsualPotGuide | None, *, steeps: Steeps, names_shop: bool = True) -> GuideSection | None:
    """Write the guide for the usual pot or the reader's own; None while there is nothing to guide by.

    The guide must not seem to contradict the lot's count, ``steeps``; ``names_shop`` says whose pot it is.
    """
    if usual is None or not usual.guide.infusions:
        return None
    guide, last = usual.guide, usual.guide.last_worthwhile
    change = guide.change
    return GuideSection(
        brief=f"{brief_words(usual)}. {_rinse(guide.rinse_s)}",
        until=until_words(guide, steeps=steeps) if guide.first_beyond_tasted is None else "",  # a note says so
        guests=guests_words(guide.serving),
        pot=f"{pot_words(usual)}: {_whose(usual.pot)}." if names_shop else f"{pot_words(usual)}.",
        aim=_aim(guide),
        notes=tuple(words.note(note) for note in guide.notes),
        change=()
        if change is None
        else (
            words.remedy(change.too_strong, cup="too_strong", infusion=change.number),
            words.remedy(change.too_thin, cup="too_thin", infusion=change.number),
        ),
        caffeine="" if guide.caffeine is None else _caffeine(guide.caffeine),
        rows=tuple(
            _row(infusion, guessed=infusion.number in guide.guessed_infusions)
            for infusion in guide.infusions
            if not last or infusion.number <= last  # nobody needs a time for a cup that is not worth drinking
        ),
    )


def brief_words(usual: UsualPotGuide) -> str:
    """Say leaf, vessel and heat in one short line."""
    vessel = usual.guide.vessel
    return _("%(leaf_g)s g in %(vessel_ml)s ml (%(material)s), water at %(heat_c)s °C") % {
        "leaf_g": number(vessel.leaf_g),
        "vessel_ml": number(usual.pot.vessel_ml),
        "material": label(MATERIALS, usual.pot.vessel_material),
        "heat_c": f"{vessel.poured_c:.0f}",
    }


def pot_words(usual: UsualPotGuide) -> str:
    """Say leaf, vessel and water of the usual pot."""
    pot, vessel = usual.pot, usual.guide.vessel
    words = [
        _("%(leaf_g)s g in %(vessel_ml)s ml (%(material)s)")
        % {
            "leaf_g": number(vessel.leaf_g),
            "vessel_ml": number(pot.vessel_ml),
            "material": label(MATERIALS, pot.vessel_material),
        },
        _("warmed") if pot.warmed else _("not warmed"),
        _("kettle at %(heat_c)s °C") % {"heat_c": f"{vessel.poured_c:.0f}"},
    ]
    if pot.pour_s:
        words.append(_("poured out over %(time)s") % {"time": duration(pot.pour_s)})
    if pot.altitude_m:
        words.append(_("at %(altitude_m)s m") % {"altitude_m": number(pot.altitude_m)})
    return ", ".join(words)


def guests_words(serving: Serving | None) -> str:
    """Say what several guests take; nothing for one."""
    if serving is None or serving.guests < 2:
        return ""
    return ngettext(
        "For %(guests)s guests, %(cup_ml)s ml each: %(n)s pot of %(leaf_g)s g.",
        "For %(guests)s guests, %(cup_ml)s ml each: %(n)s such pots for every round, %(leaf_g)s g in all.",
        serving.pots,
    ) % {
        "guests": serving.guests,
        "cup_ml": number(serving.cup_ml),
        "n": serving.pots,
        "leaf_g": number(round(serving.leaf_g, 1)),
    }


def _whose(pot: UsualPot) -> str:
    if pot.is_own:
        return _("your pot; what you left open is as this lot was tasted")
    if pot.name:
        named = {"pot": isolated(pot.name), "shop": isolated(pot.shop or "")}
        if pot.leaf_g is not None:
            return _("%(pot)s, the usual pot of %(shop)s, heat as this lot was tasted") % named
        return _("%(pot)s, the usual pot of %(shop)s, leaf and heat as this lot was tasted") % named
    if not pot.sessions:
        return _("the even brew's vessel, leaf and heat as this lot was tasted")
    if not pot.shop:
        return ngettext(
            "the vessel of most of the last %(n)s session, leaf and heat as this lot was tasted",
            "the vessel of most of the last %(n)s sessions, leaf and heat as this lot was tasted",
            pot.sessions,
        ) % {"n": pot.sessions}
    return ngettext(
        "the vessel of most of the last %(n)s session at %(shop)s, leaf and heat as this lot was tasted",
        "the vessel of most of the last %(n)s sessions at %(shop)s, leaf and heat as this lot was tasted",
        pot.sessions,
    ) % {"n": pot.sessions, "shop": isolated(pot.shop)}


def _rinse(rinse_s: float | None) -> str:
    return _("Rinse first, %(time)s, poured away.") % {"time": duration(rinse_s)} if rinse_s else _("No rinse.")


def _aim(guide: Guide) -> str:
    target, reached = guide.target_strength, guide.last_at_target
    if target is None:
        return ""
    strength = {"strength": one_decimal(target), "infusion": reached}
    if reached is None:
        return _("Each cup aims at a strength of %(strength)s.") % strength
    if reached:
        return (
            _("Each cup aims at a strength of %(strength)s, which the leaf reaches up to infusion %(infusion)s.")
            % strength
        )
    return _("Each cup aims at a strength of %(strength)s, which the leaf does not give here.") % strength


def until_words(guide: Guide, *, steeps: Steeps) -> str:
    """Say after which infusion the leaf is spent in this pot, if that differs from the lot's count and is known."""
    last = guide.last_worthwhile
    if guide.first_beyond_tasted is not None:
        return _("Later cups go by taste: nobody has drawn this leaf further.")
    if last is None:
        return ""
    if not last:
        return _("No cup is likely to be worth drinking in this pot.")
    if steeps.recommended is None or last == steeps.recommended:
        return ""
    if last < steeps.recommended:
        return ngettext(
            "Brewed to this strength the leaf gives %(n)s cup; short, equal infusions give %(count)s.",
            "Brewed to this strength the leaf gives %(n)s cups; short, equal infusions give %(count)s.",
            last,
        ) % {"n": last, "count": count_words(steeps.recommended)}
    return _("Lengthened like this the leaf lasts to infusion %(n)s; equal infusions give %(count)s.") % {
        "n": last,
        "count": count_words(steeps.recommended),
    }


def _row(pour: GuidedPour, *, guessed: bool) -> GuideRow:
    steep = duration(pour.steep_s)
    known = pour.expected_strength is not None and pour.low is not None and pour.high is not None
    return GuideRow(
        infusion=pour.number,
        steep=_("about %(time)s") % {"time": steep} if guessed else steep,
        strength="" if pour.expected_strength is None else one_decimal(pour.expected_strength),
        span=number_range(one_decimal(pour.low or 0.0), one_decimal(pour.high or 0.0)) if known else "",
    )


def _caffeine(caffeine: Caffeine) -> str:
    (pot_low, pot_high), (cup_low, cup_high) = caffeine.per_pot_mg, caffeine.per_cup_mg
    return _(
        "Caffeine, an estimate and no measurement of this lot: about %(pot_low)s to %(pot_high)s mg in all its cups,"
        " %(cup_low)s to %(cup_high)s mg in an average one."
    ) % {
        "pot_low": in_fives(pot_low),
        "pot_high": in_fives(pot_high),
        "cup_low": round(cup_low),
        "cup_high": round(cup_high),
    }
