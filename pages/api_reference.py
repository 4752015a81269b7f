"""The OpenAPI document as its pages show it: resources, operations, fields and types."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from django.utils.safestring import SafeString, mark_safe
from markdown_it import MarkdownIt

from api.http.document_types import (
    APIDocument,
    Components,
    Content,
    DescribedAnswer,
    DescribedBody,
    DescribedOperation,
    Parameter,
    Schema,
)
from pages.api_fields import FieldRow, Kind, is_plain, kind_of, object_rows, reference_name

METHODS = ("get", "post", "put", "patch", "delete")
_PLACES = {"path": "In the address", "query": "Query", "header": "Headers", "cookie": "Cookies"}
_markdown = MarkdownIt("commonmark", {"html": False})


@dataclass(frozen=True, slots=True)
class Example:
    """A body, written out."""

    title: str
    text: str


@dataclass(frozen=True, slots=True)
class Body:
    """What a request carries: the fields of an object, or the kind of anything else."""

    media_type: str
    kind: Kind
    fields: list[FieldRow]
    examples: list[Example]


@dataclass(frozen=True, slots=True)
class Answer:
    """What comes back with one status."""

    status: str
    about: SafeString
    kind: Kind | None
    media_types: list[str]
    """Other than JSON."""
    examples: list[Example]

    @property
    def succeeds(self) -> bool:
        """Whether the status says that the request was carried out, or that nothing changed."""
        return self.status < "4"


@dataclass(frozen=True, slots=True)
class Operation:
    """One method of one address."""

    id: str
    method: str
    path: str
    summary: SafeString
    about: SafeString
    is_open: bool
    parameters: list[tuple[str, list[FieldRow]]]
    body: Body | None
    answers: list[Answer]


@dataclass(frozen=True, slots=True)
class NamedType:
    """A schema that fields and answers refer to."""

    name: str
    about: SafeString
    kind: Kind | None
    fields: list[FieldRow]

    @property
    def words(self) -> list[str]:
        """Return the words of the name, between which a line may end."""
        return re.findall(r"[A-Z][^A-Z]*", self.name)


@dataclass(frozen=True, slots=True)
class Resource:
    """The operations of one tag, and the types that they use."""

    name: str
    about: SafeString
    operations: list[Operation] = field(default_factory=list)
    types: list[NamedType] = field(default_factory=list)

    @property
    def title(self) -> str:
        """Return the heading."""
        return self.name.capitalize()


def resources_of(document: APIDocument) -> dict[str, Resource]:
    """Return the resources of an OpenAPI document by name, in the order of its tags."""
    schemas = document["components"]["schemas"]
    resources = {tag["name"]: Resource(tag["name"], text_of(tag["description"])) for tag in document["tags"]}
    for path, methods in document["paths"].items():
        for method in METHODS:
            if method in methods:
                operation = _operation(method, path, methods[method], document["components"])
                resources[methods[method]["tags"][0]].operations.append(operation)
    for resource in resources.values():
        resource.types.extend(_type(name, schemas) for name in _used_types(resource, schemas))
    return resources


def text_of(description: str) -> SafeString:
    """Return a description with its code marked up."""
    return mark_safe(str(_markdown.renderInline(description)))  # noqa: S308 - our own document, and HTML is escaped


def _operation(method: str, path: str, described: DescribedOperation, components: Components) -> Operation:
    schemas = components["schemas"]
    summary, description = described["summary"], described.get("description", "")
    rest = description.removeprefix(summary).lstrip(".;: ")
    return Operation(
        id=described["operationId"],
        method=method.upper(),
        path=path,
        summary=text_of(summary),
        about=text_of(rest[:1].upper() + rest[1:]),
        is_open=not described["security"],
        parameters=list(_parameters(described.get("parameters", []), components)),
        body=_body(described["requestBody"], schemas) if "requestBody" in described else None,
        answers=[_answer(status, answer, schemas) for status, answer in sorted(described["responses"].items())],
    )


def _parameters(listed: list[Parameter], components: Components) -> Iterator[tuple[str, list[FieldRow]]]:
    known = [components["parameters"][reference_name(item)] if "$ref" in item else item for item in listed]
    for place, heading in _PLACES.items():
        rows = [
            FieldRow(
                name=parameter["name"],
                kind=kind_of(parameter["schema"], components["schemas"], name=parameter["name"]),
                is_required=bool(parameter.get("required")),
                about=text_of(parameter.get("description", "")),
            )
            for parameter in known
            if parameter["in"] == place
        ]
        if rows:
            yield heading, rows


def _body(described: DescribedBody, schemas: Mapping[str, Schema]) -> Body:
    [(media_type, content)] = described["content"].items()
    schema = content["schema"]
    named = schemas.get(reference_name(schema), {})
    forms = [schemas[reference_name(form)] for form in named.get("oneOf", ())]
    examples = list(_examples(content, named)) or [case for form in forms for case in _examples({}, form)]
    return Body(
        media_type=media_type,
        kind=kind_of(named if "oneOf" in named else schema, schemas),
        fields=object_rows(named, schemas, text_of),
        examples=examples,
    )


def _answer(status: str, described: DescribedAnswer, schemas: Mapping[str, Schema]) -> Answer:
    contents = described.get("content", {})
    content = next(iter(contents.values()), Content())
    return Answer(
        status=status,
        about=text_of(described["description"]),
        kind=kind_of(content["schema"], schemas) if content else None,
        media_types=[media_type for media_type in contents if media_type != "application/json"],
        examples=list(_examples(content, {})),
    )


def _examples(content: Content, schema: Schema) -> Iterator[Example]:
    for example in content.get("examples", {}).values():
        yield Example(example["summary"].rstrip("."), _json(example["value"]))
    yield from (Example("", _json(value)) for value in schema.get("examples", ()))


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, indent=2)


def _type(name: str, schemas: Mapping[str, Schema]) -> NamedType:
    schema = schemas[name]
    return NamedType(
        name=name,
        about=text_of(schema.get("description", "")),
        kind=None if "properties" in schema else kind_of(schema, schemas),
        fields=object_rows(schema, schemas, text_of),
    )


def _used_types(resource: Resource, schemas: Mapping[str, Schema]) -> list[str]:
    """Return the names of the types that a resource's operations refer to, those of their fields included."""
    kinds: list[Kind] = []
    for operation in resource.operations:
        if operation.body is not None:
            rows = operation.body.fields
            kinds += [row.kind for row in rows] if rows else [operation.body.kind]
        kinds += [answer.kind for answer in operation.answers if answer.kind and answer.succeeds]
    return _with_types_of_fields([name for kind in kinds for name in kind.types], schemas)


def _with_types_of_fields(names: list[str], schemas: Mapping[str, Schema]) -> list[str]:
    """Return the types, and those that their fields refer to, however deep; each once, plain values left out."""
    waiting, types = list(names), dict[str, None]()
    while waiting:
        name = waiting.pop(0)
        if name in types or is_plain(schemas[name]):
            continue
        types[name] = None
        described = _type(name, schemas)
        kinds = [row.kind for row in described.fields] + ([described.kind] if described.kind else [])
        waiting += [type_ for kind in kinds for type_ in kind.types]
    return list(types)
