"""Every error as one shape: problem documents after RFC 9457.

``{"type": "/problems/invalid", "title": …, "status": 422, "detail": …, "problems": [{"field", "code", "detail"}]}``.
An id that is absent, another team's, hidden or no id at all is answered alike.
"""

from collections.abc import Iterable, Mapping
from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from rest_framework.exceptions import APIException
from rest_framework.response import Response
from rest_framework.views import set_rollback

from teams.errors import NotAllowed, NotHere, Problem, Refused, SlowDown

MEDIA_TYPE = "application/problem+json"


def document(*, status: int, code: str, title: str, detail: str, problems: Iterable[Problem] = ()) -> dict[str, object]:
    """Return a problem document."""
    return {
        "type": f"/problems/{code.replace('_', '-')}",
        "title": title,
        "status": status,
        "detail": detail,
        "problems": [problem.as_json() for problem in problems],
    }


def as_problem(error: Exception, context: Mapping[str, Any]) -> Response | None:  # noqa: ARG001 - the framework's shape
    """Turn what a view raised into its answer; anything unforeseen stays a logged 500."""
    headers: dict[str, str] = {}
    match error:
        case Refused():
            refused = error
        case Http404():
            refused = NotHere()
        case PermissionDenied():
            refused = NotAllowed()
        case APIException():
            if challenge := getattr(error, "auth_header", None):
                headers["WWW-Authenticate"] = challenge
            if (wait := getattr(error, "wait", None)) is not None:
                headers["Retry-After"] = str(int(wait))
            body = document(
                status=error.status_code,
                code=str(error.default_code),
                title=HTTPStatus(error.status_code).phrase,
                detail=str(error.detail),
            )
            return _answer(body, headers)
        case _:
            return None
    body = document(
        status=refused.status, code=refused.code, title=refused.title, detail=refused.detail, problems=refused.problems
    )
    if refused.status == 401:
        headers["WWW-Authenticate"] = "Bearer"
    if isinstance(refused, SlowDown):
        headers["Retry-After"] = str(refused.wait_s)
    return _answer(body, headers)


def _answer(body: dict[str, object], headers: dict[str, str]) -> Response:
    set_rollback()
    return Response(body, status=int(str(body["status"])), headers=headers, content_type=MEDIA_TYPE)


def no_such_route(request: HttpRequest, exception: Exception) -> HttpResponse:  # noqa: ARG001 - Django's shape
    """Answer for an address that does not exist."""
    body = document(status=404, code=NotHere.code, title=NotHere.title, detail=NotHere.title)
    return JsonResponse(body, status=404, content_type=MEDIA_TYPE)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:  # noqa: ARG001 - Django's shape
    """Answer for a request that cannot be served at all, such as one for a host that we do not serve."""
    body = document(status=400, code="bad_request", title="This request cannot be served", detail="see LEAFSPAN_HOSTS")
    return JsonResponse(body, status=400, content_type=MEDIA_TYPE)


def broken(request: HttpRequest) -> HttpResponse:
    """Answer when we are at fault; the log has the rest."""
    body = document(status=500, code="broken", title="Something broke on our side", detail=f"at {request.path[:200]}")
    return JsonResponse(body, status=500, content_type=MEDIA_TYPE)
