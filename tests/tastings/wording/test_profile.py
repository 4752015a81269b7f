"""What is said at the counter agrees with the figures and admits what is not known."""

from dataclasses import replace

import pytest

from tastings.maths.curve.profile import Profile
from tastings.wording.profile import count_words, profile_sentence, profile_words, steeps_sentence, verdict_words
from tests.tastings.reports import sample

STEEPS = sample.figures().steeps
UNSURE = {"build_up": 1 / 3, "steady": 1 / 3, "quick_fade": 1 / 3}


def test_profile_sentence_of_a_tea_that_builds_up():
    assert profile_sentence(sample.profile()) == (
        "This tea builds up: it is strongest at about infusion 3, about 21\u00a0% above the first cup; "
        "it falls to half of that by about infusion 9. We are 87\u00a0% sure of this."
    )


@pytest.mark.parametrize(
    ("rise", "half", "course"),
    [
        (1.21, None, "it is strongest at about infusion 3, about 21\u00a0% above the first cup."),
        (1.0, 9, "it is strongest at about infusion 3; it falls to half of that by about infusion 9."),
        (1.0, None, "it is strongest at about infusion 3."),
    ],
)
def test_profile_sentence_of_a_build_up_says_only_what_is_known(rise, half, course):
    profile = replace(sample.profile(), rise=rise, half_strength_infusion=half)
    assert profile_sentence(profile) == f"This tea builds up: {course} We are 87\u00a0% sure of this."


def test_profile_sentence_of_a_tea_that_fades_quickly():
    chances = {"build_up": 0.02, "steady": 0.1, "quick_fade": 0.88}
    profile = Profile("quick_fade", chances, peak_infusion=1, rise=1.0, half_strength_infusion=4)
    assert profile_sentence(profile) == (
        "This tea fades quickly: it is strongest at about infusion 1 and drops early, to half of that "
        "by about infusion 4. We are 88\u00a0% sure of this."
    )
    assert profile_sentence(replace(profile, half_strength_infusion=None)) == (
        "This tea fades quickly: it is strongest at about infusion 1 and drops early. We are 88\u00a0% sure of this."
    )


def test_profile_sentence_of_a_steady_tea_that_never_halves():
    chances = {"build_up": 0.2, "steady": 0.7, "quick_fade": 0.1}
    profile = Profile("steady", chances, peak_infusion=2, rise=1.1, half_strength_infusion=None)
    assert profile_sentence(profile) == (
        "This tea stays steady: it is strongest at about infusion 2, without a late climb or an early drop. "
        "We are 70\u00a0% sure of this."
    )
    assert profile_sentence(replace(profile, half_strength_infusion=8)) == (
        "This tea stays steady: it is strongest at about infusion 2, without a late climb or an early drop; "
        "it falls to half of that by about infusion 8. We are 70\u00a0% sure of this."
    )


def test_profile_sentence_undecided_gives_the_odds_largest_first():
    assert profile_sentence(sample.undecided_profile()) == (
        "We cannot tell yet how this tea develops "
        "(builds up 47\u00a0%, stays steady 31\u00a0%, fades quickly 12\u00a0% and fades slowly 10\u00a0%)."
    )


@pytest.mark.parametrize(
    ("chances", "verdict", "sentence"),
    [
        (
            {"build_up": 0.0, "steady": 0.01, "slow_fade": 0.49, "quick_fade": 0.5},
            "fades, quickly or slowly",
            (
                "This tea is strongest at about infusion 2 and fades from then on; whether that is quickly"
                " (50\u00a0%) or slowly (49\u00a0%) is not clear yet."
            ),
        ),
        (
            {"build_up": 0.44, "steady": 0.56, "slow_fade": 0.0, "quick_fade": 0.0},
            "stays steady or builds up",
            "This tea stays steady (56\u00a0%) or builds up (44\u00a0%): which of the two is not clear yet.",
        ),
    ],
)
def test_two_courses_that_are_left_are_named(chances, verdict, sentence):
    profile = Profile("undecided", chances, peak_infusion=2, rise=1.1, half_strength_infusion=6)
    assert (verdict_words(profile), profile_sentence(profile)) == (verdict, sentence)


def test_verdict_of_an_open_course_and_of_none():
    assert verdict_words(sample.undecided_profile()) == verdict_words(None) == "course not known yet"
    assert verdict_words(sample.untasted().profile) == "strength not rated yet"
    assert verdict_words(sample.profile()) == "builds up"


@pytest.mark.parametrize(
    "profile",
    [
        sample.untasted().profile,
        Profile("undecided", {}, peak_infusion=1, rise=1.0, half_strength_infusion=None),
        Profile("undecided", UNSURE, peak_infusion=1, rise=1.0, half_strength_infusion=None),
    ],
)
def test_profile_sentence_without_evidence_claims_nothing(profile):
    assert profile_sentence(profile) == (
        "We cannot tell yet how this tea develops: nothing has been tasted that would show it."
    )
    assert profile_words(profile.label) == "course not known yet"


def test_profile_words_of_each_course_and_of_none():
    assert [profile_words(code) for code in ("build_up", "steady", "quick_fade", None, "new_code")] == [
        "builds up",
        "stays steady",
        "fades quickly",
        "course not known yet",
        "course not known yet",
    ]


def test_steeps_sentence_gives_count_line_and_range():
    assert steeps_sentence(STEEPS) == (
        "Good for 9 infusions of equal length; after that tasters are likely to find the leaf spent, as they do at a"
        " strength of about 2.5. "
        "With 80\u00a0% probability the count lies between 7 and 10."
    )


def test_steeps_sentence_at_the_end_of_the_even_brew_says_or_more():
    assert steeps_sentence(replace(STEEPS, recommended=24, low=20, high=24)) == (
        "Good for 24 or more infusions; no more are worked out. "
        "With 80\u00a0% probability the count lies between 20 and 24 or more."
    )
    assert count_words(11) == "11"


def test_steeps_sentence_of_none_worth_drinking_and_of_a_single_count():
    none = steeps_sentence(replace(STEEPS, recommended=0, low=0, high=1))
    assert none.startswith("No cup is likely to be strong enough to be worth drinking.")
    assert steeps_sentence(replace(STEEPS, recommended=1, low=1, high=1)) == (
        "Good for 1 infusion; after it tasters are likely to find the leaf spent, as they do at a strength of about"
        " 2.5. "
        "With 80\u00a0% probability it is 1."
    )


def test_steeps_sentence_without_an_interval_says_so():
    assert steeps_sentence(replace(STEEPS, low=None, high=None)) == (
        "Good for 9 infusions of equal length; after that tasters are likely to find the leaf spent, as they do at a"
        " strength of about 2.5. "
        "How far this could be off is not known yet."
    )


def test_steeps_sentence_without_evidence_claims_nothing():
    assert steeps_sentence(sample.untasted().steeps) == "We cannot tell yet how many infusions this tea is worth."
