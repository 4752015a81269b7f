"""What the OpenAPI document says of every operation: fields of records, problem documents, pages, headers."""

from collections.abc import Callable, Mapping
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers as s

from lots.schema import Field, RecordSchema

Serializer = type[s.Serializer[Any]]


def record_field(field: Field, *, required: bool) -> s.Field[Any, Any, Any, Any]:
    """Return the serializer field of a record's field."""
    given: dict[str, Any] = {"required": required, "allow_null": not field.required}
    if field.about:
        given["help_text"] = field.about
    if field.low is not None:
        given["min_value"] = field.low
    if field.high is not None:
        given["max_value"] = field.high
    match field.kind:
        case "number":
            if field.above is not None:
                given["help_text"] = f"more than {field.above:g}"
            return s.FloatField(**given)
        case "integer":
            return s.IntegerField(**given)
        case "truth":
            return s.BooleanField(**given)
        case "date":
            return s.DateField(**given)
        case "moment":
            return s.DateTimeField(**given)
        case "choice":
            return s.ChoiceField(choices=list(field.choices), **given)
        case "reference":
            return s.UUIDField(**given)
        case "references":
            most = int(field.high or 50)
            given = {"required": required, "help_text": field.about}
            return s.ListField(child=s.UUIDField(), min_length=int(field.low or 0), max_length=most, **given)
        case "texts":
            return s.ListField(child=s.CharField(max_length=field.longest, allow_blank=True), max_length=50, **given)
        case _:
            if field.pattern:
                return s.RegexField(f"^{field.pattern}$", max_length=field.longest, **given)
            return s.CharField(max_length=field.longest, allow_blank=not field.required, **given)


def inline_object(name: str, /, **fields: s.Field[Any, Any, Any, Any]) -> Serializer:
    """Return what a JSON object with these fields is called and looks like."""
    return type(name, (s.Serializer,), fields)


CODES = {
    "changed": "is no longer at the revision that was expected",
    "characters": "holds a NUL or a lone surrogate",
    "choice": "is none of the values there are",
    "conflict": "does not fit with what someone else has just stored",
    "date": "is no date",
    "fixed": "cannot change once it is set",
    "id": "is no UUID",
    "itself": "names the record itself",
    "moment": "is no RFC 3339 time with its offset",
    "not_allowed": "is not for this member to change",
    "offset": "is not where the upload stands; detail and the answer's Upload-Offset say where that is",
    "one_of": "must be named alone: exactly one of the fields that detail names",
    "order": "is more than the field that bounds it",
    "other_session": "is an infusion of another session",
    "other_style": "does not go with the style of brewing asked for",
    "overlap": "lies over the other region",
    "pattern": "does not have the form it must have",
    "quota": "goes beyond what the team or the member may store; detail names the quota",
    "range": "is below or above what is allowed",
    "read_only": "is set by the server",
    "required": "must be there and not empty",
    "step": "has more decimals than are stored",
    "taken": "is in use",
    "weak": "is a password that is easily guessed",
    "too_long": "has too many characters",
    "type": "is of another type",
    "not_sample": "is no sample: a flight chooses among samples",
    "unknown_field": "is not part of this record or body",
    "unknown_filter": "is nothing to filter by",
    "unknown_parent": "names what the server has never seen: send that first, then this again",
    "unknown_record": "is a deletion of what the server has never seen",
    "wrong": "is not the present one",
    "with_deleted": "comes with a deletion, which carries no fields",
}
"""What is wrong with a field, by the code that programs go by."""
TYPES = {
    "authentication_failed": "the token has ended or never was one",
    "bad_request": "cannot be served at all, such as for a host that is not ours",
    "broken": "our fault; it is in the log",
    "changed": "If-Match named a revision that is no longer current",
    "disk_full": "no room for more photos just now: nothing that was acknowledged is lost, send the piece again later",
    "invalid": "some fields are not valid; problems names each",
    "method_not_allowed": "this address does not take this method",
    "not_acceptable": "only JSON is spoken here",
    "not_allowed": "the member's role or the record does not allow this",
    "not_authenticated": "no token came with the request",
    "not_here": "absent, deleted, another team's or hidden; the answer does not say which",
    "not_served": "the web server was started without live events",
    "busy": "too many listeners; sync still works",
    "not_yet": "the photo is not stored: still on its way, or refused",
    "not_signed_in": "wrong name or password, or not in that team",
    "parse_error": "the body is not JSON in UTF-8, or not gzip though it says so",
    "quota_full": "the team or the member has as much as it may: nothing was stored; an owner sees how much is used",
    "refused": "refused for a reason given in detail",
    "start_again": "the cursor is older than the deletions still known: nothing was applied, pull from cursor 0",
    "throttled": "too many attempts or requests: Retry-After says in how many seconds to come back",
    "too_large": "more than 2 MiB unpacked, 1,000 changes, or 1 MiB of a photo; nothing was applied",
    "under_way": "the team's last export is still being made: one at a time",
    "unknown_schema": "a version of the records that is not spoken here; detail names those that are",
    "unsupported_media_type": "the body is not application/json (of a photo's piece: application/octet-stream)",
    "wrong_state": "the flight has not come so far, or has gone further",
    "wrong_offset": "the upload stands elsewhere; problems and the answer's Upload-Offset say where",
}
"""What is wrong with a request, by the last part of the problem's type."""


def _listed(words: Mapping[str, str], form: str = "{}") -> str:
    return "one of " + "; ".join(f"`{form.format(word)}` ({meaning})" for word, meaning in words.items())


PROBLEM_ITEM = inline_object(
    "ProblemItem",
    field=s.CharField(allow_blank=True, help_text="empty when it is not about one field"),
    code=s.CharField(help_text=_listed(CODES)),
    detail=s.CharField(),
)


PROBLEM = inline_object(
    "Problem",
    type=s.CharField(help_text=_listed({code.replace("_", "-"): why for code, why in TYPES.items()}, "/problems/{}")),
    title=s.CharField(),
    status=s.IntegerField(),
    detail=s.CharField(),
    problems=PROBLEM_ITEM(many=True),
)


def problem_responses(*codes: int) -> dict[Any, Any]:
    """Return the documented refusals: problem documents after RFC 9457."""
    return {(code, "application/problem+json"): PROBLEM for code in codes}


BAD_BODY = problem_responses(400, 413, 415, 422)
"""The refusals of every operation that takes a body."""


def paginated(item: Serializer, name: str) -> Serializer:
    """Return one page of a list."""
    return inline_object(name, results=item(many=True), next=s.URLField(allow_null=True))


ETAG = OpenApiParameter("If-None-Match", str, OpenApiParameter.HEADER, description="answers 304 when it still holds")
RETRY_AFTER = OpenApiParameter(
    "Retry-After", int, OpenApiParameter.HEADER, description="seconds until it is worth asking again", response=[429]
)
IF_MATCH = OpenApiParameter("If-Match", str, OpenApiParameter.HEADER, description="answers 412 unless it still holds")
PAGING = (
    OpenApiParameter("after", OpenApiTypes.UUID, description="continue after this id"),
    OpenApiParameter("limit", int, description="1 to 500, default 100"),
)
NOT_MODIFIED = {304: OpenApiResponse(description="unchanged")}


def operation(**given: Any) -> Callable[[Any], Any]:  # noqa: ANN401 - passed through
    """Describe one operation; every one may answer 401, 406 and 429."""
    responses = given.pop("responses", {})
    parameters = [*given.pop("parameters", []), RETRY_AFTER]
    return extend_schema(responses={**responses, **problem_responses(401, 406, 429)}, parameters=parameters, **given)


def schema_fields(schema: RecordSchema) -> dict[str, s.Field[Any, Any, Any, Any]]:
    """Return a schema's fields as a body has them."""
    return {field.name: record_field(field, required=field.required) for field in schema.fields}


def optional_schema_fields(schema: RecordSchema) -> dict[str, s.Field[Any, Any, Any, Any]]:
    """Return a schema's fields as the body of a change has them: any of them."""
    return {field.name: record_field(field, required=False) for field in schema.fields}
