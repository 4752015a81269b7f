"""The order in which a team's lots are best tasted: laws of the ranking, and that it settles simulated lots sooner."""

import random

import numpy as np

from benchmarks.worlds import Table, draw_leaf, draw_session, draw_team
from tastings.maths.curve.estimate import estimate_development
from tastings.maths.curve.next_session import JOINS_AT, NextSession
from tastings.maths.curve.order_slope import USUAL_SLOPES
from tastings.maths.planning.next_tastings import OpenLot, next_tastings
from tests.examples import examples

FIRST = NextSession(code="first_session")
LITTLE = NextSession(code="little", within=0.3)


def profile(p):
    return NextSession(code="profile", labels=("steady", "slow_fade"), probabilities=(p, 0.9 - p))


def ranked(*lots):
    shuffled = random.Random(3).sample(lots, len(lots))
    return [one.lot for one in next_tastings(shuffled)]


def test_sample_comes_before_a_bought_lot_of_which_less_is_known():
    assert ranked(OpenLot("bought", False, 0, FIRST), OpenLot("sample", True, 3, profile(0.5))) == ["sample", "bought"]


def test_untasted_then_seldom_tasted_then_less_known_then_more_open_come_first():
    lots = (
        OpenLot("tasted more", True, 5, profile(0.46)),
        OpenLot("heat", True, 2, NextSession(code="heat", low=98, high=100)),
        OpenLot("surer", True, 2, profile(0.58)),
        OpenLot("open", True, 2, profile(0.46)),
        OpenLot("unrated", True, 3, NextSession(code="rate_strength")),
        OpenLot("wide", True, 2, NextSession(code="pour_further", reach=4, steeps_low=5, steeps_high=20)),
        OpenLot("narrow", True, 2, NextSession(code="pour_further", reach=4, steeps_low=5, steeps_high=9)),
    )
    assert ranked(*lots) == ["unrated", "wide", "narrow", "open", "surer", "heat", "tasted more"]


def test_lot_of_which_little_is_open_is_left_out():
    assert ranked(OpenLot("known", True, 9, LITTLE), OpenLot("open", False, 1, profile(0.5))) == ["open"]


def by_plan(found, _rng):
    lots = [OpenLot(str(i), True, one.evidence.sessions, one.next) for i, one in enumerate(found)]
    return int(next_tastings(lots)[0].lot)


def at_random(found, rng):
    return int(rng.integers(len(found)))


def error_after_four_more(rule, seed):
    """Return the error of six lots' curves, tasted unequally so far, after four sessions spent by a rule. [points]."""
    rng = np.random.default_rng([7, seed])
    team, leaves = draw_team(rng), [draw_leaf(rng) for _ in range(6)]
    lasts = rng.integers(3, 12, 6)
    brews = [
        [draw_session(leaf, team, number=i, rng=rng, table=Table(last=int(last))) for i in range(n)]
        for leaf, n, last in zip(leaves, (0, 1, 1, 3, 3, 4), lasts, strict=True)
    ]
    found = [estimate_development(own, rated=["strength"]) for own in brews]
    for number in range(4):
        place = rule(found, np.random.default_rng([seed, number]))
        brews[place].append(draw_session(leaves[place], team, number=9 + number, rng=rng))
        found[place] = estimate_development(brews[place], rated=["strength"])
    errors = []
    for one, leaf in zip(found, leaves, strict=True):
        points = one.curve_of("strength")[:12]
        means = np.array([point.mean for point in points]) if points else np.full(12, 5.0)  # nobody knows
        errors.append(np.sqrt(np.mean((means - leaf.even_cups()) ** 2)))
    return np.mean(errors)


def test_sessions_spent_by_the_plan_leave_smaller_errors_than_spread_at_random():
    planned, by_chance = (
        np.mean([error_after_four_more(rule, seed) for seed in range(examples(3, of=6))])
        for rule in (by_plan, at_random)
    )
    assert planned < 0.85 * by_chance


def fatigue_found(*, per_cup, joins_at, seed):
    """Return the probability of fatigue after three sessions from the first cup, and three more from some cup on."""
    rng = np.random.default_rng([11, seed])
    leaf, team = draw_leaf(rng), draw_team(rng)
    tables = [Table(fatigue_per_cup=per_cup)] * 3 + [Table(fatigue_per_cup=per_cup, joins_at=joins_at)] * 3
    brews = [draw_session(leaf, team, number=i, rng=rng, table=table) for i, table in enumerate(tables)]
    evidence = estimate_development(brews, rated=["strength"]).slope_evidence["strength"]
    return USUAL_SLOPES["strength"].given([evidence]).probability


def test_taster_who_joins_late_tells_fatigue_from_fading_better_than_one_from_the_first_cup():
    separation = {
        joins_at: np.mean(
            [
                fatigue_found(per_cup=0.15, joins_at=joins_at, seed=seed)
                - fatigue_found(per_cup=0.0, joins_at=joins_at, seed=seed)
                for seed in range(examples(8, of=12))
            ]
        )
        for joins_at in (1, JOINS_AT)
    }
    assert separation[1] < 0.5 < separation[JOINS_AT]


def test_one_who_joins_late_is_asked_for_where_fatigue_is_open():
    rng = np.random.default_rng([12, 1])
    leaf, team = draw_leaf(rng), draw_team(rng)
    brews = [draw_session(leaf, team, number=i, rng=rng, table=Table(fatigue_per_cup=0.15)) for i in range(3)]
    found = estimate_development(brews, rated=["strength"]).next
    assert (found.code, found.infusion) == ("join_late", JOINS_AT)
    assert 0.3 <= found.probabilities[0] <= 0.9
    rested = estimate_development(brews, rated=["strength"], slopes={}).next
    assert rested.code != "join_late"
