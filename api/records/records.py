"""Lots, sessions, infusions, notes and descriptors as plain REST resources.

A write is pushed like a change that came by sync: one made now, on the server's present state.
"""

from collections.abc import Iterator, Mapping
from uuid import UUID

from django.urls import URLPattern, path
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.addresses import created_response
from api.http.auth import device_id, member_of
from api.http.bodies import body_of, take_id
from api.http.conditional import conditional_response, expected_revision, id_from_path, paginated_response
from api.http.examples import new_record_examples
from api.http.openapi import (
    IF_MATCH,
    LOCATION,
    NEW_ETAG,
    PAGING,
    conditional_get,
    describe_methods,
    operation,
    paginated,
    query_parameter,
)
from api.http.verdicts import refusal_of
from api.records.serializers import (
    HistorySerializer,
    changed_record_serializer,
    new_record_serializer,
    record_serializer,
)
from lots.merge import DELETED
from lots.schema import RecordSchema
from tastings.actions.push import NEW, Change, push_changes, validate_fields
from tastings.queries.records import Record, history_for, list_records, record_for, was_made_with
from tastings.schemas import RECORD_SCHEMAS
from teams.errors import Invalid, NotAllowed, NotFound, Problem
from teams.replica import counter_of, read_from_replica


def serialize_record(record: Record) -> dict[str, object]:
    """Return a record as JSON."""
    people = {name: str(user) if user else None for name, user in (("by", record.by), ("author", record.author))}
    return {"id": str(record.id), "revision": record.revision, **record.fields, **people}


class RecordView(APIView):
    """Base of the views; ``type_name`` says which records."""

    type_name = ""

    def change(self, request: Request, *, record: UUID, fields: Mapping[str, object], expected: int | None) -> None:
        """Apply one change; raise the reason if it is refused."""
        change = Change(type=self.type_name, id=record, fields=fields, stamp=None, expected=expected)
        [verdict] = push_changes(member_of(request), device=device_id(request), changes=[change], now=timezone.now())
        if verdict.verdict == "refused":
            raise refusal_of(verdict)

    def own_record_id(self, request: Request, record_id: str) -> UUID:
        """Return the id of a record that the team may change; raise NotFound or NotAllowed."""
        record = record_for(member_of(request), self.type_name, id_from_path(record_id))
        if record.fields.get("built_in"):
            raise NotAllowed(_("what is built in cannot be changed"))
        return record.id

    def require_live_session(self, request: Request, fields: Mapping[str, object]) -> None:
        """Refuse a new record of a deleted session: nobody would see it."""
        if (session := fields.get("session")) is None:
            return
        try:
            record_for(member_of(request), "session", UUID(str(session)))
        except NotFound as error:
            raise Invalid(problems=[Problem("session", "unknown_parent", _("there is no such session"))]) from error


class RecordList(RecordView):
    """The team's records of one type."""

    def get(self, request: Request) -> Response:
        """List the records that are not deleted, in the order of their ids, filtered by the query."""
        filters = {name: str(value) for name, value in request.query_params.items() if name not in ("after", "limit")}
        member = member_of(request)

        def page(after: UUID | None, limit: int) -> list[dict[str, object]]:
            rows = read_from_replica(
                lambda: list_records(member, self.type_name, filters=filters, after=after, limit=limit),
                state=counter_of(member.team_id),
            )
            return [serialize_record(row) for row in rows]

        return paginated_response(request, page)

    def post(self, request: Request) -> Response:
        """Make a record under the id the client chose; sent again, the answer is 201 with the record as it is now."""
        sent = body_of(request)
        record = take_id(sent)
        fields = valid_fields(self.type_name, sent)
        self.require_live_session(request, fields)
        try:
            self.change(request, record=record, fields=fields, expected=NEW)
        except Invalid:
            if not was_made_with(member_of(request), self.type_name, record, fields=fields):
                raise
        created = record_for(member_of(request), self.type_name, record)
        etag = {"ETag": f'"{created.revision}"'}
        return created_response(request, record, serialize_record(created), headers=etag)


class RecordItem(RecordView):
    """One record."""

    def get(self, request: Request, record_id: str) -> Response:
        """Return the record; its ``ETag`` is the revision."""
        member, row_id = member_of(request), id_from_path(record_id)
        record = read_from_replica(lambda: record_for(member, self.type_name, row_id), state=counter_of(member.team_id))
        return conditional_response(request, serialize_record(record), tag=str(record.revision))

    def patch(self, request: Request, record_id: str) -> Response:
        """Change the fields sent and leave the others."""
        record = self.own_record_id(request, record_id)
        fields = valid_fields(self.type_name, body_of(request))
        self.change(request, record=record, fields=fields, expected=expected_revision(request))
        changed = record_for(member_of(request), self.type_name, record)
        return Response(serialize_record(changed), headers={"ETag": f'"{changed.revision}"'})

    def delete(self, request: Request, record_id: str) -> Response:
        """Delete the record; its history stays, and a later change brings it back."""
        record = self.own_record_id(request, record_id)
        self.change(request, record=record, fields={DELETED: True}, expected=expected_revision(request))
        return Response(status=204)


class RecordHistory(RecordView):
    """Who set what, and every value that was overwritten."""

    def get(self, request: Request, record_id: str) -> Response:
        """Show the present values' authors and the overwritten values, the newest first."""
        member, row_id = member_of(request), id_from_path(record_id)
        history = read_from_replica(
            lambda: history_for(member, self.type_name, row_id), state=counter_of(member.team_id)
        )
        return conditional_response(request, history)


def valid_fields(type_name: str, sent: Mapping[str, object]) -> dict[str, object]:
    """Return clean fields; raise Invalid naming every one that is not."""
    fields, problems = validate_fields(RECORD_SCHEMAS[type_name], sent)
    if problems:
        raise Invalid(problems=problems)
    return fields


def record_routes(schema: RecordSchema) -> Iterator[URLPattern]:
    """Return list, item and history of one record type, described by its schema."""
    name, record = schema.type, record_serializer(schema)
    a_record = f"{'an' if name[0] in 'aeiou' else 'a'} {name}"
    filters = [query_parameter(field, schema.by_name().get(field)) for field in schema.filters]
    many, item, history = (_view_for(base, name) for base in (RecordList, RecordItem, RecordHistory))
    describe_methods(
        many,
        get=conditional_get(
            paginated(record, f"{name.capitalize()}Page"),
            [422],
            operation_id=f"{name}_list",
            summary=f"List {name}s",
            parameters=[*filters, *PAGING],
        ),
        post=operation(
            {201: record},
            [403, 507],
            operation_id=f"{name}_create",
            summary=f"Make {a_record}",
            parameters=[LOCATION, NEW_ETAG],
            request=new_record_serializer(schema),
            examples=new_record_examples(schema),
        ),
    )
    describe_methods(
        item,
        get=conditional_get(record, [404], operation_id=f"{name}_read", summary=f"Show {a_record}"),
        patch=operation(
            {200: record},
            [403, 404, 412],
            operation_id=f"{name}_change",
            summary=f"Change {a_record}",
            parameters=[IF_MATCH, NEW_ETAG],
            request=changed_record_serializer(schema),
        ),
        delete=operation(
            {204: None},
            [403, 404, 412, 422],
            operation_id=f"{name}_delete",
            summary=f"Delete {a_record}",
            parameters=[IF_MATCH],
        ),
    )
    describe_methods(
        history,
        get=conditional_get(
            HistorySerializer, [404], operation_id=f"{name}_history", summary=f"Show who set what of {a_record}"
        ),
    )
    yield path(f"{name}s/", many.as_view())
    yield path(f"{name}s/<str:record_id>/", item.as_view())
    yield path(f"{name}s/<str:record_id>/history", history.as_view())


def _view_for(base: type[RecordView], name: str) -> type[RecordView]:
    """Return a view for one record type: a class of its own, since each is described apart."""
    return type(f"{name.capitalize()}{base.__name__}", (base,), {"type_name": name})
