from dataclasses import replace

import numpy as np
import pytest

from tastings.maths.brewing.brews import TasterScale
from tastings.maths.panel.calibration import calibrate
from tests.maths.brewed import brew_of, developed

SHAPES = ((3, 5, 6, 6, 5.5, 5, 4.5, 4), (7, 6.5, 5.5, 4.5, 3.5, 3, 2.5, 2), (5, 6, 6, 5.5, 5, 4.5, 4.2, 4))
TEAM = {"ann": (1.2, 0.5), "ben": (1.0, 0.0), "cho": (0.8, -0.5)}


def team_lots(*, n_sessions=2, team=TEAM):
    chance = np.random.default_rng(8)
    lots = {}
    for number, shape in enumerate(SHAPES * 3):
        lots[f"lot {number}"] = [
            brew_of(
                f"{name} {i}",
                taster=name,
                strength=np.clip(offset + gain * np.array(shape) + chance.normal(0, 0.5, len(shape)), 0, 10),
            )
            for name, (gain, offset) in team.items()
            for i in range(n_sessions)
        ]
    return lots


def test_gain_and_offset_of_a_team_are_found():
    found = calibrate(team_lots())
    for name, (gain, offset) in TEAM.items():
        assert found[name].gain == pytest.approx(gain, abs=0.1)
        assert found[name].offset == pytest.approx(offset, abs=0.35)
        assert found[name].gain_sd < TasterScale().gain_sd
        assert found[name].offset_sd < TasterScale().offset_sd


def test_team_mean_is_the_scale():
    found = calibrate(team_lots()).values()
    assert np.mean([scale.gain for scale in found]) == pytest.approx(1.0)
    assert np.mean([scale.offset for scale in found]) == pytest.approx(0.0, abs=1e-12)


def test_more_lots_make_a_scale_better_known():
    lots = team_lots()
    few, many = calibrate({"lot 0": lots["lot 0"]}), calibrate(lots)
    assert many["ann"].gain_sd < few["ann"].gain_sd


def test_taster_alone_at_every_lot_stays_unknown():
    lots = {
        "one": [brew_of("a", taster="ann", strength=SHAPES[0])],
        "two": [brew_of("b", taster="ben", strength=SHAPES[1])],
    }
    assert calibrate(lots) == {"ann": TasterScale(), "ben": TasterScale()}


def test_no_lots_no_scales():
    assert calibrate({}) == {}


def test_order_of_lots_and_sessions_changes_nothing():
    lots = team_lots()
    turned = {name: lots[name][::-1] for name in reversed(lots)}
    for name, scale in calibrate(lots).items():
        other = calibrate(turned)[name]
        assert (scale.gain, scale.offset) == pytest.approx((other.gain, other.offset), abs=1e-9)


def test_calibrated_scale_takes_a_generous_taster_back():
    # One session by a taster who gives a fifth and half a point more than the team.
    ratings = 0.5 + 1.2 * np.array(SHAPES[2])
    brew = brew_of("s", taster="ann", strength=ratings)
    known = {"ann": TasterScale(gain=1.2, offset=0.5, gain_sd=0.04, offset_sd=0.12)}
    raw, calibrated = developed([brew]), developed([brew], scales={"strength": known})
    truth = np.array(SHAPES[2])

    def error(found):
        return np.abs(np.array([point.mean for point in found.curves[0].points[: truth.size]]) - truth).max()

    assert error(calibrated) < 0.52
    assert error(raw) > 1.5
    assert [point.adjusted for point in calibrated.tasted] == pytest.approx(truth, abs=0.6)


def test_zeros_do_not_look_like_a_low_offset():
    team = {"ann": (1.0, 0.0), "ben": (1.0, 0.0)}
    lots = team_lots(team=team)
    faded = {
        f"faded {i}": [brew_of(name, taster=name, strength=(5, 3, 1.2, 0, 0, 0, 0, 0)) for name in team]
        for i in range(4)
    }
    found = calibrate(lots | faded)
    assert [found[name].offset for name in team] == pytest.approx([0, 0], abs=0.3)


def test_calibration_leaves_the_brews_as_they_were():
    lots = team_lots(n_sessions=1)
    before = {name: [replace(brew) for brew in lot] for name, lot in lots.items()}
    calibrate(lots)
    assert lots == before
