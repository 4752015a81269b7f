"""The fields of a lot."""

from lots.schema import Field, RecordSchema

KINDS = ("green", "white", "yellow", "oolong", "black", "dark", "scented", "herbal")
FORMS = ("rolled", "twisted", "needle", "flat", "broken", "compressed", "powder")

LOT = RecordSchema(
    "lot",
    (
        Field(name="name", kind="text", required=True, about="what the team calls it"),
        Field(name="code", kind="text", longest=60),
        Field(name="kind", kind="choice", required=True, choices=KINDS),
        Field(name="cultivar", kind="text"),
        Field(name="country", kind="text", longest=2, pattern="[A-Z]{2}", about="ISO 3166-1 alpha-2"),
        Field(name="region", kind="text"),
        Field(name="garden", kind="text"),
        Field(name="elevation_low_m", kind="number", low=-430, high=9000),
        Field(name="elevation_high_m", kind="number", low=-430, high=9000),
        Field(name="harvest_year", kind="integer", low=1900, high=2200),
        Field(name="harvest_season", kind="text", longest=60),
        Field(name="harvested_on", kind="date"),
        Field(name="pick_standard", kind="text"),
        Field(name="form", kind="choice", choices=FORMS, about="of the finished leaf"),
        Field(name="oxidation_pct", kind="number", low=0, high=100),
        Field(name="roast", kind="choice", choices=("none", "light", "medium", "medium_dark", "dark")),
        Field(name="roast_fuel", kind="text", longest=60),
        Field(name="roasted_on", kind="date"),
        Field(name="producer", kind="text"),
        Field(name="supplier", kind="text"),
        Field(name="status", kind="choice", choices=("sample", "bought", "retired")),
        Field(name="price_per_kg", kind="number", low=0, high=9_999_999, decimals=2),
        Field(name="currency", kind="text", longest=3, pattern="[A-Z]{3}", about="ISO 4217"),
        Field(name="quantity_g", kind="number", low=0, high=100_000_000),
        Field(name="arrived_on", kind="date"),
        Field(name="from_lot", kind="reference", to="lot", about="the sample it was bought from"),
        Field(name="remarks", kind="text", longest=8000),
    ),
    ordered_pairs=(("elevation_low_m", "elevation_high_m"),),
    is_parent=True,
    filters=("kind", "status", "country", "roast", "harvest_year", "from_lot"),
)
