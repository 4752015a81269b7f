"""A liquor's colour: what light, exposure, glare and clipping do to it, and how sure the word is."""

import numpy as np
import pytest

from tastings.maths.colour.cielab import D65, SRGB_TO_XYZ, adaptation, ciede2000, lab_of, linear, xyz_of
from tastings.maths.colour.liquor import liquor_colour
from tastings.maths.colour.terms import liquor_terms
from tastings.wording.photos import COLOUR_REASONS
from tests.examples import examples

SIDE = 60
TERMS = tuple(liquor_terms().values())
AMBER = (199, 120, 40)
WHITE = (235, 235, 235)


def plain(colour, *, noise=0, seed=1):
    """Return a region of one colour, with noise of so many levels."""
    grain = np.random.default_rng(seed).normal(0, noise, (SIDE, SIDE, 3)) if noise else 0
    return np.clip(np.round(np.asarray(colour) + np.zeros((SIDE, SIDE, 3)) + grain), 0, 255).astype(np.uint8)


def measured(white, liquor, seed=7):
    return liquor_colour(white=white, liquor=liquor, terms=TERMS, rng=np.random.default_rng(seed))


def encoded(light):
    """Return sRGB levels of linear light: the inverse of `linear`, after IEC 61966-2-1."""
    light = np.clip(light, 0, 1)
    return 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def under(lab, *, light, exposure=0.8):
    """Return levels of a colour and of its white in another light, as Bradford's transform has it."""
    l, a, b = lab  # noqa: E741
    fy = (l + 16) / 116
    bent = np.array([fy + a / 500, fy, fy - b / 200])
    xyz = D65 * np.where(bent > 6 / 29, bent**3, (bent - 4 / 29) * 3 * (6 / 29) ** 2)
    carried = adaptation(seen=D65, target=np.asarray(light) * exposure)
    return [encoded(each @ carried.T @ np.linalg.inv(SRGB_TO_XYZ).T) for each in (xyz, D65)]


def test_against_a_full_white_it_is_the_plain_conversion():
    found = measured(plain((253, 253, 253)), plain(AMBER))
    # amber (199, 120, 40) is 57.78, 24.88, 53.92 in full light (colour-science 0.4.7); a white of 253 lifts L* a little
    assert found.lab.values == pytest.approx((57.78, 24.88, 53.92), abs=0.8)
    assert [match.key for match in found.terms[:1]] == ["amber"]


# x, y of the CIE illuminants: A 0.44757, 0.40745; D50 0.34567, 0.35850; D75 0.29902, 0.31485 (CIE 15, from memory)
@pytest.mark.parametrize("xy", [(0.34567, 0.35850), (0.29902, 0.31485), (0.37, 0.37)])
@pytest.mark.parametrize("exposure", [0.3, 0.6])
def test_light_and_exposure_make_no_difference(xy, exposure):
    light = np.array([xy[0] / xy[1], 1, (1 - sum(xy)) / xy[1]])
    liquor, white = under((70, 19, 50), light=light, exposure=exposure)
    found = measured(plain(white), plain(liquor))
    assert (
        float(ciede2000(np.array(found.lab.values), np.array([70.0, 19, 50]))) < 1
    )  # rounding to 8 bits is all that is left
    assert found.terms[0].key == "orange_yellow"


def test_glare_and_a_leaf_in_the_corner_do_not_count():
    liquor = plain(AMBER, noise=2)
    touched = liquor.copy()
    touched[:20, :20] = 255
    touched[-15:, -15:] = 20
    clean, spotted = measured(plain(WHITE, noise=2), liquor), measured(plain(WHITE, noise=2), touched)
    assert float(ciede2000(np.array(clean.lab.values), np.array(spotted.lab.values))) < 1
    assert spotted.liquor.clipped == pytest.approx(400 / 3600, abs=0.001)


def test_uneven_regions_are_less_sure():
    slope = np.linspace(-40, 40, SIDE)[None, :, None]
    even = measured(plain(WHITE), plain(AMBER))
    for white, liquor in ((WHITE, AMBER + slope), (WHITE + slope / 2 - 25, AMBER)):
        uneven = measured(plain(white), plain(liquor))
        assert uneven.sd.l > even.sd.l + 0.2
    assert even.sd.l == pytest.approx(np.hypot(2.5, 1.5), abs=0.01)  # an even region leaves camera and white alone


def test_a_channel_at_its_end_is_less_sure_in_b():
    inside, at_end = measured(plain(WHITE), plain((150, 60, 10))), measured(plain(WHITE), plain((150, 60, 0)))
    assert at_end.sd.b > inside.sd.b + 1
    assert at_end.liquor.clipped == 1


def test_tinted_light_is_less_sure():
    assert measured(plain((235, 215, 180)), plain(AMBER)).sd.a > measured(plain(WHITE), plain(AMBER)).sd.a + 0.3


@pytest.mark.parametrize(
    ("white", "liquor", "reason"),
    [
        (plain((255, 255, 250)), plain(AMBER), "white_clipped"),
        (plain((60, 60, 60)), plain((30, 20, 10)), "white_dark"),
        (plain((250, 160, 60)), plain(AMBER), "white_coloured"),
        (plain(AMBER), plain(WHITE), "white_coloured"),
        (plain((180, 180, 180)), plain((230, 225, 200)), "liquor_brighter"),
        (plain(WHITE)[:11], plain(AMBER), "white_small"),
        (plain(WHITE), plain(AMBER)[:, :11], "liquor_small"),
    ],
)
def test_what_cannot_be_told_says_why(white, liquor, reason):
    found = measured(white, liquor)
    assert (found.reason, found.lab, found.terms) == (reason, None, ())
    assert COLOUR_REASONS[reason]


def test_probabilities_are_of_the_nearest_term_and_add_up():
    for term in TERMS:
        liquor, white = under(term.lab, light=D65)
        found = measured(plain(white), plain(liquor))
        assert found.terms[0].key == term.key
        assert found.terms[0].delta_e < 1.5
        assert 0.35 < found.terms[0].probability <= 1
        assert sum(match.probability for match in found.terms) <= 1
        assert len(found.terms) >= 2


def test_between_two_terms_neither_is_sure():
    amber, orange = (
        next(np.array(term.lab) for term in TERMS if term.key == key) for key in ("amber", "orange_yellow")
    )
    liquor, white = under((amber + orange) / 2, light=D65)
    found = measured(plain(white), plain(liquor))
    assert {match.key for match in found.terms[:2]} == {"amber", "orange_yellow"}
    assert found.terms[0].probability < 0.75


def test_the_same_photo_gives_the_same_answer():
    white, liquor = plain(WHITE, noise=3), plain(AMBER, noise=3)
    assert measured(white, liquor) == measured(white, liquor)


def test_claimed_uncertainty_covers_what_cameras_do():
    """Photos with errors as large as assumed are off by as much as claimed: by two sd in one of twenty, about."""
    rng, true = np.random.default_rng(3), np.array([60.0, 22, 48])
    off = []
    for _ in range(examples(40, of=120)):
        shown = true + rng.normal(0, [2.5, 2.0, 3.0])  # the camera's rendering, as assumed
        liquor, white = under(shown, light=D65)
        found = measured(plain(white, noise=2, seed=None), plain(liquor, noise=2, seed=None))
        off.append(np.abs(np.array(found.lab.values) - true) <= 2 * np.array(found.sd.values))
    assert np.mean(off) > 0.93


def test_terms_are_apart_and_within_srgb():
    places = np.array([term.lab for term in TERMS], dtype=float)
    between = ciede2000(places[:, None], places[None])
    assert between[~np.eye(len(TERMS), dtype=bool)].min() > 5
    for term in TERMS:
        light = linear(under(term.lab, light=D65, exposure=1)[0] / 255)
        assert lab_of(xyz_of(light)) == pytest.approx(np.array(term.lab), abs=0.1), term.key
    assert len({term.key for term in TERMS}) == len(TERMS)
