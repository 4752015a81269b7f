"""How many blind duplicates make a scale known: against the calibration itself, on simulated tasters."""

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.worlds import draw_leaf, draw_session, draw_team
from tastings.maths.brewing.brews import TasterScale
from tastings.maths.panel.calibration import calibrate
from tastings.maths.panel.joining import KNOWN_GAIN_SD, KNOWN_OFFSET_SD, Joining, expected_sds, joining

NEW, OTHERS = 3, (0, 1, 2)


def calibrated(seed, *, cups, lots=8):
    """Return the sds found for a new taster after some duplicates, and how far off gain and offset are."""
    rng = np.random.default_rng([61, seed])
    team = draw_team(rng)
    tasted = {}
    for lot in range(lots):
        leaf = draw_leaf(rng)
        tasted[str(lot)] = [draw_session(leaf, team, number=i, rng=rng, among=[i]) for i in OTHERS]
        for cup in range(lot, cups, lots):
            whole = draw_session(leaf, team, number=100 + cup, rng=rng, among=[NEW])
            one = 1 + 3 * cup % 8
            pours = tuple(replace(pour, ratings=pour.ratings if pour.number == one else {}) for pour in whole.pours)
            tasted[str(lot)].append(replace(whole, pours=pours))
    found = calibrate(tasted)[f"taster {NEW}"]
    return found.gain_sd, found.offset_sd, found.gain - team.gain[NEW], found.offset - team.shift[NEW]


def test_sds_after_twelve_duplicates_are_as_expected_and_true():
    found = np.array([calibrated(seed, cups=12) for seed in range(6)])
    assert found[:, :2].mean(axis=0) == pytest.approx(expected_sds(12), rel=0.25)
    off = np.sqrt((found[:, 2:] ** 2).mean(axis=0))
    assert (off < 1.5 * found[:, :2].mean(axis=0)).all()


def test_each_duplicate_makes_the_scale_better_known():
    sds = np.array([expected_sds(cups) for cups in range(40)])
    assert (np.diff(sds, axis=0) < 0).all()
    assert expected_sds(0) == pytest.approx((TasterScale().gain_sd, TasterScale().offset_sd))


def test_needed_is_the_first_number_after_which_both_are_known():
    needed = joining(TasterScale()).needed
    known, before = expected_sds(needed), expected_sds(needed - 1)
    assert known[0] <= KNOWN_GAIN_SD
    assert known[1] <= KNOWN_OFFSET_SD
    assert before[0] > KNOWN_GAIN_SD or before[1] > KNOWN_OFFSET_SD


@pytest.mark.parametrize("cups", [0, 1, 5, 9])
def test_progress_of_a_scale_is_the_duplicates_that_made_it(cups):
    gain_sd, offset_sd = expected_sds(cups)
    assert joining(TasterScale(gain_sd=gain_sd, offset_sd=offset_sd)) == Joining(cups, joining(TasterScale()).needed)


def test_scale_is_known_only_when_gain_and_offset_are():
    assert joining(TasterScale(gain_sd=0.09, offset_sd=0.3)).known
    half = joining(TasterScale(gain_sd=0.15, offset_sd=0.2))
    assert (half.known, half.done) == (False, 0)
