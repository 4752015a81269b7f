"""The rows of a session's page: its infusions and notes, each leading to its own page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.urls import reverse
from django.utils.translation import gettext as _

from pages.record_fields import address_of, children_of, infusion_name, options_for
from pages.record_forms import value_text
from tastings.queries.records import deleted_records
from tastings.schemas import RECORD_SCHEMAS
from tastings.wording.fields import RECORD_TYPES
from tastings.wording.labels import MOMENTS, label
from tastings.wording.numbers import duration

if TYPE_CHECKING:
    from collections.abc import Mapping
    from uuid import UUID

    from tastings.queries.records import Record
    from teams.models import Member


def next_number(member: Member, session: UUID) -> int:
    """Return the number of a session's next infusion: 1 for the first, which is proposed as no rinse."""
    numbers = [int(str(infusion.fields["number"])) for infusion in children_of(member, "infusion", session)]
    return max(numbers, default=0) + 1


def rows_of_session(member: Member, session: Record, *, poured: str = "") -> dict[str, object]:
    """Return the rows of a session's infusions and notes, each leading to its page.

    ``poured`` is the id of the infusion that was just added, which the page says.
    """
    infusions = children_of(member, "infusion", session.id)
    names = {str(infusion.id): infusion_name(infusion.fields["number"]) for infusion in infusions}
    words = options_for(member, "note")["descriptor"]
    note_schema = RECORD_SCHEMAS["note"].by_name()
    notes = [
        (
            str(note.fields.get("infusion") or ""),
            {
                "href": address_of("note", note.id),
                "name": words.get(str(note.fields.get("descriptor")), ""),
                "points": value_text(note_schema["intensity"], note.fields.get("intensity"), {})
                if note.fields.get("intensity") is not None
                else "",
                # in the mouth is where most is noted of an infusion
                "moment": ""
                if note.fields["moment"] == "mouth" and note.fields.get("infusion")
                else label(MOMENTS, str(note.fields["moment"])),
                "text": note.fields.get("text") or "",
            },
        )
        for note in children_of(member, "note", session.id)
    ]
    notes.sort(key=lambda note: (not note[1]["points"], _note_order(note[1]["name"], words), note[1]["moment"]))
    return {
        "infusions": [
            {
                "href": address_of("infusion", infusion.id),
                "name": names[str(infusion.id)],
                "steep": duration(float(str(infusion.fields["steep_s"]))),
                "notes": [note for of, note in notes if of == str(infusion.id)],
            }
            for infusion in infusions
        ],
        "notes": [note for of, note in notes if of not in names],
        "deleted": deleted_of_session(member, session.id),
        "poured": _("%(infusion)s is saved.") % {"infusion": names[poured]} if poured in names else "",
    }


def deleted_of_session(member: Member, session: UUID) -> list[dict[str, str]]:
    """Return what was deleted of a session, each leading to its history, which brings it back."""
    words = options_for(member, "note")["descriptor"]
    rows = [
        (record.id, "infusion", infusion_name(record.fields["number"]))
        for record in deleted_records(member, "infusion", session)
    ]
    for record in deleted_records(member, "note", session):
        name = words.get(str(record.fields.get("descriptor")), "") or str(record.fields.get("text") or "")
        rows.append((record.id, "note", name))
    return [
        {"href": reverse("record-history", args=[kind, record]), "kind": str(RECORD_TYPES[kind]), "name": name}
        for record, kind, name in rows
    ]


def _note_order(name: object, words: Mapping[str, str]) -> tuple[bool, str]:
    """Return where a word stands among the notes of one infusion: strength first, then by name."""
    return name != words.get("strength"), str(name).casefold()
