"""One place with a record of each type, and bodies of new and full records beside them."""

from uuid import uuid4

from tests.api.phone import NEW_RECORD
from tests.factories import (
    DescriptorFactory,
    InfusionFactory,
    LotFactory,
    NoteFactory,
    PotFactory,
    SessionFactory,
)

FULL = {
    "lot": {
        "name": "Mist Ridge spring", "code": "MR-12", "kind": "oolong", "cultivar": "local", "country": "TW",
        "region": "Cloud County", "garden": "Upper terrace", "elevation_low_m": 900, "elevation_high_m": 1150.5,
        "harvest_year": 2026, "harvest_season": "spring", "harvested_on": "2026-02-28", "pick_standard": "two leaves",
        "form": "rolled", "oxidation_pct": 35, "roast": "medium", "roast_fuel": "charcoal", "roasted_on": "2026-03-01",
        "producer": "Ridge family", "supplier": "Harbour agent", "status": "bought", "price_per_kg": 123.45,
        "currency": "EUR", "quantity_g": 2500, "arrived_on": "2026-03-03", "from_lot": "lot", "remarks": "two\nlines",
    },
    "pot": {
        "name": "Shelf bowl", "vessel_ml": 110, "vessel_material": "porcelain", "vessel_g": 150.5, "leaf_g": 5.2,
        "pour_s": 8, "shop": "shop", "retired": True,
    },
    "session": {
        "lot": "lot", "flight_cup": None, "shop": "shop", "started_at": "2026-03-04T10:00:00.5Z", "leaf_g": 5.2,
        "vessel_ml": 110, "vessel_material": "porcelain", "vessel_g": 150, "warmed": True, "room_c": 21.5,
        "water": "spring", "water_tds_mg_l": 60, "altitude_m": -3, "pot": "pot", "purpose": "arrival",
        "ending": "spent", "more_low": 0, "more_high": 2, "private": False, "remarks": "茶",
    },
    "infusion": {
        "session": "session", "number": 2, "steep_s": 12.5, "pour_s": 8, "kettle_c": 98, "water_ml": 105, "rest_s": 60,
        "poured_at": "2026-03-04T10:05:00Z", "tasted": True, "remarks": "lid off",
    },
    "note": {
        "session": "session", "infusion": "infusion", "moment": "finish", "descriptor": "word", "intensity": 6.5,
        "text": "long",
    },
    "descriptor": {
        "key": "wet_slate", "label": "wet slate", "family": "mineral", "rated_each_infusion": True,
        "synonyms": ["rain on stone", "roof tile"],
    },
}  # fmt: skip
"""A value for every field of every shape; references are named by what they name in the place."""
PARENTS = {
    "lot": {},
    "pot": {},
    "session": {"lot": "lot"},
    "infusion": {"session": "session"},
    "note": {"session": "session", "descriptor": "word"},
    "descriptor": {},
}
FACTORIES = {
    "lot": LotFactory,
    "pot": PotFactory,
    "session": SessionFactory,
    "infusion": InfusionFactory,
    "note": NoteFactory,
    "descriptor": DescriptorFactory,
}
TYPES = list(FACTORIES)


def address_of(type_name, record=None):
    """Return the address of a type's records, or of one."""
    return f"/api/v1/{type_name}s/" + (f"{record}/" if record else "")


def create(person, type_name, fields):
    """Make a record by REST; return the answer, which must be a success."""
    response = person.client.post(address_of(type_name), {"id": str(uuid4()), **fields})
    assert response.status_code == 201, response.content
    return response


class Place:
    """A lot with a session of one infusion and a note on it, of one person's team and by that person."""

    def __init__(self, person, **session):
        self.lot = LotFactory(team=person.team, by=person.user, name="Ground")
        self.pot = PotFactory(team=person.team, by=person.user)
        self.session = SessionFactory(lot=self.lot, **session)
        self.infusion = InfusionFactory(session=self.session)
        self.descriptor = DescriptorFactory(team=person.team, by=person.user)
        self.note = NoteFactory(session=self.session, infusion=self.infusion, descriptor=self.descriptor)
        self.words = {
            "lot": str(self.lot.id),
            "pot": str(self.pot.id),
            "shop": str(person.member.shop_id),
            "session": str(self.session.id),
            "infusion": str(self.infusion.id),
            "word": self.descriptor.key,
        }

    def new(self, type_name, **fields):
        """Return the least that a new record of the type needs, hung on this place."""
        parents = {name: self.words[word] for name, word in PARENTS[type_name].items()}
        free = {"number": 7} if type_name == "infusion" else {}
        return {**NEW_RECORD[type_name], **free, **parents, **fields}

    def full(self, type_name):
        """Return a value for every field."""
        named = {"from_lot", "lot", "pot", "shop", "session", "infusion", "descriptor"}
        return {name: self.words[value] if name in named else value for name, value in FULL[type_name].items()}

    def more(self, type_name, n):
        """Make ``n`` more records of a type by factory; return all of the type in the order of their ids."""
        mine = {
            "lot": {"team": self.lot.team, "by": self.lot.by},
            "pot": {"team": self.lot.team, "by": self.lot.by},
            "session": {"lot": self.lot},
            "infusion": {"session": self.session},
            "note": {"session": self.session, "descriptor": self.descriptor},
            "descriptor": {"team": self.lot.team, "by": self.lot.by},
        }[type_name]
        numbered = ({"number": 10 + i} if type_name == "infusion" else {} for i in range(n))
        made = [FACTORIES[type_name](**mine, **number) for number in numbered]
        return sorted([getattr(self, type_name), *made], key=lambda row: row.id)
