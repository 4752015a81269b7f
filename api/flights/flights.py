"""Blind flights: setting them up, how far they are, and the codes for those who pour."""

from uuid import UUID

from django.utils import timezone
from rest_framework import serializers as s
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.addresses import created_response
from api.http.auth import member_of
from api.http.bodies import body_of, take_id
from api.http.conditional import conditional_response, id_from_path, paginated_response
from api.http.dataclass_answers import AnswerSerializer, answer_of
from api.http.openapi import (
    LOCATION,
    PAGING,
    conditional_get,
    inline_object,
    operation,
    paginated,
    schema_fields,
)
from tastings.actions.flights.editing import call_off_flight, create_flight, update_flight
from tastings.answers.flights import FlightDecision, FlightItem, PouringPlan
from tastings.figures import to_stored
from tastings.queries.flights import flight_for, flights_of, pouring_plan_for
from tastings.schemas import CHOSEN, FLIGHT

NewFlightSerializer = inline_object(
    "NewFlight", id=s.UUIDField(help_text="made by the client; version 7 advised"), **schema_fields(FLIGHT)
)
ChangedFlightSerializer = inline_object("FlightChange", **schema_fields(FLIGHT, required=False))
ChosenLotSerializer = inline_object("Chosen", **schema_fields(CHOSEN))


class FlightDecisionSerializer(AnswerSerializer):
    """What was decided, and why."""

    chosen = ChosenLotSerializer(many=True, help_text="the lots that were bought")

    class Meta:
        dataclass = FlightDecision


class FlightSerializer(AnswerSerializer):
    """A flight, as the caller may see it."""

    decision = FlightDecisionSerializer(allow_null=True, help_text="null before it was decided")

    class Meta:
        dataclass = FlightItem
        ref_name = "Flight"


def flight_json(flight: FlightItem) -> dict[str, object]:
    """Return a flight as JSON types; its numbers are as they were sent."""
    return dict(to_stored(flight, decimals=None))


class Flights(APIView):
    """The team's blind flights."""

    @conditional_get(paginated(FlightSerializer, "FlightPage"), [422], operation_id="flight_list", parameters=PAGING)
    def get(self, request: Request) -> Response:
        """List flights; before its reveal a flight shows the caller's own cups, by code."""
        member = member_of(request)

        def page(after: UUID | None, limit: int) -> list[dict[str, object]]:
            return [flight_json(flight) for flight in flights_of(member, after=after, limit=limit)]

        return paginated_response(request, page)

    @operation(
        {201: FlightSerializer}, [403], operation_id="flight_create", parameters=[LOCATION], request=NewFlightSerializer
    )
    def post(self, request: Request) -> Response:
        """Plan a flight among samples; a worker makes its serving plan at once. For buyers and owners."""
        payload = body_of(request)
        flight = take_id(payload)
        create_flight(member_of(request), flight=flight, payload=payload, now=timezone.now())
        return created_response(request, flight, flight_json(flight_for(member_of(request), flight)))


class OneFlight(APIView):
    """One flight."""

    @conditional_get(FlightSerializer, [404], operation_id="flight_read")
    def get(self, request: Request, flight_id: str) -> Response:
        """Show a flight: how far plan and tasting are, and the caller's own cups; after the reveal all cups."""
        return conditional_response(request, flight_json(flight_for(member_of(request), id_from_path(flight_id))))

    @operation({200: FlightSerializer}, [403, 404, 409], operation_id="flight_change", request=ChangedFlightSerializer)
    def patch(self, request: Request, flight_id: str) -> Response:
        """Change a flight, such as for a taster who fell ill; what was tasted already stays in the new plan."""
        flight = id_from_path(flight_id)
        update_flight(member_of(request), flight=flight, payload=body_of(request), now=timezone.now())
        return Response(flight_json(flight_for(member_of(request), flight)))

    @operation({204: None}, [403, 404, 409], operation_id="flight_call_off")
    def delete(self, request: Request, flight_id: str) -> Response:
        """Call a flight off, as long as nothing was tasted."""
        call_off_flight(member_of(request), flight=id_from_path(flight_id), now=timezone.now())
        return Response(status=204)


class FlightPouringPlan(APIView):
    """Which code is which lot, for whoever pours."""

    @conditional_get(answer_of(PouringPlan), [403, 404, 409], operation_id="flight_pouring")
    def get(self, request: Request, flight_id: str) -> Response:
        """Show who is poured what; before the reveal only to those who pour."""
        return conditional_response(request, pouring_plan_for(member_of(request), id_from_path(flight_id)))
