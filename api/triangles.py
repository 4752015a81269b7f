"""Triangle tests: three cups, two of the same tea; is the odd one found more often than by chance."""

from typing import Any
from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.bodies import body_of, take_id
from api.http.conditional import conditional_response, id_from_path, paginated_response
from tastings.actions.triangles import record_trial, record_triangle_test, withdraw_trial
from tastings.queries.triangles import triangle_test_for, triangle_tests_of


class TriangleTests(APIView):
    """The team's triangle tests."""

    def get(self, request: Request) -> Response:
        """List them with their answers, of one lot with ``lot``."""
        member = member_of(request)
        lot = request.query_params.get("lot")
        of_lot = take_id({"lot": lot}, "lot") if lot is not None else None

        def read(after: UUID | None, limit: int) -> list[dict[str, Any]]:
            return list(triangle_tests_of(member, lot=of_lot, after=after, limit=limit))

        return paginated_response(request, read)

    def post(self, request: Request) -> Response:
        """Record a test; its answers follow one by one."""
        sent = body_of(request)
        test = take_id(sent)
        record_triangle_test(member_of(request), test=test, sent=sent, now=timezone.now())
        location = request.build_absolute_uri(f"{request.path}{test}/")
        return Response(triangle_test_for(member_of(request), test), status=201, headers={"Location": location})


class OneTriangleTest(APIView):
    """One test."""

    def get(self, request: Request, test_id: str) -> Response:
        """Show it with its answers and the exact binomial p, the power and the number needed."""
        return conditional_response(request, triangle_test_for(member_of(request), id_from_path(test_id)))


class Trials(APIView):
    """The answers of one test."""

    def post(self, request: Request, test_id: str) -> Response:
        """Record one answer; return the test with it."""
        member, test, sent = member_of(request), id_from_path(test_id), body_of(request)
        record_trial(member, test=test, trial=take_id(sent), sent=sent, now=timezone.now())
        return Response(triangle_test_for(member, test), status=201)


class OneTrial(APIView):
    """One answer."""

    def delete(self, request: Request, test_id: str, trial_id: str) -> Response:
        """Withdraw it: it stays on record and no longer counts."""
        withdraw_trial(member_of(request), test=id_from_path(test_id), trial=id_from_path(trial_id), now=timezone.now())
        return Response(status=204)
