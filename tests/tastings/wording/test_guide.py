"""What the brew guide says."""

from dataclasses import replace

import numpy as np
import pytest

from tastings.answers.guide import brew_guide_answer
from tastings.maths.guide.answer import GuideNote
from tastings.maths.guide.pots import COVERED_BOWL, LONG_MUG, STANDARD_BOWL, PotError
from tastings.maths.guide.protocols import Standard
from tastings.maths.guide.remedies import Remedy
from tastings.maths.guide.target import Target
from tastings.wording.guide import (
    caffeine_source,
    guide_cautions,
    note,
    pot_problem,
    remedy,
    standard_source,
    target_reason,
)
from tests.tastings.reports.sample_guide import GUIDE

TARGET = Target(5.5, "liking", 5.0, 6.0, 14, 3, "best_liked", np.zeros(1), probability=0.9)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({}, "best liked at 5.5 (80 % interval 5.0 to 6.0), from 14 cups of 3 sessions"),
        (
            {"reason": "too_few_cups", "cups": 4, "sessions": 1},
            "and 12 cups of 2 are needed to tell the best-liked strength; the strength of the second even-brew",
        ),
        ({"reason": "too_close", "span": 1.26}, "the cups rated for liking are within 1.3 points of strength"),
        ({"reason": "no_clear_top", "probability": 0.5}, "the strengths tasted (probability 0.50); the strength"),
        ({"reason": "wide_top", "top": (3.0, 6.0)}, "the best-liked strength is only known to be 3.0 to 6.0; the"),
        ({"reason": "near_finish_line", "top": (2.4, 2.4)}, "strength, 2.4, is not surely above the finish line; the"),
        ({"reason": "no_clear_top", "raised_from": 1.0}, "instead, raised from 1.0 to a point above the finish line"),
    ],
)
def test_target_has_its_reason(change, words):
    assert words in target_reason(replace(TARGET, **change))


@pytest.mark.parametrize(
    ("change", "infusion", "words"),
    [
        (Remedy(-4.0, -0.5), 1, "Too strong: 4 s less, or 0.5 g less leaf, for cups about one point weaker."),
        (Remedy(-5.0, None), 2, "Too strong: 5 s less at infusion 2, the others in proportion, for cups about one"),
        (Remedy(None, None), 2, "Too strong: neither steep nor leaf can change this pot by a whole point"),
    ],
)
def test_remedy_names_the_ways_there_are(change, infusion, words):
    assert remedy(change, cup="too_strong", infusion=infusion).startswith(words)


def test_remedy_of_a_thin_cup_asks_for_more():
    assert remedy(Remedy(7.0, 1.0), cup="too_thin", infusion=1) == (
        "Too thin: 7 s more, or 1 g more leaf, for cups about one point stronger."
    )


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (GuideNote("guessed_time", (7, 8, 9)), "Infusions 7 to 9: the time is a guess; the cup may well miss"),
        (GuideNote("beyond_rated", (9,), 40.0), "Infusion 9: far longer than any steep that was rated (40 s);"),
        (GuideNote("lack_of_fit", (4,)), "The ratings of strength do not follow the extraction model, least of all at"),
    ],
)
def test_note_names_its_infusions(found, words):
    assert note(found).startswith(words)


def test_cautions_are_those_of_the_brew():
    guide = GUIDE.guide
    herbal = replace(guide, kind="herbal")

    words = ("20 to 31 mg", "400 mg a day", "ask a doctor")  # oolong: 20.2 to 31.0 mg in a gram
    assert any(all(word in one for word in words) for one in guide_cautions(guide))
    assert any("herbal" in one and "supplier" in one for one in guide_cautions(herbal))
    assert not any("A gram of" in one for one in guide_cautions(herbal))
    assert any("Lift the leaf out" in one for one in guide_cautions(replace(guide, style=LONG_MUG)))


def test_standards_say_what_is_from_memory():
    white = standard_source(Standard("iso_3103", "white", (6.0,), has_kind=False))
    dark = standard_source(Standard("gb_t_23776_cup", "dark", (2.0, 5.0), has_kind=True))

    assert "Minutes for white tea taken as for black tea." in white
    assert white.endswith("The standard asks for the altitude to be stated.")
    assert "2 and 5 minutes of boiling water for dark tea (from memory)" in dark
    assert "Hicks" in caffeine_source()


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (PotError("style", "choice", rule="style"), "must be one of small_pot, long_mug, standard_bowl, covered_bowl"),
        (PotError("cup_ml", "other_style", rule="not_for_style", style=LONG_MUG), "and the mug is the cup"),
        (PotError("leaf_g", "other_style", rule="not_for_style", style=STANDARD_BOWL), "ISO 3103 lays it down"),
        (PotError("kettle_c", "range", rule="between", low=50.0, high=100.0, value=40.0), "must be 50 to 100, got 40"),
        (
            PotError("leaf_g", "range", rule="leaf_for_water", low_g=1.25, high_g=20.0, vessel_ml=110.0),
            "must be 1.2 to 20 g for 110 ml of water",
        ),
        (PotError("style", "choice", rule="not_for_herbal", style=COVERED_BOWL), "and this lot is herbal"),
    ],
)
def test_problem_of_a_pot_is_said(error, words):
    assert words in pot_problem(error)


def test_answer_has_the_contracts_names():
    answer = brew_guide_answer(GUIDE.guide)

    assert {"infusions", "last_worthwhile", "target_strength", "cautions"} <= set(answer.__slots__)
    assert list(answer.infusions[0].__slots__)[:7] == [
        "number", "steep_s", "pour_s", "contact_s", "expected_strength", "low", "high",
    ]  # fmt: skip
