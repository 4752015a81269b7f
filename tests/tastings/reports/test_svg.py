"""The drawings are well-formed, say in words what they show, and hold every taster and every number."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from tastings.maths.curve.development import CurvePoint
from tastings.maths.curve.tasted import TastedPoint
from tastings.reports.marks import clean, shortened, taster_mark, text_width
from tastings.reports.strength import finish_line_place
from tastings.reports.strips import by_peak, descriptor_strips, sparkline
from tastings.reports.svg import strength_chart
from tests.tastings.reports import sample

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = "<script>alert('1')</script> & \"quoted\" \u202e\u0000\u0008 שלום 茶 🍵 " + "W" * 200


def parsed(drawing):
    return ET.fromstring(drawing)  # noqa: S314 - our own drawing, not a stranger's file


def texts(drawing):
    return ["".join(e.itertext()) for e in parsed(drawing).iter(f"{SVG}text")]


def named_tasters():
    return [replace(one, taster=sample.TASTERS[one.taster]) for one in sample.tasted()]


def with_steeps(**changed):
    figures = sample.figures()
    return replace(figures, steeps=replace(figures.steeps, **changed))


@pytest.mark.parametrize("width", [320, 350, 720, 1200])
def test_every_drawing_is_well_formed_and_named_first(width):
    drawings = (
        strength_chart(sample.figures(), named_tasters(), width=width),
        strength_chart(sample.untasted(), [], width=width),
        descriptor_strips(sample.figures().curves, labels=sample.LABELS, width=width),
        descriptor_strips((), labels={}, width=width),
        sparkline(sample.figures().curves[0].points, width=width),
    )
    for drawing in drawings:
        root = parsed(drawing)
        assert [child.tag for child in root][:2] == [f"{SVG}title", f"{SVG}desc"]
        assert root.get("width") == str(width)


def test_drawings_need_no_style_and_no_script():
    drawing = strength_chart(sample.figures(), named_tasters()) + descriptor_strips(sample.figures().curves, labels={})
    assert re.findall(r"\sstyle=|<style|<script|\son\w+=|href=", drawing) == []


def test_strength_chart_names_every_taster_and_draws_every_rating():
    drawing = strength_chart(sample.figures(), named_tasters())
    assert set(sample.TASTERS.values()) <= set(texts(drawing))
    few = strength_chart(sample.figures(), named_tasters()[:-5])
    marks = re.compile(r'stroke-width="1.6"')
    assert len(marks.findall(drawing)) == len(sample.tasted()) + len(sample.TASTERS)
    assert len(marks.findall(drawing)) - len(marks.findall(few)) == 5


def test_strength_chart_leaves_out_other_descriptors_and_the_rinse():
    one = named_tasters()[0]
    others = [replace(one, descriptor="body"), replace(one, infusion=0)]
    assert strength_chart(sample.figures(), [one, *others]) == strength_chart(sample.figures(), [one])


def test_strength_chart_tells_the_finish_line_and_the_count_with_its_range():
    drawn = texts(strength_chart(sample.figures(), []))
    assert "worth drinking above 2.5" in drawn
    assert "good for 9 (7 to 10)" in drawn


@pytest.mark.parametrize("width", [320, 350, 720])
def test_strength_chart_keeps_the_count_inside_the_paper_and_off_the_axis_name(width):
    figures = with_steeps(recommended=24, low=23, high=24)
    places = {t.text: t for t in parsed(strength_chart(figures, [], width=width)).iter(f"{SVG}text")}
    name, count = places["strength, 0 to 10"], places["good for 24 or more (23 to 24 or more)"]
    assert float(count.get("y")) - float(name.get("y")) >= float(count.get("font-size"))
    half = text_width(count.text, size=14) / 2
    assert half <= float(count.get("x")) <= width - half


def beyond(count, *, high):
    """Return figures whose count is beyond the twelve cups of the curve, and the cups up to its upper end."""
    more = tuple(CurvePoint(n, 3.0, 2.0, 4.0, observed=None, n=0) for n in range(13, high + 1))
    return replace(with_steeps(recommended=count, low=count, high=high), strength_beyond=more)


def numbered_place(drawing, number):
    return next(float(t.get("x")) for t in parsed(drawing).iter(f"{SVG}text") if t.text == str(number))


@pytest.mark.parametrize("width", [350, 720])
def test_strength_chart_marks_a_count_beyond_the_twelfth_cup_at_its_own_number(width):
    drawing = strength_chart(beyond(13, high=16), [], width=width)
    [mark] = {
        float(line.get("x1")) for line in parsed(drawing).iter(f"{SVG}line")
        if line.get("x1") == line.get("x2") and line.get("y1") == "50" and line.get("stroke-width") == "1.5"
    }  # fmt: skip
    assert mark == numbered_place(drawing, 13)
    solid, forecast = (len(line.get("points").split()) for line in parsed(drawing).iter(f"{SVG}polyline"))
    assert (solid, forecast) == (9, 8)  # cups 1 to 9 and 9 to 16
    assert numbered_place(drawing, 16) < width


def test_strength_chart_draws_what_nobody_rated_dashed_and_says_so():
    drawing = strength_chart(sample.figures(), [])
    assert [line.get("stroke-dasharray") for line in parsed(drawing).iter(f"{SVG}polyline")] == [None, "5 4"]
    assert "rated to cup 9, the rest is a forecast" in texts(drawing)
    assert "Rated to cup 9, the rest is a forecast." in parsed(drawing).find(f"{SVG}desc").text
    whole = sample.figures()
    strength, *others = whole.curves
    rated = replace(strength, points=tuple(replace(point, n=3) for point in strength.points))
    drawing = strength_chart(replace(whole, curves=(rated, *others)), [])
    assert [line.get("stroke-dasharray") for line in parsed(drawing).iter(f"{SVG}polyline")] == [None]
    assert not [text for text in texts(drawing) if "forecast" in text]


@pytest.mark.parametrize(
    ("means", "ratings", "count", "left", "is_above"),
    [
        ((7, 5, 3.5, 2, 1, 0.5, 0, 0, 0, 0, 0, 0), [], 3, 8.85, True),  # the curve crosses the line at the start
        ((5, 6, 7, 7, 7, 6, 6, 5, 5, 4, 3, 2), [], 11, 0.65, False),  # and here at the end, where the mark is too
        ((5, 6, 7, 7, 7, 6, 6, 6, 6, 6, 6, 6), [], 11, 0.65, False),  # only the mark is at the end
        ((4, 6, 6, 6, 6, 6, 6, 6, 5, 5, 4, 2), [2.0], 11, 7.35, False),  # a rating in the first cup lies at the start
    ],
)
def test_words_at_the_finish_line_stand_where_no_curve_mark_or_rating_is(means, ratings, count, left, is_above):
    points = [CurvePoint(n, mean, mean, mean, observed=None, n=1) for n, mean in enumerate(means, start=1)]
    tasted = [TastedPoint("s", "Ina", 1, "strength", one, one, brewing=0.0, contact_s=20.0) for one in ratings]
    steeps = replace(sample.figures().steeps, recommended=count)
    place = finish_line_place(points, tasted, steeps=steeps, infusions=12, words_width=3.5)
    assert (round(place.left, 2), place.is_above) == (left, is_above)


def test_strength_chart_moves_its_finish_line_with_the_figures():
    before, after = (
        float(re.search(r'y1="([\d.]+)"[^>]*stroke-dasharray', strength_chart(d, [])).group(1))
        for d in (sample.figures(), with_steeps(finish_line=4.0))
    )
    assert after < before  # a higher line is nearer the top of the paper


def test_strength_chart_of_a_count_at_the_last_infusion_says_or_more():
    assert "good for 24 or more (23 to 24 or more)" in texts(
        strength_chart(with_steeps(recommended=24, low=23, high=24), [])
    )
    assert "good for 24 or more" in texts(strength_chart(with_steeps(recommended=24, low=24, high=24), []))


def test_strength_chart_says_its_numbers_in_words():
    desc = parsed(strength_chart(sample.figures(), [])).find(f"{SVG}desc").text
    strength = sample.figures().curve_of("strength")
    expected = [f"infusion {p.infusion}: {p.mean:.1f} ({p.low:.1f} to {p.high:.1f})" for p in strength]
    assert desc.split(". ")[0].split("; ") == expected


def test_strength_chart_is_the_same_each_time_whatever_the_order_of_the_ratings():
    forth = parsed(strength_chart(sample.figures(), named_tasters()))
    back = parsed(strength_chart(sample.figures(), named_tasters()[::-1]))
    assert sorted(map(ET.tostring, forth)) == sorted(map(ET.tostring, back))
    again = parsed(strength_chart(sample.figures(), named_tasters()))
    assert ET.tostring(again) == ET.tostring(forth)


def test_strength_chart_draws_tastings_beyond_the_even_brew():
    late = TastedPoint("s1", "Late", 15, "strength", rating=3.0, adjusted=3.0, brewing=0.0, contact_s=20.0)
    assert "15" in texts(strength_chart(sample.figures(), [late]))


def test_strength_chart_without_curve_says_what_is_missing():
    assert "no curve yet: rate the strength of each cup" in texts(strength_chart(sample.untasted(), []))


@pytest.mark.parametrize("width", [350, 720])
def test_drawings_of_hostile_text_stay_well_formed_and_inside_the_paper(width):
    hostile = [replace(one, taster=HOSTILE + one.taster) for one in sample.tasted()]
    labels = dict.fromkeys(sample.LABELS, HOSTILE)
    for drawing in (
        strength_chart(sample.figures(), hostile, width=width),
        descriptor_strips(sample.figures().curves, labels=labels, width=width),
    ):
        parsed(drawing)
        assert "<script" not in drawing
        assert all(text_width(t, size=13) < width for t in texts(drawing))


def test_by_peak_sorts_by_the_infusion_of_the_highest_mean():
    rows = by_peak(sample.figures().curves)
    peaks = [row.peak for row in rows]
    assert peaks == sorted(peaks)
    assert [max(row.points, key=lambda p: p.mean).infusion for row in rows] == peaks
    assert (rows[0].descriptor, rows[-1].descriptor) == ("roast", "sweetness")


def test_descriptor_strips_print_every_mean_with_one_decimal():
    drawn = texts(descriptor_strips(sample.figures().curves, labels=sample.LABELS))
    printed = sorted(t for t in drawn if re.fullmatch(r"\d+\.\d", t))
    assert printed == sorted(f"{p.mean:.1f}" for c in sample.figures().curves for p in c.points)


def test_descriptor_strips_write_labels_or_readable_keys():
    curve = replace(sample.figures().curves[0], descriptor="returning_sweetness")
    assert "Returning sweetness" in texts(descriptor_strips([curve], labels={}))
    assert "Hui gan" in texts(descriptor_strips([curve], labels={"returning_sweetness": "Hui gan"}))


def test_sparkline_needs_two_points():
    points = sample.figures().curves[0].points
    assert (sparkline([]), sparkline(points[:1])) == ("", "")
    assert parsed(sparkline(points)).find(f"{SVG}title").text == "Strength from 6.3 in cup 1 to 0.9 in cup 12"


def test_the_first_eighty_taster_marks_differ():
    assert len({taster_mark(i, x=0.0, y=0.0) for i in range(80)}) == 80


def test_clean_keeps_what_xml_can_hold():
    assert clean("a\u0000b\ud800c\ufffed\n茶") == "abcd\n茶"


def test_shortened_text_fits_and_short_text_is_left_alone():
    assert shortened("Oolong", size=13, room=100) == "Oolong"
    cut = shortened("茶" * 50, size=13, room=100)
    assert cut.endswith("…")
    assert text_width(cut, size=13) <= 100
