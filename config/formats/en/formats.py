"""How dates and numbers are written in English pages; Django's own form has the month first."""

DATE_FORMAT = "j F Y"
DATETIME_FORMAT = "j F Y, H:i"
SHORT_DATE_FORMAT = "j M Y"
TIME_FORMAT = "H:i"
DECIMAL_SEPARATOR = "."
THOUSAND_SEPARATOR = ","
NUMBER_GROUPING = 3
