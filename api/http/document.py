"""What the OpenAPI document says beyond single operations: tags, summaries, headers, keys for repeats."""

from __future__ import annotations

from collections.abc import Mapping
from http import HTTPStatus
from typing import Protocol

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import Direction

from api.http.body_examples import BODY_EXAMPLES
from api.http.document_types import APIDocument, Content, DescribedOperation, Parameter, Schema
from api.http.idempotency import HEADER, MAX_KEY_LENGTH, takes_key

TAGS = {
    "account": "Signing in, devices, the password and the e-mail address of one's own login",
    "people": "The team: its shops, members, invitations, settings and audit log",
    "sync": "Pushing a phone's changes and pulling what is new; [the guide](/api/v1/docs/client) has the rules",
    "lots": "Teas as sampled or bought, and what is computed of them: development, guide, readiness, comparison",
    "sessions": "One pot of a lot by one taster",
    "infusions": "One pour of a session; number 0 is the rinse",
    "notes": "What was noticed at one moment: a descriptor, its intensity, the taster's own words",
    "descriptors": "The words for what is tasted: the team's and built-in ones, suggested from a text, merged",
    "pots": "A team's pots, which sessions and guides refer to",
    "flights": "Blind flights: planning, pouring, the reveal, the answer and the decision",
    "photos": "Photos of leaf and liquor: upload in pieces, pictures, colour",
    "shares": "Links to a report or card for people outside the team",
    "operations": "Live events and the export of the team",
    "documents": "A lot's report and card, as pages and as files",
}
"""Tags by record type or by the folder of a resource in ``api/``; ``documents`` is that of the pages."""

_COUNTERS = ("revision", "cursor")
"""Fields that count a team's commits: they outgrow 32 bits."""


def _header(description: str, *examples: str) -> dict[str, object]:
    return {"description": description, "schema": {"type": "string", **({"examples": [*examples]} if examples else {})}}


_HEADERS: dict[str, dict[str, object]] = {
    "ETag": _header("the version of what was sent, for If-None-Match and If-Match"),
    "RateLimit": _header(
        "requests left in this minute (r) and seconds until the count starts anew (t)", '"login";r=1187;t=34'
    ),
    "RateLimit-Policy": _header("requests (q) in so many seconds (w), of one login", '"login";q=1200;w=60'),
    "Retry-After": {
        "description": "seconds until it is worth asking again",
        "schema": {"type": "integer", "minimum": 0},
    },
    "WWW-Authenticate": _header("how to sign in", "Bearer"),
    "X-Request-ID": _header("the request in the server's log"),
}
_EVERYWHERE = ("X-Request-ID",)
_SIGNED_IN = ("RateLimit", "RateLimit-Policy")
_BY_STATUS = {"401": ("WWW-Authenticate",), "202": ("Retry-After",), "429": ("Retry-After",), "503": ("Retry-After",)}
_REFUSALS_OF_ALL = {"503": "the server is busy or its database away; nothing was applied"}
_REFUSALS_OF_BODIES = {
    "400": "the body cannot be read, or comes in too many small pieces; nothing was applied",
    "408": "the body came too slowly; nothing was applied",
    "413": "the body is too large; nothing was applied",
}
"""Refusals before an operation is reached (`config.web.serving`): of every operation, and of those with a body."""
_REFUSALS_OF_HEADS = {"414": "the address is too long", "431": "a header is too large, or there are too many"}
"""Refusals of the web server while it reads a request's head: a line of text and no headers of ours."""
_MEANINGS = {
    "401": "no token, or one that has ended",
    "403": "the member's role or the record does not allow this",
    "404": "absent, deleted, another team's or hidden; the answer does not say which",
    "406": "the API answers in JSON only",
    "409": "does not fit the present state; detail says why",
    "410": "the cursor is older than deletions that are forgotten, another team's, or ahead of the team: pull from 0",
    "412": "If-Match named a revision that is no longer current",
    "415": "the body has another media type than the one described",
    "422": "some fields are not valid; problems names each",
    "429": "too many requests or attempts; Retry-After says when to come back",
    "500": "our fault; it is in the log",
    "501": "the web server was started without live events",
    "507": "a quota is reached or the disk is full; nothing was stored",
}
"""Description of a status where the operation has none of its own."""
_PROBLEM = {
    "type": "/problems/invalid",
    "title": "Some fields are not valid",
    "status": 422,
    "detail": "Some fields are not valid",
    "problems": [{"field": "steep_s", "code": "range", "detail": "must be at least 0"}],
}
_KEY: Parameter = {
    "in": "header",
    "name": HEADER,
    "description": "makes a repeat safe: the same request with the same key within a day is answered as the first time",
    "schema": {"type": "string", "minLength": 1, "maxLength": MAX_KEY_LENGTH, "pattern": "^[!-~]+$"},
}


class OperationSchema(AutoSchema):
    """Describes an operation: its tag is the resource's folder, its summary the first sentence of the method."""

    def get_tags(self) -> list[str]:
        """Return the record type in the plural, or else the name of the folder of the view."""
        type_name = getattr(self.view, "type_name", None)
        return [f"{type_name}s" if type_name else self.view.__module__.split(".")[1]]

    def get_summary(self) -> str:
        """Return the first sentence of the method's docstring, before a colon or semicolon too."""
        text = " ".join(str(self.get_description()).split())
        return min((text.split(mark)[0] for mark in (". ", "; ", ": ")), key=len).removesuffix(".")


class _Describes(Protocol):
    """What is used of `AutoSchema`, whose methods have no types."""

    def _map_serializer_field(
        self, field: object, direction: Direction, *, bypass_extensions: bool
    ) -> dict[str, object]: ...


class LimitedNumber(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]  # the library's base is untyped
    """Describes a number's exclusive limit and step, which serializer fields do not have."""

    target_class = "api.http.fields.LimitedFloatField"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: _Describes, direction: Direction) -> dict[str, object]:
        """Return the schema of the field."""
        described = auto_schema._map_serializer_field(self.target, direction, bypass_extensions=True)  # noqa: SLF001
        above, step = self.target.above, self.target.step
        return {
            **described,
            **({"exclusiveMinimum": above} if above is not None else {}),
            **({"multipleOf": step} if step is not None else {}),
        }


def complete_document(result: APIDocument, **_: object) -> APIDocument:
    """Add headers, keys for repeats, the width of counters and what bodies refuse to the generated document."""
    components = result["components"]
    components["headers"] = _HEADERS
    components["parameters"] = {HEADER: _KEY}
    # both forms of an address are served; the document has the one without a slash at its end
    result["paths"] = {path.removesuffix("/"): methods for path, methods in result["paths"].items()}
    result["tags"] = [{"name": name, "description": about} for name, about in TAGS.items()]
    for path, methods in result["paths"].items():
        for method, operation in methods.items():
            _complete_operation(operation, takes_key=takes_key(method.upper(), path))
    components["schemas"]["Problem"]["examples"] = [_PROBLEM]
    for name, example in BODY_EXAMPLES.items():
        components["schemas"][name]["examples"] = [example]
    _name_types_once(components["schemas"])
    _widen_counters(components["schemas"])
    _close_bodies(result)
    return result


def _complete_operation(operation: DescribedOperation, *, takes_key: bool) -> None:
    if takes_key:
        _add_key(operation)
    operation.setdefault("security", [])
    _add_refusals_of_the_server(operation)
    _add_headers(operation)
    for status, why in _REFUSALS_OF_HEADS.items():
        content: dict[str, Content] = {"text/plain": {"schema": {"type": "string"}}}
        operation["responses"][status] = {"description": why, "content": content}
    for status, response in operation["responses"].items():
        response["description"] = response.get("description") or _MEANINGS.get(status) or HTTPStatus(int(status)).phrase


def _widen_counters(schemas: dict[str, Schema]) -> None:
    for schema in schemas.values():
        for name in _COUNTERS:
            field = schema.get("properties", {}).get(name, {})
            if field.get("type") in ("integer", ["integer", "null"]):
                field |= {"minimum": 0, **field, "format": "int64"}


def _close_bodies(document: APIDocument) -> None:
    """Say of objects in bodies that they have no other fields; an answer may get new ones, so its objects stay open."""
    schemas = document["components"]["schemas"]
    operations = [operation for methods in document["paths"].values() for operation in methods.values()]
    sent = _reachable([operation.get("requestBody", {}) for operation in operations], schemas)
    answered = _reachable([operation["responses"] for operation in operations], schemas)
    for name in sent - answered:
        if "properties" in schemas[name]:
            schemas[name]["additionalProperties"] = False


def _reachable(node: object, schemas: Mapping[str, Schema]) -> set[str]:
    """Return the names of the schemas that a part of the document refers to, directly or by others."""
    names, waiting = set[str](), [node]
    while waiting:
        match waiting.pop():
            case dict() as members:
                name = str(members.get("$ref", "")).removeprefix("#/components/schemas/")
                if name in schemas and name not in names:
                    names.add(name)
                    waiting.append(schemas[name])
                waiting.extend(members.values())
            case list() as items:
                waiting.extend(items)
            case _:
                pass
    return names


def _add_key(operation: DescribedOperation) -> None:
    operation.setdefault("parameters", []).append({"$ref": f"#/components/parameters/{HEADER}"})
    problem = operation["responses"]["401"]
    for status in ("400", "409", "422"):
        operation["responses"].setdefault(status, problem)


def _add_refusals_of_the_server(operation: DescribedOperation) -> None:
    described = operation["responses"]["429"]["content"].items()
    content: dict[str, Content] = {media_type: {"schema": content["schema"]} for media_type, content in described}
    for status, why in (_REFUSALS_OF_ALL | (_REFUSALS_OF_BODIES if "requestBody" in operation else {})).items():
        response = operation["responses"].setdefault(status, {"content": content})
        response["description"] = response.get("description") or why


def _add_headers(operation: DescribedOperation) -> None:
    sends_etag = any(parameter.get("name") == "If-None-Match" for parameter in operation.get("parameters", []))
    is_open = not operation["security"]
    for status, response in operation["responses"].items():
        names = [*_EVERYWHERE, *(() if is_open else _SIGNED_IN), *_BY_STATUS.get(status, ())]
        if sends_etag and status in ("200", "304"):
            names.append("ETag")
        references = {name: {"$ref": f"#/components/headers/{name}"} for name in names}
        response["headers"] = {**response.get("headers", {}), **references}


def _name_types_once(node: object) -> None:
    """Name each type once where a schema says twice that it may be null."""
    if isinstance(node, list):
        for item in node:
            _name_types_once(item)
    elif isinstance(node, dict):
        if isinstance(types := node.get("type"), list):
            once = list(dict.fromkeys(types))
            node["type"] = once if len(once) > 1 else once[0]
        for item in node.values():
            _name_types_once(item)
