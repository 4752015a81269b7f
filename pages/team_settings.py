"""What an owner sets: the team's name, its shops with their usual pots; the words; the audit log; the export."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode
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
from pages.browser import chosen_member, membership_with, page
from pages.record_fields import MOST_OF_A_SESSION
from pages.record_forms import number_in, value_text
from pages.records import browser_device
from tastings.actions.exports import audited_export
from tastings.actions.merging import check_may_merge, merge_descriptor
from tastings.actions.shops import check_may_choose_pots, choose_usual_pot
from tastings.queries.flights import names_of_flights
from tastings.queries.records import list_records, names_of_lots
from tastings.schemas import RECORD_SCHEMAS
from tastings.wording.fields import RECORD_TYPES, field_label
from tastings.wording.labels import descriptor_label
from tastings.wording.numbers import day, number
from tastings.wording.people import DETAILS, EVENTS, ROLES
from teams.actions.people import check_may_change_shops, check_may_change_team, create_shop, rename_shop, update_team
from teams.errors import Invalid
from teams.queries.access import list_audit
from teams.queries.people import is_id, members_of, shop_for, shops_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tastings.queries.records import Record
    from teams.models import AuditEntry, Member, Shop

_ENTRIES = 50
"""Of the audit log on one page."""


class SettingsForm(forms.Form):
    """The team's own values."""

    name = forms.CharField(label=gettext_lazy("Name of the team"), max_length=120)
    ready_roast = forms.CharField(
        label=gettext_lazy("A roasted tea counts as rested below this strength of roast, 0 to 10"),
        widget=forms.TextInput({"inputmode": "decimal"}),
    )


class TeamSettings(View):
    """Name and settings of the team."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Show them."""
        member = chosen_member(request)
        check_may_change_team(member)
        team = member.team
        return self._render(request, SettingsForm(initial={"name": team.name, "ready_roast": number(team.ready_roast)}))

    def post(self, request: HttpRequest) -> HttpResponse:
        """Store them."""
        member, form = chosen_member(request), SettingsForm(request.POST)
        check_may_change_team(member)
        if form.is_valid():
            try:
                update_team(
                    member,
                    name=form.cleaned_data["name"],
                    ready_roast=number_in(form.cleaned_data["ready_roast"]),
                )
            except Invalid as refused:
                add_problems(form, refused)
            else:
                return redirect("team")
        return self._render(request, form)

    def _render(self, request: HttpRequest, form: forms.Form) -> HttpResponse:
        heading = _("Name and settings")
        return render_form(request, form, title=heading, heading=heading, button=_("Save"))


class ShopForm(forms.Form):
    """A shop's name, and its usual pot if it has one."""

    name = forms.CharField(label=gettext_lazy("Name of the shop"), max_length=120)
    usual_pot = forms.ChoiceField(label=gettext_lazy("Usual pot, for guides and cards"), required=False)

    def __init__(self, member: Member, pots: list[Record] | None, data: Any = None, **given: Any) -> None:  # noqa: ANN401 - Django's form data
        super().__init__(data, **given)
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
        context = {"form": form, "shops": shops, "pots": pots, "member": member}
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
        return render_form(request, form, title=heading, heading=heading, button=_("Save"))


def pots_of(member: Member) -> list[Record]:
    """Return the team's pots that are in use, by name."""
    found = list_records(member, "pot", filters={"retired": "false"}, after=None, limit=MOST_OF_A_SESSION)
    return sorted(found, key=lambda pot: str(pot.fields["name"]).casefold())


class Words(View):
    """The words of the team."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """List those that it made."""
        member = chosen_member(request)
        words = [word for word in _words(member) if not word.fields.get("built_in")]
        rows = [{"id": word.id, "name": word.fields["label"], "synonyms": word.fields["synonyms"]} for word in words]
        context = {"words": sorted(rows, key=lambda row: str(row["name"]).casefold()), "member": member}
        return render(request, "pages/words.html", context)


class MergeForm(forms.Form):
    """The word that stays."""

    into = forms.ChoiceField(label=gettext_lazy("Into which word"))

    def __init__(self, choices: list[tuple[str, str]], data: Any = None) -> None:  # noqa: ANN401 - Django's form data
        super().__init__(data)
        self.fields["into"] = forms.ChoiceField(label=self.fields["into"].label, choices=choices)


class MergeWord(View):
    """Merging a word of the team into another."""

    def get(self, request: HttpRequest, record_id: str) -> HttpResponse:
        """Ask into which."""
        member, word = membership_with(request, "descriptor", record_id)
        check_may_merge(member, word.id)
        return self._render(request, word, self._form(member, word))

    def post(self, request: HttpRequest, record_id: str) -> HttpResponse:
        """Merge them."""
        member, word = membership_with(request, "descriptor", record_id)
        check_may_merge(member, word.id)
        form = self._form(member, word, request.POST)
        if form.is_valid():
            into, device = form.cleaned_data["into"], browser_device(member)
            try:
                merge_descriptor(member, descriptor=word.id, into=into, device=device, now=timezone.now())
            except Invalid as refused:
                add_problems(form, refused)
            else:
                return redirect("words")
        return self._render(request, word, form)

    def _form(self, member: Member, word: Record, data: Any = None) -> MergeForm:  # noqa: ANN401 - Django's form data
        others = [one for one in _words(member) if one.id != word.id]
        labels = {str(one.fields["key"]): str(one.fields["label"]) for one in others}
        choices = [(key, descriptor_label(key, labels)) for key in labels]
        return MergeForm(sorted(choices, key=lambda choice: choice[1].casefold()), data)

    def _render(self, request: HttpRequest, word: Record, form: forms.Form) -> HttpResponse:
        heading = _("Merge the word “%(word)s”") % {"word": word.fields["label"]}
        intro = [_("Every note that has it gets the other word. The history of the notes keeps the old one.")]
        return render_form(request, form, title=heading, heading=heading, intro=intro, button=_("Merge"))


def _words(member: Member) -> list[Record]:
    return list(list_records(member, "descriptor", filters={}, after=None, limit=MOST_OF_A_SESSION))


class AuditLog(View):
    """What was done in the team that others may ask about."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """List it, the latest first, fifty on a page."""
        member = chosen_member(request)
        event, after = request.GET.get("what", ""), request.GET.get("after", "")
        event = event if event in EVENTS else ""
        found = list_audit(
            member, event=event or None, after=id_from_path(after) if after else None, limit=_ENTRIES + 1
        )
        names = names_in_audit(member)
        context = {
            "entries": [audit_entry(entry, names) for entry in found[:_ENTRIES]],
            "events": EVENTS.items(),
            "event": event,
            "more": f"?{urlencode({'what': event, 'after': found[_ENTRIES - 1].id})}" if len(found) > _ENTRIES else "",
        }
        return render(request, "pages/audit.html", context)


def audit_entry(entry: AuditEntry, names: dict[str, str], *, without: str = "") -> dict[str, object]:
    """Describe one entry; ids become the names of what they are of, and are left out where there is none.

    ``without`` names a detail that the page says already.
    """
    type_name = str(entry.about.get("type", ""))

    def words(detail: str, value: object) -> str:
        if detail == "fields" and isinstance(value, list):
            return ", ".join(field_label(type_name, str(one)) for one in value)
        if isinstance(value, list):
            return ", ".join(filter(None, (words(detail, one) for one in value)))
        text = str(value)
        return names.get(text, "" if is_id(text) else text)

    about = {name: value for name, value in entry.about.items() if name != without}
    found = [(str(label), words(name, about[name])) for name, label in DETAILS.items() if name in about]
    found += [(field_label("lot", name), _change(name, pair, names)) for name, pair in about.get("changes", {}).items()]
    return {
        "when": f"{day(entry.at)}, {entry.at:%H:%M} UTC",
        "who": str(entry.who) if entry.who else "",
        "what": EVENTS.get(entry.what, entry.what),
        "details": ", ".join(f"{name}: {value}" for name, value in found if value),
    }


def _change(name: str, pair: Sequence[object], names: dict[str, str]) -> str:
    """Say from what to what a field of a lot was changed, or only that it was."""
    if not pair:
        return _("changed")
    field = RECORD_SCHEMAS["lot"].by_name()[name]
    before, after = (value_text(field, value, {"from_lot": names}) for value in pair)
    return after if pair[0] is None else f"{before} → {after}"


def names_in_audit(member: Member) -> dict[str, str]:
    """Return what ids and codes of the audit log are of: people, shops, lots, roles, kinds of record."""
    names = {str(one.user_id): str(one.user) for one in members_of(member)}
    names |= {str(shop.id): shop.name for shop in shops_of(member)}
    names |= names_of_lots(member) | names_of_flights(member)
    return names | {code: str(words) for code, words in (*ROLES.items(), *RECORD_TYPES.items())}


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
    path("team/words/", page(Words.as_view()), name="words"),
    path("team/words/<str:record_id>/merge/", page(MergeWord.as_view()), name="merge-word"),
    path("team/audit/", page(AuditLog.as_view()), name="audit"),
    path("team/export/", page(Export.as_view(), cache="no-store"), name="export"),
]
