"""What the pages of records say: of making one, of one that was saved, and of one that is deleted."""

from django.utils.translation import gettext_lazy as _

from tastings.wording.labels import Labels

NEW: Labels = {
    "lot": _("New lot"),
    "session": _("New session"),
    "infusion": _("New infusion"),
    "note": _("New note"),
    "descriptor": _("New word"),
    "pot": _("New pot"),
}
SAVED: Labels = {
    "lot": _("The lot is saved."),
    "session": _("The session is saved. Add its infusions next."),
    "infusion": _("The infusion is saved."),
    "note": _("The note is saved."),
    "descriptor": _("The word is saved."),
    "pot": _("The pot is saved."),
}
DELETE: Labels = {
    "lot": _("Delete this lot"),
    "session": _("Delete this session"),
    "infusion": _("Delete this infusion"),
    "note": _("Delete this note"),
    "descriptor": _("Delete this word"),
    "pot": _("Delete this pot"),
}
DELETED: Labels = {
    "lot": _("The lot is deleted."),
    "session": _("The session is deleted."),
    "infusion": _("The infusion is deleted."),
    "note": _("The note is deleted."),
    "descriptor": _("The word is deleted."),
    "pot": _("The pot is deleted."),
}
