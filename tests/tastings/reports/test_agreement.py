"""How the tasters agree: on this lot by the distance from the curve, over several lots by the panel's figures."""

from dataclasses import replace

from tastings.maths.curve.development import CurvePoint
from tastings.maths.curve.tasted import TastedPoint
from tastings.maths.panel.panel import PanelAgreement
from tastings.reports.agreement import agreement_section

PANEL = PanelAgreement(tasters=("a", "b", "c"), lots=10, single=0.779, mean=0.973, w=0.906)


def point(infusion, mean):
    return CurvePoint(infusion, mean, low=mean - 1, high=mean + 1, observed=None, n=0)


def rating(taster, infusion, adjusted, descriptor="strength"):
    return TastedPoint("s1", taster, infusion, descriptor, rating=9.0, adjusted=adjusted, brewing=0.0, contact_s=20.0)


def test_agreement_tells_the_distance_from_the_curve_and_each_taster():
    tasted = [
        *(rating(*one) for one in (("a", 1, 5.5), ("a", 2, 6.5), ("b", 1, 4.0), ("b", 2, 6.0), ("b", 9, 1.0))),
        rating("a", 1, 0.0, "body"),
    ]
    text = agreement_section(tasted, [point(1, 5.0), point(2, 6.0)], people={"a": "Ina", "b": "Bo"}, panel=PANEL)
    away = "points from the curve on average"
    of_one_and_all = "0.78 in one taster's rating and 0.97 in the mean of all (intraclass correlation, 0 to 1)"
    share = "the share of the differences in strength that comes from the teas is"
    assert text == [
        f"On this lot, 4 strength ratings of 2 tasters, allowing for how they brewed, lie 0.5 {away}.",
        "On average above or below it: Bo \u22120.5 and Ina +0.5 points.",
        f"Over 10 lots that 3 tasters all rated, {share} {of_one_and_all}.",
        "How alike they order the lots: 0.91 (Kendall's W, 0 to 1).",
    ]


def test_agreement_over_lots_is_open_until_several_are_rated_by_all():
    panel = replace(PANEL, single=None, mean=None, w=None)
    text = agreement_section([rating("a", 1, 5.0)], [point(1, 5.0)], people={}, panel=panel)
    assert text[-1].startswith("How the tasters agree over several lots is not known yet")
    assert len(text) == 2  # one taster is neither above nor below the others
    assert agreement_section([], [], people={}, panel=None) == []
    assert agreement_section([], [], people={}, panel=panel) == []


def test_order_of_the_lots_is_told_only_where_it_is_known():
    text = agreement_section([], [], people={}, panel=replace(PANEL, w=None))
    assert [one.partition(",")[0] for one in text] == ["Over 10 lots that 3 tasters all rated"]
