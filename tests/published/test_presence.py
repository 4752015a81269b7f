"""Agreement about words noted or not, against Fleiss 1971, Psychological Bulletin 76:378-382.

Table 1 of the paper: 30 patients, each put into one of five categories by six psychiatrists (counts from memory, high:
their totals are the printed 26, 26, 30, 55, 43). Kappa over all categories is .430; of each category against all
others, which is presence and absence, .245, .245, .520, .471, .566.
"""

import numpy as np
import pytest

from tastings.maths.panel.agreement import AgreementError
from tastings.maths.panel.presence import WordCount, fleiss_kappa, noted_words

TABLE = """
00060 03003 01401 00006 03030 20400 00402 20310 20040 00006 10050 11040 03300 10050 02031 00501 30012 51000 02040 10203
00006 01050 02013 20040 10041 05010 40002 02040 10500 00006
"""
COUNTS = np.array([[int(digit) for digit in row] for row in TABLE.split()], dtype=float)


def test_totals_are_those_printed():
    assert COUNTS.sum(axis=0).tolist() == [26, 26, 30, 55, 43]


def test_kappa_of_all_categories():
    assert fleiss_kappa(COUNTS) == pytest.approx(0.430, abs=5e-4)


@pytest.mark.parametrize(("category", "kappa"), list(enumerate((0.245, 0.245, 0.520, 0.471, 0.566))))
def test_kappa_of_one_category_present_or_absent(category, kappa):
    present = COUNTS[:, category]
    assert fleiss_kappa(np.column_stack([present, 6 - present])) == pytest.approx(kappa, abs=1e-3)


def test_words_are_counted_by_taster_and_by_session():
    noted = {"a": [{"warming"}, {"warming", "calm"}], "b": [{"warming"}], "c": [set()]}
    found = noted_words(noted, vocabulary=("warming", "calm", "alert"))
    assert (found.tasters, found.sessions) == (3, 4)
    assert found.words == (WordCount("warming", 2, 3), WordCount("calm", 1, 1))
    assert found.kappa == fleiss_kappa(np.array([[0.0, 3.0], [1.0, 2.0], [2.0, 1.0]]))


@pytest.mark.parametrize("noted", [{}, {"a": [{"warming"}]}, {"a": [set()], "b": [set()]}])
def test_one_taster_or_no_word_is_no_agreement(noted):
    assert noted_words(noted, vocabulary=("calm",)).kappa is None


def test_tasters_who_noted_by_chance_agree_by_chance():
    rng = np.random.default_rng(5)
    words = [f"word {i}" for i in range(400)]
    noted = {f"t{i}": [{word for word in words if rng.random() < 0.3}] for i in range(5)}
    assert noted_words(noted, vocabulary=words).kappa == pytest.approx(0.0, abs=0.05)


def test_unequal_numbers_of_raters_are_refused():
    with pytest.raises(AgreementError):
        fleiss_kappa(np.array([[2.0, 0.0], [1.0, 2.0]]))
