"""Harvests in words, in both languages."""

import pytest
from django.utils import translation

from tastings.wording.harvests import harvest_words


@pytest.mark.parametrize(
    ("year", "season", "english", "german"),
    [
        (2026, "first", "first 2026 harvest", "erste Ernte 2026"),
        (None, "Second", "second harvest", "zweite Ernte"),
        (2025, "spring", "spring 2025 harvest", "Ernte Frühling 2025"),
        (2025, "autumn dew", "autumn dew 2025 harvest", "Ernte autumn dew 2025"),
        (None, None, "", ""),
    ],
)
def test_harvest_is_written_with_its_season_or_number(year, season, english, german):
    written = []
    for lang in ("en", "de"):
        with translation.override(lang):
            written.append(harvest_words(year, season))
    assert written == [english, german]
