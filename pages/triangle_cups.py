"""A blind triangle test: three cups by code for each answer, and the answers by the code of the odd cup."""

from __future__ import annotations

from typing import TYPE_CHECKING, Unpack
from uuid import UUID

from django import forms
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from pages.form_page import FormArguments, set_choices
from pages.record_forms import wrong_fields
from pages.triangles import AnswerForm, TriangleTestPage
from tastings.actions.triangles import choose_tasters, record_answer
from tastings.queries.records import names_of_lots
from tastings.queries.triangles import poured_sets
from tastings.reports.side_by_side import LETTERS
from tastings.wording.flights import kettle_caution, tasting_cautions
from teams.queries.people import present_members

if TYPE_CHECKING:
    from collections.abc import Mapping

    from tastings.models import TriangleTest
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

    def __init__(self, people: dict[str, str], **given: Unpack[FormArguments]) -> None:
        super().__init__(**given)
        set_choices(self, "tasters", list(people.items()))


class Cups(TriangleTestPage):
    """Which cup holds which tea, for whoever pours, and the form that says for whom it is poured."""

    template_name = "pages/triangle_cups.html"

    def get_initial(self) -> dict[str, object]:
        """Show who is chosen."""
        chosen = list(self.test.tasters.order_by("id"))
        tasters, answers = [str(taster.user_id) for taster in chosen], [taster.answers for taster in chosen]
        return {"tasters": tasters, "answers_each": max([1, *answers])}

    def get_form(self, _form_class: type[forms.Form] | None = None) -> TastersForm:
        """Offer all who taste."""
        return TastersForm(_who_may_taste(self.member), **self.get_form_kwargs())

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Store who is to taste and how often: the sheet is for them, and the test stands in their list."""
        choose_tasters(self.member, test=self.test.id, sent=sent)
        return redirect("triangle-cups", self.lot.id, self.test.id)

    def get_context_data(self, **context: object) -> dict[str, object]:
        """Show three cups for each answer, with their codes in serving order."""
        names = names_of_lots(self.member)
        teas = [names.get(str(lot_id), "") for lot_id in (self.test.lot_id, self.test.against_id)]
        letters = LETTERS[: len(teas)]
        poured, people = poured_sets(self.member, self.test), _in_turn(self.test, _who_may_taste(self.member))
        sets = [
            {
                "taster": taster,
                "cups": [
                    {"code": code, "letter": letters[tea]} for code, tea in zip(cups.codes, cups.teas, strict=True)
                ],
            }
            for cups, taster in zip(poured, people or [""] * len(poured), strict=False)
        ]
        return super().get_context_data(
            lot=self.lot.id,
            test=self.test.id,
            teas=list(zip(letters, teas, strict=True)),
            sets=sets,
            named=bool(people),
            needed=len(poured),
            cautions=[kettle_caution(), *tasting_cautions()],
            **context,
        )


def _who_may_taste(member: Member) -> dict[str, str]:
    return {str(row.user_id): str(row.user) for row in present_members(member) if row.may_write}


def _in_turn(test: TriangleTest, names: dict[str, str]) -> list[str]:
    """Return the names of the chosen tasters in turn, one for each answer."""
    chosen = list(test.tasters.order_by("id"))
    rounds = range(max((taster.answers for taster in chosen), default=0))
    return [names.get(str(taster.user_id), "") for turn in rounds for taster in chosen if taster.answers > turn]


class AnswerByCode(TriangleTestPage):
    """The taster's page: it names no tea and no order."""

    template_name = "pages/triangle_answer.html"
    is_for_writers = True

    def get_form(self, _form_class: type[forms.Form] | None = None) -> CodeForm:
        """Ask for the code of the odd cup."""
        return CodeForm(self.member, self.test, **self.get_form_kwargs())

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Record the answer; whether it was right stands on the test's page."""
        taster = UUID(str(sent["taster"])) if sent["taster"] else None
        record_answer(self.member, test=self.test.id, code=str(sent["code"]), taster=taster, now=timezone.now())
        return redirect("triangle", self.lot.id, self.test.id)

    def get_context_data(self, **context: object) -> dict[str, object]:
        """Name the test, and the fields that are wrong."""
        shown = super().get_context_data(lot=self.lot.id, test=self.test.id, **context)
        return {**shown, "wrong": wrong_fields(shown["form"])}
