"""Triangle tests of a lot against another: set up, answered one by one, with what the answers show."""

from __future__ import annotations

from typing import TYPE_CHECKING, Unpack
from uuid import uuid4

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from api.http.conditional import id_from_path
from pages.form_page import FormArguments, FormPage, set_choices
from pages.reports import member_with
from tastings.actions.triangles import record_trial, record_triangle_test, withdraw_trial
from tastings.queries.records import choices_of_lots, names_of_lots
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
from teams.errors import NotAllowed, NotFound
from teams.queries.people import members_of, present_members

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

    def __init__(self, lots: Mapping[str, str], **given: Unpack[FormArguments]) -> None:
        super().__init__(**given)
        set_choices(self, "against", list(lots.items()))
        words = [difference_words(share, answers=answers_needed(distinguishers=share)) for share in DIFFERENCES]
        set_choices(self, "distinguishers", list(zip(map(str, DIFFERENCES), words, strict=True)))


class AnswerForm(forms.Form):
    """Who answered, and whether they named the odd cup."""

    taster = forms.ChoiceField(label=_("Who tasted"), required=False)
    correct = forms.ChoiceField(
        label=_("Named as odd"), choices=[("yes", _("the odd cup")), ("no", _("another cup"))], widget=forms.RadioSelect
    )

    def __init__(self, member: Member, test: TriangleTest, **given: Unpack[FormArguments]) -> None:
        super().__init__(**given)
        records_all = member.decides or test.by_id == member.user_id
        people = present_members(member)
        choices = [(str(row.user_id), str(row.user)) for row in people if records_all or row.user_id == member.user_id]
        guest = [("", _("a guest"))] if records_all else []
        self.fields["taster"].initial = str(member.user_id)
        set_choices(self, "taster", [*choices, *guest])


class TriangleTestsPage(FormPage):
    """The tests of one lot, and the form that sets one up."""

    template_name = "pages/triangles.html"
    member: Member
    lot: Record

    def open(self) -> None:
        """Find the lot."""
        self.member, self.lot = member_with(self.request, self.kwargs["lot_id"])
        if self.request.method == "POST" and not self.member.may_write:
            raise NotAllowed

    def get_initial(self) -> dict[str, object]:
        """Begin with today and the lot's sample."""
        return {"held_on": timezone.localdate(), "against": str(self.lot.fields.get("from_lot") or "")}

    def get_form(self, _form_class: type[forms.Form] | None = None) -> TestForm:
        """Offer the team's other lots."""
        names = choices_of_lots(self.member)
        others = {key: name for key, name in names.items() if key != str(self.lot.id)}
        return TestForm(others, **self.get_form_kwargs())

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Set a test up."""
        test, held_on = uuid4(), str(sent["held_on"])
        body = {**sent, "lot": str(self.lot.id), "held_on": held_on, "distinguishers": sent["distinguishers"] or None}
        record_triangle_test(self.member, test=test, sent=body, now=timezone.now())
        return redirect("triangle", self.lot.id, test)

    def get_context_data(self, **context: object) -> dict[str, object]:
        """List the tests."""
        names = names_of_lots(self.member)
        rows = [
            {
                "id": test.id,
                "against": names.get(str(test.against_id), ""),
                "on": day(test.held_on),
                "said": first_sentence(test),
            }
            for test in triangle_tests_of(self.member, lot=self.lot.id, after=None, limit=_MOST)
        ]
        name, may = self.lot.fields["name"], self.member.may_write
        return super().get_context_data(lot=self.lot.id, name=name, rows=rows, may=may, **context)


class TriangleTestPage(FormPage):
    """A page of one test."""

    member: Member
    lot: Record
    test: TriangleTest

    def open(self) -> None:
        """Find lot and test; raise NotFound when there are none."""
        self.member, self.lot = member_with(self.request, self.kwargs["lot_id"])
        self.test = triangle_test_for(self.member, id_from_path(self.kwargs["test_id"]))
        if self.test.lot_id != self.lot.id:
            raise NotFound
        if self.is_for_writers and not self.member.may_write:
            raise NotAllowed

    @property
    def is_for_writers(self) -> bool:
        """Whether those who only read are refused."""
        return self.request.method == "POST"


class TriangleAnswersPage(TriangleTestPage):
    """What the answers of one test say, and the form for the next one."""

    template_name = "pages/triangle.html"

    def post(self, request: HttpRequest, **address: str) -> HttpResponse:
        """Record an answer, or take one back (``withdraw=<id>``)."""
        if "withdraw" in request.POST:
            self.open()
            trial = id_from_path(request.POST["withdraw"])
            withdraw_trial(self.member, test=self.test.id, trial=trial, now=timezone.now())
            return redirect("triangle", self.lot.id, self.test.id)
        return super().post(request, **address)

    def get_form(self, _form_class: type[forms.Form] | None = None) -> AnswerForm:
        """Ask who answered what."""
        return AnswerForm(self.member, self.test, **self.get_form_kwargs())

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Record an answer."""
        body = {"taster": sent["taster"] or None, "correct": sent["correct"] == "yes"}
        record_trial(self.member, test=self.test.id, trial=uuid4(), sent=body, now=timezone.now())
        return redirect("triangle", self.lot.id, self.test.id)

    def get_context_data(self, **context: object) -> dict[str, object]:
        """Show what the answers say."""
        member, test = self.member, self.test
        result, trials = result_of(test), counted_trials(test)
        names = {person.user_id: str(person.user) for person in members_of(member)}
        tea = {"A": str(self.lot.fields["name"]), "B": names_of_lots(member).get(str(test.against_id), "")}
        context |= {
            "lot": self.lot.id, "test": test.id, "may_write": member.may_write, "may_pour": may_pour(member, test),
            "tea": tea, "on": day(test.held_on), "remarks": test.remarks,
            "waits": [(names.get(user, ""), left) for user, left in answers_left(test).items() if left],
            "sentences": result_sentences(result) if result else [], "certainty": certainty(result) if result else "",
            "order": [tea["AB"[cup]] for cup in next_order(test, served=len(trials))] if may_pour(member, test) else [],
            "trials": [
                {"id": trial.id, "who": names.get(trial.taster_id) if trial.taster_id else "", "correct": trial.correct,
                 "mine": member.decides or member.user_id in (trial.by_id, test.by_id)}
                for trial in trials
            ],
        }  # fmt: skip
        return super().get_context_data(**context)


def first_sentence(test: TriangleTest) -> str:
    """Say what the answers of a test show; empty before the first."""
    result = result_of(test)
    return result_sentences(result)[0] if result else ""
