"""Which fields of a record a page shows, in which order, and what its references may name."""

from __future__ import annotations

from typing import TYPE_CHECKING
from uuid import UUID

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from tastings.queries.developments import labels_of
from tastings.queries.records import choices_of_lots, list_records, names_of_live_lots
from tastings.schemas import RECORD_SCHEMAS
from tastings.wording.labels import descriptor_label
from tastings.wording.numbers import number
from teams.queries.people import shops_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from django_stubs_ext import StrOrPromise

    from tastings.queries.records import Record
    from teams.models import Member

MOST_OF_A_SESSION = 2000
"""Most infusions or notes of one session that a page lists."""
PURCHASE = ("status", "price_per_kg", "currency", "quantity_g", "arrived_on", "from_lot")
_SECTIONS: Mapping[str, tuple[tuple[StrOrPromise, tuple[str, ...]], ...]] = {
    "lot": (
        ("", ("name", "kind", "code", "supplier")),
        (gettext_lazy("Purchase"), PURCHASE),
        (
            gettext_lazy("Origin"),
            ("country", "region", "garden", "producer", "cultivar", "elevation_low_m", "elevation_high_m"),
        ),
        (gettext_lazy("Harvest"), ("harvest_year", "harvest_season", "harvested_on", "pick_standard")),
        (gettext_lazy("Making"), ("form", "oxidation_pct", "roast", "roast_fuel", "roasted_on")),
        ("", ("remarks",)),
    ),
    "session": (
        ("", ("lot", "started_at", "shop", "purpose")),
        (
            gettext_lazy("How it was brewed"),
            ("pot", "leaf_g", "vessel_ml", "vessel_material", "vessel_g", "warmed", "water", "water_tds_mg_l",
             "altitude_m", "room_c"),
        ),
        (gettext_lazy("How it ended"), ("ending", "more_low", "more_high", "remarks", "private")),
    ),
    "infusion": (
        ("", ("number", "steep_s", "pour_s", "kettle_c", "water_ml", "rest_s", "poured_at", "tasted", "remarks")),
    ),
    "note": (("", ("infusion", "moment", "descriptor", "intensity", "text")),),
    "descriptor": (("", ("label", "family", "synonyms", "rated_each_infusion")),),
    "pot": (("", ("name", "vessel_ml", "vessel_material", "vessel_g", "leaf_g", "pour_s", "shop", "retired")),),
}  # fmt: skip


def sections_for(
    member: Member, type_name: str, record: Record | None = None
) -> list[tuple[StrOrPromise, tuple[str, ...]]]:
    """Return the sections of a record's form: a heading, which may be empty, and the fields below it."""
    hidden: set[str] = set()
    if type_name == "lot" and not member.decides:
        hidden |= set(PURCHASE)
    if type_name == "session" and record is not None:
        hidden |= {"lot"} if record.fields.get("lot") is None else set()  # blind: the reveal sets it
        hidden |= {"private"} if record.fields["taster"] != str(member.user_id) else set()
    shown = [(title, tuple(name for name in names if name not in hidden)) for title, names in _SECTIONS[type_name]]
    return [(title, names) for title, names in shown if names]


def options_for(member: Member, type_name: str, session: UUID | None = None) -> dict[str, dict[str, str]]:
    """Return what the references of a record may name, by field and id; of a note the infusions of its session."""
    names = {field.name for field in RECORD_SCHEMAS[type_name].fields}
    options: dict[str, dict[str, str]] = {}
    if names & {"lot", "from_lot"}:
        options["lot"] = options["from_lot"] = choices_of_lots(member)
    if "shop" in names:
        options["shop"] = {str(shop.id): shop.name for shop in shops_of(member)}
    if "pot" in names:
        options["pot"] = {str(pot.id): pot_name(pot.fields, options.get("shop", {})) for pot in pots_in_use(member)}
    if "descriptor" in names:
        labels = labels_of(member)
        words = {key: descriptor_label(key, labels) for key in labels}
        options["descriptor"] = dict(sorted(words.items(), key=lambda item: item[1].casefold()))
    if "infusion" in names and session is not None:
        options["infusion"] = {
            str(row.id): infusion_name(row.fields["number"]) for row in children_of(member, "infusion", session)
        }
    return options


def pots_in_use(member: Member) -> Sequence[Record]:
    """Return the team's pots that a session may name, by name."""
    pots = list_records(member, "pot", filters={"retired": "false"}, after=None, limit=MOST_OF_A_SESSION)
    return sorted(pots, key=lambda pot: (str(pot.fields["name"]).casefold(), pot.id))


def pot_name(pot: Mapping[str, object], shops: Mapping[str, str]) -> str:
    """Return what tells a pot from others of its name: its volume, and the shop where it stands."""
    volume = _("%(volume)s ml") % {"volume": number(pot["vessel_ml"])}
    return ", ".join(filter(None, (str(pot["name"]), volume, shops.get(str(pot.get("shop")), ""))))


def children_of(member: Member, type_name: str, session: UUID) -> list[Record]:
    """Return the infusions of a session by number, or its notes."""
    rows = list_records(member, type_name, filters={"session": str(session)}, after=None, limit=MOST_OF_A_SESSION)
    return sorted(rows, key=lambda row: float(str(row.fields["number"]))) if type_name == "infusion" else list(rows)


def infusion_name(number: object) -> str:
    """Return what an infusion is called: the rinse, or by its number."""
    return _("Rinse") if number == 0 else _("Infusion %(number)s") % {"number": number}


def record_name(member: Member, type_name: str, values: Mapping[str, object]) -> str:
    """Return what a record is called in a heading."""
    match type_name:
        case "descriptor" if values.get("built_in"):
            return descriptor_label(str(values["key"]), {str(values["key"]): str(values["label"])})
        case "descriptor":
            return str(values.get("label") or "")
        case "note":
            return descriptor_label(str(values["descriptor"]), labels_of(member)) if values.get("descriptor") else ""
        case "infusion":
            return "" if values.get("number") is None else infusion_name(values["number"])
        case "session":
            return names_of_live_lots(member).get(str(values.get("lot")), "")
        case _:
            return str(values.get("name") or "")


def address_of(record_type: str, record: UUID) -> str:
    """Return the address of a record's page."""
    return reverse("record", args=[record_type, record])
