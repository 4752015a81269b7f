"""The page shows what the record says, whatever is written in its fields, and says so when nothing is known."""

import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser

from django.template.loader import render_to_string

from pages.reports import render_around, render_article
from tastings.figures import from_stored
from tastings.maths.curve.development import Evidence, LackOfFitAt
from tastings.maths.curve.evidence import LeftOut
from tastings.maths.curve.layers import Layer
from tastings.queries.reports import LotFacts
from tastings.reports.facts import cup_row, evidence_sentence, provenance
from tastings.reports.page import STRIPS_TOGETHER, report_page
from tastings.wording.cautions import caffeine_in_leaf, hot_drink, scalding
from tests.tastings.reports import sample

HOSTILE = "<script>alert('1')</script><img src=x onerror=alert(2)> & \"'\u202e שלום 🍵 " + "W" * 300


class Outline(HTMLParser):
    """Notes the tags, the attributes and the text of a page."""

    VOID = {"meta", "link", "input", "br", "img"}

    def __init__(self, page):
        super().__init__()
        self.tags, self.attributes, self.open, self.unbalanced, self.text = [], [], [], [], ""
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, *a) for a in attrs]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.unbalanced.append(tag)

    def handle_data(self, data):
        self.text += data


def page_of(**changed):
    """Return the page of the sample report with some of it changed, as a browser gets it."""
    content = sample.report(**changed)
    return render_around(render_article(content), name=content.lot.name)


def words_of(page):
    return " ".join(Outline(page).text.split())


def test_report_is_balanced_and_needs_no_script_and_no_inline_style():
    outline = Outline(page_of())
    assert (outline.open, outline.unbalanced) == ([], [])
    assert {"script", "style", "iframe", "object"} & set(outline.tags) == set()
    assert [a for a in outline.attributes if a[1] == "style" or a[1].startswith("on")] == []


def test_report_has_language_skip_link_title_and_one_first_heading():
    page = page_of()
    outline = Outline(page)
    assert ("html", "lang", "en") in outline.attributes
    assert ("a", "href", "#content") in outline.attributes
    assert ("main", "id", "content") in outline.attributes
    assert outline.tags.count("h1") == 1
    assert "<title>Mist Terrace Rock Oolong (invented) \u2013 Leafspan</title>" in page


def test_report_tables_have_headers_with_a_scope():
    page = page_of()
    assert [th for th in re.findall(r"<th[ >][^>]*", page) if "scope=" not in th] == []


def test_report_numbers_equal_the_record():
    cups = report_page(sample.report()).facts.cups
    assert [(cup.infusion, cup.mean, cup.span, cup.observed, cup.n) for cup in cups] == [
        (
            p.infusion,
            f"{p.mean:.1f}",
            f"{p.low:.1f} to {p.high:.1f}",
            "none" if p.observed is None else f"{p.observed:.1f}",
            p.n,
        )
        for p in sample.figures().curve_of("strength")
    ]
    page = page_of()
    for cup in cups:
        cells = "".join(f"<td>{cell}</td>" for cell in (cup.mean, cup.span, cup.observed, cup.n))
        row = f'<th scope="row">{cup.infusion}</th>{cells}'
        assert row in page


def test_report_tells_the_steep_count_the_chances_and_the_evidence():
    written = words_of(page_of())
    assert "Builds up 9 infusions (7 to 10)" in written
    assert "Builds up87 %Stays steady12 %Fades quickly1 %" in written
    assert "This rests on 6 sessions, 52 infusions, 3 tasters and 2 shops" in written
    assert "of the sessions, 2 went on until the leaf was spent and 4 stopped before." in written


def test_report_stands_in_the_order_of_the_counter():
    page = page_of()
    headings = [unescape(re.sub("<[^>]+>", "", h)) for h in re.findall(r"<h[12][^>]*>(.*?)</h[12]>", page)]
    assert headings == [
        "Mist Terrace Rock Oolong (invented)",
        "Builds up",
        "Strength, cup by cup",
        "What changes from cup to cup",
        "Take care",
    ]
    folded = [unescape(summary) for summary in re.findall(r"<summary>(.*?)</summary>", page)]
    assert folded == ["Everything rated, cup by cup", "How sure is this?"]


def test_report_shows_every_session_correction_and_what_was_left_out():
    written = words_of(page_of())
    for session, day in zip(sample.sessions(), (3, 7, 11, 15, 19, 23), strict=True):
        assert f"{day} February 2026, {sample.TASTERS[session.taster]}, {session.shop}" in written
    assert "15 February 2026, Ina Example, infusion 5, longer steep: a contact of 45 s" in written
    assert "19 February 2026, Bo Sample, infusion 4: the leaf was not steeped" in written
    assert "7 February 2026, Bo Sample: no infusion was rated" in written
    assert "infusion 5 averages 7.4 points of strength in 6 ratings; on the even brew it would be about 6.9." in written


def test_layers_are_a_table_in_which_the_first_cup_has_nothing_new():
    layers = (Layer(1, ("roast",), ("roast",), (), 1.5), Layer(2, ("aroma",), ("aroma", "orchid"), ("roast",), 2.25))
    written = words_of(page_of(development=sample.development(sample.figures(layers=layers))))
    assert "1 Roast \u2013 2 Aroma new: Aroma, Orchid; gone: Roast" in written
    assert "CupFlavours at once 11.522.2" in written
    none = (Layer(1, (), (), (), 0.0), Layer(2, (), (), (), 0.0))
    written = words_of(page_of(development=sample.development(sample.figures(layers=none))))
    assert "What leads each cup" not in written
    assert "No flavour stands out in any cup." in written


def test_liking_is_shown_only_beside_a_rated_strength():
    whole = sample.figures()
    unrated = tuple(one for one in whole.curves if one.descriptor != "strength")
    shown, hidden = (
        report_page(sample.report(development=sample.development(one))).strips[0].wide
        for one in (whole, sample.figures(curves=unrated))
    )
    assert ("Liking" in shown, "Liking" in hidden, "Body" in hidden) == (True, False, True)


def test_report_leads_to_its_other_forms():
    content = sample.report()
    outline = Outline(render_article(content, downloads={"PDF": "/lots/a/report.pdf", "Picture": "/lots/a/report.png"}))
    links = [value for tag, name, value in outline.attributes if (tag, name) == ("a", "href")]
    assert links[-2:] == ["/lots/a/report.pdf", "/lots/a/report.png"]


def test_report_next_and_cautions_are_always_there():
    written = words_of(page_of())
    assert (
        "One more session: Pour further: strength is rated up to infusion 9 only, "
        "and the last one worth drinking may be infusion 10 (80 % interval 7 to 10)."
    ) in written
    assert all(caution in written for caution in (scalding(), hot_drink(), caffeine_in_leaf("")))
    for development in (sample.empty(), sample.development(sample.figures(leaf_range_g=None))):
        without = words_of(page_of(development=development))
        assert all(caution in without for caution in (scalding(), hot_drink()))
        assert "mg of caffeine" not in without
    unlike = sample.figures(lack_of_fit=(LackOfFitAt("body", 4),))
    assert (
        "The curve of body is a smooth of the adjusted ratings: they do not follow the extraction model, "
        "least of all at infusion 4."
    ) in words_of(page_of(development=sample.development(unlike)))


def test_report_keeps_price_and_supplier_from_guests():
    lot = from_stored(LotFacts, {**sample.LOT_FIELDS, "supplier": "Secret Source"})
    page = page_of(lot=lot)
    assert "180" not in words_of(page)
    assert "Secret Source" not in page


def test_report_says_when_it_is_stale_and_only_then():
    stale = page_of(development=sample.development(stale=True))
    assert "Newer notes on this lot are being worked in; the figures below are of 4 March 2026." in words_of(stale)
    assert "Newer notes" not in page_of()


def test_report_of_a_lot_nobody_tasted_says_what_to_do():
    written = words_of(page_of(development=sample.empty(), tasters={}, sessions=()))
    assert "We cannot tell yet how this tea develops or how many infusions it is worth." in written
    assert "choose Start tasting for this lot" in written
    assert "Taste a first session, rating the strength of every infusion." in written
    assert "80 % interval" not in written


def test_report_undecided_claims_no_profile():
    written = words_of(page_of(development=sample.undecided()))
    assert (
        "We cannot tell yet how this tea develops (builds up 47 %, stays steady 31 %, fades quickly 12 % and fades"
        " slowly 10 %)." in written
    )
    assert "We are" not in written


def test_report_of_sessions_without_a_strength_rating_shows_no_curve():
    figures = replace(sample.untasted(), evidence=replace(sample.figures().evidence, sessions=1))
    written = words_of(page_of(development=sample.development(figures)))
    assert "There is no curve yet" in written
    assert "We cannot tell yet how many infusions this tea is worth." in written
    assert "How likely each course is" not in written  # all three are equally likely while nothing tells them apart


def test_report_of_hostile_text_escapes_all_of_it():
    whole = sample.figures()
    figures = replace(
        whole,
        evidence=replace(
            whole.evidence,
            left_out=(LeftOut("s2", None, "outlier", descriptor=HOSTILE), LeftOut(HOSTILE, 4, "not_steeped")),
        ),
        departures=tuple(replace(one, kind=HOSTILE, session=HOSTILE) for one in whole.departures),
        layers=(replace(whole.layers[0], leading=(HOSTILE,), new=(HOSTILE,), gone=(HOSTILE,)), *whole.layers[1:]),
        curves=(*(replace(one, descriptor=HOSTILE + one.descriptor) for one in whole.curves), *whole.curves),
        counterfactual=replace(whole.counterfactual, descriptor=HOSTILE),
        lack_of_fit=(LackOfFitAt(HOSTILE, 3),),
        tasted=tuple(replace(one, session=HOSTILE) for one in whole.tasted),
    )
    text = {key: HOSTILE if isinstance(value, str) else value for key, value in sample.LOT_FIELDS.items()}
    content = sample.report(
        lot=from_stored(LotFacts, text),
        development=sample.development(figures),
        tasters={key: HOSTILE + key for key in sample.TASTERS},
        sessions=tuple(
            replace(one, shop=HOSTILE, vessel_material=HOSTILE, href=f'"{HOSTILE}') for one in sample.sessions()
        ),
        labels=dict.fromkeys(sample.LABELS, HOSTILE),
    )
    outline = Outline(
        render_around(
            render_article(content, downloads={HOSTILE: HOSTILE}, actions={HOSTILE: HOSTILE}), name=content.lot.name
        )
    )
    assert (outline.open, outline.unbalanced) == ([], [])
    assert {"script", "img"} & set(outline.tags) == set()
    assert [a for a in outline.attributes if a[1].startswith("on")] == []
    assert outline.text.count("<script>alert('1')</script>") > 20


def test_report_keeps_tasters_of_one_name_apart():
    page = report_page(sample.report(tasters={"t1": "Sam", "t2": "Sam", "t3": "Kim"}))
    assert {one.taster for one in page.facts.sessions} == {"Sam (1)", "Sam (2)", "Kim"}
    assert "Sam (1)" in page.chart.wide
    assert "Sam (2)" in page.chart.narrow


def test_report_splits_many_ratings_evenly_over_drawings_that_fit_a_page():
    curve = sample.figures().curves[0]
    curves = tuple(replace(curve, descriptor=f"d{i:02d}") for i in range(STRIPS_TOGETHER + 1))
    content = sample.report(development=sample.development(sample.figures(curves=curves)))
    strips = report_page(content).strips
    assert [strip.wide.count("<g>") for strip in strips] == [6, 7]


def test_sign_in_page_labels_its_fields_and_tells_what_is_wrong():
    from django import forms  # noqa: PLC0415 - only this test needs a form

    class SignIn(forms.Form):
        username = forms.CharField()
        password = forms.CharField()

    outline = Outline(render_to_string("pages/sign_in.html", {"form": SignIn({"username": HOSTILE}), "next": "/lots/"}))
    assert (outline.open, outline.unbalanced) == ([], [])
    assert {("label", "for", "id_username"), ("label", "for", "id_password")} <= set(outline.attributes)
    assert ("input", "value", HOSTILE) in outline.attributes
    assert ("input", "value", "/lots/") in outline.attributes
    assert ("input", "aria-describedby", "password-errors") in outline.attributes
    assert "This field is required." in outline.text


def test_facts_of_a_bare_lot_and_of_odd_values():
    assert provenance(LotFacts(name="Bare")) == []
    assert provenance(LotFacts(kind="oolong", elevation_low_m=900, elevation_high_m=900, roast="none")) == [
        "Oolong",
        "900 m",
        "unroasted",
    ]
    none = sample.untasted()
    assert evidence_sentence(none) == "No session behind it yet."
    one = Evidence(sessions=1, infusions=5, tasters=1, shops=0, left_out=())
    assert evidence_sentence(replace(none, evidence=one)) == "This rests on 1 session, 5 infusions and 1 taster."
    point = replace(sample.figures().curve_of("strength")[0], observed=None, n=0)
    assert (cup_row(point).observed, cup_row(point).n) == ("none", 0)
