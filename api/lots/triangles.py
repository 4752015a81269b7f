"""Triangle tests: three cups, two of the same tea; is the odd one found more often than by chance."""

from uuid import UUID

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers as s
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.addresses import created_response
from api.http.auth import member_of
from api.http.bodies import body_of, take_id
from api.http.conditional import conditional_response, id_from_path, id_from_query, paginated_response
from api.http.dataclass_answers import answer_of
from api.http.openapi import LOCATION, PAGING, conditional_get, inline_object, operation, paginated, schema_fields
from tastings.actions.triangles import choose_tasters, record_trial, record_triangle_test, withdraw_trial
from tastings.answers.triangles import TriangleTest, triangle_answer
from tastings.figures import to_stored
from tastings.queries.triangles import triangle_test_for, triangle_tests_of
from tastings.schemas import TRIAL, TRIANGLE_TASTERS, TRIANGLE_TEST

NewTriangleTest = inline_object(
    "NewTriangleTest", id=s.UUIDField(help_text="made by the client"), **schema_fields(TRIANGLE_TEST)
)
ChosenTasters = inline_object("ChosenTasters", **schema_fields(TRIANGLE_TASTERS))
NewTrial = inline_object("NewTrial", id=s.UUIDField(help_text="made by the client"), **schema_fields(TRIAL))


class TriangleTests(APIView):
    """The team's triangle tests."""

    @conditional_get(
        paginated(answer_of(TriangleTest), "TriangleTestPage"),
        [404, 422],
        operation_id="triangle_test_list",
        parameters=[
            OpenApiParameter("lot", OpenApiTypes.UUID),
            OpenApiParameter("waits_for", OpenApiTypes.UUID, description="a member with answers left to give"),
            *PAGING,
        ],
    )
    def get(self, request: Request) -> Response:
        """List triangle tests with their answers: those of one ``lot``, or those in which one member is to taste."""
        member, lot, waits_for = member_of(request), id_from_query(request, "lot"), id_from_query(request, "waits_for")

        def page(after: UUID | None, limit: int) -> list[dict[str, object]]:
            tests = triangle_tests_of(member, lot=lot, waits_for=waits_for, after=after, limit=limit)
            return [to_stored(triangle_answer(test)) for test in tests]

        return paginated_response(request, page)

    @operation({201: answer_of(TriangleTest)}, [403], parameters=[LOCATION], request=NewTriangleTest)
    def post(self, request: Request) -> Response:
        """Record a triangle test; its answers follow one by one."""
        member, body = member_of(request), body_of(request)
        test = take_id(body)
        record_triangle_test(member, test=test, sent=body, now=timezone.now())
        return created_response(request, test, to_stored(triangle_answer(triangle_test_for(member, test))))


class OneTriangleTest(APIView):
    """One test."""

    @conditional_get(answer_of(TriangleTest), [404], operation_id="triangle_test_read")
    def get(self, request: Request, test_id: str) -> Response:
        """Show a triangle test with its answers and the exact binomial p, the power and the number needed."""
        return conditional_response(
            request, triangle_answer(triangle_test_for(member_of(request), id_from_path(test_id)))
        )


class TriangleTasters(APIView):
    """Who is to taste in one test."""

    @operation({200: answer_of(TriangleTest)}, [403, 404], operation_id="triangle_test_tasters", request=ChosenTasters)
    def put(self, request: Request, test_id: str) -> Response:
        """Choose who is to taste in a triangle test and how often each; whoever made it, buyers and owners."""
        member, test = member_of(request), id_from_path(test_id)
        choose_tasters(member, test=test, sent=body_of(request))
        return Response(to_stored(triangle_answer(triangle_test_for(member, test))))


class Trials(APIView):
    """The answers of one test."""

    @operation({201: answer_of(TriangleTest)}, [403, 404], request=NewTrial)
    def post(self, request: Request, test_id: str) -> Response:
        """Record one answer of a triangle test; return the test with it."""
        member, test, body = member_of(request), id_from_path(test_id), body_of(request)
        record_trial(member, test=test, trial=take_id(body), sent=body, now=timezone.now())
        return Response(to_stored(triangle_answer(triangle_test_for(member, test))), status=201)


class OneTrial(APIView):
    """One answer."""

    @operation({204: None}, [403, 404])
    def delete(self, request: Request, test_id: str, trial_id: str) -> Response:
        """Withdraw an answer of a triangle test: it stays on record and no longer counts."""
        withdraw_trial(member_of(request), test=id_from_path(test_id), trial=id_from_path(trial_id), now=timezone.now())
        return Response(status=204)
