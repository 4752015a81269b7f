"""A page with one form, on Django's FormMixin; what an action refuses is shown in the form."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, TypedDict

from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.utils.translation import ngettext
from django.views.generic import View
from django.views.generic.edit import FormMixin

from pages.record_forms import problem_sentence
from teams.errors import Invalid, Throttled

if TYPE_CHECKING:
    from django.core.files.uploadedfile import UploadedFile
    from django.utils.datastructures import MultiValueDict
    from django_stubs_ext import StrOrPromise

    from teams.errors import Problem

    _FormMixin = FormMixin[forms.Form]
else:
    _FormMixin = FormMixin


class FormArguments(TypedDict, total=False):
    """What Django's FormMixin makes a form with."""

    initial: dict[str, object]
    prefix: str | None
    data: QueryDict
    files: MultiValueDict[str, UploadedFile[bytes]]


class FormPage(_FormMixin, View):
    """A page with one form, which is shown again with what is wrong in it."""

    template_name = ""
    invalid_status = 422

    def open(self) -> None:
        """Find what the address names, and refuse who may not see the page."""

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Carry out what a valid form asks for; may raise Invalid and Throttled."""
        raise NotImplementedError

    def get(self, request: HttpRequest, **address: str) -> HttpResponse:  # noqa: ARG002 - of every view
        """Show the form."""
        self.open()
        return self.render_to_response(self.get_context_data())

    def post(self, request: HttpRequest, **address: str) -> HttpResponse:  # noqa: ARG002 - of every view
        """Carry out what was sent."""
        self.open()
        form = self.get_form()
        return self.form_valid(form) if form.is_valid() else self.form_invalid(form)

    def form_valid(self, form: forms.Form) -> HttpResponse:
        """Carry out what was sent, or show why not; after too many attempts also when to try again."""
        try:
            return self.submit(form.cleaned_data)
        except Invalid as refused:
            add_problems(form, refused.problems)
            return self.form_invalid(form)
        except Throttled as refused:
            form.add_error(None, too_many_attempts(refused))
            return add_retry_after(self.form_invalid(form), refused)

    def render_to_response(self, context: Mapping[str, object]) -> HttpResponse:
        """Write the page."""
        form = context["form"]
        status = self.invalid_status if isinstance(form, forms.Form) and form.errors else 200
        return render(self.request, self.template_name, context, status=status)


class PlainFormPage(FormPage):
    """A heading, sentences and one form; ``back`` names the page that leads to it, and what that is called."""

    template_name = "pages/account.html"
    invalid_status = 200
    title: StrOrPromise = ""  # empty: the heading
    heading: StrOrPromise = ""
    intro: Sequence[StrOrPromise] = ()
    back: tuple[str, StrOrPromise] | None = None
    button: StrOrPromise = ""


def text_field(
    label: StrOrPromise, *, autocomplete: str, secret: bool = False, max_length: int = 1000
) -> forms.CharField:
    """Return a text field; a password is taken as it was typed, spaces included."""
    attributes = {"autocomplete": autocomplete, "autocapitalize": "none", "spellcheck": "false"}
    widget = forms.PasswordInput(attributes) if secret else forms.TextInput(attributes)
    return forms.CharField(label=label, max_length=max_length, strip=not secret, widget=widget)


def number_field(label: StrOrPromise, *, initial: str = "") -> forms.CharField:
    """Return an optional field for a number, which `pages.record_forms.number_in` reads."""
    widget = forms.TextInput({"inputmode": "decimal", "autocomplete": "off"})
    return forms.CharField(label=label, required=False, widget=widget, initial=initial)


def long_text_field(label: StrOrPromise, *, rows: int, max_length: int) -> forms.CharField:
    """Return an optional field for several lines of text."""
    widget = forms.Textarea({"rows": rows, "maxlength": max_length})
    return forms.CharField(label=label, required=False, max_length=max_length, widget=widget)


def set_choices(form: forms.Form, name: str, choices: Sequence[tuple[str, StrOrPromise]]) -> None:
    """Set what a field offers."""
    field = form.fields[name]
    if not isinstance(field, forms.ChoiceField):
        raise TypeError(name)
    field.choices = choices


def add_problems(form: forms.Form, problems: Iterable[Problem]) -> None:
    """Show beside the fields what an action found wrong."""
    labels = {name: str(field.label) for name, field in form.fields.items() if field.label}
    for problem in problems:
        field = problem.field if problem.field in form.fields else None
        form.add_error(field, problem_sentence(problem, labels))


def too_many_attempts(refused: Throttled) -> str:
    """Say when to try again."""
    minutes = -(-refused.wait_s // 60)
    return ngettext(
        "Too many attempts. Try again in %(n)s minute.", "Too many attempts. Try again in %(n)s minutes.", minutes
    ) % {"n": minutes}


def add_retry_after(response: HttpResponse, refused: Throttled) -> HttpResponse:
    """Give a page the status 429 and the header ``Retry-After``."""
    response.status_code = refused.status
    response["Retry-After"] = str(refused.wait_s)
    return response
