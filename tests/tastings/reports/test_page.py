"""The page shows what the record says, whatever is written in its fields, and says so when nothing is known."""

import re
from datetime import UTC, datetime
from html import unescape
from html.parser import HTMLParser

from django.template.loader import render_to_string

from tastings.reports.facts import day_of, evidence_sentence, provenance
from tastings.reports.page import (
    STANDING_CAUTIONS,
    STRIPS_TOGETHER,
    render_report,
    report_context,
)
from tastings.reports.words import figure
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


def words_of(page):
    return " ".join(Outline(page).text.split())


def test_report_is_balanced_and_needs_no_script_and_no_inline_style():
    outline = Outline(render_report(**sample.report()))
    assert (outline.open, outline.unbalanced) == ([], [])
    assert {"script", "style", "iframe", "object"} & set(outline.tags) == set()
    assert [a for a in outline.attributes if a[1] == "style" or a[1].startswith("on")] == []


def test_report_has_language_skip_link_title_and_one_first_heading():
    page = render_report(**sample.report())
    outline = Outline(page)
    assert ("html", "lang", "en") in outline.attributes
    assert ("a", "href", "#content") in outline.attributes
    assert ("main", "id", "content") in outline.attributes
    assert outline.tags.count("h1") == 1
    assert "<title>Mist Terrace Rock Oolong (invented) \u2013 Leafspan</title>" in page


def test_report_tables_have_headers_with_a_scope():
    page = render_report(**sample.report())
    assert [th for th in re.findall(r"<th[ >][^>]*", page) if "scope=" not in th] == []


def test_report_numbers_equal_the_record():
    record = sample.development()
    context = report_context(**sample.report())
    strength = next(c["points"] for c in record["curves"] if c["descriptor"] == "strength")
    assert context["cups"] == [
        {
            "infusion": p["infusion"],
            "mean": f"{p['mean']:.1f}",
            "span": f"{p['low']:.1f} to {p['high']:.1f}",
            "observed": "none" if p["observed"] is None else f"{p['observed']:.1f}",
            "n": p["n"],
        }
        for p in strength
    ]
    page = render_report(**sample.report())
    for cup in context["cups"]:
        cells = "".join(f"<td>{cup[name]}</td>" for name in ("mean", "span", "observed", "n"))
        row = f'<th scope="row">{cup["infusion"]}</th>{cells}'
        assert row in page


def test_report_tells_the_steep_count_the_chances_and_the_evidence():
    said = words_of(render_report(**sample.report()))
    assert "9 80 % interval: 7 to 10" in said
    assert "Builds up87 %Stays steady12 %Fades quickly1 %" in said
    assert "This rests on 6 sessions, 52 infusions, 3 tasters and 2 shops" in said
    assert "of the sessions, 2 went on until the leaf was spent and 4 stopped before." in said


def test_report_stands_in_the_order_of_the_counter():
    page = render_report(**sample.report())
    headings = [unescape(re.sub("<[^>]+>", "", h)) for h in re.findall(r"<h[12][^>]*>(.*?)</h[12]>", page)]
    assert headings == [
        "Mist Terrace Rock Oolong (invented)",
        "Strength, cup by cup",
        "How many steeps",
        "Everything rated, cup by cup",
        "What changes from cup to cup",
        "What was corrected, and why",
        "How the tasters agree",
        "How sure this is",
        "Sessions behind it",
        "Take care",
    ]


def test_report_shows_every_session_correction_and_what_was_left_out():
    said = words_of(render_report(**sample.report()))
    for session in sample.sessions():
        assert f"{day_of(session['started_at'])}, {sample.TASTERS[session['taster']]}, {session['shop']}" in said
    assert "15 February 2026, Ina Example, infusion 5, longer steep: 45 s of contact" in said
    assert "19 February 2026, Bo Sample, infusion 4: no steep time" in said


def test_report_next_and_cautions_are_always_there():
    record = sample.development()
    said = words_of(render_report(**sample.report()))
    assert record["next"] in said
    assert all(caution in said for caution in record["cautions"])
    without = words_of(render_report(**sample.report(development={**record, "cautions": []})))
    assert all(caution in without for caution in STANDING_CAUTIONS)
    coded = {**record, "cautions": [{"code": "scald", "detail": "Mind the kettle."}]}
    assert "Mind the kettle." in words_of(render_report(**sample.report(development=coded)))


def test_report_keeps_price_and_supplier_from_guests():
    page = render_report(**sample.report(lot={**sample.LOT, "supplier": "Secret Source"}))
    assert "180" not in words_of(page)
    assert "Secret Source" not in page


def test_report_says_when_it_is_stale_and_only_then():
    stale = render_report(**sample.report(development={**sample.development(), "stale": True}))
    assert "Newer notes on this lot are being worked in; the figures below are of 4 March 2026." in words_of(stale)
    assert "Newer notes" not in render_report(**sample.report())


def test_report_of_a_lot_nobody_tasted_says_what_to_do():
    said = words_of(render_report(**sample.report(development=sample.empty(), tasted=[], tasters={}, sessions=[])))
    assert "We cannot tell yet how this tea develops or how many steeps it is worth." in said
    assert "open a session for this lot" in said
    assert "Any session would do: nothing is known yet." in said
    assert "80 % interval" not in said


def test_report_undecided_claims_no_profile():
    said = words_of(render_report(**sample.report(development=sample.undecided())))
    assert (
        "We cannot tell yet how this tea develops (builds up 47 %, stays steady 41 % and fades quickly 12 %)." in said
    )
    assert "We are" not in said


def test_report_of_sessions_without_a_strength_rating_shows_no_curve():
    record = {**sample.empty(), "evidence": {**sample.development()["evidence"], "sessions": 1}}
    said = words_of(render_report(**sample.report(development=record, tasted=[])))
    assert "There is no curve yet" in said
    assert "We cannot tell yet how many steeps this tea is worth." in said


def test_report_of_hostile_text_escapes_all_of_it():
    record = sample.development()
    record |= {"next": HOSTILE, "cautions": [HOSTILE], "computed_at": HOSTILE}
    record["departures"] = [{**d, "detail": HOSTILE, "kind": HOSTILE} for d in record["departures"]]
    record["evidence"]["left_out"] = [{"session": HOSTILE, "infusion": HOSTILE, "reason": HOSTILE}]
    record["layers"][0] |= {"leading": [HOSTILE], "new": [HOSTILE], "gone": [HOSTILE]}
    record["curves"] = [{**c, "descriptor": HOSTILE + c["descriptor"]} for c in record["curves"]] + record["curves"]
    text = {key: HOSTILE if isinstance(value, str) else value for key, value in sample.LOT.items()}
    page = render_report(
        **sample.report(
            lot=text,
            development=record,
            tasters={key: HOSTILE + key for key in sample.TASTERS},
            sessions=[
                {**s, "shop": HOSTILE, "vessel_material": HOSTILE, "started_at": HOSTILE} for s in sample.sessions()
            ],
            labels=dict.fromkeys(sample.LABELS, HOSTILE),
            downloads={HOSTILE: HOSTILE},
        )
    )
    outline = Outline(page)
    assert (outline.open, outline.unbalanced) == ([], [])
    assert {"script", "img"} & set(outline.tags) == set()
    assert [a for a in outline.attributes if a[1].startswith("on")] == []
    assert outline.text.count("<script>alert('1')</script>") > 20


def test_report_keeps_tasters_of_one_name_apart():
    context = report_context(**sample.report(tasters={"t1": "Sam", "t2": "Sam", "t3": "Kim"}))
    assert {s["taster"] for s in context["sessions"]} == {"Sam (1)", "Sam (2)", "Kim"}
    assert "Sam (1)" in context["chart"]["wide"]
    assert "Sam (2)" in context["chart"]["narrow"]


def test_report_splits_many_ratings_evenly_over_drawings_that_fit_a_page():
    curve = sample.development()["curves"][0]
    record = {
        **sample.development(),
        "curves": [{**curve, "descriptor": f"d{i:02d}"} for i in range(STRIPS_TOGETHER + 1)],
    }
    strips = report_context(**sample.report(development=record))["strips"]
    assert [strip["wide"].count("<g>") for strip in strips] == [6, 7]


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
    assert provenance({"name": "Bare"}) == []
    assert provenance({"kind": "oolong", "elevation_low_m": 900, "elevation_high_m": 900, "roast": "none"}) == [
        "Oolong",
        "900 m",
        "unroasted",
    ]
    assert (figure(5.0), figure("five")) == ("5", "five")
    assert day_of(datetime(2026, 3, 4, tzinfo=UTC)) == "4 March 2026"
    assert (day_of("soon"), day_of(None)) == ("soon", "")
    assert evidence_sentence({}, {}) == "No session behind it yet."
    assert evidence_sentence({"sessions": 1, "infusions": 5, "tasters": 1}, {}) == (
        "This rests on 1 session, 5 infusions and 1 taster."
    )
