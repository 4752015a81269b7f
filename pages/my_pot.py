"""The reader's own pot: asked for in a form of the page, and remembered in a cookie for the next lot.

The heat of the kettle is not remembered: it goes with the tea and not with the pot.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, urlencode

from django import forms
from django.conf import settings
from django.utils.formats import localize
from django.utils.translation import gettext_lazy as _

from tastings.maths.curve.evidence import COOLEST_C
from tastings.maths.guide.pots import MOST_GUESTS, SMALL_POT_ML, PotError, PotRequest, small_pot
from tastings.wording.guide import pot_problem
from tastings.wording.labels import MATERIALS
from tastings.wording.numbers import number

if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.http import HttpRequest, HttpResponse

COOKIE = "my-pot"
_KEPT_S = 365 * 24 * 3600
_USUAL = "usual-pot"
_REMEMBERED = ("vessel_ml", "guests", "leaf_g", "vessel_material")


class PotForm(forms.Form):
    """Volume and material of a pot, its leaf, the kettle and the guests; only the volume must be given."""

    vessel_ml = forms.FloatField(
        label=_("Volume (ml)"), localize=True, min_value=SMALL_POT_ML[0], max_value=SMALL_POT_ML[1]
    )
    guests = forms.IntegerField(label=_("Guests"), required=False, min_value=1, max_value=MOST_GUESTS)
    leaf_g = forms.FloatField(label=_("Leaf (g)"), localize=True, required=False, min_value=0.1, max_value=1000)
    vessel_material = forms.ChoiceField(label=_("Material"), required=False, choices=list(MATERIALS.items()))
    kettle_c = forms.FloatField(
        label=_("Kettle (°C)"), localize=True, required=False, min_value=COOLEST_C, max_value=100
    )

    def __init__(self, data: Mapping[str, str] | None = None) -> None:
        super().__init__(data, auto_id="pot-%s")
        for name in ("vessel_ml", "leaf_g", "kettle_c"):
            self.fields[name].widget.attrs["inputmode"] = "decimal"
        for field in self.fields.values():
            if isinstance(field, forms.IntegerField):  # a FloatField is one too
                limits = _("Must be %(low)s to %(high)s.") % {
                    "low": number(field.min_value),
                    "high": number(field.max_value),
                }
                field.error_messages |= {"min_value": limits, "max_value": limits}

    def clean(self) -> dict[str, object]:
        """Refuse leaf for which no cup can be predicted in so much water."""
        if not self.errors:
            try:
                small_pot(_pot_of(self))
            except PotError as error:
                self.add_error(error.field, pot_problem(error))
        return self.cleaned_data


@dataclass(frozen=True, slots=True)
class OwnPot:
    """What a request asks for: the pot, None for the usual one, and the form if one was sent or remembered."""

    pot: PotRequest | None = None
    sent: PotForm | None = None
    in_address: bool = False
    forgotten: bool = False

    @property
    def form(self) -> PotForm:
        """Return the form to ask with."""
        return self.sent or PotForm()

    @property
    def has_errors(self) -> bool:
        """Whether the form was sent and is not valid."""
        return self.in_address and bool(self.form.errors)

    def remember(self, response: HttpResponse) -> None:
        """Set the cookie when the pot was asked for in the address, or take it away."""
        if self.forgotten:
            response.delete_cookie(COOKIE, samesite="Lax")
        elif self.pot is not None and self.in_address:
            values = ((name, self.form.cleaned_data[name]) for name in _REMEMBERED)
            sent = {name: str(value) for name, value in values if value not in (None, "")}
            response.set_cookie(
                COOKIE,
                urlencode(sent),
                max_age=_KEPT_S,
                samesite="Lax",
                httponly=True,
                secure=settings.SESSION_COOKIE_SECURE,
            )


def own_pot(request: HttpRequest) -> OwnPot:
    """Return the pot of the address, else that of the cookie; an invalid cookie is ignored."""
    if _USUAL in request.GET:
        return OwnPot(forgotten=True)
    if "vessel_ml" in request.GET:
        form = PotForm(request.GET)
        return OwnPot(_pot_of(form) if form.is_valid() else None, form, in_address=True)
    if COOKIE in request.COOKIES:
        sent = dict(parse_qsl(request.COOKIES[COOKIE][:500]))
        form = PotForm({name: localize(_number(text)) for name, text in sent.items() if name in _REMEMBERED})
        if form.is_valid():
            return OwnPot(_pot_of(form), form)
    return OwnPot()


def _number(text: str) -> float | str:
    """Return a number of the cookie, to be formatted for the reader's language."""
    try:
        value = float(text)
    except ValueError:
        return text
    return int(value) if value == int(value) else value


def _pot_of(form: PotForm) -> PotRequest:
    return PotRequest(**{name: value for name, value in form.cleaned_data.items() if value not in (None, "")})
