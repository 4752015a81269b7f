"""What the columns of an imported spreadsheet mean."""

from django.utils.translation import gettext_lazy as _

from tastings.wording.labels import Labels

COLUMN_LABELS: Labels = {
    "lot": _("Name of the lot"),
    "kind": _("Kind of tea, needed for a new lot"),
    "session": _("Which pot: rows of one lot with the same text here are one session"),
    "shop": _("Shop"),
    "started_at": _("When the session began"),
    "leaf_g": _("Dry leaf in grams"),
    "vessel_ml": _("Vessel holds, in millilitres"),
    "vessel_material": _("Material of the vessel"),
    "warmed": _("Vessel warmed first: yes or no"),
    "ending": _("How it ended: spent or stopped"),
    "number": _("Number of the infusion; 0 is the rinse"),
    "steep_s": _("Steep in seconds, until pouring begins"),
    "pour_s": _("Pouring, in seconds"),
    "kettle_c": _("Water in the kettle, in degrees Celsius"),
    "water_ml": _("Water poured on, in millilitres"),
    "rest_s": _("Rest before the next, in seconds"),
    "noted": _("Keys of words that were noticed and not rated, separated by spaces"),
}
