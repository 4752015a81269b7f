"""Push and pull in one round trip."""

from uuid import UUID

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import device_token, member_of
from api.http.bodies import body_of
from api.http.openapi import BAD_BODY, operation, problem_responses
from api.http.parsing import TooLarge
from api.operations.metrics import count_verdicts
from api.sync.schema_versions import SCHEMA_VERSIONS
from api.sync.serializers import SyncAnswerSerializer, SyncBodySerializer
from lots.schema import InvalidValue, clean_id, format_utc
from lots.wording import field_problem
from tastings.actions.push import push
from tastings.queries.pull import pull
from teams.actions.people import check_cursor
from teams.errors import Invalid, Problem, Refused

MAX_CHANGES = 1000
DEFAULT_LIMIT, MAX_LIMIT = 500, 1000
_BODY_KEYS = frozenset(("schema", "device", "cursor", "limit", "changes"))


class UnknownSchema(Refused):
    """The client uses a version of the record schemas that we do not have."""

    status = 409
    code = "unknown_schema"
    title = gettext_lazy("This schema is not spoken here")


class Sync(APIView):
    """Receives a phone's changes and answers with verdicts and new changes."""

    @operation(
        request=SyncBodySerializer,
        responses={200: SyncAnswerSerializer, **BAD_BODY, **problem_responses(409, 410)},
    )
    def post(self, request: Request) -> Response:
        """Apply the changes, then return what changed after the cursor, the caller's own changes included."""
        member, now = member_of(request), timezone.now()
        sent = body_of(request)
        if not _is_int(schema := sent.get("schema")) or schema not in SCHEMA_VERSIONS:
            known = ", ".join(map(str, sorted(SCHEMA_VERSIONS)))
            raise UnknownSchema(
                _("schemas spoken: %(spoken)s") % {"spoken": known},
                problems=[Problem("schema", "choice", _("one of %(choices)s") % {"choices": known})],
            )
        problems = [
            Problem(name.encode(errors="replace").decode()[:80], "unknown_field", _("is not part of a sync body"))
            for name in sent.keys() - _BODY_KEYS
        ]
        device = ""
        try:
            device = clean_id(sent.get("device"))
        except InvalidValue as error:
            problems.append(field_problem("device", error.fault))
        cursor, limit, changes = sent.get("cursor", 0), sent.get("limit", DEFAULT_LIMIT), sent.get("changes", [])
        if not _is_int(cursor) or not 0 <= cursor < 2**63:
            problems.append(Problem("cursor", "range", _("must be a whole number, 0 or more")))
        if not _is_int(limit) or not 1 <= limit <= MAX_LIMIT:
            problems.append(
                Problem(
                    "limit",
                    "range",
                    _("must be a whole number from 1 to %(highest)s") % {"highest": MAX_LIMIT},
                )
            )
        if not isinstance(changes, list):
            problems.append(Problem("changes", "type", _("must be a list")))
        elif len(changes) > MAX_CHANGES:
            raise TooLarge
        if problems:
            raise Invalid(problems=problems)
        check_cursor(device_token(request), cursor=cursor, now=now)
        version = SCHEMA_VERSIONS[schema]
        verdicts = push(member, device=UUID(device), sent=[version.upgrade(change) for change in changes], now=now)
        count_verdicts(verdicts)
        page = pull(member, cursor=cursor, limit=limit)
        return Response(
            {
                "verdicts": [verdict.as_json() for verdict in verdicts],
                "changes": [version.downgrade(change) for change in page.changes],
                "cursor": page.cursor,
                "more": page.more,
                "now": format_utc(now),
            }
        )


def _is_int(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)
