"""Triangle tests of a lot against another: set up, answered one by one, with what the answers show."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from uuid import uuid4

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.generic import View

from api.http.conditional import id_from_path
from pages.accounts import add_problems
from pages.browser import page
from pages.reports import member_with
from tastings.actions.triangles import record_trial, record_triangle_test, withdraw_trial
from tastings.queries.records import names_of_live_lots, names_of_lots
from tastings.queries.triangles import (
    answers_left,
    answers_needed,
    counted_trials,
    may_pour,
    next_order,
    result_of,
    triangle_test_for,
    triangle_tests_of,
)
from tastings.wording.numbers import day
from tastings.wording.triangles import certainty, difference_words, result_sentences
from teams.errors import Invalid, NotAllowed, NotFound
from teams.queries.people import members_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from tastings.models import TriangleTest
    from tastings.queries.records import Record
    from teams.models import Member

DIFFERENCES = (0.5, 0.4, 0.3, 0.2)
"""Proportions of people who tell the teas apart, to choose from; ISO 4120 calls up to 0.25 small, up to 0.35 medium."""
_MOST = 200
"""Most tests of one lot that its page lists."""


class TestForm(forms.Form):
    """Which tea against which, and when."""

    against = forms.ChoiceField(label=_("Against which tea"))
    distinguishers = forms.TypedChoiceField(
        label=_("A difference that counts"), coerce=float, initial="0.3", required=False
    )
    held_on = forms.DateField(label=_("Day of the test"), widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d"))
    remarks = forms.CharField(label=_("Remarks"), required=False, widget=forms.Textarea({"rows": 2}))

    def __init__(self, lots: Mapping[str, str], *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 - Django's
        super().__init__(*args, **kwargs)
        self.fields["against"].choices = list(lots.items())  # type: ignore[attr-defined]  # of a choice field
        self.fields["distinguishers"].choices = [  # type: ignore[attr-defined]  # of a choice field
            (str(share), difference_words(share, answers=answers_needed(distinguishers=share))) for share in DIFFERENCES
        ]


class AnswerForm(forms.Form):
    """Who answered, and whether they named the odd cup."""

    taster = forms.ChoiceField(label=_("Who tasted"), required=False)
    correct = forms.ChoiceField(
        label=_("Named as odd"), choices=[("yes", _("the odd cup")), ("no", _("another cup"))], widget=forms.RadioSelect
    )

    def __init__(self, member: Member, test: TriangleTest, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        records_all = member.decides or test.by_id == member.user_id
        people = [person for person in members_of(member) if person.left_at is None]
        choices = [(str(row.user_id), str(row.user)) for row in people if records_all or row.user_id == member.user_id]
        guest = [("", _("a guest"))] if records_all else []
        self.fields["taster"].initial = str(member.user_id)
        self.fields["taster"].choices = [*choices, *guest]  # type: ignore[attr-defined]  # of a choice field


class TriangleTests(View):
    """The tests of one lot."""

    def get(self, request: HttpRequest, lot_id: str) -> HttpResponse:
        """List them, and ask for a new one."""
        member, lot = member_with(request, lot_id)
        sample = str(lot.fields.get("from_lot") or "")
        initial = {"held_on": timezone.localdate(), "against": sample}
        return self._shown(request, member, lot, TestForm(_others(member, lot), initial=initial))

    def post(self, request: HttpRequest, lot_id: str) -> HttpResponse:
        """Set one up."""
        member, lot = member_with(request, lot_id)
        if not member.may_write:
            raise NotAllowed
        form, test = TestForm(_others(member, lot), request.POST), uuid4()
        if form.is_valid():
            chosen = form.cleaned_data
            sent = {**chosen, "lot": str(lot.id), "held_on": chosen["held_on"].isoformat()}
            sent["distinguishers"] = chosen["distinguishers"] or None
            try:
                record_triangle_test(member, test=test, sent=sent, now=timezone.now())
            except Invalid as refused:
                add_problems(form, refused)
            else:
                return redirect("triangle", lot.id, test)
        return self._shown(request, member, lot, form)

    def _shown(self, request: HttpRequest, member: Member, lot: Record, form: TestForm) -> HttpResponse:
        names = names_of_lots(member)
        rows = [
            {
                "id": test.id,
                "against": names.get(str(test.against_id), ""),
                "on": day(test.held_on),
                "said": _first(test),
            }
            for test in triangle_tests_of(member, lot=lot.id, after=None, limit=_MOST)
        ]
        context = {"lot": lot.id, "name": lot.fields["name"], "rows": rows, "form": form, "may": member.may_write}
        return render(request, "pages/triangles.html", context, status=422 if form.errors else 200)


class OneTriangleTest(View):
    """One test."""

    def get(self, request: HttpRequest, lot_id: str, test_id: str) -> HttpResponse:
        """Show what the answers say, and ask for the next one."""
        member, lot, test = test_with(request, lot_id, test_id)
        return self._shown(request, member, lot, test, AnswerForm(member, test))

    def post(self, request: HttpRequest, lot_id: str, test_id: str) -> HttpResponse:
        """Record an answer, or take one back (``withdraw=<id>``)."""
        member, lot, test = test_with(request, lot_id, test_id)
        if "withdraw" in request.POST:
            trial = id_from_path(request.POST["withdraw"])
            withdraw_trial(member, test=test.id, trial=trial, now=timezone.now())
            return redirect("triangle", lot.id, test.id)
        if not member.may_write:
            raise NotAllowed
        form = AnswerForm(member, test, request.POST)
        if form.is_valid():
            chosen = form.cleaned_data
            sent = {"taster": chosen["taster"] or None, "correct": chosen["correct"] == "yes"}
            try:
                record_trial(member, test=test.id, trial=uuid4(), sent=sent, now=timezone.now())
            except Invalid as refused:
                add_problems(form, refused)
            else:
                return redirect("triangle", lot.id, test.id)
        return self._shown(request, member, lot, test, form)

    def _shown(
        self, request: HttpRequest, member: Member, lot: Record, test: TriangleTest, form: AnswerForm
    ) -> HttpResponse:
        result, trials = result_of(test), counted_trials(test)
        names = {person.user_id: str(person.user) for person in members_of(member)}
        tea = {"A": str(lot.fields["name"]), "B": names_of_lots(member).get(str(test.against_id), "")}
        context = {
            "lot": lot.id, "test": test.id, "may_write": member.may_write, "may_pour": may_pour(member, test),
            "tea": tea, "on": day(test.held_on), "remarks": test.remarks, "form": form,
            "waits": [(names.get(user, ""), left) for user, left in answers_left(test).items() if left],
            "sentences": result_sentences(result) if result else [], "certainty": certainty(result) if result else "",
            "order": [tea["AB"[cup]] for cup in next_order(test, served=len(trials))] if may_pour(member, test) else [],
            "trials": [
                {"id": trial.id, "who": names.get(trial.taster_id) if trial.taster_id else "", "correct": trial.correct,
                 "mine": member.decides or member.user_id in (trial.by_id, test.by_id)}
                for trial in trials
            ],
        }  # fmt: skip
        return render(request, "pages/triangle.html", context, status=422 if form.errors else 200)


def _others(member: Member, lot: Record) -> dict[str, str]:
    return {key: name for key, name in names_of_live_lots(member).items() if key != str(lot.id)}


def test_with(request: HttpRequest, lot_id: str, test_id: str) -> tuple[Member, Record, TriangleTest]:
    """Return the caller's membership, the lot and its test; raise NotFound when there are none."""
    member, lot = member_with(request, lot_id)
    test = triangle_test_for(member, id_from_path(test_id))
    if test.lot_id != lot.id:
        raise NotFound
    return member, lot, test


def _first(test: TriangleTest) -> str:
    result = result_of(test)
    return result_sentences(result)[0] if result else ""


urlpatterns = [
    path("lots/<str:lot_id>/triangles/", page(TriangleTests.as_view()), name="triangles"),
    path("lots/<str:lot_id>/triangles/<str:test_id>/", page(OneTriangleTest.as_view()), name="triangle"),
]
