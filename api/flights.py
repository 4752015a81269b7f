"""Blind flights: setting them up, their codes, the reveal, the answer and what was decided."""

from typing import Any
from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import device_id, member_of
from api.http.bodies import body_of, take_id
from api.http.conditional import conditional_response, id_from_path, paginated_response
from tastings.actions.flights.deciding import decide_flight
from tastings.actions.flights.revealing import reveal_flight
from tastings.actions.flights.setting_up import call_off_flight, change_flight, set_up_flight
from tastings.queries.flight_answers import answer_for
from tastings.queries.flights import flight_for, flights_of, pouring_plan_for


class Flights(APIView):
    """The team's blind flights."""

    def get(self, request: Request) -> Response:
        """List them; before its reveal a flight shows the caller's own cups, by code."""
        member = member_of(request)

        def read(after: UUID | None, limit: int) -> list[dict[str, Any]]:
            return list(flights_of(member, after=after, limit=limit))

        return paginated_response(request, read)

    def post(self, request: Request) -> Response:
        """Set one up among samples; its serving plan is made at once by a worker. For buyers and owners."""
        sent = body_of(request)
        flight = take_id(sent)
        set_up_flight(member_of(request), flight=flight, sent=sent, now=timezone.now())
        location = request.build_absolute_uri(f"{request.path}{flight}/")
        return Response(flight_for(member_of(request), flight), status=201, headers={"Location": location})


class OneFlight(APIView):
    """One flight."""

    def get(self, request: Request, flight_id: str) -> Response:
        """Show it: how far plan and tasting are, and the caller's own cups; after the reveal all cups."""
        return conditional_response(request, flight_for(member_of(request), id_from_path(flight_id)))

    def patch(self, request: Request, flight_id: str) -> Response:
        """Change it, such as for a taster who fell ill; what was tasted already stays in the new plan."""
        flight = id_from_path(flight_id)
        change_flight(member_of(request), flight=flight, sent=body_of(request), now=timezone.now())
        return Response(flight_for(member_of(request), flight))

    def delete(self, request: Request, flight_id: str) -> Response:
        """Call it off, as long as nothing was tasted."""
        call_off_flight(member_of(request), flight=id_from_path(flight_id))
        return Response(status=204)


class PouringPlanOf(APIView):
    """Which code is which lot, for whoever pours."""

    def get(self, request: Request, flight_id: str) -> Response:
        """Tell who pours what to pour for whom; nobody else before the reveal."""
        plan = pouring_plan_for(member_of(request), id_from_path(flight_id))
        body = {
            "flight": str(plan.flight.id),
            "version": plan.flight.plan_made,
            "pours": [
                {
                    "taster": pour.taster,
                    "sitting": pour.sitting,
                    "position": pour.position,
                    "code": pour.code,
                    "lot": pour.lot,
                    "lot_name": pour.lot_name,
                    "tasted": pour.tasted,
                }
                for pour in plan.pours
            ],
        }
        return conditional_response(request, body)


class Reveal(APIView):
    """The reveal of a flight."""

    def post(self, request: Request, flight_id: str) -> Response:
        """Put names to the codes, once; while cups are not tasted, with a reason."""
        flight = id_from_path(flight_id)
        reveal_flight(member_of(request), flight=flight, sent=body_of(request), now=timezone.now())
        return Response(flight_for(member_of(request), flight))


class AnswerOf(APIView):
    """What a flight says."""

    def get(self, request: Request, flight_id: str) -> Response:
        """Tell which lot is best, how surely, and what would settle it."""
        return conditional_response(request, answer_for(member_of(request), id_from_path(flight_id)))


class Decision(APIView):
    """What was decided on a flight."""

    def post(self, request: Request, flight_id: str) -> Response:
        """Keep what was chosen and why; each chosen sample becomes a bought lot that names it as its origin."""
        flight = id_from_path(flight_id)
        decide_flight(
            member_of(request), flight=flight, sent=body_of(request), device=device_id(request), now=timezone.now()
        )
        return Response(flight_for(member_of(request), flight), status=201)
