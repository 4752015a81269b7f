"""Numbers and lists as they stand in a sentence, whatever language or direction the names around them have."""

from datetime import UTC, date, datetime

import pytest

from tastings.wording.numbers import day, duration, isolated, listed, number, numbers_listed, one_decimal, percent


@pytest.mark.parametrize(
    ("probability", "text"),
    [(0.0, "less than 1\u00a0%"), (0.005, "less than 1\u00a0%"), (0.6, "60\u00a0%"), (0.999, "more than 99\u00a0%")],
)
def test_percent_never_claims_certainty(probability, text):
    assert percent(probability) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(3, "3 s"), (59.6, "1 min"), (60, "1 min"), (95, "1 min 35 s"), (300, "5 min"), (0, "0 s")],
)
def test_durations_are_written_as_a_clock_is_read(seconds, text):
    assert duration(seconds) == text


def test_isolated_closes_what_a_name_opens_and_leaves_plain_names_alone():
    assert [isolated(t) for t in ("Rock Oolong 7%", "大红袍 🍵", "Ångström")] == [
        "Rock Oolong 7%",
        "大红袍 🍵",
        "Ångström",
    ]
    assert isolated("\u202eevil") == "evil"
    assert isolated("שלם \u2066 left open") == "\u2068שלם  left open\u2069"


def test_small_phrases():
    assert [listed(p) for p in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]
    assert [numbers_listed(n) for n in ([2, 1], [7, 1, 2, 3], [1, 3, 5, 6, 7])] == [
        "1 and 2",
        "1 to 3 and 7",
        "1, 3 and 5 to 7",
    ]
    assert [one_decimal(v) for v in (-0.04, -0.55, 6.66)] == ["0.0", "\u22120.6", "6.7"]


def test_numbers_lose_needless_zeros_and_text_stays_text():
    assert [number(v) for v in (5.0, 2.5, 6, "five")] == ["5", "2.5", "6", "five"]


def test_days_of_moments_dates_and_of_text_that_is_neither():
    assert day(datetime(2026, 3, 4, tzinfo=UTC)) == "4 March 2026"
    assert day(date(2026, 3, 4)) == "4 March 2026"
    assert day("2026-03-04T10:11:12Z") == "4 March 2026"
    assert (day("soon"), day(None)) == ("soon", "")
