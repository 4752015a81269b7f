"""The invented merchant: its name, its shops, its people and their phones. None of it exists."""

from dataclasses import dataclass

TEAM = "Quillmere Leaf (invented)"
TIME_ZONE = "Europe/Berlin"
PASSWORD = "steep-it-twelve-times"  # noqa: S105 - printed for everyone to see; it opens invented notes only
OWNER, BUYER, TASTER, VIEWER = "owner", "buyer", "taster", "viewer"


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoShop:
    """One of the merchant's shops. ``altitude_m`` is None where nobody noted it, near the sea."""

    name: str
    altitude_m: float | None
    room_c: float
    water: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """A member of the team and how they use the scale.

    A rating is ``shift`` plus ``gain`` times the cup, give or take ``noise``. ``pace`` multiplies everybody's usual
    steeping times; ``attention`` is the chance to write down a flavour that is there.
    """

    username: str
    role: str
    shop: DemoShop
    gain: float = 1.0
    shift: float = 0.0
    noise: float = 0.5
    pace: float = 1.0
    attention: float = 0.75

    @property
    def writes_notes(self) -> bool:
        """Whether this person writes notes: a viewer only reads."""
        return self.role != VIEWER


HARBOUR = DemoShop(name="Harbour shop", altitude_m=None, room_c=21, water="filtered tap")
MILL = DemoShop(name="Mill Street shop", altitude_m=None, room_c=20, water="spring, bottled")
HILL = DemoShop(name="Hill Town shop", altitude_m=1400, room_c=18, water="tap")

ILVA = Person(username="demo-ilva", role=OWNER, shop=HARBOUR, gain=1.1, shift=-0.4, noise=0.45, attention=0.85)
BRAM = Person(username="demo-bram", role=BUYER, shop=HARBOUR, gain=0.95, shift=0.2, noise=0.4, attention=0.9)
SURI = Person(username="demo-suri", role=TASTER, shop=MILL, gain=1.0, shift=0.5, noise=0.6, pace=0.9)
ODDO = Person(username="demo-oddo", role=TASTER, shop=MILL, gain=0.85, shift=0.1, noise=0.7, pace=1.1, attention=0.65)
TAMSIN = Person(username="demo-tamsin", role=TASTER, shop=HILL, gain=1.1, shift=-0.4, noise=0.55)
WREN = Person(username="demo-wren", role=VIEWER, shop=HARBOUR)
PEOPLE = (ILVA, BRAM, SURI, ODDO, TAMSIN, WREN)
TASTERS = tuple(person for person in PEOPLE if person.writes_notes)
