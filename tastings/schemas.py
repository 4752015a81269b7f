"""The fields of a pot, a session, an infusion, a note and a descriptor, with their units and limits.

Limits are wide enough for any pot and any mountain and narrow enough to catch a slip of the thumb.
"""

from collections.abc import Mapping

from lots.schema import Field, RecordSchema
from lots.schemas import LOT
from tastings.maths.flights.factors import COVERED_BOWL_WEIGHTS, FACTORS

MATERIALS = ("porcelain", "unglazed_clay", "glazed_stoneware", "glass", "silver", "cast_iron")
MOMENTS = ("dry_leaf", "warmed_leaf", "wet_leaf", "lid", "liquor", "mouth", "finish", "empty_cup", "spent_leaf", "body")
KEY = "[a-z][a-z0-9_]{0,59}"

POT = RecordSchema(
    "pot",
    (
        Field(name="name", kind="text", required=True, longest=80, about="what the team calls it"),
        Field(name="vessel_ml", kind="number", required=True, above=0, high=10_000, about="what it holds when full"),
        Field(name="vessel_material", kind="choice", required=True, choices=MATERIALS),
        Field(name="vessel_g", kind="number", above=0, high=20_000, about="with its lid"),
        Field(name="leaf_g", kind="number", above=0, high=1000, about="the usual leaf"),
        Field(name="pour_s", kind="number", low=0, high=3600, about="how long it usually takes to empty"),
        Field(name="shop", kind="reference", to="shop", about="where it stands"),
        Field(name="retired", kind="truth", default=False, about="no longer offered for new sessions"),
    ),
    is_parent=True,
    filters=("shop", "retired"),
)

SESSION = RecordSchema(
    "session",
    (
        Field(name="lot", kind="reference", to="lot", about="empty while it is tasted blind"),
        Field(
            name="flight_cup",
            kind="reference",
            to="flight_cup",
            fixed=True,
            about="one of the taster's own cups in a flight, instead of a lot, which the reveal sets",
        ),
        Field(name="shop", kind="reference", to="shop"),
        Field(name="started_at", kind="moment", required=True),
        Field(name="leaf_g", kind="number", required=True, above=0, high=1000),
        Field(name="vessel_ml", kind="number", required=True, above=0, high=10_000),
        Field(name="vessel_material", kind="choice", choices=MATERIALS),
        Field(name="vessel_g", kind="number", above=0, high=20_000),
        Field(name="warmed", kind="truth"),
        Field(name="room_c", kind="number", low=-30, high=60),
        Field(name="water", kind="text"),
        Field(name="water_tds_mg_l", kind="number", low=0, high=5000),
        Field(name="altitude_m", kind="number", low=-430, high=9000),
        Field(name="pot", kind="reference", to="pot", about="its later edits leave the session's own fields alone"),
        Field(name="purpose", kind="choice", choices=("selection", "arrival", "reference", "training", "guest")),
        Field(name="ending", kind="choice", choices=("spent", "stopped")),
        Field(name="more_low", kind="integer", low=0, high=99),
        Field(name="more_high", kind="integer", low=0, high=99),
        Field(name="private", kind="truth", default=False),
        Field(name="remarks", kind="text", longest=8000),
    ),
    server_fields=("taster",),
    ordered_pairs=(("more_low", "more_high"),),
    is_parent=True,
    one_required=("lot", "flight_cup"),
    filters=("lot", "flight_cup", "shop", "taster", "purpose"),
)

INFUSION = RecordSchema(
    "infusion",
    (
        Field(name="session", kind="reference", to="session", required=True, fixed=True),
        Field(name="number", kind="integer", required=True, low=0, high=99, about="0 is the rinse"),
        Field(name="steep_s", kind="number", required=True, low=0, high=86_400),
        Field(name="pour_s", kind="number", low=0, high=3600),
        Field(name="kettle_c", kind="number", low=0, high=100, about="water in the kettle; null: not read"),
        Field(name="water_ml", kind="number", above=0, high=10_000),
        Field(name="rest_s", kind="number", low=0, high=604_800),
        Field(name="poured_at", kind="moment"),
        Field(name="tasted", kind="truth"),
        Field(name="remarks", kind="text", longest=8000),
    ),
    filters=("session", "number"),
)

NOTE = RecordSchema(
    "note",
    (
        Field(name="session", kind="reference", to="session", required=True, fixed=True),
        Field(name="infusion", kind="reference", to="infusion"),
        Field(name="moment", kind="choice", required=True, choices=MOMENTS),
        Field(name="descriptor", kind="key", longest=60, pattern=KEY, about="empty for a note of words alone"),
        Field(name="intensity", kind="number", low=0, high=10, decimals=1),
        Field(name="text", kind="text", longest=8000),
    ),
    one_required_when_new=("descriptor", "text"),
    filters=("session", "infusion", "descriptor", "moment"),
)

DESCRIPTOR = RecordSchema(
    "descriptor",
    (
        Field(name="key", kind="text", required=True, longest=60, pattern=KEY, fixed=True),
        Field(name="label", kind="text", required=True, longest=80),
        Field(name="family", kind="text", longest=60),
        Field(name="rated_each_infusion", kind="truth", default=False),
        Field(name="synonyms", kind="texts", longest=80),
    ),
    server_fields=("built_in",),
    filters=("family", "key"),
)

RECORD_SCHEMAS: Mapping[str, RecordSchema] = {
    schema.type: schema for schema in (DESCRIPTOR, LOT, POT, SESSION, INFUSION, NOTE)
}
"""The record types that phones sync, parents first."""

TRIANGLE_TEST = RecordSchema(
    "triangle_test",
    (
        Field(name="lot", kind="reference", to="lot", required=True),
        Field(name="against", kind="reference", to="lot", required=True, about="the other tea, such as the sample"),
        Field(name="held_on", kind="date", required=True),
        Field(name="alpha", kind="number", above=0, high=0.5, default=0.05, about="accepted chance of a false alarm"),
        Field(
            name="distinguishers",
            kind="number",
            above=0,
            high=1,
            default=0.3,
            about="proportion of people who tell the teas apart that the test is to find out",
        ),
        Field(name="remarks", kind="text", longest=8000),
    ),
)
MOST_ANSWERS_EACH = 100
TRIANGLE_TASTERS = RecordSchema(
    "triangle_tasters",
    (
        Field(name="tasters", kind="references", to="member", required=True, low=0, high=60, about="who is to taste"),
        Field(
            name="answers_each",
            kind="integer",
            low=1,
            high=MOST_ANSWERS_EACH,
            default=1,
            about="how many answers each of them is to give",
        ),
    ),
)
TRIAL = RecordSchema(
    "trial",
    (
        Field(name="taster", kind="reference", to="member", about="empty for a guest"),
        Field(name="correct", kind="truth", required=True, about="whether the odd cup was found"),
    ),
)

PHOTO_OF = ("dry_leaf", "wet_leaf", "liquor", "spent_leaf", "other")
LARGEST_PHOTO = 20 * 1024 * 1024
"""Bytes of one file."""
MOST_PIXELS = 50_000_000
PHOTO = RecordSchema(
    "photo",
    (
        Field(name="session", kind="reference", to="session", about="of what it is: a session or a lot, not both"),
        Field(name="lot", kind="reference", to="lot"),
        Field(name="infusion", kind="reference", to="infusion", about="of that session"),
        Field(name="of", kind="choice", choices=PHOTO_OF, required=True),
        Field(name="sha256", kind="text", longest=64, pattern="[0-9a-f]{64}", required=True, about="of the whole file"),
        Field(name="bytes", kind="integer", low=1, high=LARGEST_PHOTO, required=True, about="size of the whole file"),
        Field(name="taken_at", kind="moment"),
    ),
    server_fields=("state", "reason", "received", "width", "height", "colour", "by", "created_at"),
)

PROTOCOLS = ("covered_bowl", "standard_bowl", "small_pot")
MOST_CUPS = 900
"""Of one flight: each has a three-digit code of its own."""
FLIGHT = RecordSchema(
    "flight",
    (
        Field(name="name", kind="text", required=True),
        Field(
            name="lots", kind="references", to="lot", required=True, low=2, high=60, about="the candidates, all samples"
        ),
        Field(name="tasters", kind="references", to="member", required=True, low=1, high=60),
        Field(
            name="pourers",
            kind="references",
            to="member",
            high=20,
            about="who may see which code is which lot before the reveal, and may not taste",
        ),
        Field(name="protocol", kind="choice", choices=PROTOCOLS, default="covered_bowl"),
        Field(name="infusions", kind="integer", low=1, high=20, about="of a small pot"),
        Field(name="cups_per_sitting", kind="integer", required=True, low=1, high=40),
        Field(name="sittings", kind="integer", low=1, high=20, default=1, about="of each taster"),
        Field(name="repeats", kind="integer", low=0, high=20, default=0, about="hidden duplicates for each taster"),
        Field(name="reference", kind="reference", to="lot", about="a known lot, poured once in every sitting"),
        Field(
            name="expected_order", kind="references", to="lot", high=60, about="candidates, the best first, if foreseen"
        ),
        Field(
            name="weights_for",
            kind="choice",
            choices=tuple(COVERED_BOWL_WEIGHTS),
            about="a preset of weights by tea class, after GB/T 23776 from memory: check it against the standard",
        ),
        *(
            Field(name=f"weight_{name}_pct", kind="number", low=0, high=100, about="the five add up to 100")
            for name in FACTORS
        ),
        Field(name="remarks", kind="text", longest=8000),
    ),
    server_fields=("state", "plan", "progress", "cups", "by", "created_at", "revealed_at", "decision"),
)
CHOSEN = RecordSchema(
    "chosen",
    (
        Field(name="lot", kind="reference", to="lot", required=True, about="one of the candidates"),
        Field(name="bought", kind="reference", to="lot", required=True, about="the id that the bought lot is to have"),
        Field(name="quantity_g", kind="number", above=0, high=100_000_000),
        Field(name="price_per_kg", kind="number", low=0, high=9_999_999, decimals=2),
        Field(name="currency", kind="text", longest=3, pattern="[A-Z]{3}", about="ISO 4217"),
    ),
)

LANGUAGES = ("de", "en")
"""In which a card is written: those of the settings."""
SHARE = RecordSchema(
    "share",
    (
        Field(name="lot", kind="reference", to="lot", required=True),
        Field(name="shows", kind="choice", choices=("report", "card"), required=True),
        Field(name="lang", kind="choice", choices=LANGUAGES, default="en", about="of the card"),
        Field(
            name="names",
            kind="truth",
            default=False,
            about="whether the report shows who tasted it, where and when, and the statistics behind it",
        ),
        Field(name="expires_at", kind="moment", about="at most 366 days from now; 30 days when left out"),
    ),
    server_fields=("link", "views", "by", "created_at", "revoked_at"),
)
