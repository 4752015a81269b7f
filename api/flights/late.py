"""Scores that arrived after the reveal of a flight."""

from django.utils import timezone
from django.utils.translation import gettext_lazy
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.bodies import BodySerializer, Number, validated_body
from api.http.conditional import id_from_path
from api.http.dataclass_answers import answer_of
from api.http.openapi import BAD_BODY, operation, problem_responses
from lots.schema import Field
from tastings.actions.flights.admitting import admit_late_score
from tastings.answers.flight_answers import FlightAnswer
from tastings.figures import to_stored
from tastings.queries.flight_answers import answer_for
from tastings.queries.flights import flight_row, must_decide

_REVISION = Field(name="revision", kind="integer", low=1, high=2**63 - 1, required=True)


class NewAdmissionSerializer(BodySerializer):
    """Which state of the late score is admitted."""

    unknown = gettext_lazy("is not known here")
    revision = Number(_REVISION, help_text="of the late score as the answer showed it")


class AdmitLateScore(APIView):
    """One late score of a flight."""

    @operation(
        operation_id="flight_admit_late",
        request=NewAdmissionSerializer,
        responses={200: answer_of(FlightAnswer), **BAD_BODY, **problem_responses(403, 404, 409, 412)},
    )
    def post(self, request: Request, flight_id: str, session_id: str) -> Response:
        """Let late scores of a session count; only what the session's taster wrote can."""
        member, flight, session = member_of(request), id_from_path(flight_id), id_from_path(session_id)
        flight_row(member, flight)
        must_decide(member)
        revision = validated_body(request, NewAdmissionSerializer)["revision"]
        admit_late_score(member, flight=flight, session=session, revision=int(revision), now=timezone.now())
        return Response(to_stored(answer_for(member, flight), decimals=None))
