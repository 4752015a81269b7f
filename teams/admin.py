"""Which columns of people, devices and events operators see; `config.admin` serves it."""

from django.contrib import admin

from teams.models import (
    AuditEntry,
    AuditEvent,
    DeviceToken,
    EmailVerification,
    Invitation,
    Member,
    MovedTeam,
    ResetLink,
    ResetRequest,
    Shop,
    Team,
    User,
)
from teams.read_only_admin import ReadOnlyAdmin


class AuditEntryAdmin(ReadOnlyAdmin):
    """The audit log; of the events that `tastings` adds, what they were about stays the team's."""

    columns = ("at", "team", "who", "what", "about_people")
    list_filter = ("what",)
    date_hierarchy = "at"
    ordering = ("-at",)

    @admin.display(description="about")
    def about_people(self, entry: AuditEntry) -> str:
        """Return the ids and numbers of an event of people."""
        known = entry.what in AuditEvent.values
        return ", ".join(f"{name}: {value}" for name, value in entry.about.items()) if known else ""


admin.site.register(
    Team, ReadOnlyAdmin, columns=("name", "time_zone", "revision", "created_at"), search_fields=("name",)
)
admin.site.register(Shop, ReadOnlyAdmin, columns=("team", "name", "created_at"), search_fields=("name",))
admin.site.register(
    User,
    ReadOnlyAdmin,
    columns=("username", "name", "email", "email_verified_at", "is_active", "created_at"),
    search_fields=("username", "name", "email"),
)
admin.site.register(
    Member,
    ReadOnlyAdmin,
    columns=("team", "user", "shop", "role", "joined_at", "left_at"),
    search_fields=("team__name", "user__username"),
    list_filter=("role",),
)
admin.site.register(
    DeviceToken,
    ReadOnlyAdmin,
    columns=("member", "device", "created_at", "last_used_at", "expires_at"),
    search_fields=("device", "member__user__username"),
)
admin.site.register(
    Invitation,
    ReadOnlyAdmin,
    columns=("team", "shop", "role", "by", "created_at", "expires_at", "revoked_at", "used_at", "used_by"),
)
admin.site.register(ResetRequest, ReadOnlyAdmin, columns=("created_at", "claimed_at", "handled_at"))
admin.site.register(ResetLink, ReadOnlyAdmin, columns=("user", "created_at", "expires_at", "used_at"))
admin.site.register(
    EmailVerification, ReadOnlyAdmin, columns=("user", "email", "created_at", "claimed_at", "handled_at")
)
admin.site.register(MovedTeam, ReadOnlyAdmin, columns=("team", "cell", "since"))
admin.site.register(AuditEntry, AuditEntryAdmin)
