"""Types of the OpenAPI document's JSON, as far as code here and in the pages reads it."""

from __future__ import annotations

from typing import TypedDict

_Reference = TypedDict("_Reference", {"$ref": str}, total=False)


class Schema(_Reference, TypedDict, total=False):
    """A JSON Schema of the document."""

    type: str | list[str]
    description: str
    allOf: list[Schema]
    oneOf: list[Schema]
    properties: dict[str, Schema]
    required: list[str]
    additionalProperties: Schema | bool
    items: Schema
    enum: list[str]
    const: object
    default: object
    examples: list[object]
    format: str
    pattern: str
    minimum: float
    exclusiveMinimum: float
    maximum: float
    multipleOf: float
    minLength: int
    maxLength: int
    minItems: int
    maxItems: int


class DescribedExample(TypedDict):
    """An example of a body."""

    summary: str
    value: object


class Content(TypedDict, total=False):
    """A body in one media type."""

    schema: Schema
    examples: dict[str, DescribedExample]


class DescribedBody(TypedDict):
    """What a request carries, by media type."""

    content: dict[str, Content]


class DescribedAnswer(TypedDict, total=False):
    """What comes back with one status."""

    description: str
    content: dict[str, Content]
    headers: dict[str, object]


Parameter = TypedDict(
    "Parameter",
    {"$ref": str, "in": str, "name": str, "description": str, "required": bool, "schema": Schema},
    total=False,
)
"""A parameter, or a reference to one."""


class DescribedOperation(TypedDict, total=False):
    """One method of one address."""

    operationId: str
    summary: str
    description: str
    tags: list[str]
    security: list[dict[str, list[str]]]
    parameters: list[Parameter]
    requestBody: DescribedBody
    responses: dict[str, DescribedAnswer]


class Tag(TypedDict):
    """A resource's name, and what it is."""

    name: str
    description: str


class Components(TypedDict):
    """What the document refers to by name."""

    schemas: dict[str, Schema]
    parameters: dict[str, Parameter]
    headers: dict[str, dict[str, object]]


class APIDocument(TypedDict):
    """The OpenAPI document."""

    tags: list[Tag]
    paths: dict[str, dict[str, DescribedOperation]]
    components: Components
