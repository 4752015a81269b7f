"""A lot's report and card in the OpenAPI document: pages and files that a program may fetch with its token."""

from __future__ import annotations

from django.conf import settings

from api.http.document_types import APIDocument, DescribedAnswer, DescribedOperation, Parameter, Schema

_BINARY: Schema = {"type": "string", "format": "binary"}
_TEXT: Schema = {"type": "string"}
_FILES: dict[str, tuple[str, str, str, Schema]] = {
    "report/": ("report", "Show the report of a lot as a page", "text/html", _TEXT),
    "report.pdf": ("report_pdf", "Get the report as a PDF", "application/pdf", _BINARY),
    "report.png": ("report_png", "Get the whole report as one tall picture", "image/png", _BINARY),
    "report.svg": ("report_svg", "Get the strength curve as a drawing", "image/svg+xml", _TEXT),
    "report.csv": ("report_csv", "Get the figures of the curves as a table", "text/csv", _TEXT),
    "card/": ("card", "Show the card for customers as a page", "text/html", _TEXT),
    "card.pdf": ("card_pdf", "Get the card as a PDF of size A6", "application/pdf", _BINARY),
    "card.md": ("card_md", "Get the card as Markdown", "text/markdown", _TEXT),
}
"""Files of a lot by the end of their address: operation, summary, media type, schema."""
_TYPESET = ("report.pdf", "report.png", "card.pdf")
_IN_PATH: Parameter = {
    "in": "path",
    "name": "lot_id",
    "required": True,
    "schema": {"type": "string", "format": "uuid"},
}
_LANGUAGE: Parameter = {
    "in": "query",
    "name": "lang",
    "description": "the language of the card; by default that of the request",
}
_IF_NONE_MATCH: Parameter = {
    "in": "header",
    "name": "If-None-Match",
    "schema": _TEXT,
    "description": "answers 304 when it holds",
}


def add_documents(result: APIDocument, **_: object) -> APIDocument:
    """Add the addresses of `pages.reports` and `pages.cards` to the generated document."""
    for name in _FILES:
        result["paths"][f"/lots/{{lot_id}}/{name}"] = {"get": _operation(name)}
    return result


def _operation(name: str) -> DescribedOperation:
    operation, summary, media_type, schema = _FILES[name]
    parameters = [_IN_PATH]
    if name.startswith("card"):
        languages = [code for code, _ in settings.LANGUAGES]
        parameters.append({**_LANGUAGE, "schema": {"type": "string", "enum": languages}})
    responses: dict[str, DescribedAnswer] = {
        "200": {"description": "", "content": {media_type: {"schema": schema}}},
        **{status: _problem() for status in ("401", "404", "429")},
    }
    if name in _TYPESET:
        parameters.append(_IF_NONE_MATCH)
        responses |= {
            "202": {"description": "still being made: ask again after Retry-After"},
            "304": {"description": "unchanged"},
            "500": _problem(),
        }
    return {
        "operationId": f"lot_{operation}",
        "summary": summary,
        "description": f"{summary}. Refused with a problem document, unless the request names text/html in Accept.",
        "parameters": parameters,
        "tags": ["documents"],
        "security": [{"bearer": []}],
        "responses": responses,
    }


def _problem() -> DescribedAnswer:
    schema: Schema = {"$ref": "#/components/schemas/Problem"}
    return {"description": "", "content": {"application/problem+json": {"schema": schema}}}
