"""Version 1's table of contents: every address, and what it says of itself in the OpenAPI document."""

from collections.abc import Iterator

from django.urls import URLPattern, include, path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema_view

from api import documents as doc
from api.flight_documents import DESCRIBED as FLIGHTS_DESCRIBED
from api.flights import AnswerOf, Decision, Flights, OneFlight, PouringPlanOf, Reveal
from api.http.openapi import ETAG, IF_MATCH, NOT_MODIFIED, PAGING, described, page, problem
from api.live import Events
from api.operations.export import TeamExport
from api.records import RecordHistory, RecordItem, RecordList, RecordView
from api.shares import DESCRIBED as SHARES_DESCRIBED
from api.shares import OneShare, Shares
from api.sync import Sync
from lots.schema import Shape
from tastings.actions.push import SHAPES


def _made(base: type[RecordView], name: str) -> type[RecordView]:
    """Return a view for one record type: a class of its own, since each is described apart."""
    return type(f"{name.capitalize()}{base.__name__}", (base,), {"type_name": name})


def _record_routes(shape: Shape) -> Iterator[URLPattern]:
    """Return list, item and history of one record type."""
    name, read = shape.type, doc.record_read(shape)
    filters = [OpenApiParameter(field, str, description="only those with this value") for field in shape.filters]
    many, one, history = (_made(base, name) for base in (RecordList, RecordItem, RecordHistory))
    listing = page(read, f"{name.capitalize()}Page")
    extend_schema_view(
        get=described(
            operation_id=f"{name}_list",
            parameters=[*filters, *PAGING, ETAG],
            responses={200: listing, **NOT_MODIFIED, **problem(422)},
        ),
        post=described(
            operation_id=f"{name}_create",
            request=doc.record_new(shape),
            responses={201: read, **problem(400, 403, 413, 415, 422)},
        ),
    )(many)
    extend_schema_view(
        get=described(
            operation_id=f"{name}_read",
            parameters=[ETAG],
            responses={200: read, **NOT_MODIFIED, **problem(404)},
        ),
        patch=described(
            operation_id=f"{name}_change",
            parameters=[IF_MATCH],
            request=doc.record_change(shape),
            responses={200: read, **problem(400, 403, 404, 412, 413, 415, 422)},
        ),
        delete=described(
            operation_id=f"{name}_delete",
            parameters=[IF_MATCH],
            responses={204: None, **problem(403, 404, 412, 422)},
        ),
    )(one)
    extend_schema_view(
        get=described(
            operation_id=f"{name}_history",
            parameters=[ETAG],
            responses={200: doc.HISTORY, **NOT_MODIFIED, **problem(404)},
        )
    )(history)
    yield path(f"{name}s/", many.as_view())
    yield path(f"{name}s/<str:record_id>/", one.as_view())
    yield path(f"{name}s/<str:record_id>/history", history.as_view())


def _describe() -> None:
    """Describe the views that are not made from a shape."""
    body = problem(400, 413, 415, 422)
    for view, operations in {
        Sync: {"post": described(request=doc.SYNC_BODY, responses={200: doc.SYNC_ANSWER, **body, **problem(409, 410)})},
        Events: {
            "get": described(
                parameters=[OpenApiParameter("Last-Event-ID", str, OpenApiParameter.HEADER, description="a cursor")],
                responses={(200, "text/event-stream"): OpenApiTypes.STR, **problem(501, 503)},
            )
        },
        **FLIGHTS_DESCRIBED,
        **SHARES_DESCRIBED,
    }.items():
        extend_schema_view(**operations)(view)


_describe()
urlpatterns = [
    path("", include("api.account.urls")),
    path("", include("api.people.urls")),
    path("events", Events.as_view()),
    path("sync", Sync.as_view()),
    path("", include("api.words.urls")),
    *(route for shape in SHAPES.values() for route in _record_routes(shape)),
    path("", include("api.lots.urls")),
    path("team/export", TeamExport.as_view()),
    path("", include("api.photos.urls")),
    path("shares/", Shares.as_view()),
    path("shares/<str:share_id>/", OneShare.as_view()),
    path("flights/", Flights.as_view()),
    path("flights/<str:flight_id>/", OneFlight.as_view()),
    path("flights/<str:flight_id>/pouring", PouringPlanOf.as_view()),
    path("flights/<str:flight_id>/reveal", Reveal.as_view()),
    path("flights/<str:flight_id>/answer", AnswerOf.as_view()),
    path("flights/<str:flight_id>/decision", Decision.as_view()),
]
