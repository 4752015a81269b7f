"""Codes for what is wrong with a field or a request, which programs go by, with their meanings.

The OpenAPI document lists them, and ``/problems/<type>`` is a page about each type.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

PATH = "/problems/"


def problem_type(code: str) -> str:
    """Return the URI of a type of problems, relative to the server: ``/problems/not-here``."""
    return f"{PATH}{code.replace('_', '-')}"


CODES: Mapping[str, StrOrPromise] = {
    "changed": _("is no longer at the revision that was expected"),
    "characters": _("holds a NUL or a lone surrogate"),
    "choice": _("is none of the values there are"),
    "circle": _("leads back to the record itself"),
    "conflict": _("does not fit with what someone else has just stored"),
    "date": _("is no date"),
    "fixed": _("cannot change once it is set"),
    "future": _("lies too far ahead"),
    "id": _("is no UUID"),
    "itself": _("names the record itself"),
    "moment": _("is no RFC 3339 time with its offset"),
    "not_allowed": _("is not for this member to change"),
    "not_yours": _("is another member's to change: of their tastings, of what they made, or of a purchase"),
    "offset": _("is not where the upload stands; detail and the answer's Upload-Offset say where that is"),
    "one_of": _("must be named alone: exactly one of the fields that detail names"),
    "order": _("is more than the field that bounds it"),
    "other_session": _("is an infusion of another session"),
    "other_style": _("does not go with the style of brewing asked for"),
    "overlap": _("lies over the other region"),
    "parent_deleted": _("names a deleted record: the change stands, and shows once that record is brought back"),
    "pattern": _("does not have the form it must have"),
    "quota": _("goes beyond what the team or the member may store; detail names the quota"),
    "range": _("is below or above what is allowed"),
    "read_only": _("is set by the server"),
    "required": _("must be there and not empty"),
    "seq": _("is no whole number from 1"),
    "step": _("has more decimals than are stored"),
    "taken": _("is in use"),
    "weak": _("is a password that is easily guessed"),
    "too_long": _("has too many characters"),
    "type": _("is of another type"),
    "not_sample": _("is no sample: a flight chooses among samples"),
    "unknown_field": _("is not part of this record or body"),
    "unknown_filter": _("is no query parameter of this address"),
    "unknown_parent": _("names what the server has never seen: send that first, then this again"),
    "unknown_record": _("is a deletion of what the server has never seen"),
    "wrong": _("is not the present one"),
    "with_deleted": _("comes with a deletion, which carries no fields"),
}
"""Meanings of the codes of fields."""
TYPES: Mapping[str, StrOrPromise] = {
    "authentication_failed": _("the token has ended or never was one"),
    "bad_request": _("cannot be served at all, such as for a host that is not ours"),
    "broken": _("our fault; it is in the log"),
    "changed": _("If-Match named a revision that is no longer current"),
    "disk_full": _("no room for more photos just now: what was acknowledged is safe, send the piece again later"),
    "document_failed": _("the report or card could not be typeset; the log says why"),
    "invalid_key": _("Idempotency-Key must be 1 to 255 printable characters of ASCII"),
    "key_in_use": _("the first request with this Idempotency-Key is still being answered: send it again in a moment"),
    "key_reused": _("this Idempotency-Key came before with another request: take a new one for a new request"),
    "invalid": _("some fields are not valid; problems names each"),
    "method_not_allowed": _("this address does not take this method"),
    "not_acceptable": _("only JSON is spoken here"),
    "not_allowed": _("the member's role or the record does not allow this"),
    "not_authenticated": _("no token came with the request"),
    "not_here": _("absent, deleted, another team's or hidden; the answer does not say which"),
    "not_served": _("the web server was started without live events"),
    "busy": _("too many requests or listeners just now: Retry-After says in how many seconds to come back"),
    "not_yet": _("the photo is not stored: still on its way, or refused"),
    "not_signed_in": _("wrong name or password, or not in that team"),
    "parse_error": _("the body is not JSON in UTF-8, or not gzip though it says so"),
    "quota_full": _("the team or the member has as much as it may: nothing was stored; an owner sees how much is used"),
    "refused": _("refused for a reason given in detail"),
    "start_again": _(
        "the cursor cannot be used: deletions after it are forgotten, it is another team's, or it is ahead of the team"
        " since an older backup was restored; nothing was applied, pull from cursor 0"
    ),
    "team_moved": _("the team lives on another server, to which this one could not pass the request on"),
    "team_moving": _("the team is moving to another server: Retry-After says in how many seconds to send it again"),
    "throttled": _("too many attempts or requests: Retry-After says in how many seconds to come back"),
    "too_slow": _("the body came too slowly; nothing was applied, send it again"),
    "unavailable": _("the database is away for a moment: Retry-After says in how many seconds to come back"),
    "photos_unavailable": _("the store of photos is away: Retry-After says in how many seconds to send it again"),
    "too_large": _("more than 2 MiB unpacked, 1,000 changes, or 1 MiB of a photo; nothing was applied"),
    "under_way": _("the team's last export is still being made: one at a time"),
    "unknown_schema": _("a version of the records that is not spoken here; detail names those that are"),
    "unsupported_media_type": _("the body is not application/json (of a photo's piece: application/octet-stream)"),
    "wrong_state": _("the flight has not come so far, or has gone further"),
    "wrong_offset": _("the upload stands elsewhere; problems and the answer's Upload-Offset say where"),
}
"""Meanings of the problems of requests, by the last part of their type."""
