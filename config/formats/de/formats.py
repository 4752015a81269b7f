"""How dates and numbers are written in German pages."""

DATE_FORMAT = "j. F Y"
DATETIME_FORMAT = "j. F Y, H:i"
SHORT_DATE_FORMAT = "j. M Y"
TIME_FORMAT = "H:i"
DECIMAL_SEPARATOR = ","
THOUSAND_SEPARATOR = "."
NUMBER_GROUPING = 3
