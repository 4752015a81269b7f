"""The serving plan: what it promises whatever is asked, and what stays when it is made again."""

from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tastings.maths.flights.serving import PlanError, PlannedSitting, plan_servings
from tests.examples import examples


def named(what, n):
    return [f"{what} {i}" for i in range(n)]


def lots_of(plan, *, taster=None, without=None):
    return [
        lot
        for one in plan.sittings
        if taster in (None, one.taster)
        for lot in one.lots
        if without is None or lot != without
    ]


def prefixes(sittings):
    return {(one.taster, one.number): one.lots[: one.n_fixed] for one in sittings if one.n_fixed}


@st.composite
def plan_arguments(draw):
    reference = draw(st.sampled_from([None, "known"]))
    return {
        "lots": named("lot", draw(st.integers(2, 8))),
        "tasters": named("taster", draw(st.integers(1, 3))),
        "cups": draw(st.integers(1, 6)),
        "sittings": draw(st.integers(1, 3)),
        "reference": reference,
        "repeats": draw(st.sampled_from([0, 0, 1, 2])),
        "seed": draw(st.integers(0, 99)),
    }


def planned(arguments, **changes):
    """Return the plan, or drop the example if there is none."""
    try:
        return plan_servings(**arguments | changes)
    except PlanError:
        assume(False)
        raise


@given(plan_arguments())
@settings(max_examples=examples(15, of=50))
def test_plan_keeps_its_promises(arguments):
    plan = planned(arguments)

    n_lots, reference = len(arguments["lots"]), arguments["reference"]
    assert [(one.taster, one.number) for one in plan.sittings] == [
        (taster, number) for taster in arguments["tasters"] for number in range(1, arguments["sittings"] + 1)
    ]
    for one in plan.sittings:
        assert len(one.lots) <= arguments["cups"]
        assert one.lots.count("known") == (reference is not None)
        assert not any(first == second for first, second in pairwise(one.lots))
    poured = Counter(lots_of(plan, without=reference))
    assert set(poured) == set(arguments["lots"])
    assert max(poured.values()) - min(poured.values()) <= (2 if arguments["repeats"] else 1)  # a repeat needs its first
    for taster in arguments["tasters"]:
        times = Counter(lots_of(plan, taster=taster, without=reference))
        repeated = sum(times.values()) - len(times)
        assert repeated >= arguments["repeats"]
        assert repeated == arguments["repeats"] or len(times) == n_lots
        assert max(times.values()) - min(times.values()) <= 1 or arguments["repeats"]
    repeated_lots = {(one.taster, one.lot): len(one.cups) for one in plan.repeats}
    times = Counter((one.taster, lot) for one in plan.sittings for lot in one.lots if lot != reference)
    assert repeated_lots == {key: n for key, n in times.items() if n > 1}
    assert (plan.efficiency > 0) == plan.connected
    assert plan.efficiency <= plan.bound + 1e-9


@given(plan_arguments())
@settings(max_examples=examples(12, of=40))
def test_plan_connects_all_lots_where_there_are_cups_enough(arguments):
    """A connected plan needs as many cups as lots and sittings less one; with that many there is one."""
    plan = planned(arguments, repeats=0, reference=None)

    if len(lots_of(plan)) >= len(arguments["lots"]) + len(plan.sittings) - 1:
        assert plan.connected
    else:
        assert not plan.connected
        assert (plan.efficiency, plan.bound) == (0.0, 0.0)


@given(plan_arguments())
@settings(max_examples=examples(8, of=25))
def test_no_lot_comes_again_to_a_taster_before_all_are_seen(arguments):
    plan = planned(arguments, repeats=0)

    for taster in arguments["tasters"]:
        seen = Counter()
        for one in plan.sittings:
            if one.taster == taster:
                seen.update(lot for lot in one.lots if lot != arguments["reference"])
                assert max(seen.values()) == 1 or set(seen) == set(arguments["lots"])


@given(plan_arguments(), st.data())
@settings(max_examples=examples(8, of=25))
def test_what_was_tasted_stays_when_a_taster_falls_ill_and_a_sample_is_spilled(arguments, data):
    before = planned(arguments)
    fixed = [
        PlannedSitting(one.taster, one.number, one.lots, n_fixed=data.draw(st.integers(0, len(one.lots))))
        for one in before.sittings
    ]
    lots = data.draw(st.lists(st.sampled_from([*arguments["lots"], "late lot"]), min_size=2, unique=True))
    tasters = data.draw(st.lists(st.sampled_from([*arguments["tasters"], "stand-in"]), min_size=1, unique=True))

    after = planned(arguments, lots=lots, tasters=tasters, fixed=fixed)

    assert prefixes(after.sittings) == prefixes(fixed)
    for one in after.sittings:
        assert len(one.lots) <= arguments["cups"]
        assert set(one.lots[one.n_fixed :]) <= {*lots, arguments["reference"]}
        if one.taster not in tasters:
            assert len(one.lots) == one.n_fixed
    assert set(lots) <= {lot for one in after.sittings for lot in one.lots}
    assert after.efficiency <= after.bound + 1e-9


def test_same_seed_same_plan_and_another_seed_another():
    arguments = {"lots": named("lot", 12), "tasters": named("taster", 4), "cups": 6, "reference": "known", "repeats": 1}

    assert plan_servings(**arguments, seed=5) == plan_servings(**arguments, seed=5)
    assert plan_servings(**arguments, seed=5) != plan_servings(**arguments, seed=6)


@pytest.mark.parametrize(("lots", "sittings"), [(4, 4), (4, 8), (6, 12), (5, 10), (7, 14)])
def test_complete_sittings_are_balanced_by_whole_squares(lots, sittings):
    plan = plan_servings(lots=named("lot", lots), tasters=named("taster", sittings), cups=lots + 3, seed=1)

    assert {len(one.lots) for one in plan.sittings} == {lots}
    assert plan.efficiency == pytest.approx(1)
    assert (plan.position_spread, plan.carry_over_spread) == (0, 0)


def test_the_reference_is_balanced_among_complete_sittings():
    plan = plan_servings(
        lots=named("lot", 5), tasters=named("taster", 3), sittings=2, cups=6, reference="known", seed=1
    )

    assert sorted(one.lots.index("known") for one in plan.sittings) == [0, 1, 2, 3, 4, 5]
    assert (plan.position_spread, plan.carry_over_spread) == (0, 0)


def test_incomplete_sittings_differ_by_one_in_place_and_follower():
    plan = plan_servings(lots=named("lot", 24), tasters=named("taster", 6), cups=8, seed=1)

    assert (plan.position_spread, plan.carry_over_spread) == (1, 1)


def test_hidden_duplicates_are_spread_over_lots():
    plan = plan_servings(lots=named("lot", 12), tasters=named("taster", 6), cups=8, repeats=2, seed=1)

    assert Counter(one.lot for one in plan.repeats) == dict.fromkeys(named("lot", 12), 1)
    assert [len(one.cups) for one in plan.repeats] == [2] * 12


def test_lots_that_fewer_had_come_first_when_a_taster_is_out():
    """Two of four tasters are done, one is out without a cup: the last evens the lots out."""
    fixed = [PlannedSitting("a", 1, ("1", "2", "3"), n_fixed=3), PlannedSitting("b", 1, ("3", "4", "5"), n_fixed=3)]
    plan = plan_servings(lots="123456", tasters=["a", "b", "c"], cups=3, fixed=fixed, seed=1)

    third = next(one for one in plan.sittings if one.taster == "c")
    assert "6" in third.lots
    assert "3" not in third.lots
    assert len(third.lots) == 3
    assert plan.connected


def test_told_rises_from_nought_to_one():
    shares = []
    plan_servings(lots=named("lot", 10), tasters=named("taster", 4), cups=5, seed=1, on_progress=shares.append)

    assert (shares[0], shares[-1]) == (0.0, 1.0)
    assert shares == sorted(shares)
    assert len(shares) > 5


def test_one_cup_a_sitting_compares_nothing():
    plan = plan_servings(lots=["a", "b"], tasters=["one", "two"], cups=1, seed=1)

    assert sorted(lots_of(plan)) == ["a", "b"]
    assert (plan.connected, plan.efficiency, plan.bound) == (False, 0.0, 0.0)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"lots": ["a"]}, "lots"),
        ({"lots": ["a", "a"]}, "lots"),
        ({"lots": named("lot", 17)}, "lots"),
        ({"tasters": []}, "tasters"),
        ({"tasters": ["x", "x"]}, "tasters"),
        ({"cups": 0}, "cups"),
        ({"cups": 1, "reference": "known"}, "cups"),
        ({"sittings": 0}, "sittings"),
        ({"reference": "a"}, "reference"),
        ({"repeats": -1}, "repeats"),
        ({"repeats": 5}, "repeats"),
        ({"cups": 2, "repeats": 1}, "repeats"),
        ({"lots": named("lot", 12), "repeats": 3}, "repeats"),
        ({"fixed": [PlannedSitting("x", 1, ("a",), n_fixed=2)]}, "fixed"),
        ({"fixed": [PlannedSitting("x", 0, ("a",), n_fixed=1)]}, "fixed"),
        ({"fixed": [PlannedSitting("x", 1, ("a",), n_fixed=1), PlannedSitting("x", 1, ("b",), n_fixed=1)]}, "fixed"),
    ],
)
def test_what_cannot_be_planned_names_the_field(changes, field):
    arguments = {"lots": ["a", "b", "c"], "tasters": ["x", "y"], "cups": 8, "seed": 1}

    with pytest.raises(PlanError) as refused:
        plan_servings(**arguments | changes)
    assert refused.value.field == field
