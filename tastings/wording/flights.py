"""What a blind flight is called and how it is tasted: its state, protocol, plan and progress."""

from collections.abc import Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tastings.wording.counts import counted
from tastings.wording.numbers import listed, number, percent


def flight_is(state: str) -> str:
    """Name the `tastings.models.Flight.State` of a flight, in a refusal of what that state does not allow."""
    return {
        "set_up": _("the flight is set up"),
        "tasting": _("the flight is tasting"),
        "revealed": _("the flight is revealed"),
        "decided": _("the flight is decided"),
        "called_off": _("the flight is called off"),
    }[state]


def state_sentence(state: str) -> str:
    """Say how far a flight has come."""
    return {
        "set_up": _("The serving plan is being made."),
        "tasting": _("Being tasted blind."),
        "revealed": _("Revealed."),
        "decided": _("Decided."),
        "called_off": _("Called off."),
    }[state]


def protocol_sentence(protocol: str, *, infusions: int | None) -> str:
    """Say how every cup is brewed; ``infusions`` counts those of a small pot."""
    match protocol:
        case "covered_bowl":
            return _(
                "Covered bowl: 5 g in a 110 ml porcelain bowl with its lid, boiling water, poured after 2, 3 and "
                "5 minutes (GB/T 23776, for oolong)."
            )
        case "standard_bowl":
            return _(
                "Standard pot: 2 g for each 100 ml in a white pot filled to the brim, boiling water, 6 minutes "
                "(ISO 3103)."
            )
        case _ if infusions:
            return _("Small porcelain pot, %(n)s infusions, all the same for every cup.") % {"n": infusions}
        case _:
            return _("Small porcelain pot, some infusions, all the same for every cup.")


def progress(*, tasted: int, planned: int) -> str:
    """Say how many cups are tasted; nothing while none is planned."""
    if not planned:
        return ""
    return _("%(tasted)s of %(cups)s tasted") % {"tasted": tasted, "cups": counted(planned, "cup")}


def plan_sentences(*, efficiency: float, bound: float, connected: bool, position_spread: int) -> str:
    """Say how fair a serving plan is."""
    share = efficiency / bound if bound else 1.0
    sentences = [
        _("Comparing two lots, the plan reaches %(share)s of what any plan with so many cups could.")
        % {"share": percent(share)}
    ]
    if not connected:
        sentences.append(_("Some lots cannot be compared at all: give a sitting more cups, or add a sitting."))
    if position_spread <= 1:
        sentences.append(_("Every lot stands about equally often at every place of a sitting."))
    return " ".join(sentences)


def cups_of_tasters(cups: int, tasters: Sequence[str]) -> str:
    """Say how many cups each of these tasters gets."""
    return ngettext("%(tasters)s: %(n)s cup.", "%(tasters)s: %(n)s cups each.", cups) % {
        "tasters": listed(tasters),
        "n": cups,
    }


def times_poured(fewest: int, most: int) -> str:
    """Say how often a sample is poured."""
    if fewest == most:
        return ngettext("Every sample is poured once.", "Every sample is poured %(n)s times.", most) % {"n": most}
    return _("Every sample is poured %(fewest)s to %(most)s times.") % {"fewest": fewest, "most": most}


def no_plan(failure: str) -> str:
    """Say that there would be no plan, and why."""
    return _("There would be no plan: %(failure)s.") % {"failure": failure}


def nobody_pours() -> str:
    """Warn of a flight that nobody can pour."""
    return _("Nobody pours. Choose who does: only they can see which code is which sample.")


def kettle_caution() -> str:
    """Warn of boiling water at a table with people."""
    return _(
        "Water near boiling scalds at once: keep kettles away from the table's edge and from whoever carries cups."
    )


def tasting_cautions() -> list[str]:
    """Warn whoever tastes: hot cups, and much caffeine."""
    return [
        _("Let cups cool before they are tasted: very hot drinks can injure the mouth and throat."),
        _("Many cups of tea add up to much caffeine: offer a spittoon, water and rests between sittings."),
    ]


def factors(*, weighted: bool) -> list[str]:
    """Return what a taster's sheet has columns for."""
    if not weighted:
        return [_("Liking")]
    return [_("Dry leaf"), _("Liquor"), _("Aroma"), _("Taste"), _("Spent leaf")]


def strength() -> str:
    """Return what a taster's strength of a cup is called."""
    return _("Strength")


def own_words() -> str:
    """Return what a taster's words of a cup are called."""
    return _("In your own words")


def does_not_count(missing: Sequence[str]) -> str:
    """Say that a cup lacks scores."""
    return _("Does not count yet. Missing: %(scores)s.") % {"scores": ", ".join(missing)}


def leaf_amount(grams: float) -> str:
    """Write an amount of leaf: 250 g, 12.5 kg."""
    return f"{number(grams / 1000)} kg" if grams >= 1000 else f"{number(grams)} g"
