"""What a shop brews in."""

from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from tastings.models import Pot
from teams.errors import Invalid, NotAllowed, NotFound, Problem
from teams.models import Member, Shop


def check_may_choose_pots(member: Member) -> None:
    """Raise NotAllowed unless the member is an owner or a buyer."""
    if not member.decides:
        raise NotAllowed(_("only an owner or buyer chooses a shop's usual pot"))


@transaction.atomic
def choose_usual_pot(member: Member, *, shop_id: UUID, pot: UUID | None) -> None:
    """Choose the pot that the shop's guides and cards are for; None removes the choice.

    Raise Invalid for an unknown pot, NotAllowed if the member is neither owner nor buyer.
    """
    check_may_choose_pots(member)
    if pot is not None and not Pot.objects.filter(team_id=member.team_id, id=pot, removed=False).exists():
        raise Invalid(problems=[Problem("usual_pot", "unknown_parent", _("the team has no such pot"))])
    if not Shop.objects.filter(team_id=member.team_id, id=shop_id).update(usual_pot=pot):
        raise NotFound
