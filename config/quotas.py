"""How much a team and each of its members may store or hold open, read from the environment."""

from collections.abc import Mapping

from django.core.exceptions import ImproperlyConfigured

GB = 1_000_000_000
DEFAULTS: Mapping[str, tuple[int, int]] = {
    "photos": (50_000, 20_000),
    "photo_bytes": (50 * GB, 20 * GB),
    "uploads": (1_000, 200),
    "notes": (5_000_000, 1_000_000),
    "records": (5_000_000, 1_000_000),
    "words": (600, 400),
    "streams": (200, 20),
}
"""Per team and per member. Ten pots a day make about 250,000 notes a year. Each word with its fifty
synonyms costs whoever reads a text about 10 ms after an edit of any word. Own choices, no source."""


def quota_settings(environment: Mapping[str, str]) -> dict[str, tuple[int, int]]:
    """Return the quotas, those of the environment (``LEAFSPAN_QUOTA_NOTES=team/member``) instead of the defaults.

    Raise ImproperlyConfigured for what is not two whole numbers with a slash between them.
    """
    quotas = dict(DEFAULTS)
    for name in DEFAULTS:
        variable = f"LEAFSPAN_QUOTA_{name.upper()}"
        if value := environment.get(variable):
            parts = value.split("/")
            if len(parts) != 2 or not all(part.isascii() and part.isdigit() for part in parts):
                raise ImproperlyConfigured(f"{variable} must be two whole numbers, team/member, not {value!r}")
            quotas[name] = (int(parts[0]), int(parts[1]))
    return quotas
