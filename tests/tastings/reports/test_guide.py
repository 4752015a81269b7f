"""The brew guide of the report."""

import pytest

from tastings.maths.guide.answer import GuideNote
from tastings.reports.guide import guide_section, pot_words
from tests.tastings.reports.sample_guide import GUIDE, guide, guide_in


def test_guide_names_the_pot_where_it_is_from_and_each_steep():
    section = guide_section(GUIDE)

    assert section.pot == (
        "5.5 g in 110 ml of unglazed clay, warmed, kettle at 99 °C, poured out over 6 s: the vessel of most of the last"
        " 28 sessions at Harbour shop, leaf and heat as this lot was tasted. Rinse first, 10 s, poured away."
    )
    assert section.aim == (
        "Each cup aims at a strength of 6.0."
        " Lengthened like this, the last one worth drinking in this pot is infusion 2."
    )
    assert [(row.steep, row.strength, row.span) for row in section.rows] == [
        ("22 s", "6.0", "5.7 to 6.5"),
        ("1 min 35 s", "5.9", "5.6 to 6.2"),
    ]  # the third is not worth drinking
    assert section.change == (
        "Too strong: 4 s less, for cups about one point weaker.",
        "Too thin: 5 s more, for cups about one point stronger.",
    )
    assert section.caffeine.endswith("62 to 170 mg in all its cups, 2 to 18 mg in an average one.")


def test_guide_without_infusions_is_absent():
    assert guide_section(None) is None
    assert guide_section(guide(infusions=())) is None


def test_pot_of_nobody_is_the_even_brews():
    found = guide_in(sessions=0, shop=None, pour_s=None)

    assert pot_words(found) == "5.5 g in 110 ml of unglazed clay, warmed, kettle at 99 °C"
    assert ": the even brew's vessel, leaf and heat as" in guide_section(found).pot


def test_guide_shows_its_notes():
    assert guide_section(guide(notes=(GuideNote("too_strong", (1, 2)),))).notes == (
        "Infusions 1 to 2: even 3 s gives more than the target; take less leaf.",
    )
    assert guide_section(GUIDE).notes == ()


@pytest.mark.parametrize(
    ("reached", "words"),
    [(1, "6.0, which the leaf gives up to infusion 1. "), (0, "6.0, which the leaf does not give"), (None, "6.0. ")],
)
def test_guide_says_how_far_the_leaf_reaches(reached, words):
    assert words in guide_section(guide(last_at_target=reached)).aim


def test_guide_shows_the_times_when_no_cup_is_worth_drinking():
    section = guide_section(guide(last_worthwhile=0))

    assert len(section.rows) == 3
    assert "No cup is likely to be worth drinking" in section.aim


def test_guide_says_when_there_is_no_rinse():
    assert guide_section(guide(rinse_s=None)).pot.endswith("as this lot was tasted. No rinse.")


def test_guide_marks_times_that_are_guesses():
    sure, unsure, never = (guide_section(guide(last_sure=last, last_at_target=2)) for last in (2, 1, None))

    assert [row.steep for row in sure.rows] == [row.steep for row in never.rows] == ["22 s", "1 min 35 s"]
    assert [row.steep for row in unsure.rows] == ["22 s", "about 1 min 35 s"]
