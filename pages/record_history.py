"""A record's history: who set what, each earlier value with a button that brings it back, and a deleted record too."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import urlencode
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.generic import View

from api.http.conditional import id_from_path
from api.http.verdicts import refusal_of
from lots.merge import DELETED
from pages.browser import read_as_member, work_for
from pages.record_fields import address_of, options_for, record_name
from pages.record_forms import NOTHING, problem_sentence, value_text
from pages.records import change_record, schema_named
from pages.session_rows import deleted_of_session
from tastings.queries.records import history_for, record_for
from tastings.wording.fields import RECORD_TYPES, field_label
from tastings.wording.numbers import day_and_time
from tastings.wording.record_pages import DELETED as DELETED_WORDS
from teams.errors import Invalid, NotFound
from teams.queries.people import names_of_members, require_writer

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lots.schema import Field, RecordSchema
    from pages.record_forms import Options
    from teams.models import Member

    History = Mapping[str, list[dict[str, object]]]

_BRINGS_BACK = {"lot": "name", "session": "started_at", "infusion": "steep_s", "note": "moment", "descriptor": "label",
                "pot": "name"}  # fmt: skip
"""The field that is written anew to bring a deleted record back: one that every record of the type has."""


class RecordHistoryPage(View):
    """The history of one record, deleted or not."""

    def get(self, request: HttpRequest, record_type: str, record_id: str) -> HttpResponse:
        """Show who set what, and every earlier value."""
        schema, member, record, history = self._found(request, record_type, record_id)
        return _render(request, member, schema, record, history)

    def post(self, request: HttpRequest, record_type: str, record_id: str) -> HttpResponse:
        """Bring back the values of ``field`` at the moment ``at``, else the latest; with ``deleted`` the record."""
        schema, member, record, history = self._found(request, record_type, record_id)
        require_writer(member)
        fields = _values_to_restore(schema, history, request.POST.getlist("field"), at=request.POST.get("at", ""))
        if not fields:
            return redirect(request.path)
        verdict = change_record(member, record_type, record, fields)
        if verdict.verdict == "refused":
            refused = refusal_of(verdict)
            if not isinstance(refused, Invalid):
                raise refused
            labels = {field.name: field_label(record_type, field.name) for field in schema.fields}
            reasons = [
                f"{labels.get(problem.field, problem.field)}: {problem_sentence(problem, labels)}"
                for problem in verdict.problems
            ]
            return _render(request, member, schema, record, history, reasons=reasons)
        query = urlencode({"saved": [name for name in fields if name not in _restoring(request)]}, doseq=True)
        return redirect(f"{address_of(record_type, record)}?{query}".rstrip("?"))

    def _found(
        self, request: HttpRequest, record_type: str, record_id: str
    ) -> tuple[RecordSchema, Member, UUID, History]:
        def read(member: Member) -> tuple[RecordSchema, UUID, History]:
            schema, record = schema_named(record_type), id_from_path(record_id)
            return schema, record, history_for(member, record_type, record)

        member, (schema, record, history) = read_as_member(request, read)
        return schema, work_for(member), record, history


def _restoring(request: HttpRequest) -> set[str]:
    """Return the field that only brings a deleted record back and keeps its value."""
    return set(_BRINGS_BACK.values()) if DELETED in request.POST.getlist("field") else set()


def _values_to_restore(schema: RecordSchema, history: History, names: list[str], *, at: str) -> dict[str, object]:
    """Return the values to bring back: each field's at the given moment, else its latest overwritten one."""
    current = {str(entry["field"]): entry["value"] for entry in history["current"]}
    values: dict[str, object] = {}
    for name in names:
        if name == DELETED:
            again = _BRINGS_BACK[schema.type]
            values[again] = current.get(again)
        elif name in schema.by_name():
            earlier = [entry for entry in history["overwritten"] if entry["field"] == name and at in ("", entry["at"])]
            if earlier or not at:
                values[name] = earlier[0]["value"] if earlier else None
    return values


def _render(  # noqa: PLR0913 - what the page shows
    request: HttpRequest,
    member: Member,
    schema: RecordSchema,
    record: UUID,
    history: History,
    *,
    reasons: list[str] | None = None,
) -> HttpResponse:
    values = {str(item["field"]): item["value"] for item in history["current"]}
    people = names_of_members(member)
    options = options_for(member, schema.type, UUID(str(values["session"])) if schema.type == "note" else None)
    if "session" in values:
        options["session"] = _name_of_session(member, str(values["session"]))
    # an id says nothing to people
    fields = [field for field in schema.fields if field.kind != "reference" or field.name in options]
    described = [_row(schema.type, field, history, people=people, options=options) for field in fields]
    rows = [row for row in described if row is not None]
    set_once = [row for row in rows if not row.earlier and row.now.value != NOTHING]
    by_edit = Counter(row.now.edit for row in set_once)
    most_set = max(by_edit, key=by_edit.__getitem__, default=None)
    context = {
        "type": schema.type,
        "type_name": RECORD_TYPES[schema.type],
        "record": record,
        "name": record_name(member, schema.type, values),
        "deleted": _is_deleted(member, schema.type, record),
        "deleted_text": DELETED_WORDS[schema.type],
        "changed": [row for row in rows if row.earlier],
        "once": [(row, row.now.edit != most_set) for row in set_once],
        "first": None if most_set is None else {"who": most_set[0], "when": most_set[1]},
        "reasons": reasons,
        "deleted_rows": deleted_of_session(member, record) if schema.type == "session" else [],
        "may_write": member.may_write,
        "list": reverse("lots-page"),
    }
    return render(request, "pages/record_history.html", context, status=422 if reasons else 200)


def _name_of_session(member: Member, session: str) -> dict[str, str]:
    """Return what a session is called, by its id: its lot and when it began; nothing of one that is deleted."""
    try:
        record = record_for(member, "session", UUID(session))
    except NotFound:
        return {}
    began = day_and_time(str(record.fields["started_at"]))
    return {session: ", ".join(filter(None, (record_name(member, "session", record.fields), began)))}


def _is_deleted(member: Member, type_name: str, record: UUID) -> bool:
    try:
        record_for(member, type_name, record)
    except NotFound:
        return True
    return False


@dataclass(frozen=True, slots=True)
class ShownValue:
    """A value that a field has or had: by whom and when it was set, for people, and its moment."""

    value: str
    who: str
    when: str
    at: str

    @property
    def edit(self) -> tuple[str, str]:
        """By whom and when, for people."""
        return self.who, self.when


@dataclass(frozen=True, slots=True)
class ShownField:
    """A field with its present value and the earlier ones; ``fixed`` if nobody can change it."""

    name: str
    label: str
    now: ShownValue
    earlier: list[ShownValue]
    fixed: bool


def _row(
    type_name: str, field: Field, history: History, *, people: Mapping[str, str], options: Options
) -> ShownField | None:
    """Return a field's values; None for one that was never set."""

    def written(change: Mapping[str, object]) -> ShownValue:
        at = str(change["at"])
        author = people.get(str(change["by"])) or _("somebody")
        return ShownValue(value=value_text(field, change["value"], options), who=author, when=day_and_time(at), at=at)

    current = [written(change) for change in history["current"] if change["field"] == field.name]
    if not current:
        return None
    earlier = [written(change) for change in history["overwritten"] if change["field"] == field.name]
    label = field_label(type_name, field.name)
    return ShownField(field.name, label, now=current[0], earlier=earlier, fixed=field.fixed)
