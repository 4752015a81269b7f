"""The guide: solved backwards in the lot's own model, its laws over pots, and its answer."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from tastings.maths.brewing.brews import HIGHEST, LOWEST, BrewError
from tastings.maths.brewing.even_brew import even_brew
from tastings.maths.brewing.extraction import cup_strength, cup_strength_by_leaf, default_grid, make_grid
from tastings.maths.brewing.heat import steeping_of
from tastings.maths.curve.evidence import prepare_sessions
from tastings.maths.curve.posterior import fit
from tastings.maths.guide.plan import Tea, brew_guide
from tastings.maths.guide.pots import COVERED_BOWL, LONG_MUG, STANDARD_BOWL, PotError, PotRequest
from tastings.maths.guide.timing import ALWAYS_S, CLOSE_ENOUGH, LONGEST_S, SHORTEST_S, STEP_UP, timed_s
from tastings.wording.guide import remedy
from tests.examples import examples
from tests.maths.brewed import brew_of, pour_of

STEADY = (6.5, 6.7, 6.5, 6.2, 5.8, 5.4, 5.0, 4.6, 4.2, 3.9)
LOT = [brew_of(f"s{i}", taster=f"t{i}", strength=STEADY) for i in range(4)]
NO_STYLE: Any = "cold"
EVEN_POT = PotRequest(leaf_g=5.0, vessel_ml=110.0, kettle_c=100.0)

pots = st.builds(
    PotRequest,
    leaf_g=st.floats(3.0, 9.0),
    vessel_ml=st.floats(90.0, 160.0),
    kettle_c=st.floats(80.0, 100.0),
    vessel_material=st.sampled_from(["porcelain", "unglazed_clay", "glass", "cast_iron"]),
    warmed=st.booleans(),
    pour_s=st.floats(0.0, 20.0),
    altitude_m=st.floats(0.0, 3000.0),
)


def steeps_s(found):
    return [one.steep_s for one in found.infusions]


@pytest.fixture(scope="module")
def model():
    """The lot's mean cup on the whole grid, reckoned without the guide's draws."""
    grid = default_grid()
    followed, _ = prepare_sessions(LOT, grid=grid, scales={})
    posterior = fit([one.ratings_of("strength") for one in followed], grid=grid)

    def cups(found):
        vessel = found.vessel
        rinse = replace(vessel.pour(0, steep_s=found.rinse_s), pour_s=0.0)
        pours = (rinse, *(vessel.pour(one.number, steep_s=one.steep_s) for one in found.infusions))
        strength = cup_strength(steeping_of(vessel.brew(pours), pours), grid=grid)[:, 1:]
        # each node's level as a normal held to the scale, by its quantiles
        quantile = np.array([-1.6449, -1.0364, -0.6745, -0.3853, -0.1257, 0.1257, 0.3853, 0.6745, 1.0364, 1.6449])
        level = np.maximum(posterior.mean[:, :, None] + posterior.sd[:, :, None] * quantile, 0.0)
        means = [
            (posterior.weights * np.clip(level * one[None, :, None], LOWEST, HIGHEST).mean(axis=2)).sum()
            for one in strength.T
        ]
        return np.array(means)

    return cups


@settings(max_examples=examples(6, of=15))
@given(pot=pots)
@example(
    pot=PotRequest(leaf_g=5.0, vessel_ml=90.0, kettle_c=99.0, pour_s=0.0)
)  # the thirteenth is as long as it may be
def test_unrounded_times_brewed_in_the_model_give_the_target_within_two_per_cent(model, pot):
    found = brew_guide(LOT, pot=pot, rounded=False)
    cups = model(found)
    steeps = np.array(steeps_s(found))
    longest = np.minimum(np.maximum(STEP_UP * np.concatenate(([LONGEST_S], steeps[:-1])), ALWAYS_S), LONGEST_S)
    within = (steeps > SHORTEST_S) & (steeps < longest - 0.01)
    assert cups[within] == pytest.approx(found.target_strength, rel=0.02)
    full = (steeps >= longest - 0.01) & (np.arange(1, steeps.size + 1) <= found.last_at_target)
    assert (cups[full] >= 0.98 * CLOSE_ENOUGH * found.target_strength).all()
    assert found.infusions[0].expected_strength == pytest.approx(cups[0], rel=0.02)


@settings(max_examples=examples(6, of=15))
@given(pot=pots, hotter_c=st.floats(1.0, 20.0))
def test_hotter_kettle_never_asks_for_longer(pot, hotter_c):
    hot = replace(pot, kettle_c=min(pot.kettle_c + hotter_c, 100.0))
    never_longer(brew_guide(LOT, pot=pot, rounded=False), brew_guide(LOT, pot=hot, rounded=False))


@settings(max_examples=examples(6, of=15))
@given(pot=pots, factor=st.floats(1.02, 1.6))
def test_more_leaf_never_asks_for_longer(pot, factor):
    never_longer(
        brew_guide(LOT, pot=pot, rounded=False),
        brew_guide(LOT, pot=replace(pot, leaf_g=pot.leaf_g * factor), rounded=False),
    )


def never_longer(before, after):
    for one, other in zip(before.infusions, after.infusions, strict=False):
        assert other.steep_s <= one.steep_s + 0.02, one.number  # the solver's own 0.01 s


@settings(max_examples=examples(6, of=15))
@given(pot=pots)
def test_times_can_be_timed_and_stay_within_bounds(pot):
    for one in brew_guide(LOT, pot=pot).infusions:
        assert SHORTEST_S <= one.steep_s <= LONGEST_S
        assert one.steep_s == timed_s(one.steep_s)
        assert one.low <= one.expected_strength <= one.high
        assert one.contact_s == pytest.approx(one.steep_s + one.pour_s / 2)


@given(st.floats(0.0, 400.0), st.floats(0.0, 400.0))
def test_rounding_keeps_the_order_and_is_at_most_half_a_step_off(one_s, other_s):
    assert (timed_s(one_s) <= timed_s(other_s)) or one_s > other_s
    best_s = min(max(one_s, SHORTEST_S), LONGEST_S)
    step_s = 5.0 if best_s < 60 else 10.0  # the rule as documented
    assert timed_s(one_s) % step_s == 0
    assert abs(timed_s(one_s) - best_s) <= step_s / 2


def test_each_steep_makes_up_for_the_rounding_before_it():
    rounded, exact = brew_guide(LOT, pot=EVEN_POT), brew_guide(LOT, pot=EVEN_POT, rounded=False)
    off = [one.expected_strength / rounded.target_strength - 1 for one in rounded.infusions[: rounded.last_at_target]]
    assert max(map(abs, off)) < 0.1
    assert abs(sum(off)) / len(off) < 0.03
    assert sum(steeps_s(rounded)[:6]) == pytest.approx(sum(steeps_s(exact)[:6]), abs=10)


def test_times_grow_as_the_leaf_gives_out():
    found = steeps_s(brew_guide(LOT, pot=EVEN_POT))
    assert found[1:] == sorted(found[1:])
    assert found[-1] > found[1]


@pytest.mark.parametrize(
    ("changed", "longer"),
    [({"leaf_g": 8.0}, False), ({"leaf_g": 3.0}, True), ({"kettle_c": 85.0}, True), ({"altitude_m": 3000.0}, True)],
)
def test_pot_decides_the_times(changed, longer):
    even, other = brew_guide(LOT, pot=EVEN_POT), brew_guide(LOT, pot=replace(EVEN_POT, **changed))
    assert other.target_strength == pytest.approx(even.target_strength)
    assert (sum(steeps_s(other)[:5]) > sum(steeps_s(even)[:5])) is longer


def test_slow_pour_is_taken_off_the_steep():
    quick, slow = (brew_guide(LOT, pot=replace(EVEN_POT, pour_s=pour_s), rounded=False) for pour_s in (2.0, 16.0))
    assert steeps_s(slow)[3] < steeps_s(quick)[3]
    assert slow.infusions[3].contact_s == pytest.approx(quick.infusions[3].contact_s, abs=0.5)
    assert slow.infusions[3].pour_s == pytest.approx(16.0)


def test_cold_vessel_asks_for_a_longer_first_steep():
    cold, warm = (brew_guide(LOT, pot=replace(EVEN_POT, warmed=warmed), rounded=False) for warmed in (False, True))
    assert steeps_s(cold)[0] > steeps_s(warm)[0]


def test_leaf_that_gives_too_much_at_once_is_told():
    found = brew_guide(LOT, pot=replace(EVEN_POT, leaf_g=24.0, pour_s=30.0))
    assert found.infusions[0].steep_s == SHORTEST_S
    assert found.notes[0].code == "too_strong"
    assert 1 in found.notes[0].infusions


def test_leaf_that_gives_out_is_told():
    found = brew_guide(LOT, pot=replace(EVEN_POT, leaf_g=3.0))
    beyond = [one for one in found.infusions if one.number > found.last_at_target]
    assert 0 < found.last_sure <= found.last_at_target < 12
    assert beyond
    assert all(one.steep_s == LONGEST_S and one.expected_strength < found.target_strength for one in beyond)


def test_guide_ends_where_the_leaf_would_be_drawn_more_than_twice_as_far_as_anybody_tasted():
    short = [brew_of(f"s{i}", taster=f"t{i}", strength=STEADY[:3]) for i in range(4)]
    found, long = brew_guide(short, pot=EVEN_POT), brew_guide(LOT, pot=EVEN_POT)
    assert found.first_beyond_tasted == len(found.infusions) + 1 == found.last_at_target + 1
    assert found.last_worthwhile == found.last_at_target < long.last_at_target
    vessel = found.vessel
    pours = [replace(vessel.pour(0, steep_s=found.rinse_s), pour_s=0.0)]
    pours += [vessel.pour(number, steep_s=steep_s) for number, steep_s in enumerate(steeps_s(found), start=1)]
    steeping, tasted = steeping_of(vessel.brew(tuple(pours)), tuple(pours)), steeping_of(short[0], short[0].pours)
    in_guide, in_tastings = (float((one.rate * one.contact_s).sum()) for one in (steeping, tasted))
    assert in_tastings < in_guide <= 2 * in_tastings


def test_long_mug_of_a_lot_that_was_tasted_briefly_still_has_its_infusion():
    short = [brew_of(f"s{i}", taster=f"t{i}", strength=STEADY[:2]) for i in range(2)]
    found = brew_guide(short, pot=PotRequest(style=LONG_MUG))
    assert (len(found.infusions), found.first_beyond_tasted) == (1, None)


def test_more_sessions_leave_less_to_guess():
    lot = [brew_of(f"s{i}", taster=f"t{i}", strength=STEADY) for i in range(16)]
    one, many = (brew_guide(lot[:n], pot=EVEN_POT, rounded=False) for n in (1, 16))
    both = min(one.last_at_target, many.last_at_target)  # then comes the longest steep, which nobody has tried
    misses = [[infusion.likely_miss_pct for infusion in found.infusions[:both]] for found in (one, many)]
    assert sum(misses[1]) < 0.8 * sum(misses[0])
    assert many.last_sure >= one.last_sure
    assert "guessed_time" in {note.code for note in one.notes}


@pytest.mark.parametrize("way", ["steep_s", "leaf_g"])
@pytest.mark.parametrize(("which", "sign"), [("too_strong", -1), ("too_thin", 1)])
def test_remedy_changes_the_cup_by_about_a_point(which, sign, way):
    found = brew_guide(LOT, pot=EVEN_POT)
    change = getattr(getattr(found.change, which), way)
    second = found.infusions[found.change.number - 1]
    vessel = found.vessel
    rinse = replace(vessel.pour(0, steep_s=found.rinse_s), pour_s=0.0)
    pours = [rinse, *(vessel.pour(one.number, steep_s=one.steep_s) for one in found.infusions[: second.number])]
    if way == "steep_s":
        pours[-1] = replace(pours[-1], steep_s=pours[-1].steep_s + change)
    else:
        vessel = replace(vessel, leaf_g=vessel.leaf_g + change)
    brew = vessel.brew(tuple(pours))
    grid = default_grid()
    followed, _ = prepare_sessions(LOT, grid=grid, scales={})
    level = fit([one.ratings_of("strength") for one in followed], grid=grid).node_level
    moved = float(level @ cup_strength(steeping_of(brew, brew.pours), grid=grid)[:, -1]) - second.expected_strength
    assert 0.5 < sign * moved < 1.6
    assert change * sign > 0
    text = remedy(getattr(found.change, which), cup=which, infusion=found.change.number)
    assert f"{abs(change):g} {'s' if way == 'steep_s' else 'g'} {'less' if sign < 0 else 'more'}" in text


def test_guide_of_an_unrated_lot_is_empty():
    found = brew_guide([], pot=EVEN_POT, tea=Tea(kind="oolong"))
    assert (found.infusions, found.last_worthwhile, found.target_strength) == ((), None, None)
    assert (found.last_at_target, found.last_sure, found.change, found.caffeine) == (None, None, None, None)
    assert (found.serving.rounds, found.serving.total_ml) == (None, None)


def test_thin_lot_has_no_worthwhile_infusion():
    thin = [brew_of(f"s{i}", taster=f"t{i}", strength=[0.5, 0.5, 0.5, 0.0]) for i in range(6)]
    found = brew_guide(thin, pot=replace(EVEN_POT, leaf_g=1.5))
    assert (found.last_worthwhile, found.last_sure) == (0, 0)


def test_last_worthwhile_infusion_is_in_the_list():
    found = brew_guide(LOT, pot=EVEN_POT)
    assert found.last_worthwhile in {one.number for one in found.infusions}


def test_ratings_that_do_not_follow_extraction_are_told():
    humps = [brew_of(f"s{i}", taster=f"t{i}", strength=(8, 2, 8, 2, 8, 2, 8, 2)) for i in range(6)]
    assert "lack_of_fit" in {note.code for note in brew_guide(humps, pot=EVEN_POT).notes}
    assert "lack_of_fit" not in {note.code for note in brew_guide(LOT, pot=EVEN_POT).notes}


@settings(max_examples=examples(5, of=10))
@given(vessel_ml=st.floats(200.0, 600.0), kettle_c=st.floats(80.0, 100.0), warmed=st.booleans())
def test_long_mug_meets_the_target_with_little_leaf(vessel_ml, kettle_c, warmed):
    pot = PotRequest(style=LONG_MUG, vessel_ml=vessel_ml, kettle_c=kettle_c, warmed=warmed)
    found = brew_guide(LOT, pot=pot, rounded=False)
    assert len(found.infusions) == 1
    one = found.infusions[0]
    assume(SHORTEST_S < one.steep_s < LONGEST_S)
    assert one.expected_strength == pytest.approx(found.target_strength, rel=0.02)
    assert found.vessel.leaf_g / found.vessel.vessel_ml < 0.5 * 5 / 110
    assert (one.contact_s, found.rinse_s) == (one.steep_s, None)


def test_long_mug_takes_the_leaf_that_is_told():
    less, more = (
        brew_guide(LOT, pot=PotRequest(style=LONG_MUG, leaf_g=leaf_g), rounded=False) for leaf_g in (2.5, 4.0)
    )
    assert (less.vessel.leaf_g, more.vessel.leaf_g) == (2.5, 4.0)
    assert more.infusions[0].steep_s < less.infusions[0].steep_s


# sources: ISO 3103:2019 (pots, leaf, 6 and 5 minutes) and GB/T 23776-2018 (oolong bowl; others from memory), as read in
# summaries
PROTOCOLS = [
    ((STANDARD_BOWL, None), "black", (5.6, 310, 285), [360]),
    ((STANDARD_BOWL, None), "green", (5.6, 310, 285), [300]),
    ((STANDARD_BOWL, 150), "black", (2.8, 150, 140), [360]),
    ((COVERED_BOWL, None), "oolong", (5, 110, 110), [120, 180, 300]),
    ((COVERED_BOWL, None), "green", (3, 150, 150), [240]),
    ((COVERED_BOWL, None), "black", (3, 150, 150), [300]),
    ((COVERED_BOWL, None), "dark", (3, 150, 150), [120, 300]),
]


@pytest.mark.parametrize(("asked", "kind", "wanted", "steeps"), PROTOCOLS)
@pytest.mark.parametrize("brews", [(), LOT], ids=["unrated", "rated"])
def test_evaluation_is_as_the_standard_lays_it_down(asked, kind, wanted, steeps, brews):
    style, vessel_ml = asked
    found = brew_guide(brews, pot=PotRequest(style=style, vessel_ml=vessel_ml), tea=Tea(kind=kind))
    vessel = found.vessel
    assert (vessel.leaf_g, found.vessel_ml, vessel.vessel_ml) == wanted
    assert steeps_s(found) == steeps
    assert (found.target, found.change, found.serving) == (None, None, None)
    assert found.standard.code.startswith("gb_t") is (style == COVERED_BOWL)
    # ISO 3103 asks for 2 g per 100 ml, weighed to 2 %; GB/T 23776 for 1:50, and 1:22 in the bowl
    grams_per_100_ml = 100 * vessel.leaf_g / vessel.vessel_ml
    assert grams_per_100_ml == pytest.approx(5 / 1.1 if vessel.vessel_ml == 110 else 2.0, rel=0.02)
    assert all((one.expected_strength is not None) is bool(brews) for one in found.infusions)


def test_evaluation_high_up_is_weaker():
    low, high = (
        brew_guide(LOT, pot=PotRequest(style=STANDARD_BOWL, altitude_m=m), tea=Tea(kind="black")) for m in (0.0, 4000.0)
    )
    assert high.infusions[0].low < low.infusions[0].low
    assert high.infusions[0].steep_s == low.infusions[0].steep_s


@pytest.mark.parametrize(
    ("pot", "field", "code"),
    [
        (PotRequest(style=NO_STYLE), "style", "choice"),
        (PotRequest(leaf_g=0.0), "leaf_g", "range"),
        (PotRequest(leaf_g=float("nan")), "leaf_g", "range"),
        (PotRequest(leaf_g=40.0), "leaf_g", "range"),
        (PotRequest(leaf_g=0.5), "leaf_g", "range"),
        (PotRequest(vessel_ml=5.0), "vessel_ml", "range"),
        (PotRequest(kettle_c=40.0), "kettle_c", "range"),
        (PotRequest(kettle_c=120.0), "kettle_c", "range"),
        (PotRequest(pour_s=301.0), "pour_s", "range"),
        (PotRequest(altitude_m=9001.0), "altitude_m", "range"),
        (PotRequest(guests=0), "guests", "range"),
        (PotRequest(guests=201), "guests", "range"),
        (PotRequest(cup_ml=1.0), "cup_ml", "range"),
        (PotRequest(style=LONG_MUG, pour_s=5.0), "pour_s", "other_style"),
        (PotRequest(style=LONG_MUG, cup_ml=50.0), "cup_ml", "other_style"),
        (PotRequest(style=LONG_MUG, vessel_ml=110.0), "vessel_ml", "range"),
        (PotRequest(style=LONG_MUG, leaf_g=100.0), "leaf_g", "range"),
        (PotRequest(style=STANDARD_BOWL, vessel_ml=200.0), "vessel_ml", "choice"),
        (PotRequest(style=STANDARD_BOWL, leaf_g=5.0), "leaf_g", "other_style"),
        (PotRequest(style=COVERED_BOWL, vessel_ml=110.0), "vessel_ml", "other_style"),
        (PotRequest(style=COVERED_BOWL, guests=3), "guests", "other_style"),
    ],
)
def test_pot_that_cannot_be_is_refused_by_name(pot, field, code):
    with pytest.raises(PotError, match=field) as refused:
        brew_guide(LOT, pot=pot, tea=Tea(kind="black"))
    assert (refused.value.field, refused.value.code) == (field, code)
    assert isinstance(refused.value, BrewError)


def test_evaluation_of_a_herbal_lot_is_refused():
    for style in (STANDARD_BOWL, COVERED_BOWL):
        with pytest.raises(PotError, match="herbal"):
            brew_guide(LOT, pot=PotRequest(style=style), tea=Tea(kind="herbal"))


def test_leaves_one_by_one_equal_the_grid():
    grid, even = make_grid(n_k=3, n_tau=2, n_n=2), even_brew()
    steeping = steeping_of(even, even.pours)
    k, tau, n = (axis.ravel() for axis in np.meshgrid(grid.k_per_min, grid.tau_s, grid.n, indexing="ij"))
    found = cup_strength_by_leaf(steeping, k_per_min=k, tau_s=tau, n=n)
    assert found == pytest.approx(cup_strength(steeping, grid=grid), rel=1e-9)


def test_cups_rated_elsewhere_on_the_scale_move_the_target():
    strong = [brew_of(f"s{i}", taster=f"t{i}", pours=[pour_of(n, strength=8) for n in range(1, 6)]) for i in range(4)]
    assert brew_guide(strong, pot=EVEN_POT).target_strength > brew_guide(LOT, pot=EVEN_POT).target_strength + 0.5
