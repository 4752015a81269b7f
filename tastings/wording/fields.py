"""What the fields of records are called in forms and histories, with their units, and their choices."""

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from tastings.wording.labels import COUNTRIES, MATERIALS, MOMENTS, ROASTS, STATUSES, TEAS, Labels

RECORD_TYPES: Labels = {
    "lot": pgettext_lazy("kind of record", "Lot"),
    "session": pgettext_lazy("kind of record", "Session"),
    "infusion": pgettext_lazy("kind of record", "Infusion"),
    "note": pgettext_lazy("kind of record", "Note"),
    "descriptor": pgettext_lazy("kind of record", "Word"),
    "pot": pgettext_lazy("kind of record", "Pot"),
}
FORMS: Labels = {
    "rolled": pgettext_lazy("form of leaf", "rolled"),
    "twisted": pgettext_lazy("form of leaf", "twisted"),
    "needle": pgettext_lazy("form of leaf", "needle"),
    "flat": pgettext_lazy("form of leaf", "flat"),
    "broken": pgettext_lazy("form of leaf", "broken"),
    "compressed": pgettext_lazy("form of leaf", "compressed"),
    "powder": pgettext_lazy("form of leaf", "powder"),
}
PURPOSES: Labels = {
    "selection": pgettext_lazy("purpose of a session", "choosing among samples"),
    "arrival": pgettext_lazy("purpose of a session", "checking an arrival"),
    "reference": pgettext_lazy("purpose of a session", "reference"),
    "training": pgettext_lazy("purpose of a session", "training"),
    "guest": pgettext_lazy("purpose of a session", "with guests"),
}
ENDINGS: Labels = {
    "spent": pgettext_lazy("end of a session", "the leaf was spent"),
    "stopped": pgettext_lazy("end of a session", "stopped before"),
}
CHOICES: Mapping[str, Labels] = {
    "kind": TEAS,
    "form": FORMS,
    "roast": ROASTS,
    "status": STATUSES,
    "country": COUNTRIES,
    "vessel_material": MATERIALS,
    "purpose": PURPOSES,
    "ending": ENDINGS,
    "moment": MOMENTS,
}
"""Labels of choices by field; a country that is not listed is shown by its code."""

_LABELS: Mapping[str, Promise] = {
    "name": _("Name"),
    "remarks": _("Remarks"),
    "code": _("Code of your own"),
    "kind": _("Kind of tea"),
    "cultivar": _("Cultivar"),
    "country": _("Country"),
    "region": _("Region"),
    "garden": _("Garden"),
    "elevation_low_m": _("Elevation from, m"),
    "elevation_high_m": _("Elevation to, m"),
    "harvest_year": _("Year of harvest"),
    "harvest_season": _("Season or flush"),
    "harvested_on": _("Day of harvest"),
    "pick_standard": _("Leaves and buds picked"),
    "form": _("Form of the leaf"),
    "oxidation_pct": _("Oxidation in percent"),
    "roast": _("Roast"),
    "roast_fuel": _("Fuel of the roast"),
    "roasted_on": _("Day of the last roast"),
    "producer": _("Producer"),
    "supplier": _("Supplier"),
    "status": _("Status"),
    "price_per_kg": _("Price per kilogram"),
    "currency": _("Currency, three letters"),
    "quantity_g": _("Quantity in grams"),
    "arrived_on": _("Day of arrival"),
    "from_lot": _("Bought from the sample"),
    "vessel_ml": _("Vessel holds, in millilitres"),
    "vessel_material": _("Material of the vessel"),
    "vessel_g": _("Vessel weighs, with lid, in grams"),
    "leaf_g": _("Dry leaf in grams"),
    "pour_s": _("Pouring, in seconds"),
    "shop": _("Shop"),
    "retired": _("No longer in use"),
    "lot": _("Lot"),
    "started_at": _("Began at"),
    "warmed": _("Vessel warmed first"),
    "room_c": _("Room in degrees Celsius"),
    "water": _("Water"),
    "water_tds_mg_l": _("Dissolved solids of the water, in milligrams per litre"),
    "altitude_m": _("Metres above the sea"),
    "pot": _("Pot"),
    "purpose": _("Purpose"),
    "ending": _("How it ended"),
    "more_low": _("Further infusions, at least"),
    "more_high": _("Further infusions, at most"),
    "private": _("Private: nobody else sees it"),
    "session": _("Session"),
    "flight_cup": _("Cup of a flight"),
    "number": _("Number; 0 is the rinse"),
    "steep_s": _("Steep in seconds, until pouring begins"),
    "kettle_c": _("Water in the kettle, in degrees Celsius"),
    "water_ml": _("Water poured on, in millilitres"),
    "rest_s": _("Rest before the next, in seconds"),
    "poured_at": _("Poured at"),
    "tasted": _("Tasted"),
    "infusion": _("Infusion"),
    "moment": _("Where it was noticed"),
    "descriptor": _("Word"),
    "intensity": _("Intensity, 0 to 10"),
    "text": _("In your own words"),
    "key": _("Key"),
    "label": _("Word"),
    "family": _("Family"),
    "rated_each_infusion": _("Offered for rating at each infusion"),
    "synonyms": _("Other words for it, separated by commas"),
    "deleted": _("Deleted"),
}

_LABELS_OF_TYPE: Mapping[tuple[str, str], Promise] = {
    ("pot", "leaf_g"): _("Usual leaf in grams"),
    ("pot", "pour_s"): _("Usually empties in, seconds"),
    ("pot", "shop"): _("Stands in the shop"),
    ("lot", "remarks"): _("Remarks of the team"),
}


def field_label(type_name: str, name: str) -> str:
    """Return what a field of a record type is called.

    >>> field_label("pot", "leaf_g"), field_label("session", "leaf_g")
    ('Usual leaf in grams', 'Dry leaf in grams')
    """
    return str(_LABELS_OF_TYPE.get((type_name, name)) or _LABELS.get(name) or name)
