"""What an action on tastings may answer instead of a result, beside `teams.errors`.

Refused
├── WrongOffset      a piece of a file does not go on where the last one ended
├── PhotoNotReady   what it needs is not there yet, or will never be
├── AlreadyRunning  it is being made for someone of the team at this moment
├── WrongState      it has gone too far for this, or not far enough
├── DocumentFailed  a PDF or picture that could not be made
├── DiskFull        no room for more files
├── PhotoStoreAway  the object store of photos does not answer
└── QuotaFull       the team, or the member, stores as much as it may
"""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from teams.errors import NotAllowed, Problem, Refused


class WrongOffset(Refused):
    """The piece does not begin where the upload stands; ``received`` says where that is."""

    status = 409
    code = "wrong_offset"
    title = gettext_lazy("The upload stands elsewhere")

    def __init__(self, received: int) -> None:
        super().__init__(
            _("continue at %(received)s") % {"received": received},
            problems=[Problem("Upload-Offset", "offset", _("must be %(received)s") % {"received": received})],
        )
        self.received = received


class PhotoNotReady(Refused):
    """The photo is not kept: it is still on its way, or was refused."""

    status = 409
    code = "not_yet"
    title = gettext_lazy("This photo is not there yet")


class AlreadyRunning(Refused):
    """One at a time: the team has another under way."""

    status = 409
    code = "under_way"
    title = gettext_lazy("The last one you asked for is still being made")


class WrongState(Refused):
    """What is asked for does not fit how far the flight has come."""

    status = 409
    code = "wrong_state"
    title = gettext_lazy("The flight has not come so far, or has gone further")


class DocumentFailed(Refused):
    """The report or card could not be typeset; the reason is stored with the document."""

    status = 500
    code = "document_failed"
    title = gettext_lazy("This document could not be made")


class DiskFull(Refused):
    """There is no room for the piece; what came before is safe, and the piece can be sent again."""

    status = 507
    code = "disk_full"
    title = gettext_lazy("There is no room for more photos just now; send it again later")


class PhotoStoreAway(Refused):
    """The object store of photos does not answer; what was acknowledged is safe, the rest can be sent again."""

    status = 503
    code = "photos_unavailable"
    wait_s = 5
    title = gettext_lazy("The store of photos is away for a moment; send it again later")


class QuotaFull(Refused):
    """The team, or the member, stores as much as it may; the problem says which quota it is."""

    status = 507
    code = "quota_full"
    title = gettext_lazy("A limit of storage is reached")

    def __init__(self, problem: Problem) -> None:
        super().__init__(problem.detail, problems=[problem])


def not_yours(field: str, detail: str) -> NotAllowed:
    """Return the refusal of a change of what somebody else made."""
    return NotAllowed(detail, problems=[Problem(field, "not_yours", detail)])
