import pytest

from tastings.maths.brewing.extraction import make_grid
from tastings.maths.curve.evidence import prepare_sessions
from tastings.wording.left_out import left_out_reason
from tests.maths.brewed import RINSE, brew_of, pour_of

GRID = make_grid(n_k=3, n_tau=3, n_n=2)


def followed_of(brew):
    followed, left_out = prepare_sessions([brew], grid=GRID, scales={})
    return followed, [(one.infusion, left_out_reason(one)) for one in left_out]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"leaf_g": 0.1}, "0.1 g in 110 ml is 0.02 times"),
        ({"leaf_g": 50.0}, "50 g in 110 ml is 10 times"),
        ({"vessel_ml": 5.0, "leaf_g": 0.25}, "a vessel of 5 ml"),
    ],
)
def test_brew_off_every_scale_is_left_out_with_its_figures(changed, words):
    followed, left_out = followed_of(brew_of("s", strength=[5, 5], **changed))
    assert followed == ()
    assert left_out[0][0] is None
    assert words in left_out[0][1]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"kettle_c": 20.0}, "water of 20 °C"),
        ({"steep_s": 3600.0}, "3602 s"),
        ({"steep_s": 0.0, "pour_s": 0.0}, "not steeped"),
        ({"water_ml": 2.0}, "2 ml of water"),
        ({"tasted": False}, "not tasted"),
    ],
)
def test_odd_pour_loses_its_rating_but_not_its_place(changed, words):
    pours = [pour_of(1, strength=5), pour_of(2, strength=5, **changed), pour_of(3, strength=5)]
    (followed,), left_out = followed_of(brew_of("s", pours=pours))
    assert [pour.number for pour in followed.pours] == [0, 1, 2, 3]
    assert list(followed.rated_indexes("strength")) == [1, 3]
    assert left_out[0][0] == 2
    assert words in left_out[0][1]


def test_missing_infusion_drains_the_leaf_all_the_same():
    pours = [pour_of(n, strength=5) for n in (1, 2, 3, 5, 6)]
    (gap,), left_out = followed_of(brew_of("s", pours=pours))
    (whole,), _ = followed_of(brew_of("s", strength=[5] * 6))
    assert left_out == [(4, "not recorded; taken to be poured like its neighbours")]
    assert gap.cups == pytest.approx(whole.cups, rel=1e-3)


def test_infusions_after_a_long_gap_are_left_out():
    (followed,), left_out = followed_of(brew_of("s", pours=[pour_of(1, strength=5), pour_of(20, strength=5)]))
    assert [pour.number for pour in followed.pours] == [0, 1]
    assert left_out[0][0] == 20


def test_infusion_recorded_twice_counts_once():
    fuller = pour_of(2, strength=6, body=4)
    pours = [pour_of(1, strength=5), pour_of(2, strength=5), fuller, pour_of(3, strength=5)]
    (followed,), left_out = followed_of(brew_of("s", pours=pours))
    assert followed.pours == (RINSE, pours[0], fuller, pours[3])
    assert left_out == [(2, "recorded twice; the record with more ratings is used")]


@pytest.mark.parametrize(("pours", "reason"), [((), "no infusion was rated"), ((pour_of(1),), "no infusion was rated")])
def test_session_without_ratings_says_so(pours, reason):
    followed, left_out = followed_of(brew_of("s", pours=pours))
    assert followed == ()
    assert left_out == [(None, reason)]


def test_session_without_pours_says_so():
    assert followed_of(brew_of("s", pours=(), rinse=False)) == ((), [(None, "no infusion was recorded")])
