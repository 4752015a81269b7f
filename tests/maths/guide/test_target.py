"""The best-liked strength: found where liking hangs on strength, and left alone where it does not."""

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.worlds import draw_leaf, draw_session, draw_team
from tastings.maths.guide.leaf import known_leaf
from tastings.maths.guide.target import FROM_LIKING, FROM_SECOND, target_of
from tests.maths.brewed import brew_of, pour_of

STEADY = (6.5, 6.7, 6.5, 6.2, 5.8, 5.4, 5.0, 4.6, 4.2, 3.9)


def liked(strength, *, best):
    return 8.0 - 0.5 * (strength - best) ** 2


def lot(liking, *, n_sessions=4, start=0, infusions=10):
    """Return sessions of one leaf, each cup rated for strength and, as ``liking`` of its strength, for liking."""
    rng = np.random.default_rng([23, start])
    brews = []
    for i in range(n_sessions):
        pours = [
            pour_of(
                number,
                strength=np.clip(round(2 * (strength + rng.normal(0, 0.5))) / 2, 0, 10),
                liking=np.clip(round(2 * (liking(strength) + rng.normal(0, 0.7))) / 2, 0, 10),
            )
            for number, strength in enumerate(STEADY[:infusions], start=1)
        ]
        brews.append(brew_of(f"s{i}", taster=f"t{i % 3}", pours=pours))
    return brews


@pytest.mark.parametrize("best", [5.0, 5.5])
def test_best_liked_strength_is_found(best):
    found = [target_of(known_leaf(lot(lambda x: liked(x, best=best), n_sessions=6, start=i))) for i in range(12)]
    decided = [one for one in found if one.chosen_from == FROM_LIKING]
    assert len(decided) >= 8
    assert np.mean([one.strength for one in decided]) == pytest.approx(best, abs=0.4)
    assert np.mean([one.low - 0.2 <= best <= one.high + 0.2 for one in decided]) >= 0.6
    assert all(one.probability >= 0.8 and one.reason == "best_liked" for one in decided)


@pytest.mark.parametrize(
    "liking", [lambda _: 6.0, lambda x: x + 1.0, lambda x: 9.0 - x], ids=["flat", "the more the better", "the less"]
)
def test_liking_without_a_top_is_not_followed(liking):
    found = [target_of(known_leaf(lot(liking, n_sessions=5, start=i))) for i in range(20)]
    assert sum(one.chosen_from == FROM_LIKING for one in found) <= 2


def test_liking_that_hangs_on_the_infusion_alone_is_seldom_taken_for_strength():
    found = []
    for start in range(20):
        own = dict(zip(STEADY, np.random.default_rng([31, start]).normal(6.0, 0.4, len(STEADY)), strict=True))
        found.append(target_of(known_leaf(lot(own.__getitem__, n_sessions=5, start=start))))
    assert sum(one.chosen_from == FROM_LIKING for one in found) <= 4


def test_target_without_liking_is_the_second_infusion():
    known = known_leaf([brew_of(f"s{i}", taster=f"t{i}", strength=STEADY) for i in range(4)])
    found = target_of(known)
    assert found.chosen_from == FROM_SECOND
    assert found.strength == pytest.approx(known.leaf.even_cups()[:, 1].mean())
    assert (found.cups, found.sessions, found.probability) == (0, 0, None)
    assert found.reason == "too_few_cups"


@pytest.mark.parametrize(
    ("brews", "reason"),
    [
        (lot(lambda x: liked(x, best=5.5), n_sessions=1), "too_few_cups"),
        (lot(lambda x: liked(x, best=5.5), n_sessions=2, infusions=4), "too_few_cups"),
        (lot(lambda x: liked(x, best=6.4), n_sessions=6, infusions=3), "too_close"),
        (lot(lambda _: 6.0, n_sessions=4), "no_clear_top"),
    ],
    ids=["one session", "few cups", "alike cups", "flat"],
)
def test_reason_says_what_is_missing(brews, reason):
    found = target_of(known_leaf(brews))
    assert found.chosen_from == FROM_SECOND
    assert found.reason == reason


def test_taster_who_likes_everything_makes_no_slope():
    # one taster rates the strong cups only, and everything high; within each taster liking is flat
    strong = [replace(one, taster="keen") for one in lot(lambda _: 9.0, n_sessions=2, infusions=5)]
    others = lot(lambda _: 5.0, n_sessions=3)
    named = [replace(one, session=f"x{i}") for i, one in enumerate([*strong, *others])]
    assert target_of(known_leaf(named)).chosen_from == FROM_SECOND


def test_target_is_never_at_the_finish_line():
    thin = known_leaf([brew_of(f"s{i}", taster=f"t{i}", strength=[0.5, 0.5, 0.5, 0.0]) for i in range(6)])
    found = target_of(thin)
    assert found.strength == pytest.approx(thin.leaf.finish_line + 1.0)
    assert found.raised_from == pytest.approx(thin.leaf.even_cups()[:, 1].mean())


def test_target_of_an_unrated_lot_is_an_error():
    with pytest.raises(ValueError, match="nobody has rated"):
        target_of(known_leaf([]))


def test_worlds_without_liking_keep_the_second_infusion():
    rng = np.random.default_rng([29, 0])
    leaf, table = draw_leaf(rng), draw_team(rng)
    brews = [draw_session(leaf, table, number=i, rng=rng) for i in range(3)]
    assert target_of(known_leaf(brews)).chosen_from == FROM_SECOND
