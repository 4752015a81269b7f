"""The words of a team in the browser: its own, those noted most, the built-in ones by family; merging two."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Unpack

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.generic import View

from pages.browser import chosen_member, membership_with
from pages.form_page import FormArguments, PlainFormPage, set_choices
from pages.record_fields import MOST_OF_A_SESSION
from pages.records import browser_device
from tastings.actions.merging import check_may_merge, merge_descriptor
from tastings.queries.records import list_records
from tastings.queries.word_use import word_use
from tastings.wording.families import FAMILIES
from tastings.wording.labels import descriptor_label

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from uuid import UUID

    from tastings.queries.records import Record
    from teams.models import Member

_COUNTED_DAYS = 365
_MOST_NOTED = 12


class Words(View):
    """The words of the team, with how often each was noted in the last year."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """List its own first, then those noted most, then the built-in ones by family; ``?q=`` looks for one."""
        member, q = chosen_member(request), request.GET.get("q", "").strip()[:120]
        noted = word_use(member, since=timezone.now() - timedelta(days=_COUNTED_DAYS))
        words = [_row(word, noted) for word in words_of(member)]
        matches = [word for word in words if word.matches(q)]
        noticed = [word for word in words if word.n and not word.is_rated]
        most = sorted(noticed, key=lambda word: -word.n)[:_MOST_NOTED]
        context = {
            "q": q,
            "n_built_in": sum(word.built_in for word in words),
            "n_own": sum(not word.built_in for word in words),
            "own": sorted((word for word in matches if not word.built_in), key=_most_noted_first),
            "most": [(word, 100 * word.n / most[0].n) for word in most],
            "families": _by_family(word for word in matches if word.built_in),
            "member": member,
        }
        return render(request, "pages/words.html", context)


@dataclass(frozen=True, slots=True)
class WordRow:
    """A word as the page lists it; ``n`` is how often the team noted it in the last year."""

    id: UUID
    name: str
    synonyms: list[str]
    family: str
    built_in: bool
    is_rated: bool
    n: int

    def matches(self, q: str) -> bool:
        """Return whether the word, its family or a synonym has the text in it."""
        return any(q.casefold() in text.casefold() for text in (self.name, self.family, *self.synonyms))


def _row(word: Record, noted: Mapping[str, int]) -> WordRow:
    fields = word.fields
    key, synonyms = str(fields["key"]), fields["synonyms"]
    return WordRow(
        id=word.id,
        name=descriptor_label(key, {key: str(fields["label"])}) if fields["built_in"] else str(fields["label"]),
        synonyms=[str(synonym) for synonym in synonyms] if isinstance(synonyms, list) else [],
        family=str(fields.get("family") or ""),
        built_in=bool(fields["built_in"]),
        is_rated=bool(fields["rated_each_infusion"]),
        n=noted.get(key, 0),
    )


def _most_noted_first(word: WordRow) -> tuple[int, str]:
    return -word.n, word.name.casefold()


def _by_family(words: Iterable[WordRow]) -> list[tuple[object, list[WordRow]]]:
    groups: dict[str, list[WordRow]] = {}
    for word in sorted(words, key=_most_noted_first):
        groups.setdefault(word.family, []).append(word)
    order = {name: place for place, name in enumerate(FAMILIES)}
    return [
        (FAMILIES.get(name, name), groups[name]) for name in sorted(groups, key=lambda key: (order.get(key, 99), key))
    ]


class MergeForm(forms.Form):
    """The word that stays."""

    into = forms.ChoiceField(label=gettext_lazy("Into which word"))

    def __init__(self, choices: list[tuple[str, str]], **given: Unpack[FormArguments]) -> None:
        super().__init__(**given)
        set_choices(self, "into", choices)


class MergeWord(PlainFormPage):
    """Merging a word of the team into another."""

    intro = [gettext_lazy("Every note that has it gets the other word. The history of the notes keeps the old one.")]
    back = ("words", gettext_lazy("Words"))
    button = gettext_lazy("Merge")
    member: Member
    word: Record

    def open(self) -> None:
        """Find the word."""
        self.member, self.word = membership_with(self.request, "descriptor", self.kwargs["record_id"])
        check_may_merge(self.member, self.word.id)
        self.heading = _("Merge the word “%(word)s”") % {"word": self.word.fields["label"]}

    def get_form(self, _form_class: type[forms.Form] | None = None) -> MergeForm:
        """Offer every other word."""
        others = [other for other in words_of(self.member) if other.id != self.word.id]
        labels = {str(other.fields["key"]): str(other.fields["label"]) for other in others}
        choices = [(key, descriptor_label(key, labels)) for key in labels]
        return MergeForm(sorted(choices, key=lambda choice: choice[1].casefold()), **self.get_form_kwargs())

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Merge them."""
        into, device = str(sent["into"]), browser_device(self.member)
        merge_descriptor(self.member, descriptor=self.word.id, into=into, device=device, now=timezone.now())
        return redirect("words")


def words_of(member: Member) -> list[Record]:
    """Return the built-in words and the team's own."""
    return list(list_records(member, "descriptor", filters={}, after=None, limit=MOST_OF_A_SESSION))
