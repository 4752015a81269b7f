"""Whether we live, and whether we can serve."""

import logging

from django.db import Error, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.http import require_safe

from tastings.jobs import worker_answers

_log = logging.getLogger(__name__)


@require_safe
def live(request: HttpRequest) -> JsonResponse:  # noqa: ARG001 - Django's shape
    """Answer without database or broker."""
    return JsonResponse({"live": True})


@require_safe
def ready(request: HttpRequest) -> JsonResponse:  # noqa: ARG001 - Django's shape
    """Answer 200 once requests can be served and a worker answers, else 503 naming what is missing."""
    found = {"database": _database_answers()}
    found["worker"] = found["database"] and worker_answers()
    return JsonResponse({"ready": all(found.values()), **found}, status=200 if all(found.values()) else 503)


def _database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT count(*) FROM tastings_development WHERE false")
    except Error as error:
        _log.warning("database does not answer: %s", error)
        return False
    return True
