"""What an owner sets: the team's name, its shops with their usual pots; the export."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from uuid import UUID

from django import forms
from django.db import transaction
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.generic import View

from api.http.conditional import id_from_path
from pages.accounts import add_problems, render_form
from pages.browser import chosen_member, page
from pages.record_fields import MOST_OF_A_SESSION
from pages.record_forms import number_in
from pages.time_zone_field import TimeZoneField
from tastings.actions.exports import audited_export
from tastings.actions.shops import check_may_choose_pots, choose_usual_pot
from tastings.queries.records import list_records
from tastings.wording.labels import MATERIALS, label
from tastings.wording.numbers import number
from teams.actions.people import check_may_change_shops, check_may_change_team, create_shop, rename_shop, update_team
from teams.errors import Invalid
from teams.queries.people import shop_for, shops_of

if TYPE_CHECKING:
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


class TeamSettings(View):
    """Name and settings of the team."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Show them."""
        member = chosen_member(request)
        check_may_change_team(member)
        team = member.team
        initial = {"name": team.name, "ready_roast": number(team.ready_roast), "time_zone": team.time_zone}
        return self._render(request, SettingsForm(initial=initial))

    def post(self, request: HttpRequest) -> HttpResponse:
        """Store them."""
        member, form = chosen_member(request), SettingsForm(request.POST)
        check_may_change_team(member)
        if form.is_valid():
            try:
                sent = form.cleaned_data
                update_team(
                    member,
                    name=sent["name"],
                    ready_roast=number_in(sent["ready_roast"]),
                    time_zone=sent["time_zone"] or None,
                )
            except Invalid as refused:
                add_problems(form, refused)
            else:
                return redirect("team")
        return self._render(request, form)

    def _render(self, request: HttpRequest, form: forms.Form) -> HttpResponse:
        heading = _("Name and settings")
        return render_form(request, form, title=heading, heading=heading, back=("team", _("Team")), button=_("Save"))


class ShopForm(forms.Form):
    """A shop's name, and its usual pot if it has one."""

    name = forms.CharField(label=gettext_lazy("Name of the shop"), max_length=120)
    usual_pot = forms.ChoiceField(label=gettext_lazy("Usual pot, for guides and cards"), required=False)

    def __init__(self, member: Member, pots: list[Record] | None, data: Any = None, **kwargs: Any) -> None:  # noqa: ANN401 - Django's form data
        super().__init__(data, **kwargs)
        if pots is None:
            del self.fields["usual_pot"]
        else:
            choices = [("", _("none")), *((str(pot.id), str(pot.fields["name"])) for pot in pots)]
            self.fields["usual_pot"] = forms.ChoiceField(
                label=self.fields["usual_pot"].label, required=False, choices=choices
            )
        self.fields["name"].disabled = not member.runs_team


class Shops(View):
    """The team's shops and pots."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """List them."""
        member = chosen_member(request)
        return self._render(request, member, ShopForm(member, None))

    def post(self, request: HttpRequest) -> HttpResponse:
        """Open a shop."""
        member = chosen_member(request)
        check_may_change_shops(member)
        form = ShopForm(member, None, request.POST)
        if form.is_valid():
            try:
                create_shop(member, name=form.cleaned_data["name"])
            except Invalid as refused:
                add_problems(form, refused)
            else:
                return redirect("shops")
        return self._render(request, member, form)

    def _render(self, request: HttpRequest, member: Member, form: ShopForm) -> HttpResponse:
        pots = pots_of(member)
        names: dict[UUID | None, str] = {pot.id: str(pot.fields["name"]) for pot in pots}
        shops = [{"id": shop.id, "name": shop.name, "pot": names.get(shop.usual_pot, "")} for shop in shops_of(member)]
        of_shop = {str(shop["id"]): str(shop["name"]) for shop in shops}
        rows = [_pot_row(pot, of_shop) for pot in pots]
        context = {"form": form, "shops": shops, "pots": rows, "member": member}
        return render(request, "pages/shops.html", context, status=422 if form.errors else 200)


class OneShop(View):
    """One shop."""

    def get(self, request: HttpRequest, shop_id: str) -> HttpResponse:
        """Show name and usual pot."""
        member, shop = self._found(request, shop_id)
        initial = {"name": shop.name, "usual_pot": str(shop.usual_pot or "")}
        return self._render(request, ShopForm(member, pots_of(member), initial=initial))

    def post(self, request: HttpRequest, shop_id: str) -> HttpResponse:
        """Rename it, which owners may, and choose its usual pot, which buyers may as well."""
        member, shop = self._found(request, shop_id)
        check_may_choose_pots(member)
        form = ShopForm(member, pots_of(member), request.POST, initial={"name": shop.name})
        if form.is_valid():
            pot = form.cleaned_data["usual_pot"]
            try:
                with transaction.atomic():
                    choose_usual_pot(member, shop_id=shop.id, pot=UUID(pot) if pot else None)
                    if form.cleaned_data["name"] != shop.name:
                        rename_shop(member, shop_id=shop.id, name=form.cleaned_data["name"])
            except Invalid as refused:
                add_problems(form, refused)
            else:
                return redirect("shops")
        return self._render(request, form)

    def _found(self, request: HttpRequest, shop_id: str) -> tuple[Member, Shop]:
        member = chosen_member(request)
        return member, shop_for(member, id_from_path(shop_id))

    def _render(self, request: HttpRequest, form: forms.Form) -> HttpResponse:
        heading = _("Shop")
        return render_form(
            request, form, title=heading, heading=heading, back=("shops", _("Shops and pots")), button=_("Save")
        )


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


urlpatterns = [
    path("team/settings/", page(TeamSettings.as_view()), name="team-settings"),
    path("team/shops/", page(Shops.as_view()), name="shops"),
    path("team/shops/<str:shop_id>/", page(OneShop.as_view()), name="shop"),
    path("team/export/", page(Export.as_view(), cache="no-store"), name="export"),
]
