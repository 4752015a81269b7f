"""The page that asks once more before a flight is called off, which cannot be undone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import forms
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _

from pages.flights import found_flight
from pages.form_page import FormPage
from tastings.actions.flights.editing import call_off_flight
from tastings.errors import WrongState
from tastings.queries.flights import must_decide

if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.http import HttpResponse

    from tastings.answers.flights import FlightItem
    from teams.models import Member


class CallOff(FormPage):
    """Confirming that a flight is called off."""

    template_name = "pages/flight_call_off.html"
    form_class = forms.Form
    member: Member
    flight: FlightItem

    def open(self) -> None:
        """Find the flight; raise WrongState for one that cannot be called off any more."""
        self.member, self.flight = found_flight(self.request, self.kwargs["flight_id"])
        must_decide(self.member)
        if self.flight.state not in ("set_up", "tasting"):
            raise WrongState(_("it is revealed or called off already"))
        if self.flight.progress.tasted:
            raise WrongState(_("cups were tasted already: reveal it, with a reason"))

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:  # noqa: ARG002 - of every form
        """Call it off."""
        call_off_flight(self.member, flight=self.flight.id, now=timezone.now())
        return redirect("flight", self.flight.id)
