"""The audit log in the browser, by day; several like entries in a row are shown as one."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.generic import View

from api.http.conditional import id_from_path
from pages.browser import chosen_member
from pages.record_forms import value_text
from tastings.queries.flights import names_of_flights
from tastings.queries.records import names_of_lots
from tastings.schemas import RECORD_SCHEMAS
from tastings.wording.fields import RECORD_TYPES, field_label
from tastings.wording.numbers import clock, day
from tastings.wording.people import DETAILS, EVENT_GROUPS, EVENTS, ROLES
from teams.queries.access import list_audit
from teams.queries.people import is_id, names_of_members, shops_of

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from teams.models import AuditEntry, Member

ALL, ACCESS = "all", "access"
"""Values of ``?what=``: all events, and the group of signing in."""
Entry = dict[str, object]
_ENTRIES = 50
"""Entries of the audit log on one page."""
_SUBJECTS = ("lot", "flight", "member")
"""Details of an entry that name what was changed."""


class AuditLog(View):
    """What was done in the team that others may ask about."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """List it, the latest first: ``?what=`` takes an event or a group of them, ``?who=`` a login."""
        member = chosen_member(request)
        event, login, after = (request.GET.get(name, "") for name in ("what", "who", "after"))
        people = names_of_members(member)
        event, login = event if event in {ALL, *EVENTS, *EVENT_GROUPS} else "", login if login in people else ""
        entries = list_audit(
            member,
            events=events_named(event),
            login=id_from_path(login) if login else None,
            after=id_from_path(after) if after else None,
            limit=_ENTRIES + 1,
        )
        names = names_in_audit(member)
        earlier = {"what": event, "who": login, "after": entries[_ENTRIES - 1].id} if len(entries) > _ENTRIES else {}
        context = {
            "days": _by_day([audit_entry(entry, names) for entry in entries[:_ENTRIES]]),
            "groups": [
                (code, words, [(event, EVENTS[event]) for event in events])
                for code, (words, events) in EVENT_GROUPS.items()
            ],
            "people": sorted(people.items(), key=lambda item: item[1].casefold()),
            "what": event,
            "who": login,
            "more": f"?{urlencode(earlier)}" if earlier else "",
        }
        return render(request, "pages/audit.html", context)


def events_named(name: str = "") -> Collection[str] | None:
    """Return the events that a name stands for; without a name all but signing in, which would be most of them."""
    if name == ALL:
        return None
    return (
        EVENT_GROUPS[name][1] if name in EVENT_GROUPS else {name} if name else EVENTS.keys() - EVENT_GROUPS[ACCESS][1]
    )


def _by_day(entries: Iterable[Entry]) -> list[tuple[object, list[list[Entry]]]]:
    """Return the days with their rows; a row is one entry, or several like entries of one person."""
    return [
        (on, [list(alike) for _key, alike in groupby(of_day, key=lambda entry: (entry["what"], entry["who"]))])
        for on, of_day in groupby(entries, key=lambda entry: entry["day"])
    ]


def audit_entry(entry: AuditEntry, names: dict[str, str], *, without: str = "") -> Entry:
    """Describe one entry; ids become names, and are left out where there is no name.

    ``without`` names a detail that the page says already.
    """
    type_name = str(entry.about.get("type", ""))

    def words(detail: str, value: object) -> str:
        if detail == "fields" and isinstance(value, list):
            return ", ".join(field_label(type_name, str(name)) for name in value)
        if isinstance(value, list):
            return ", ".join(filter(None, (words(detail, item) for item in value)))
        text = str(value)
        return names.get(text, "" if is_id(text) else text)

    about = {name: value for name, value in entry.about.items() if name != without}
    subject = next((name for name in _SUBJECTS if name in about and words(name, about[name])), "")
    details = [(label, words(name, about[name])) for name, label in DETAILS.items() if name in about.keys() - {subject}]
    return {
        "day": day(entry.at),
        "time": clock(entry.at),
        "who": str(entry.who) if entry.who else "",
        "what": EVENTS.get(entry.what, entry.what),
        "subject": words(subject, about[subject]) if subject else "",
        "href": _address(subject, str(about.get(subject))),
        "details": [(label, text) for label, text in details if text],
        "changes": _changes(about.get("changes", {}), names),
    }


def _address(subject: str, identifier: str) -> str:
    """Return the address of what was changed; for a lot that of its history, which a deleted lot has too."""
    if not is_id(identifier):
        return ""
    match subject:
        case "lot":
            return reverse("record-history", args=["lot", identifier])
        case "flight":
            return reverse("flight", args=[identifier])
        case _:
            return ""


def _changes(changes: dict[str, Sequence[object]], names: dict[str, str]) -> list[tuple[str, str, str]]:
    """Return each changed field of a lot with its value before and after; a new price has its currency."""
    rows = {name: (field_label("lot", name), *_change(name, pair, names)) for name, pair in changes.items()}
    if {"price_per_kg", "currency"} <= rows.keys():
        (label, before, after), (_label, currency_before, currency) = rows["price_per_kg"], rows.pop("currency")
        rows["price_per_kg"] = (label, f"{before} {currency_before}".strip(), f"{after} {currency}")
    return list(rows.values())


def _change(name: str, pair: Sequence[object], names: dict[str, str]) -> tuple[str, str]:
    """Return a field's value before and after, empty for no value; or only that it was changed."""
    if not pair:
        return "", _("changed")
    field = RECORD_SCHEMAS["lot"].by_name()[name]
    before, after = (value_text(field, value, {"from_lot": names}) for value in pair)
    return "" if pair[0] is None else before, after


def names_in_audit(member: Member) -> dict[str, str]:
    """Return the names of the ids and codes in the audit log: people, shops, lots, roles, record types."""
    names = names_of_members(member)
    names |= {str(shop.id): shop.name for shop in shops_of(member)}
    names |= names_of_lots(member) | names_of_flights(member)
    return names | {code: str(words) for code, words in (*ROLES.items(), *RECORD_TYPES.items())}
