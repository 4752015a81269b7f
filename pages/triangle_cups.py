"""A blind triangle test: three cups by code for each answer, and the answers by the code of the odd cup."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.generic import View

from pages.accounts import add_problems
from pages.browser import page
from pages.record_forms import wrong_fields
from pages.triangles import AnswerForm, test_with
from tastings.actions.triangles import choose_tasters, record_answer
from tastings.queries.records import names_of_lots
from tastings.queries.triangles import poured_sets
from tastings.reports.side_by_side import LETTERS
from tastings.wording.flights import kettle_caution, tasting_cautions
from teams.errors import Invalid, NotAllowed
from teams.queries.people import members_of

if TYPE_CHECKING:
    from django.http import QueryDict

    from tastings.models import TriangleTest
    from tastings.queries.records import Record
    from teams.models import Member


class CodeForm(AnswerForm):
    """Who tasted, and the code of the cup that they named as the odd one."""

    correct = None  # type: ignore[assignment]  # Django: this form has no such field
    code = forms.CharField(
        label=_("Code of the odd cup"),
        max_length=3,
        widget=forms.TextInput({"inputmode": "numeric", "autocomplete": "off"}),
    )


class TastersForm(forms.Form):
    """Who is to taste, and how often each."""

    tasters = forms.MultipleChoiceField(label=_("Who tastes"), required=False, widget=forms.CheckboxSelectMultiple)
    answers_each = forms.IntegerField(label=_("How often each"), widget=forms.TextInput({"inputmode": "numeric"}))

    def __init__(self, people: dict[str, str], data: QueryDict | None = None, **kwargs: Any) -> None:  # noqa: ANN401 - Django's
        super().__init__(data, **kwargs)
        self.fields["tasters"].choices = list(people.items())  # type: ignore[attr-defined]  # of a choice field


class Cups(View):
    """Which cup holds which tea, for whoever pours, and for whom it is poured."""

    def get(self, request: HttpRequest, lot_id: str, test_id: str) -> HttpResponse:
        """Show three cups for each answer, with their codes in serving order."""
        member, lot, test = test_with(request, lot_id, test_id)
        chosen = list(test.tasters.order_by("id"))
        initial = {
            "tasters": [str(taster.user_id) for taster in chosen],
            "answers_each": max([1, *(taster.answers for taster in chosen)]),
        }
        return self._shown(request, member, lot, test, TastersForm(_who_may_taste(member), initial=initial))

    def post(self, request: HttpRequest, lot_id: str, test_id: str) -> HttpResponse:
        """Store who is to taste and how often: the sheet is for them, and the test stands in their list."""
        member, lot, test = test_with(request, lot_id, test_id)
        form = TastersForm(_who_may_taste(member), request.POST)
        if form.is_valid():
            try:
                choose_tasters(member, test=test.id, sent=form.cleaned_data)
            except Invalid as refused:
                add_problems(form, refused)
            else:
                return redirect("triangle-cups", lot.id, test.id)
        return self._shown(request, member, lot, test, form)

    def _shown(
        self, request: HttpRequest, member: Member, lot: Record, test: TriangleTest, form: TastersForm
    ) -> HttpResponse:
        names = names_of_lots(member)
        teas = [names.get(str(lot_id), "") for lot_id in (test.lot_id, test.against_id)]
        letters = LETTERS[: len(teas)]
        poured, people = poured_sets(member, test), _in_turn(test, _who_may_taste(member))
        sets = [
            {
                "taster": taster,
                "cups": [
                    {"code": code, "letter": letters[tea]} for code, tea in zip(cups.codes, cups.teas, strict=True)
                ],
            }
            for cups, taster in zip(poured, people or [""] * len(poured), strict=False)
        ]
        context = {
            "lot": lot.id,
            "test": test.id,
            "teas": list(zip(letters, teas, strict=True)),
            "sets": sets,
            "form": form,
            "named": bool(people),
            "needed": len(poured),
            "cautions": [kettle_caution(), *tasting_cautions()],
        }
        return render(request, "pages/triangle_cups.html", context, status=422 if form.errors else 200)


def _who_may_taste(member: Member) -> dict[str, str]:
    return {str(row.user_id): str(row.user) for row in members_of(member) if row.left_at is None and row.may_write}


def _in_turn(test: TriangleTest, names: dict[str, str]) -> list[str]:
    """Return the names of the chosen tasters in turn, one for each answer."""
    chosen = list(test.tasters.order_by("id"))
    rounds = range(max((taster.answers for taster in chosen), default=0))
    return [names.get(str(taster.user_id), "") for turn in rounds for taster in chosen if taster.answers > turn]


class AnswerByCode(View):
    """The taster's page: it names no tea and no order."""

    def get(self, request: HttpRequest, lot_id: str, test_id: str) -> HttpResponse:
        """Ask for the code of the odd cup."""
        member, lot, test = self._found(request, lot_id, test_id)
        return self._shown(request, lot, test, CodeForm(member, test))

    def post(self, request: HttpRequest, lot_id: str, test_id: str) -> HttpResponse:
        """Record the answer; whether it was right stands on the test's page."""
        member, lot, test = self._found(request, lot_id, test_id)
        form = CodeForm(member, test, request.POST)
        if form.is_valid():
            chosen = form.cleaned_data
            taster = UUID(chosen["taster"]) if chosen["taster"] else None
            try:
                record_answer(member, test=test.id, code=chosen["code"], taster=taster, now=timezone.now())
            except Invalid as refused:
                add_problems(form, refused)
            else:
                return redirect("triangle", lot.id, test.id)
        return self._shown(request, lot, test, form)

    def _found(self, request: HttpRequest, lot_id: str, test_id: str) -> tuple[Member, Record, TriangleTest]:
        test = test_with(request, lot_id, test_id)
        if not test[0].may_write:
            raise NotAllowed
        return test

    def _shown(self, request: HttpRequest, lot: Record, test: TriangleTest, form: CodeForm) -> HttpResponse:
        context = {"lot": lot.id, "test": test.id, "form": form, "wrong": wrong_fields(form)}
        return render(request, "pages/triangle_answer.html", context, status=422 if form.errors else 200)


urlpatterns = [
    path("lots/<str:lot_id>/triangles/<str:test_id>/cups/", page(Cups.as_view()), name="triangle-cups"),
    path("lots/<str:lot_id>/triangles/<str:test_id>/answer/", page(AnswerByCode.as_view()), name="triangle-answer"),
]
