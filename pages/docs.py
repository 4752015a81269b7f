"""The OpenAPI document, as it is and as pages for people: its contents, and one page for each resource."""

import hashlib
import json
from collections.abc import Iterable
from functools import cache
from threading import Lock

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.template.loader import render_to_string
from django.utils.cache import get_conditional_response
from django.utils.translation import get_language, override
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import (
    OpenApiJsonRenderer,
    OpenApiJsonRenderer2,
    OpenApiYamlRenderer,
    OpenApiYamlRenderer2,
)
from drf_spectacular.utils import extend_schema
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import NotAcceptable
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.permissions import BasePermission
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.problem_types import CODES, TYPES, problem_type
from api.http.problems import problem_response
from pages.api_reference import Resource, resources_of
from pages.browser import page, reads_only
from teams.errors import NotFound


class _ByFormat(DefaultContentNegotiation):
    """Lets ``?format=json`` or ``yaml`` choose, which elsewhere means nothing."""

    def select_renderer(
        self, request: Request, renderers: Iterable[BaseRenderer], format_suffix: str | None = None
    ) -> tuple[BaseRenderer, str]:
        """Return the renderer and its media type."""
        asked = format_suffix or request.query_params.get("format")
        renderer, media_type = super().select_renderer(request, renderers, asked)
        return renderer, media_type


_documents: dict[tuple[str, str], bytes] = {}
"""The document as it is sent, by language and by form: a process writes each once."""
_making = Lock()


def document(*, language: str, form: str) -> bytes:
    """Return the OpenAPI document in a language, as ``json`` or ``yaml``."""
    with _making:  # who asks meanwhile waits for the one that is being made
        if (language, form) not in _documents:
            renderer = JSONRenderer() if form == "json" else OpenApiYamlRenderer()  # JSON without indents: a third
            with override(language):
                schema = SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
                _documents[language, form] = renderer.render(schema)
        return _documents[language, form]


class Document(APIView):
    """The OpenAPI document; errors are problem documents in JSON, not in the format of the document."""

    content_negotiation_class = _ByFormat
    renderer_classes = [OpenApiYamlRenderer, OpenApiYamlRenderer2, OpenApiJsonRenderer, OpenApiJsonRenderer2]
    permission_classes: list[type[BasePermission]] = []
    authentication_classes: list[type[BaseAuthentication]] = []

    @extend_schema(exclude=True)
    def get(self, request: Request) -> HttpResponse:
        """Answer with the document, or with 304 if the caller has it."""
        form = "json" if "json" in request.accepted_renderer.format else "yaml"
        content = document(language=get_language(), form=form)
        tag = f'"{hashlib.sha256(content).hexdigest()[:32]}"'
        headers = {
            "ETag": tag,
            "Cache-Control": "public, no-cache",
            "Vary": "Accept",
            "Content-Disposition": f'inline; filename="Leafspan.{form}"',
        }
        response = HttpResponse(content, content_type=request.accepted_renderer.media_type, headers=headers)
        conditional = get_conditional_response(request._request, etag=tag, response=response)  # noqa: SLF001 - DRF's way to Django's request
        return conditional or response

    def handle_exception(self, exc: Exception) -> Response:
        """Answer in JSON."""
        self.request.accepted_renderer = JSONRenderer()
        self.request.accepted_media_type = JSONRenderer.media_type  # unset where no format was agreed on
        return super().handle_exception(exc)


@reads_only
@page
def show(request: HttpRequest, *, resource: str = "") -> HttpResponseBase:
    """Show the contents of the API, or one resource with its operations; the same for everybody."""
    if not request.accepts("text/html"):
        return problem_response(NotAcceptable())
    if resource and resource not in _resources():
        raise NotFound
    content, tag = _page(resource, language=get_language())
    response = HttpResponse(content, headers={"ETag": tag})
    return get_conditional_response(request, etag=tag, response=response) or response


@cache
def _resources() -> dict[str, Resource]:
    """Return what is shown: the document in English, as its summaries and meanings are."""
    return resources_of(json.loads(document(language="en", form="json")))


@cache
def _page(resource: str, *, language: str) -> tuple[bytes, str]:
    """Return a page and its tag; ``language`` is that of the frame."""
    with override("en"):
        types = {problem_type(code): str(meaning) for code, meaning in TYPES.items()}
        codes = {code: str(meaning) for code, meaning in CODES.items()}
    shown = {"resources": _resources().values(), "resource": _resources().get(resource), "types": types, "codes": codes}
    with override(language):
        content = render_to_string(f"pages/api_{'resource' if resource else 'contents'}.html", shown).encode()
    return content, f'"{hashlib.sha256(content).hexdigest()[:32]}"'
