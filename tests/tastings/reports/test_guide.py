"""The brew guide of the report."""

from dataclasses import replace

import pytest

from tastings.maths.guide.answer import GuideNote
from tastings.maths.guide.guests import Serving
from tastings.maths.guide.pots import PotRequest
from tastings.reports import guide as guide_report
from tastings.reports.guide import pot_words, until_words
from tests.tastings.reports import sample
from tests.tastings.reports.sample_guide import GUIDE, POT, guide, guide_in


def guide_section(found, **changed):
    return guide_report.guide_section(found, steeps=replace(sample.figures().steeps, **changed))


def test_guide_names_the_pot_where_it_is_from_and_each_steep():
    section = guide_section(GUIDE)

    assert section.pot == (
        "5.5 g in 110 ml (unglazed clay), warmed, kettle at 99 °C, poured out over 6 s: the vessel of most of the last"
        " 28 sessions at Harbour shop, leaf and heat as this lot was tasted."
    )
    assert section.brief == "5.5 g in 110 ml (unglazed clay), water at 99 °C. Rinse first, 10 s, poured away."
    assert section.aim == "Each cup aims at a strength of 6.0."
    assert section.until == "Brewed to this strength the leaf gives 2 cups; short, equal infusions give 9."
    assert [(row.steep, row.strength, row.span) for row in section.rows] == [
        ("22 s", "6.0", "5.7 to 6.5"),
        ("1 min 35 s", "5.9", "5.6 to 6.2"),
    ]  # the third is not worth drinking
    assert section.change == (
        "Too strong: 4 s less, for cups about one point weaker.",
        "Too thin: 5 s more, for cups about one point stronger.",
    )
    assert section.caffeine.endswith("60 to 170 mg in all its cups, 2 to 18 mg in an average one.")


def test_guide_without_infusions_is_absent():
    assert guide_section(None) is None
    assert guide_section(guide(infusions=())) is None


def test_pot_of_nobody_is_the_even_brews():
    found = guide_in(sessions=0, shop=None, pour_s=None)

    assert pot_words(found) == "5.5 g in 110 ml (unglazed clay), warmed, kettle at 99 °C"
    assert ": the even brew's vessel, leaf and heat as" in guide_section(found).pot


def test_guide_shows_its_notes():
    assert guide_section(guide(notes=(GuideNote("too_strong", (1, 2)),))).notes == (
        "Infusions 1 and 2: even 5 s gives more than the target; take less leaf.",
    )
    assert guide_section(GUIDE).notes == ()


@pytest.mark.parametrize(
    ("reached", "words"),
    [(1, "6.0, which the leaf reaches up to infusion 1."), (0, "6.0, which the leaf does not give"), (None, "6.0.")],
)
def test_guide_says_how_far_the_leaf_reaches(reached, words):
    assert words in guide_section(guide(last_at_target=reached)).aim


def test_guide_shows_the_times_when_no_cup_is_worth_drinking():
    section = guide_section(guide(last_worthwhile=0))

    assert len(section.rows) == 3
    assert section.until == "No cup is likely to be worth drinking in this pot."


def test_guide_says_when_there_is_no_rinse():
    assert guide_section(guide(rinse_s=None)).brief.endswith("water at 99 °C. No rinse.")


def test_guide_marks_times_that_are_guesses():
    sure, unsure, never = (guide_section(guide(last_sure=last, last_at_target=2)) for last in (2, 1, None))

    assert [row.steep for row in sure.rows] == [row.steep for row in never.rows] == ["22 s", "1 min 35 s"]
    assert [row.steep for row in unsure.rows] == ["22 s", "about 1 min 35 s"]


def test_guide_and_count_do_not_contradict_each_other():
    assert guide_section(GUIDE, recommended=2).until == ""
    assert guide_section(GUIDE, recommended=None).until == ""
    assert guide_section(GUIDE, recommended=1).until.startswith("Lengthened like this the leaf lasts to infusion 2")


def test_guide_that_ends_before_the_leaf_does_says_nothing_of_where_it_is_spent():
    ends_early = guide(notes=(GuideNote("beyond_tasted", (3,)),))
    section = guide_section(ends_early)
    assert section.until == ""
    assert section.notes[0].startswith("From infusion 3 on go by taste")
    assert until_words(ends_early.guide, steeps=sample.figures().steeps).startswith("Later cups go by taste")


def test_guide_for_guests_says_how_many_pots():
    serving = Serving(3, 50, 2, 9, 8.2, 180, 180, 180, None)

    assert guide_section(guide(serving=serving)).guests == (
        "For 3 guests, 50 ml each: 2 such pots for every round, 8.2 g in all."
    )
    assert guide_section(guide(serving=replace(serving, guests=1))).guests == ""


def test_own_pot_takes_leaf_and_weight_of_the_usual_one_only_for_the_same_vessel():
    usual = replace(POT, vessel_g=180.0, leaf_g=5.0, name="Clay pot")

    same = usual.with_own(PotRequest(vessel_ml=110.0, vessel_material="unglazed_clay", guests=3))
    other = usual.with_own(PotRequest(vessel_ml=90.0))

    assert (same.leaf_g, same.vessel_g, same.guests, same.is_own) == (5.0, 180.0, 3, True)
    assert (other.vessel_ml, other.vessel_material, other.leaf_g, other.vessel_g) == (90.0, "unglazed_clay", None, None)
    assert usual.with_own(None) is usual
