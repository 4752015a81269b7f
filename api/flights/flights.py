"""Blind flights: setting them up, how far they are, and the codes for those who pour."""

from uuid import UUID

from django.utils import timezone
from rest_framework import serializers as s
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView
from rest_framework_dataclasses.serializers import DataclassSerializer

from api.http.addresses import created_response
from api.http.auth import member_of
from api.http.bodies import body_of, take_id
from api.http.conditional import conditional_response, id_from_path, paginated_response
from api.http.dataclass_answers import answer_of
from api.http.openapi import (
    BAD_BODY,
    ETAG,
    LOCATION,
    NOT_MODIFIED,
    PAGING,
    inline_object,
    operation,
    optional_schema_fields,
    paginated,
    problem_responses,
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
ChangedFlightSerializer = inline_object("FlightChange", **optional_schema_fields(FLIGHT))
ChosenLotSerializer = inline_object("Chosen", **schema_fields(CHOSEN))


class FlightDecisionSerializer(DataclassSerializer[FlightDecision]):
    """What was decided, and why."""

    chosen = ChosenLotSerializer(many=True)

    class Meta:
        dataclass = FlightDecision


class FlightSerializer(DataclassSerializer[FlightItem]):
    """A flight, as the caller may see it."""

    decision = FlightDecisionSerializer(allow_null=True)

    class Meta:
        dataclass = FlightItem
        ref_name = "Flight"


def flight_json(flight: FlightItem) -> dict[str, object]:
    """Return a flight as JSON types; its numbers are as they were sent."""
    return dict(to_stored(flight, decimals=None))


class Flights(APIView):
    """The team's blind flights."""

    @operation(
        operation_id="flight_list",
        parameters=[*PAGING, ETAG],
        responses={200: paginated(FlightSerializer, "FlightPage"), **NOT_MODIFIED, **problem_responses(422)},
    )
    def get(self, request: Request) -> Response:
        """List flights; before its reveal a flight shows the caller's own cups, by code."""
        member = member_of(request)

        def page(after: UUID | None, limit: int) -> list[dict[str, object]]:
            return [flight_json(flight) for flight in flights_of(member, after=after, limit=limit)]

        return paginated_response(request, page)

    @operation(
        operation_id="flight_create",
        parameters=[LOCATION],
        request=NewFlightSerializer,
        responses={201: FlightSerializer, **BAD_BODY, **problem_responses(403)},
    )
    def post(self, request: Request) -> Response:
        """Plan a flight among samples; a worker makes its serving plan at once. For buyers and owners."""
        payload = body_of(request)
        flight = take_id(payload)
        create_flight(member_of(request), flight=flight, payload=payload, now=timezone.now())
        return created_response(request, flight, flight_json(flight_for(member_of(request), flight)))


class OneFlight(APIView):
    """One flight."""

    @operation(
        operation_id="flight_read",
        parameters=[ETAG],
        responses={200: FlightSerializer, **NOT_MODIFIED, **problem_responses(404)},
    )
    def get(self, request: Request, flight_id: str) -> Response:
        """Show a flight: how far plan and tasting are, and the caller's own cups; after the reveal all cups."""
        return conditional_response(request, flight_json(flight_for(member_of(request), id_from_path(flight_id))))

    @operation(
        operation_id="flight_change",
        request=ChangedFlightSerializer,
        responses={200: FlightSerializer, **BAD_BODY, **problem_responses(403, 404, 409)},
    )
    def patch(self, request: Request, flight_id: str) -> Response:
        """Change a flight, such as for a taster who fell ill; what was tasted already stays in the new plan."""
        flight = id_from_path(flight_id)
        update_flight(member_of(request), flight=flight, payload=body_of(request), now=timezone.now())
        return Response(flight_json(flight_for(member_of(request), flight)))

    @operation(operation_id="flight_call_off", responses={204: None, **problem_responses(403, 404, 409)})
    def delete(self, request: Request, flight_id: str) -> Response:
        """Call a flight off, as long as nothing was tasted."""
        call_off_flight(member_of(request), flight=id_from_path(flight_id), now=timezone.now())
        return Response(status=204)


class FlightPouringPlan(APIView):
    """Which code is which lot, for whoever pours."""

    @operation(
        operation_id="flight_pouring",
        parameters=[ETAG],
        responses={200: answer_of(PouringPlan), **NOT_MODIFIED, **problem_responses(403, 404, 409)},
    )
    def get(self, request: Request, flight_id: str) -> Response:
        """Show who is poured what; before the reveal only to those who pour."""
        return conditional_response(request, pouring_plan_for(member_of(request), id_from_path(flight_id)))
