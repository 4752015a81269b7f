"""What an owner sets: the team's name, its shops with their usual pots; the export."""

from __future__ import annotations

from typing import TYPE_CHECKING, Unpack
from uuid import UUID

from django import forms
from django.db import transaction
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.generic import View

from api.http.conditional import id_from_path
from pages.browser import chosen_member
from pages.form_page import FormArguments, FormPage, PlainFormPage, set_choices
from pages.record_fields import MOST_OF_A_SESSION
from pages.record_forms import number_in
from pages.time_zone_field import TimeZoneField
from tastings.actions.exports import audited_export
from tastings.actions.shops import check_may_choose_pots, choose_usual_pot
from tastings.queries.records import list_records
from tastings.wording.labels import MATERIALS, label
from tastings.wording.numbers import number
from teams.actions.people import check_may_change_shops, check_may_change_team, create_shop, rename_shop, update_team
from teams.queries.people import shop_for, shops_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from tastings.queries.records import Record
    from teams.models import Member, Shop


_USUAL_POT_ML, _USUAL_POT_PX = 150.0, 34.0
"""Volume of the pot that the drawings of others are scaled by."""


class SettingsForm(forms.Form):
    """The team's own values."""

    name = forms.CharField(label=gettext_lazy("Name of the team"), max_length=120)
    time_zone = TimeZoneField()
    ready_roast = forms.CharField(
        label=gettext_lazy("A medium roast counts as rested below this strength of roast, 0 to 10"),
        help_text=gettext_lazy("Other roasts are set off from it, and what you like best in your own lots moves it."),
        widget=forms.TextInput({"inputmode": "decimal"}),
    )


class TeamSettings(PlainFormPage):
    """Name and settings of the team."""

    form_class = SettingsForm
    heading = gettext_lazy("Name and settings")
    back = ("team", gettext_lazy("Team"))
    button = gettext_lazy("Save")
    member: Member

    def open(self) -> None:
        """Refuse all but owners."""
        self.member = chosen_member(self.request)
        check_may_change_team(self.member)

    def get_initial(self) -> dict[str, object]:
        """Show the present values."""
        team = self.member.team
        return {"name": team.name, "ready_roast": number(team.ready_roast), "time_zone": team.time_zone}

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Store them."""
        roast, zone = number_in(str(sent["ready_roast"])), sent["time_zone"] or None
        update_team(self.member, name=sent["name"], ready_roast=roast, time_zone=zone)
        return redirect("team")


class ShopForm(forms.Form):
    """A shop's name, and its usual pot if it has one."""

    name = forms.CharField(label=gettext_lazy("Name of the shop"), max_length=120)
    usual_pot = forms.ChoiceField(label=gettext_lazy("Usual pot, for guides and cards"), required=False)

    def __init__(self, member: Member, pots: list[Record] | None, **given: Unpack[FormArguments]) -> None:
        super().__init__(**given)
        if pots is None:
            del self.fields["usual_pot"]
        else:
            named = ((str(pot.id), str(pot.fields["name"])) for pot in pots)
            set_choices(self, "usual_pot", [("", _("none")), *named])
        self.fields["name"].disabled = not member.runs_team


class ShopsPage(FormPage):
    """The team's shops and pots, and the form that opens a shop."""

    template_name = "pages/shops.html"
    member: Member

    def open(self) -> None:
        """Find the member."""
        self.member = chosen_member(self.request)
        if self.request.method == "POST":
            check_may_change_shops(self.member)

    def get_form(self, _form_class: type[forms.Form] | None = None) -> ShopForm:
        """Ask for a name only."""
        return ShopForm(self.member, None, **self.get_form_kwargs())

    def get_context_data(self, **context: object) -> dict[str, object]:
        """List shops and pots."""
        pots, shops = pots_of(self.member), shops_of(self.member)
        names: dict[UUID | None, str] = {pot.id: str(pot.fields["name"]) for pot in pots}
        rows = [{"id": shop.id, "name": shop.name, "pot": names.get(shop.usual_pot, "")} for shop in shops]
        of_shop = {str(shop.id): shop.name for shop in shops}
        pot_rows = [_pot_row(pot, of_shop) for pot in pots]
        return super().get_context_data(shops=rows, pots=pot_rows, member=self.member, **context)

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Open a shop."""
        create_shop(self.member, name=sent["name"])
        return redirect("shops")


class OneShop(PlainFormPage):
    """One shop: its name, which owners may change, and its usual pot, which buyers may choose as well."""

    heading = gettext_lazy("Shop")
    back = ("shops", gettext_lazy("Shops and pots"))
    button = gettext_lazy("Save")
    member: Member
    shop: Shop

    def open(self) -> None:
        """Find the shop."""
        self.member = chosen_member(self.request)
        self.shop = shop_for(self.member, id_from_path(self.kwargs["shop_id"]))
        if self.request.method == "POST":
            check_may_choose_pots(self.member)

    def get_initial(self) -> dict[str, object]:
        """Show name and usual pot."""
        return {"name": self.shop.name, "usual_pot": str(self.shop.usual_pot or "")}

    def get_form(self, _form_class: type[forms.Form] | None = None) -> ShopForm:
        """Offer the team's pots."""
        return ShopForm(self.member, pots_of(self.member), **self.get_form_kwargs())

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Store both or neither."""
        name, pot = sent["name"], UUID(str(sent["usual_pot"])) if sent["usual_pot"] else None
        with transaction.atomic():
            choose_usual_pot(self.member, shop_id=self.shop.id, pot=pot)
            if name != self.shop.name:
                rename_shop(self.member, shop_id=self.shop.id, name=name)
        return redirect("shops")


def _pot_row(pot: Record, shops: dict[str, str]) -> dict[str, object]:
    """Describe a pot in one line, with the pixels at which it is drawn: eight times the volume is twice as wide."""
    fields = pot.fields
    volume, material = fields.get("vessel_ml"), fields.get("vessel_material")
    parts = [
        f"{number(volume)} ml" if volume else "",
        label(MATERIALS, str(material)) if material else "",
        f"{number(fields['leaf_g'])} g" if fields.get("leaf_g") else "",
        shops.get(str(fields.get("shop")), ""),
    ]
    size = _USUAL_POT_PX * (float(str(volume or _USUAL_POT_ML)) / _USUAL_POT_ML) ** (1 / 3)
    return {
        "id": pot.id,
        "name": fields["name"],
        "line": " · ".join(filter(None, parts)),
        "material": material or "",
        "size": round(min(max(size, 16), 56)),
    }


def pots_of(member: Member) -> list[Record]:
    """Return the team's pots that are in use, by name."""
    pots = list_records(member, "pot", filters={"retired": "false"}, after=None, limit=MOST_OF_A_SESSION)
    return sorted(pots, key=lambda pot: str(pot.fields["name"]).casefold())


class Export(View):
    """Everything of the team in one file."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Say what is in it."""
        member = chosen_member(request)
        check_may_change_team(member)
        return render(request, "pages/export.html", {"back": reverse("team")})

    def post(self, request: HttpRequest) -> StreamingHttpResponse:
        """Send it as it is made; owners only."""
        now = timezone.now()
        response = StreamingHttpResponse(
            audited_export(chosen_member(request), now=now), content_type="application/zip"
        )
        response["Content-Disposition"] = f'attachment; filename="team-{now:%Y-%m-%d}.zip"'
        response["X-Content-Type-Options"] = "nosniff"
        return response
