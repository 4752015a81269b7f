"""What the OpenAPI document says of every operation: fields of records, problem documents, pages, headers."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, TypedDict, TypeVar, Unpack, cast

from django.utils.functional import lazy
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers as s
from rest_framework.views import APIView

from api.http.conditional import DEFAULT_LIMIT, MAX_LIMIT
from api.http.fields import LimitedFloatField
from api.http.problem_types import CODES, TYPES, problem_type
from api.http.query_parameters import refuses_other_parameters
from lots.schema import Field, RecordSchema
from tastings.queries.exporting.glossary import GLOSSARY

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

Serializer = type[s.Serializer[object]]
SerializerField = s.Field[Any, Any, Any, Any]  # djangorestframework-stubs' serializers hold their fields as this
"""A field of whatever type."""
Responses = dict[int | tuple[int, str], object]
"""What an operation answers, by status or by status and media type."""
ViewMethod = TypeVar("ViewMethod", bound=Callable[..., object])


def meaning(field: Field) -> str | None:
    """Return what a record's field means, in English; None if its name says it all."""
    return field.about or GLOSSARY.get(field.name)


class FieldOptions(TypedDict):
    """What every serializer field made from a record's field is given."""

    required: bool
    allow_null: bool
    help_text: str | None


_FIELDS: Mapping[str, Callable[..., SerializerField]] = {
    "truth": s.BooleanField,
    "date": s.DateField,
    "moment": s.DateTimeField,
    "reference": s.UUIDField,
}


def record_field(field: Field, *, required: bool) -> SerializerField:
    """Return the serializer field of a record's field."""
    options = FieldOptions(required=required, allow_null=not field.required, help_text=meaning(field))
    match field.kind:
        case "number":
            return LimitedFloatField(
                above=field.above, step=step_of(field), min_value=field.low, max_value=field.high, **options
            )
        case "integer":
            low, high = (None if limit is None else int(limit) for limit in (field.low, field.high))
            return s.IntegerField(min_value=low, max_value=high, **options)
        case "truth" | "date" | "moment" | "reference":
            return _FIELDS[field.kind](**options)
        case "choice":
            return s.ChoiceField(choices=list(field.choices), **options)
        case "references":
            most = int(field.high or 50)
            return s.ListField(
                child=s.UUIDField(), min_length=int(field.low or 0), max_length=most,
                required=required, help_text=meaning(field),
            )  # fmt: skip
        case "texts":
            return s.ListField(child=s.CharField(max_length=field.longest, allow_blank=True), max_length=50, **options)
        case _:
            if field.pattern:
                return s.RegexField(f"^{field.pattern}$", max_length=field.longest, **options)
            return s.CharField(max_length=field.longest, allow_blank=not field.required, **options)


def step_of(field: Field) -> float | None:
    """Return the step in which a number is stored; None for any."""
    return None if field.decimals is None else round(10**-field.decimals, field.decimals)


def inline_object(name: str, /, **fields: SerializerField) -> Serializer:
    """Return a serializer with this name and these fields, which describes a JSON object."""
    return type(name, (s.Serializer,), fields)


def _list(words: Mapping[str, StrOrPromise]) -> str:
    return "one of " + "; ".join(f"`{word}` ({meaning})" for word, meaning in words.items())


_listed = lazy(_list, str)
"""The words with their meanings, in the language in which the document is written."""


PROBLEM_ITEM = inline_object(
    "ProblemItem",
    field=s.CharField(allow_blank=True, help_text="empty when it is not about one field"),
    code=s.CharField(help_text=_listed(CODES)),
    detail=s.CharField(),
)


PROBLEM = inline_object(
    "Problem",
    type=s.CharField(help_text=_listed({problem_type(code): why for code, why in TYPES.items()})),
    title=s.CharField(),
    status=s.IntegerField(),
    detail=s.CharField(),
    problems=PROBLEM_ITEM(many=True),
)


_BAD_BODY = (400, 413, 415, 422)
"""Statuses of the refusals of every operation that takes a body."""


def paginated(item: Serializer, name: str) -> Serializer:
    """Return one page of a list."""
    return inline_object(name, results=item(many=True), next=s.URLField(allow_null=True))


_IF_NONE_MATCH = OpenApiParameter(
    "If-None-Match", str, OpenApiParameter.HEADER, description="answers 304 when it still holds"
)
IF_MATCH = OpenApiParameter("If-Match", str, OpenApiParameter.HEADER, description="answers 412 unless it still holds")
LOCATION = OpenApiParameter(
    "Location", OpenApiTypes.URI, OpenApiParameter.HEADER, description="its address", response=[201]
)
NEW_ETAG = OpenApiParameter("ETag", str, OpenApiParameter.HEADER, description="its revision", response=[200, 201])
_LIMIT = {"type": "integer", "minimum": 1, "maximum": MAX_LIMIT, "default": DEFAULT_LIMIT}
PAGING = (
    OpenApiParameter("after", OpenApiTypes.UUID, description="continue after this id"),
    OpenApiParameter("limit", _LIMIT, description="how many at most"),
)


class _Described(TypedDict, total=False):
    """What `drf_spectacular.utils.extend_schema` takes."""

    operation_id: str
    summary: str
    parameters: Sequence[OpenApiParameter]
    request: object
    examples: Sequence[OpenApiExample]
    auth: Sequence[str]


def operation(
    responses: Responses, refusals: Sequence[int] = (), **options: Unpack[_Described]
) -> Callable[[ViewMethod], ViewMethod]:
    """Describe one operation: what it answers, and the statuses of its refusals; it refuses other query parameters.

    Every operation may answer 401, 406, 422 and 429; one that takes a body also `_BAD_BODY`.
    """
    refusals = (*(_BAD_BODY if options.get("request") is not None else ()), *refusals, 401, 406, 422, 429)
    problems = {(status, "application/problem+json"): PROBLEM for status in refusals}
    describe = extend_schema(responses={**responses, **problems}, **options)
    known = [
        parameter.name for parameter in options.get("parameters", ()) if parameter.location == OpenApiParameter.QUERY
    ]

    def decorate(method: ViewMethod) -> ViewMethod:
        return cast("ViewMethod", describe(refuses_other_parameters(method, known=known)))

    return decorate


def describe_methods(view: type[APIView], **operations: Callable[[Callable[..., object]], object]) -> None:
    """Describe methods that a view has from its base, each by what `operation` returns."""
    for name, describe in operations.items():
        setattr(view, name, describe(getattr(view, name)))


def conditional_get(
    answer: object, refusals: Sequence[int] = (), *, media_type: str = "", **options: Unpack[_Described]
) -> Callable[[ViewMethod], ViewMethod]:
    """Describe a read that answers with an ETag, or with 304 to a caller who has this version; JSON by default."""
    options["parameters"] = [*options.get("parameters", ()), _IF_NONE_MATCH]
    key = (200, media_type) if media_type else 200
    return operation({key: answer, 304: OpenApiResponse(description="unchanged")}, refusals, **options)


def query_parameter(
    name: str, field: Field | None, description: str = "only those with this value"
) -> OpenApiParameter:
    """Return the parameter that a record's field, or without one an id, is in a query; by default it filters a list."""
    kinds: dict[str, type[float | bool] | OpenApiTypes] = {
        "integer": int,
        "number": float,
        "truth": bool,
        "reference": OpenApiTypes.UUID,
    }
    kind = kinds.get(field.kind, str) if field is not None else OpenApiTypes.UUID
    choices = list(field.choices) if field is not None and field.choices else None
    return OpenApiParameter(name, kind, enum=choices, description=description)


def schema_fields(schema: RecordSchema, *, required: bool | None = None) -> dict[str, SerializerField]:
    """Return a schema's fields as a body has them: all, any, or by default those that the schema requires."""
    return {
        field.name: record_field(field, required=field.required if required is None else required)
        for field in schema.fields
    }


def server_fields(schema: RecordSchema) -> dict[str, SerializerField]:
    """Return the fields of a record that the server sets."""
    known: dict[str, SerializerField] = {
        "taster": s.UUIDField(required=False, help_text="who tasted"),
        "built_in": s.BooleanField(required=False, help_text="belongs to no team and cannot be changed"),
    }
    return {name: known[name] for name in schema.server_fields}
