"""Every error as one shape: problem documents after RFC 9457.

``{"type": "/problems/invalid", "title": …, "status": 422, "detail": …, "problems": [{"field", "code", "detail"}]}``.
An id that is absent, another team's, hidden or no id at all gets the same answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from rest_framework.exceptions import APIException
from rest_framework.response import Response
from rest_framework.views import set_rollback

from api.http.cells import ELSEWHERE, TeamMoved, cell_refusal
from api.http.problem_types import problem_type
from teams.errors import NotAllowed, NotFound, Problem, Refused

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

MEDIA_TYPE = "application/problem+json"
TITLES: Mapping[int, StrOrPromise] = {
    400: gettext_lazy("Bad Request"),
    401: gettext_lazy("Unauthorized"),
    403: gettext_lazy("Forbidden"),
    404: gettext_lazy("Not Found"),
    405: gettext_lazy("Method Not Allowed"),
    406: gettext_lazy("Not Acceptable"),
    413: gettext_lazy("Request Entity Too Large"),
    415: gettext_lazy("Unsupported Media Type"),
    429: gettext_lazy("Too Many Requests"),
    503: gettext_lazy("Service Unavailable"),
}
"""Titles of the refusals of framework and event loop, by status: the phrases of Python 3.11's ``http.HTTPStatus``."""


def problem_document(
    *, status: int, code: str, title: StrOrPromise, detail: str, problems: Iterable[Problem] = ()
) -> dict[str, object]:
    """Return a problem document."""
    return {
        "type": problem_type(code),
        "title": str(title),
        "status": status,
        "detail": detail,
        "problems": [problem.as_json() for problem in problems],
    }


def exception_handler(error: Exception, context: Mapping[str, object]) -> Response | None:  # noqa: ARG001 - the framework's shape
    """Turn an exception of a view into a problem document; unknown ones stay a logged 500."""
    document = _document_of(error)
    if document is None:
        return None
    body, headers = document
    set_rollback()
    return Response(body, status=int(str(body["status"])), headers=headers, content_type=MEDIA_TYPE)


def problem_response(error: Exception) -> JsonResponse:
    """Return the problem document of an exception as an answer of Django's; an unknown one is raised again."""
    document = _document_of(error)
    if document is None:
        raise error
    body, headers = document
    return JsonResponse(body, status=int(str(body["status"])), headers=headers, content_type=MEDIA_TYPE)


def _document_of(error: Exception) -> tuple[dict[str, object], dict[str, str]] | None:
    """Return an exception's problem document and the headers that go with it."""
    if isinstance(error, APIException):
        status, wait_s = error.status_code, getattr(error, "wait", None)
        body = problem_document(
            status=status, code=str(error.default_code), title=TITLES[status], detail=str(error.detail)
        )
        return body, _headers(status=status, wait_s=wait_s)
    refused = _refusal_of(error)
    if refused is None:
        return None
    body = problem_document(
        status=refused.status, code=refused.code, title=refused.title, detail=refused.detail, problems=refused.problems
    )
    headers = _headers(status=refused.status, wait_s=refused.wait_s)
    if isinstance(refused, TeamMoved):
        headers[ELSEWHERE] = refused.cell
    return body, headers


def _refusal_of(error: Exception) -> Refused | None:
    match error:
        case Refused():
            return error
        case Http404():
            return NotFound()
        case PermissionDenied():
            return NotAllowed()
        case _:
            return cell_refusal(error)


def _headers(*, status: int, wait_s: float | None) -> dict[str, str]:
    headers: dict[str, str] = {}
    if status == 401:
        headers["WWW-Authenticate"] = "Bearer"
    if wait_s is not None:
        headers["Retry-After"] = str(int(wait_s))
    return headers


def handler404(request: HttpRequest, exception: Exception) -> HttpResponse:  # noqa: ARG001 - Django's shape
    """Answer a request for an address that does not exist."""
    body = problem_document(status=404, code=NotFound.code, title=NotFound.title, detail=str(NotFound.title))
    return JsonResponse(body, status=404, content_type=MEDIA_TYPE)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:  # noqa: ARG001 - Django's shape
    """Answer a form, or a method that changes something, without the browser's CSRF token."""
    detail = _("the token against forged requests is missing or old: load the page again and send it once more")
    body = problem_document(status=403, code=NotAllowed.code, title=NotAllowed.title, detail=detail)
    return JsonResponse(body, status=403, content_type=MEDIA_TYPE)


def handler400(request: HttpRequest, exception: Exception) -> HttpResponse:  # noqa: ARG001 - Django's shape
    """Answer a request that cannot be served, such as one for a host that is not ours."""
    title = _("This request cannot be served")
    body = problem_document(status=400, code="bad_request", title=title, detail=_("see LEAFSPAN_HOSTS"))
    return JsonResponse(body, status=400, content_type=MEDIA_TYPE)


def handler500(request: HttpRequest) -> HttpResponse:
    """Answer after an error of ours; the log has the details."""
    detail = _("at %(path)s") % {"path": request.path[:200]}
    body = problem_document(status=500, code="broken", title=_("Something broke on our side"), detail=detail)
    return JsonResponse(body, status=500, content_type=MEDIA_TYPE)
