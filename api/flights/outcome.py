"""What comes of a flight: the reveal, the answer, the decision, scores that arrived after the reveal."""

from django.utils import timezone
from rest_framework import serializers as s
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.flights.flights import ChosenLotSerializer, FlightSerializer, flight_json
from api.http.auth import device_id, member_of
from api.http.bodies import BodySerializer, StrictRevisionField, StrictTextField, body_of, validated_body
from api.http.conditional import conditional_response, id_from_path
from api.http.dataclass_answers import answer_of
from api.http.openapi import conditional_get, inline_object, operation
from tastings.actions.flights.admitting import admit_late_score
from tastings.actions.flights.deciding import decide_flight
from tastings.actions.flights.revealing import reveal_flight
from tastings.answers.flight_answers import FlightAnswer
from tastings.figures import to_stored
from tastings.queries.flight_answers import answer_for
from tastings.queries.flights import flight_for, flight_row, must_decide


class NewRevealSerializer(BodySerializer):
    """Why a flight is revealed before every cup was tasted."""

    reason = StrictTextField(
        required=False, allow_null=True, allow_blank=True, max_length=2000, help_text="needed while cups are not tasted"
    )


NewDecisionSerializer = inline_object(
    "NewDecision",
    reason=s.CharField(help_text="kept for next year"),
    chosen=ChosenLotSerializer(many=True, help_text="at most 20; none is a decision, too"),
)


class FlightReveal(APIView):
    """The reveal of a flight."""

    @operation({200: FlightSerializer}, [403, 404, 409], operation_id="flight_reveal", request=NewRevealSerializer)
    def post(self, request: Request, flight_id: str) -> Response:
        """Reveal which lot each code is, once; while cups are not tasted, with a reason."""
        member, flight = member_of(request), id_from_path(flight_id)
        flight_row(member, flight)  # absent and foreign flights look the same, whatever the body
        must_decide(member)
        reason = validated_body(request, NewRevealSerializer).get("reason", "").strip()
        reveal_flight(member, flight=flight, reason=reason, now=timezone.now())
        return Response(flight_json(flight_for(member, flight)))


class FlightAnswerView(APIView):
    """The answer of a revealed flight."""

    @conditional_get(answer_of(FlightAnswer), [404, 409], operation_id="flight_answer")
    def get(self, request: Request, flight_id: str) -> Response:
        """Show which lot is best, how surely, and what would settle it."""
        return conditional_response(request, answer_for(member_of(request), id_from_path(flight_id)))


class FlightDecisionView(APIView):
    """What was decided on a flight."""

    @operation({201: FlightSerializer}, [403, 404, 409], operation_id="flight_decide", request=NewDecisionSerializer)
    def post(self, request: Request, flight_id: str) -> Response:
        """Record what was chosen and why; each chosen sample becomes a bought lot that names it as its origin."""
        member, flight = member_of(request), id_from_path(flight_id)
        decide_flight(member, flight=flight, payload=body_of(request), device=device_id(request), now=timezone.now())
        return Response(flight_json(flight_for(member, flight)), status=201)


class NewAdmissionSerializer(BodySerializer):
    """Which state of the late score is admitted."""

    revision = StrictRevisionField(help_text="of the late score as the answer showed it")


class AdmitLateScore(APIView):
    """One late score of a flight."""

    @operation(
        {200: answer_of(FlightAnswer)},
        [403, 404, 409, 412],
        operation_id="flight_admit_late",
        request=NewAdmissionSerializer,
    )
    def post(self, request: Request, flight_id: str, session_id: str) -> Response:
        """Let late scores of a session count; only what the session's taster wrote can."""
        member, flight, session = member_of(request), id_from_path(flight_id), id_from_path(session_id)
        flight_row(member, flight)
        must_decide(member)
        revision = validated_body(request, NewAdmissionSerializer)["revision"]
        admit_late_score(member, flight=flight, session=session, revision=revision, now=timezone.now())
        return Response(to_stored(answer_for(member, flight), decimals=None))
