"""Version 1's table of contents: every address, and what it says of itself in the OpenAPI document."""

from collections.abc import Iterator

from django.urls import URLPattern, include, path
from drf_spectacular.utils import OpenApiParameter, extend_schema_view

from api import documents as doc
from api.http.openapi import ETAG, IF_MATCH, NOT_MODIFIED, PAGING, operation, paginated, problem_responses
from api.records import RecordHistory, RecordItem, RecordList, RecordView
from api.sync import Sync
from lots.schema import RecordSchema
from tastings.schemas import RECORD_SCHEMAS


def _made(base: type[RecordView], name: str) -> type[RecordView]:
    """Return a view for one record type: a class of its own, since each is described apart."""
    return type(f"{name.capitalize()}{base.__name__}", (base,), {"type_name": name})


def _record_routes(schema: RecordSchema) -> Iterator[URLPattern]:
    """Return list, item and history of one record type."""
    name, read = schema.type, doc.record_read(schema)
    filters = [OpenApiParameter(field, str, description="only those with this value") for field in schema.filters]
    many, one, history = (_made(base, name) for base in (RecordList, RecordItem, RecordHistory))
    listing = paginated(read, f"{name.capitalize()}Page")
    extend_schema_view(
        get=operation(
            operation_id=f"{name}_list",
            parameters=[*filters, *PAGING, ETAG],
            responses={200: listing, **NOT_MODIFIED, **problem_responses(422)},
        ),
        post=operation(
            operation_id=f"{name}_create",
            request=doc.record_new(schema),
            responses={201: read, **problem_responses(400, 403, 413, 415, 422)},
        ),
    )(many)
    extend_schema_view(
        get=operation(
            operation_id=f"{name}_read",
            parameters=[ETAG],
            responses={200: read, **NOT_MODIFIED, **problem_responses(404)},
        ),
        patch=operation(
            operation_id=f"{name}_change",
            parameters=[IF_MATCH],
            request=doc.record_change(schema),
            responses={200: read, **problem_responses(400, 403, 404, 412, 413, 415, 422)},
        ),
        delete=operation(
            operation_id=f"{name}_delete",
            parameters=[IF_MATCH],
            responses={204: None, **problem_responses(403, 404, 412, 422)},
        ),
    )(one)
    extend_schema_view(
        get=operation(
            operation_id=f"{name}_history",
            parameters=[ETAG],
            responses={200: doc.HISTORY, **NOT_MODIFIED, **problem_responses(404)},
        )
    )(history)
    yield path(f"{name}s/", many.as_view())
    yield path(f"{name}s/<str:record_id>/", one.as_view())
    yield path(f"{name}s/<str:record_id>/history", history.as_view())


def _describe() -> None:
    """Describe the views that are not made from a schema."""
    body = problem_responses(400, 413, 415, 422)
    for view, operations in {
        Sync: {
            "post": operation(
                request=doc.SYNC_BODY, responses={200: doc.SYNC_ANSWER, **body, **problem_responses(409, 410)}
            )
        },
    }.items():
        extend_schema_view(**operations)(view)


_describe()
urlpatterns = [
    path("", include("api.account.urls")),
    path("", include("api.people.urls")),
    path("", include("api.operations.urls")),
    path("sync", Sync.as_view()),
    path("", include("api.descriptors.urls")),
    *(route for schema in RECORD_SCHEMAS.values() for route in _record_routes(schema)),
    path("", include("api.lots.urls")),
    path("", include("api.photos.urls")),
    path("", include("api.shares.urls")),
    path("", include("api.flights.urls")),
]
