"""Which columns of jobs, files, flights and links operators see; `config.admin` serves it.

Lots, sessions, infusions, notes, words, pots and cups are not among them: they belong to their team.
"""

from django.contrib import admin

from tastings.models import Development, Flight, Photo, PhotoContent, RecordCount, RenderedDocument, Share, TeamPanel
from teams.read_only_admin import ReadOnlyAdmin

_COMPUTED = ("due_revision", "computed_revision", "asked_at", "started_at", "computed_at", "method")

admin.site.register(Development, ReadOnlyAdmin, columns=("team", "lot_id", *_COMPUTED, "failure"))
admin.site.register(TeamPanel, ReadOnlyAdmin, columns=("team", "version", *_COMPUTED))
admin.site.register(
    Photo,
    ReadOnlyAdmin,
    columns=("team", "by", "of", "state", "reason", "bytes", "received", "attempts", "created_at", "touched_at"),
    list_filter=("state", "reason"),
)
admin.site.register(PhotoContent, ReadOnlyAdmin, columns=("team", "sha256", "bytes", "width", "height", "created_at"))
admin.site.register(
    RenderedDocument,
    ReadOnlyAdmin,
    columns=("team", "layout", "form", "asked_at", "made_at", "used_on", "failure"),
    list_filter=("layout", "form"),
)
admin.site.register(
    Flight,
    ReadOnlyAdmin,
    columns=(
        "team",
        "id",
        "state",
        "plan_asked_at",
        "plan_failure",
        "answer_asked_at",
        "answered_at",
        "answer_failure",
    ),
    list_filter=("state",),
)
admin.site.register(
    Share, ReadOnlyAdmin, columns=("team", "shows", "lang", "by", "created_at", "expires_at", "revoked_at", "views")
)
admin.site.register(RecordCount, ReadOnlyAdmin, columns=("team", "user", "records", "notes"))
