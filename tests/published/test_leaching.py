"""How tea leaf gives up what it holds, against published figures.

Sources: Hicks, Hsieh and Bell 1996, Food Research International 29:325-330 (three 5-minute boiling steeps, caffeine in
% of the sum); Jaganyi and Price 1999, Food Chemistry 64:27-31 (k80 = 0.99 /min, Ea = 40.3 kJ/mol); Zhang et al. 2020,
Scientific Reports 10:945 (14 infusions of rock oolong, 70 % of the caffeine in the first three, 4 to 10 infusions
suitable); Chinese handbooks for the shares of solids and amino acids; Lakenbrink et al. 2000, J Agric Food Chem
48:2848-2852.
"""

import numpy as np
import pytest

from tastings.maths.brewing.extraction import extracted_shares
from tastings.maths.brewing.heat import Steeping, arrhenius_factor
from tastings.maths.curve.steep_count import count_worthwhile
from tests.maths.brewed import brew_of, developed

NO_LAG_S = 1e-3


def boiling(*contacts_s):
    contact = np.array(contacts_s, dtype=np.float64)
    even = np.ones(contact.size)
    return Steeping(contact_s=contact, start_c=100 * even, end_c=100 * even, rate=even, ratio=even)


def percent(steeping, *, k_per_min, tau_s=NO_LAG_S):
    return 100 * extracted_shares(steeping, k_per_min=np.array([k_per_min]), tau_s=np.array([tau_s]))[0, 0]


@pytest.mark.parametrize(
    ("k_per_min", "published", "tolerance"),
    [
        (0.218, (69, 23, 8), 0.5),  # mean of all caffeinated teas
        (0.198, (66.3, 25.6, 8.1), 1.5),  # oolong 1 (second-hand)
        (0.238, (71.7, 22.4, 5.9), 1.5),  # oolong 2 (second-hand)
    ],
)
def test_three_long_steeps_share_caffeine_as_hicks_measured(k_per_min, published, tolerance):
    found = percent(boiling(300, 300, 300), k_per_min=k_per_min)
    assert 100 * found / found.sum() == pytest.approx(published, abs=tolerance)


def test_rate_against_temperature_follows_jaganyi_and_price():
    celsius = np.array([60.0, 70.0, 80.0, 90.0, 100.0])
    k = 0.99 * arrhenius_factor(celsius, ea_kj_mol=40.3) / arrhenius_factor(80.0, ea_kj_mol=40.3)
    assert k == pytest.approx([0.434, 0.664, 0.990, 1.445, 2.066], rel=0.01)


@pytest.mark.parametrize(
    ("k_per_min", "delay_s", "published"),
    [
        (0.2, 0, (6.4, 6.0, 5.6, 5.3)),
        (0.2, 15, (1.7, 6.3, 5.9, 5.6)),
        (0.5, 0, (15.4, 13.0, 11.0, 9.3)),
        (0.5, 15, (4.1, 14.7, 12.5, 10.6)),
        (1.0, 17, (4.9, 27.0, 19.3, 13.8)),
    ],
)
def test_twenty_second_pours_deplete_as_derived_for_a_plain_delay(k_per_min, delay_s, published):
    # Derived table for first-order leaching with a delay on the dry leaf only; 15-17 s was measured on one leaf.
    found = percent(boiling(20 - delay_s, 20, 20, 20), k_per_min=k_per_min)
    assert found == pytest.approx(published, abs=0.06)


@pytest.mark.parametrize("k_per_min", [0.1, 0.2, 0.5, 1.0, 2.0])
def test_wetting_alone_moves_the_peak_off_the_first_pour(k_per_min):
    pours = boiling(*[20] * 8)
    assert percent(pours, k_per_min=k_per_min).argmax() == 0
    assert percent(pours, k_per_min=k_per_min, tau_s=17.0).argmax() >= 1


@pytest.mark.parametrize("k_per_min", [0.5, 1.0, 2.0])
def test_wetting_peaks_at_the_second_pour_for_usual_leaf(k_per_min):
    assert percent(boiling(*[20] * 8), k_per_min=k_per_min, tau_s=15.0).argmax() == 1


def test_a_longer_wetting_lag_peaks_later():
    peaks = [int(percent(boiling(*[20] * 12), k_per_min=0.3, tau_s=tau).argmax()) for tau in (1.0, 20.0, 60.0, 150.0)]
    assert peaks == sorted(peaks)
    assert peaks[-1] > peaks[0]


@pytest.mark.parametrize(
    ("first", "later"),
    [
        (80, (15, 5)),  # amino acids and vitamin C: "about 80", "about 15"
        (52.5, (30, 10)),  # all that dissolves: 50-55, about 30, about 10
    ],
)
def test_handbook_shares_are_near_one_pool(first, later):
    k_per_min = -np.log(1 - first / 100) / 5
    assert percent(boiling(300, 300, 300), k_per_min=k_per_min)[1:] == pytest.approx(later, abs=5.5)


def test_faster_solutes_are_ahead_in_the_first_cup_and_behind_at_the_end():
    # Amino acids > caffeine > all solids in infusion 1 (handbooks, Hicks); caffeine > phenolics early (Lakenbrink).
    k = [-np.log(1 - share) / 5 for share in (0.80, 0.69, 0.525)]
    found = np.array([percent(boiling(300, 300, 300, 300), k_per_min=one) for one in k])
    assert list(found[:, 0]) == sorted(found[:, 0], reverse=True)
    assert list(found[:, 3]) == sorted(found[:, 3])


def test_zhang_constant_share_gives_70_percent_in_three_of_fourteen():
    found = percent(boiling(*[60] * 14), k_per_min=-np.log(1 - 0.3286))
    assert 100 * found[:3].sum() / found.sum() == pytest.approx(70, abs=0.1)
    assert 100 * found[:5] / found.sum() == pytest.approx([33.0, 22.1, 14.9, 10.0, 6.7], abs=0.1)


def test_best_rock_oolong_is_worth_ten_infusions_and_a_thin_one_none():
    # The best sample kept a score of 80 % for ten infusions; one that never reaches the line gets 0, not a clamp.
    best = np.concatenate([np.linspace(9.5, 8.1, 10), [7.8, 7.4]])[None, :]
    assert count_worthwhile(best, finish_line=8.0).recommended == 10
    assert count_worthwhile(np.full((1, 12), 7.9), finish_line=8.0).recommended == 0


@pytest.mark.parametrize("k_per_min", [0.6, 0.9, 1.2])
def test_a_fading_lot_is_worth_four_to_ten_infusions(k_per_min):
    # Constructed: first-order fading at rates around the 70 % in three that Zhang found; counts ran from 4 to 10.
    truth = percent(boiling(10, *[20] * 12), k_per_min=k_per_min, tau_s=10.0)[1:]
    strength = np.clip(7.5 * (truth / truth.max()) ** 0.7, 0, 10)
    brews = [brew_of(f"s{i}", taster=f"t{i}", strength=strength) for i in range(3)]
    assert 4 <= developed(brews).steeps.recommended <= 10
