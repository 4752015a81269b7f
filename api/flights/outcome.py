"""What comes of a flight: the reveal, the answer, the decision."""

from django.utils import timezone
from django.utils.translation import gettext_lazy
from rest_framework import serializers as s
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.flights.flights import ChosenLotSerializer, FlightSerializer, flight_json
from api.http.auth import device_id, member_of
from api.http.bodies import BodySerializer, StrictTextField, body_of, validated_body
from api.http.conditional import conditional_response, id_from_path
from api.http.dataclass_answers import answer_of
from api.http.openapi import BAD_BODY, ETAG, NOT_MODIFIED, inline_object, operation, problem_responses
from tastings.actions.flights.deciding import decide_flight
from tastings.actions.flights.revealing import reveal_flight
from tastings.answers.flight_answers import FlightAnswer
from tastings.queries.flight_answers import answer_for
from tastings.queries.flights import flight_for, flight_row, must_decide


class NewRevealSerializer(BodySerializer):
    """Why a flight is revealed before every cup was tasted."""

    unknown = gettext_lazy("is not known here")
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

    @operation(
        operation_id="flight_reveal",
        request=NewRevealSerializer,
        responses={200: FlightSerializer, **BAD_BODY, **problem_responses(403, 404, 409)},
    )
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

    @operation(
        operation_id="flight_answer",
        parameters=[ETAG],
        responses={200: answer_of(FlightAnswer), **NOT_MODIFIED, **problem_responses(404, 409)},
    )
    def get(self, request: Request, flight_id: str) -> Response:
        """Show which lot is best, how surely, and what would settle it."""
        return conditional_response(request, answer_for(member_of(request), id_from_path(flight_id)))


class FlightDecisionView(APIView):
    """What was decided on a flight."""

    @operation(
        operation_id="flight_decide",
        request=NewDecisionSerializer,
        responses={201: FlightSerializer, **BAD_BODY, **problem_responses(403, 404, 409)},
    )
    def post(self, request: Request, flight_id: str) -> Response:
        """Record what was chosen and why; each chosen sample becomes a bought lot that names it as its origin."""
        member, flight = member_of(request), id_from_path(flight_id)
        decide_flight(member, flight=flight, payload=body_of(request), device=device_id(request), now=timezone.now())
        return Response(flight_json(flight_for(member, flight)), status=201)
