"""What roles, and the events of the audit log, are called."""

from django.utils.functional import Promise
from django.utils.translation import pgettext_lazy

from tastings.wording.labels import Labels

ROLES: Labels = {
    "owner": pgettext_lazy("role", "Owner: runs the team"),
    "buyer": pgettext_lazy("role", "Buyer: tastes and decides what is bought"),
    "taster": pgettext_lazy("role", "Taster: writes tasting notes"),
    "viewer": pgettext_lazy("role", "Viewer: reads"),
}
DETAILS: Labels = {
    "member": pgettext_lazy("detail of an event", "member"),
    "address": pgettext_lazy("detail of an event", "network address"),
    "device": pgettext_lazy("detail of an event", "device"),
    "role": pgettext_lazy("detail of an event", "role"),
    "from": pgettext_lazy("detail of an event", "from"),
    "to": pgettext_lazy("detail of an event", "to"),
    "taster": pgettext_lazy("detail of an event", "taster"),
    "shop": pgettext_lazy("detail of an event", "shop"),
    "flight": pgettext_lazy("detail of an event", "flight"),
    "added": pgettext_lazy("detail of an event", "added"),
    "removed": pgettext_lazy("detail of an event", "removed"),
    "lot": pgettext_lazy("detail of an event", "lot"),
    "bought": pgettext_lazy("detail of an event", "bought"),
    "type": pgettext_lazy("detail of an event", "record"),
    "fields": pgettext_lazy("detail of an event", "fields"),
    "reason": pgettext_lazy("detail of an event", "reason"),
    "cups_missing": pgettext_lazy("detail of an event", "cups not tasted"),
}
"""Labels of details in the audit log; details that are not listed are ids, which the API shows."""
EVENTS: Labels = {
    "sign_in": pgettext_lazy("event", "Signed in"),
    "sign_in_code": pgettext_lazy("event", "Made a code to sign a phone in"),
    "failed_sign_in": pgettext_lazy("event", "Failed to sign in"),
    "sign_out_everywhere": pgettext_lazy("event", "Signed out everywhere"),
    "invitation": pgettext_lazy("event", "Invited somebody"),
    "invitation_revoked": pgettext_lazy("event", "Took an invitation back"),
    "joined": pgettext_lazy("event", "Joined the team"),
    "role_change": pgettext_lazy("event", "Changed a role"),
    "removal": pgettext_lazy("event", "Ended a membership"),
    "password_change": pgettext_lazy("event", "Changed the password"),
    "password_reset": pgettext_lazy("event", "Set a new password by a mailed link"),
    "email_change": pgettext_lazy("event", "Changed the e-mail address"),
    "email_verified": pgettext_lazy("event", "Confirmed the e-mail address"),
    "lot_made": pgettext_lazy("event", "Made a lot"),
    "lot_edited": pgettext_lazy("event", "Edited a lot"),
    "lot_priced": pgettext_lazy("event", "Priced a lot"),
    "lot_bought": pgettext_lazy("event", "Bought a lot"),
    "lot_retired": pgettext_lazy("event", "Retired a lot"),
    "lot_deleted": pgettext_lazy("event", "Deleted a lot"),
    "lot_restored": pgettext_lazy("event", "Brought a deleted lot back"),
    "reveal": pgettext_lazy("event", "Revealed a flight"),
    "decision": pgettext_lazy("event", "Decided a flight"),
    "pourers_change": pgettext_lazy("event", "Changed who pours a flight"),
    "tasters_change": pgettext_lazy("event", "Changed who tastes a flight"),
    "samples_change": pgettext_lazy("event", "Changed the samples of a flight"),
    "flight_called_off": pgettext_lazy("event", "Called a flight off"),
    "late_score": pgettext_lazy("event", "Admitted a late score"),
    "correction": pgettext_lazy("event", "Corrected another's tasting"),
    "words_merged": pgettext_lazy("event", "Merged two words"),
    "export": pgettext_lazy("event", "Exported the team"),
    "logo": pgettext_lazy("event", "Uploaded a logo"),
    "logo_removed": pgettext_lazy("event", "Removed the logo"),
    "share": pgettext_lazy("event", "Gave a link"),
    "share_kept": pgettext_lazy("event", "Kept a link that waited"),
    "share_ended": pgettext_lazy("event", "Ended a link"),
}
EVENT_GROUPS: dict[str, tuple[Promise, tuple[str, ...]]] = {
    "lots": (
        pgettext_lazy("events", "Lots"),
        ("lot_made", "lot_edited", "lot_priced", "lot_bought", "lot_retired", "lot_deleted", "lot_restored"),
    ),
    "flights": (
        pgettext_lazy("events", "Flights"),
        (
            "reveal", "decision", "pourers_change", "tasters_change", "samples_change", "flight_called_off",
            "late_score",
        ),
    ),
    "tastings": (pgettext_lazy("events", "Tastings and words"), ("correction", "words_merged")),
    "people": (
        pgettext_lazy("events", "People"),
        ("invitation", "invitation_revoked", "joined", "role_change", "removal"),
    ),
    "outside": (
        pgettext_lazy("events", "Links, exports, logo"),
        ("share", "share_kept", "share_ended", "export", "logo", "logo_removed"),
    ),
    "access": (
        pgettext_lazy("events", "Signing in"),
        (
            "sign_in", "sign_in_code", "failed_sign_in", "sign_out_everywhere", "password_change", "password_reset",
            "email_change", "email_verified",
        ),
    ),
}  # fmt: skip
"""The events in groups, as the audit log's page offers them; each event is in one group."""
