"""CIEDE2000 against its published test pairs, sRGB and Bradford against published values."""

import numpy as np
import pytest

from tastings.maths.colour.cielab import D50, D65, adaptation, ciede2000, lab_of, linear, xyz_of

# Sharma G., Wu W., Dalal E.N. 2005, "The CIEDE2000 color-difference formula: implementation notes, supplementary test
# data, and mathematical observations", Color Res Appl 30:21-30, doi 10.1002/col.20070, table 1: all 34 pairs with the
# difference to four decimals (written down from memory; 18 of them also from a second note of the table).
PAIRS = """
50.0000 2.6772 -79.7751 50.0000 0.0000 -82.7485 2.0425
50.0000 3.1571 -77.2803 50.0000 0.0000 -82.7485 2.8615
50.0000 2.8361 -74.0200 50.0000 0.0000 -82.7485 3.4412
50.0000 -1.3802 -84.2814 50.0000 0.0000 -82.7485 1.0000
50.0000 -1.1848 -84.8006 50.0000 0.0000 -82.7485 1.0000
50.0000 -0.9009 -85.5211 50.0000 0.0000 -82.7485 1.0000
50.0000 0.0000 0.0000 50.0000 -1.0000 2.0000 2.3669
50.0000 -1.0000 2.0000 50.0000 0.0000 0.0000 2.3669
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0009 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0010 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0011 7.2195
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0012 7.2195
50.0000 -0.0010 2.4900 50.0000 0.0009 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0010 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0011 -2.4900 4.7461
50.0000 2.5000 0.0000 50.0000 0.0000 -2.5000 4.3065
50.0000 2.5000 0.0000 73.0000 25.0000 -18.0000 27.1492
50.0000 2.5000 0.0000 61.0000 -5.0000 29.0000 22.8977
50.0000 2.5000 0.0000 56.0000 -27.0000 -3.0000 31.9030
50.0000 2.5000 0.0000 58.0000 24.0000 15.0000 19.4535
50.0000 2.5000 0.0000 50.0000 3.1736 0.5854 1.0000
50.0000 2.5000 0.0000 50.0000 3.2972 0.0000 1.0000
50.0000 2.5000 0.0000 50.0000 1.8634 0.5757 1.0000
50.0000 2.5000 0.0000 50.0000 3.2592 0.3350 1.0000
60.2574 -34.0099 36.2677 60.4626 -34.1751 39.4387 1.2644
63.0109 -31.0961 -5.8663 62.8187 -29.7946 -4.0864 1.2630
61.2901 3.7196 -5.3901 61.4292 2.2480 -4.9620 1.8731
35.0831 -44.1164 3.7933 35.0232 -40.0716 1.5901 1.8645
22.7233 20.0904 -46.6940 23.0331 14.9730 -42.5619 2.0373
36.4612 47.8580 18.3852 36.2715 50.5065 21.2231 1.4146
90.8027 -2.0831 1.4410 91.1528 -1.6435 0.0447 1.4441
90.9257 -0.5406 -0.9208 88.6381 -0.8985 -0.7239 1.5381
6.7747 -0.2908 -2.4247 5.8714 -0.0985 -2.2286 0.6377
2.0776 0.0795 -1.1350 0.9033 -0.0636 -0.5514 0.9082
"""
TABLE = np.array([[float(number) for number in line.split()] for line in PAIRS.split("\n") if line])


def test_all_34_pairs_are_there():
    assert TABLE.shape == (34, 7)


@pytest.mark.parametrize("row", TABLE, ids=range(1, 35))
def test_difference_is_as_published_in_both_directions(row):
    there, back = ciede2000(row[:3], row[3:6]), ciede2000(row[3:6], row[:3])
    assert [round(float(there), 4), round(float(back), 4)] == [row[6], row[6]]


def test_many_at_once_are_as_one_by_one():
    assert np.array_equal(ciede2000(TABLE[:, :3], TABLE[:, 3:6]), [ciede2000(row[:3], row[3:6]) for row in TABLE])


# sRGB after IEC 61966-2-1 to CIELAB under D65, 2 degree observer: figures of colour-science 0.4.7, whose matrix is
# rounded to four decimals (textbooks print 53.24, 80.09, 67.20 for red); hence the tolerance of 0.05.
@pytest.mark.parametrize(
    ("rgb", "lab"),
    [
        ((255, 255, 255), (100, 0, 0)),
        ((255, 0, 0), (53.23, 80.11, 67.22)),
        ((0, 255, 0), (87.74, -86.18, 83.19)),
        ((0, 0, 255), (32.30, 79.20, -107.85)),
        ((255, 255, 0), (97.14, -21.55, 94.49)),
        ((128, 128, 128), (53.585, 0, 0)),
        ((199, 120, 40), (57.78, 24.88, 53.92)),
        ((181, 83, 28), (47.10, 36.68, 48.21)),
    ],
)
def test_srgb_to_lab_is_as_computed_elsewhere(rgb, lab):
    assert lab_of(xyz_of(linear(np.array(rgb) / 255))) == pytest.approx(lab, abs=0.05)


def test_bradford_from_d65_to_d50_is_the_published_matrix():
    # Bruce Lindbloom, "Chromatic Adaptation", Bradford, D65 to D50 (from memory)
    published = [
        [1.0478112, 0.0228866, -0.0501270],
        [0.0295424, 0.9904844, -0.0170491],
        [-0.0092345, 0.0150436, 0.7521316],
    ]
    assert adaptation(seen=D65, target=D50) == pytest.approx(np.array(published), abs=2e-6)


def test_red_under_d50_is_as_published():
    # sRGB red in the D50 connection space, as textbooks and image editors print it: 54.29, 80.81, 69.89 (from memory)
    under_d50 = xyz_of(np.array([1.0, 0.0, 0.0])) @ adaptation(seen=D65, target=D50).T
    assert lab_of(under_d50, white=D50) == pytest.approx([54.29, 80.81, 69.89], abs=0.02)
