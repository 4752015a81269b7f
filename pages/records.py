"""Making, correcting, deleting and bringing back lots, sessions, infusions, notes, words and pots."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlencode
from uuid import UUID, uuid4, uuid5

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.generic import View

from api.http.verdicts import refusal_of
from lots.merge import DELETED
from lots.schema import format_utc_short
from pages.browser import chosen_member, membership_with
from pages.form_page import add_problems
from pages.record_fields import address_of, options_for, pots_in_use, record_name, sections_for
from pages.record_forms import RecordForm, value_text, width_of, wrong_fields
from pages.session_form import SessionForm
from pages.session_rows import next_number, rows_of_session
from tastings.actions.purchases import fields_of_bought_lot
from tastings.actions.push import NEW, Change, Verdict, push_changes
from tastings.actions.suggestions import Accepted, accept_suggestions, check_may_accept
from tastings.queries.developments import labels_of
from tastings.queries.records import record_for
from tastings.queries.suggestions import suggestions_for
from tastings.schemas import RECORD_SCHEMAS
from tastings.wording.families import FAMILIES
from tastings.wording.fields import RECORD_TYPES, field_label
from tastings.wording.labels import descriptor_label
from tastings.wording.numbers import day_and_time
from tastings.wording.record_pages import DELETE, SAVED
from tastings.wording.record_pages import NEW as NEW_HEADINGS
from teams.errors import NotAllowed, NotFound, PreconditionFailed
from teams.queries.people import members_of, require_writer

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from django.http import QueryDict
    from django_stubs_ext import StrOrPromise

    from lots.schema import RecordSchema
    from pages.record_forms import Options
    from tastings.queries.records import Record
    from teams.models import Member

POT_OF_SESSION = ("vessel_ml", "vessel_material", "vessel_g", "leaf_g")
"""Fields that a session copies from its pot."""
_OPEN_SECTIONS = 2
"""How many sections of a form a narrow screen shows at once; the others are folded."""
PARENT = {"session": "lot", "infusion": "session", "note": "session"}
"""The parent of each record type; a new record's page names it in its query."""


def schema_named(record_type: str) -> RecordSchema:
    """Return the schema of a record type; raise NotFound for none."""
    if record_type not in RECORD_SCHEMAS:
        raise NotFound
    return RECORD_SCHEMAS[record_type]


def browser_device(member: Member) -> UUID:
    """Return the device under which edits in a browser are stored: one for each login."""
    return uuid5(member.user_id, "browser")


def change_record(
    member: Member, type_name: str, record: UUID, fields: Mapping[str, object], *, expected: int | None = None
) -> Verdict:
    """Push one change as the API does; return the verdict."""
    change = Change(type=type_name, id=record, fields=fields, stamp=None, expected=expected)
    [verdict] = push_changes(member, device=browser_device(member), changes=[change], now=timezone.now())
    return verdict


class NewRecord(View):
    """A page on which a record is made: ``?lot=`` or ``?session=`` names its parent, ``?from_lot=`` a lot's sample."""

    def get(self, request: HttpRequest, record_type: str) -> HttpResponse:
        """Show the form, with what follows from the parent or sample."""
        member, form = self._form(request, record_type)
        require_writer(member)
        return _render(request, member, form)

    def post(self, request: HttpRequest, record_type: str) -> HttpResponse:
        """Make it."""
        member, form = self._form(request, record_type, sent=True)
        require_writer(member)
        if form.is_valid():
            fields = {**form.values, **form.changed()}
            if record_type == "descriptor":
                fields["key"] = _key_of(str(fields.get("label") or ""))
            record = uuid4()
            verdict = change_record(member, record_type, record, fields, expected=NEW)
            if verdict.verdict != "refused":
                if record_type == "infusion":  # most pours are followed by another
                    session = address_of("session", UUID(str(fields["session"])))
                    return redirect(f"{session}?{urlencode({'poured': record})}")
                return redirect(f"{address_of(record_type, record)}?made=1")
            _show_refusal(form, verdict)
        return _render(request, member, form)

    def _form(self, request: HttpRequest, record_type: str, *, sent: bool = False) -> tuple[Member, RecordForm]:
        member, begins = _first_values(request, record_type)
        schema = schema_named(record_type)
        session = UUID(str(begins["session"])) if "session" in begins else None
        sections = sections_for(member, record_type)
        names = [name for _title, names in sections for name in names if name != PARENT.get(record_type)]
        options, data = options_for(member, record_type, session), request.POST if sent else None
        return member, _record_form(member, schema, names, options=options, values=begins, data=data)


class RecordPage(View):
    """A page on which a record is corrected or deleted."""

    def get(self, request: HttpRequest, record_type: str, record_id: str) -> HttpResponse:
        """Show its values in a form."""
        member, record = membership_with(request, record_type, record_id)
        return _render(request, member, _form_of(member, record_type, record), record)

    def post(self, request: HttpRequest, record_type: str, record_id: str) -> HttpResponse:
        """Store what was changed, or delete it."""
        member, record = membership_with(request, record_type, record_id)
        require_writer(member)
        if record.fields.get("built_in"):
            raise NotAllowed(_("what is built in cannot be changed"))
        match request.POST.get("do"):
            case "delete":
                return _delete(member, record_type, record)
            case "accept" if record_type == "note":
                return _accept(request, member, record)
        form = _form_of(member, record_type, record, request)
        if form.is_valid():
            changed = form.changed()
            if changed and form.cleaned_data["revision"] not in ("", str(record.revision)):
                _show_what_changed_meanwhile(form, changed)
                return _render(request, member, form, record)
            if not changed:
                return redirect(address_of(record_type, record.id))
            verdict = change_record(member, record_type, record.id, changed, expected=record.revision)
            if verdict.verdict != "refused":
                query = urlencode({"saved": list(changed)}, doseq=True)
                return redirect(f"{address_of(record_type, record.id)}?{query}")
            _show_refusal(form, verdict)
        return _render(request, member, form, record)


def _first_values(request: HttpRequest, record_type: str) -> tuple[Member, dict[str, object]]:
    """Return who makes a record, and the values it begins with."""
    parent = PARENT.get(record_type)
    if parent is not None:
        member, record = membership_with(request, parent, request.GET.get(parent, ""))
        begins: dict[str, object] = {parent: str(record.id)}
        if record_type == "session":
            now = format_utc_short(timezone.now().replace(second=0, microsecond=0))
            shop = str(member.shop_id) if member.shop_id else None
            begins |= {"started_at": now, "shop": shop, **usual_pot_fields(member)}
            if request.GET.get("purpose") == "arrival":
                begins["purpose"] = "arrival"
        if record_type == "infusion":
            begins["number"] = next_number(member, record.id)
        return member, begins
    if record_type == "lot" and request.GET.get("from_lot"):
        member, sample = membership_with(request, "lot", request.GET["from_lot"])
        taken = fields_of_bought_lot(sample.id, sample.fields)
        return member, taken | {name: sample.fields[name] for name in ("price_per_kg", "currency")}
    return chosen_member(request), {"status": "sample"} if record_type == "lot" else {}


def usual_pot_fields(member: Member) -> dict[str, object]:
    """Return what a session takes from the usual pot of the member's shop."""
    if member.shop is None or member.shop.usual_pot is None:
        return {}
    try:
        pot = record_for(member, "pot", member.shop.usual_pot)
    except NotFound:
        return {}
    return {"pot": str(pot.id), **{name: pot.fields[name] for name in POT_OF_SESSION}}


def _form_of(member: Member, record_type: str, record: Record, request: HttpRequest | None = None) -> RecordForm:
    session = UUID(str(record.fields["session"])) if record_type == "note" else None
    sections = sections_for(member, record_type, record)
    form = _record_form(
        member,
        RECORD_SCHEMAS[record_type],
        [name for _title, names in sections for name in names],
        options=options_for(member, record_type, session),
        values=record.fields,
        data=request.POST if request is not None else None,
    )
    form.initial["revision"] = record.revision
    return form


def _record_form(  # noqa: PLR0913 - what a form is made of
    member: Member,
    schema: RecordSchema,
    names: Sequence[str],
    *,
    options: Options,
    values: Mapping[str, object],
    data: QueryDict | None,
) -> RecordForm:
    if schema.type != "session":
        return RecordForm(schema, names, options=options, values=values, data=data)
    pots = {str(pot.id): pot.fields for pot in pots_in_use(member)}
    return SessionForm(schema, names, options=options, values=values, pots=pots, data=data)


def _delete(member: Member, record_type: str, record: Record) -> HttpResponse:
    verdict = change_record(member, record_type, record.id, {DELETED: True})
    if verdict.verdict == "refused":
        raise refusal_of(verdict)
    return redirect(reverse("record-history", args=[record_type, record.id]))


def _accept(request: HttpRequest, member: Member, note: Record) -> HttpResponse:
    """Note the words that were chosen among those that the note's text suggests."""
    if request.POST.get("revision") != str(note.revision):
        raise PreconditionFailed  # the text that was read may be another
    accepted = [Accepted(descriptor=key) for key in request.POST.getlist("word")]
    accept_suggestions(member, note=note.id, accepted=accepted, device=browser_device(member), now=timezone.now())
    return redirect(address_of("session", UUID(str(note.fields["session"]))))


def _suggestions(member: Member, note: Record) -> dict[str, object]:
    """Return the words that a note's text suggests to its taster, unless they are noted already."""
    try:
        check_may_accept(member, note.id)
    except NotAllowed:
        return {}
    suggestions = [suggestion for suggestion in suggestions_for(member, note.id).suggestions if suggestion.present]
    intensity = RECORD_SCHEMAS["note"].by_name()["intensity"]
    labels = labels_of(member)
    return {
        "suggested": [
            (
                suggestion.descriptor,
                descriptor_label(suggestion.descriptor, labels),
                "" if suggestion.intensity is None else value_text(intensity, suggestion.intensity, {}),
            )
            for suggestion in suggestions
        ]
    }


def _show_refusal(form: RecordForm, verdict: Verdict) -> None:
    """Show what was refused beside its field; raise what no field can show."""
    if {problem.code for problem in verdict.problems} & {"not_allowed", "not_yours", "quota", "unknown_record"}:
        raise refusal_of(verdict)
    add_problems(form, verdict.problems)


def _show_what_changed_meanwhile(form: RecordForm, changed: Mapping[str, object]) -> None:
    """Show what stands now beside what would overwrite it."""
    form.add_error(None, _("Somebody changed this meanwhile. Look at the fields below, then save again."))
    for name in changed:
        now = value_text(form.schema.by_name()[name], form.values.get(name), form.options)
        form.add_error(name, _("Now: %(value)s") % {"value": now})
    form.data = form.data.copy()  # type: ignore[attr-defined]  # of a request, which cannot be changed
    form.data["revision"] = str(form.initial["revision"])  # type: ignore[index]


def _render(request: HttpRequest, member: Member, form: RecordForm, record: Record | None = None) -> HttpResponse:
    type_name = form.schema.type
    values = record.fields if record is not None else form.values
    back, back_to = _back(type_name, values, record)
    context: dict[str, object] = {
        "form": form,
        "wrong": wrong_fields(form),
        "sections": [
            _section(form, title, [name for name in names if name in form.fields], is_open=place < _OPEN_SECTIONS)
            for place, (title, names) in enumerate(sections_for(member, type_name, record))
        ],
        "type": type_name,
        "type_name": RECORD_TYPES[type_name],
        "record": record,
        "name": record_name(member, type_name, values),
        "may_change": _may_change(member, type_name, record),
        "new": NEW_HEADINGS[type_name],
        "made": SAVED[type_name] if "made" in request.GET else "",
        "delete": DELETE[type_name],
        "about": _about(member, type_name, record),
        "facts": [] if record is None else _word_facts(record) if record.fields.get("built_in") else _facts(form),
        "saved": [
            (name, field_label(type_name, name))
            for name in request.GET.getlist("saved")
            if name in form.schema.by_name()
        ],
        "back": back,
        "back_to": back_to,
        "buys": type_name == "lot" and record is None and "from_lot" in values,
    }
    if type_name == "session" and record is not None:
        context |= rows_of_session(member, record, poured=request.GET.get("poured", ""))
    if type_name == "note" and record is not None and record.fields["text"]:
        context |= _suggestions(member, record)
    return render(request, "pages/record.html", context, status=422 if form.errors else 200)


def _about(member: Member, type_name: str, record: Record | None) -> str:
    """Say of which session a session's page is: when it began and who tasted."""
    if type_name != "session" or record is None:
        return ""
    taster = next((str(row.user) for row in members_of(member) if str(row.user_id) == record.fields["taster"]), "")
    return " · ".join(filter(None, (day_and_time(str(record.fields["started_at"])), taster)))


def _word_facts(word: Record) -> list[tuple[str, str]]:
    """Return what a built-in word is like: its family and what else it is called."""
    family, synonyms = str(word.fields.get("family") or ""), word.fields.get("synonyms")
    others = ", ".join(map(str, synonyms)) if isinstance(synonyms, list) else ""
    rated = _("at every infusion") if word.fields.get("rated_each_infusion") else ""
    facts = [(_("Family"), str(FAMILIES.get(family, family))), (_("Also called"), others), (_("Rated"), rated)]
    return [(label, value) for label, value in facts if value]


def _facts(form: RecordForm) -> list[tuple[str, str]]:
    """Return the values of a record that the reader may not change, each with its label."""
    shown = [(field, form.values.get(field.name)) for field in form.shown]
    return [
        (field_label(form.schema.type, field.name), value_text(field, value, form.options))
        for field, value in shown
        if value not in (None, "", [])
    ]


def _section(form: RecordForm, title: StrOrPromise, names: Sequence[str], *, is_open: bool) -> dict[str, object]:
    """Return one section of a form: folded on a narrow screen, it says what stands in it."""
    known = form.schema.by_name()
    return {
        "title": title,
        "fields": [(form[name], width_of(known[name])) for name in names],
        "stands": " · ".join(
            value_text(known[name], form.values[name], form.options)
            for name in names
            if form.values.get(name) and (width_of(known[name]) != "short" or known[name].kind in ("choice", "date"))
        ),
        "is_open": is_open or not title or any(name in form.errors for name in names),
    }


def _may_change(member: Member, type_name: str, record: Record | None) -> bool:
    """Whether a form is offered; the push decides."""
    if record is None or not member.may_write:
        return member.may_write
    if record.fields.get("built_in"):
        return False
    if member.decides:
        return True
    if type_name in ("infusion", "note"):
        session = record_for(member, "session", UUID(str(record.fields["session"])))
        return session.fields["taster"] == str(member.user_id)
    return record.author == member.user_id


def _back(type_name: str, values: Mapping[str, object], record: Record | None) -> tuple[str, str]:
    """Return the address of the page that a record belongs to, and what that page is called."""
    lot = values.get("lot")
    if type_name == "lot":
        lot = record.id if record is not None else values.get("from_lot")
    if lot:
        return reverse("report", args=[lot]), _("Report")
    match type_name:
        case "infusion" | "note":
            return address_of("session", UUID(str(values["session"]))), str(RECORD_TYPES["session"])
        case "descriptor":
            return reverse("words"), _("Words")
        case "pot":
            return reverse("shops"), _("Shops and pots")
        case _:
            return reverse("lots-page"), _("Lots")


def _key_of(text: str) -> str:
    """Return a key for a word: made of its letters where they are Latin."""
    key = slugify(text).replace("-", "_")[:60].strip("_0123456789")
    return key or f"word_{uuid4().hex[:8]}"
