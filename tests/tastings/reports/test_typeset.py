"""The PDF says what the page says, as text that can be selected, whatever was typed into a field."""

import csv
import io
import re
import struct
from dataclasses import replace

import pytest
import typst

from tastings.maths.curve.evidence import LeftOut
from tastings.reports.curves_csv import curves_csv
from tastings.reports.document import report_document
from tastings.reports.page import report_facts
from tastings.reports.typeset import REPLACEMENT, TypesetError, digest_of, typeset, with_drawable_text
from tastings.wording.numbers import one_decimal
from tests.tastings.reports import sample
from tests.tastings.reports.pdf import pages_of, text_of
from tests.tastings.reports.sample_guide import GUIDE
from tests.tastings.reports.test_ageing import READINESS
from tests.tastings.reports.test_agreement import PANEL
from tests.tastings.reports.test_photos import PHOTO

HOSTILE = [
    "<script>alert(1)</script>",
    '#emph[x] *b* _i_ $x$ `raw` @ref <label> #panic("no") \\ #{ 1 + 1 }',
    "W" * 400,
    "\u05e9\u05dc\u05d5\u05dd \u202e abc \u2066 left open",
    "🍵 family 👨‍👩‍👧 tea",
    "=1+1 @SUM(A1) -2 +3",
    "line\nbreak\ttab \x00\x07 control \ue000 private \U000e0001",
    "{{ 7|add:7 }} %s {0} \"quoted\" 'and' \\u{41}",
]


def full(**changed):
    return sample.report(guide=GUIDE, panel=PANEL, readiness=READINESS, **changed)


@pytest.fixture(scope="module")
def pdf():
    return typeset("report", "pdf", report_document(full()))


def words_of(pdf):
    return " ".join(text_of(pdf).replace("\u200b", "").split())


def test_pdf_text_can_be_selected_and_is_that_of_the_page(pdf):
    facts, written = report_facts(full()), words_of(pdf)
    sentences = [
        facts.name,
        facts.profile_sentence,
        facts.steeps_sentence,
        facts.evidence_sentence,
        facts.counterfactual,
    ]
    sentences += [*facts.agreement, *facts.ageing, *facts.departures, *facts.cautions, facts.next]
    sentences += [facts.guide.pot, facts.guide.aim, facts.even_brew_sentence, *facts.guide.change]
    sentences += [f"{cup.infusion} {cup.mean} {cup.span} {cup.observed} {cup.n}" for cup in facts.cups]
    sentences += [f"{row.infusion} {row.steep} {row.strength} {row.span}" for row in facts.guide.rows]
    sentences += [f"{one.day}, {one.taster}, {one.shop}, {one.brew}" for one in facts.sessions]
    sentences += [one.reason for one in facts.left_out]
    assert "" not in sentences
    assert [one for one in sentences if " ".join(one.split()) not in written] == []


def test_pdf_shows_the_numbers_of_the_figures_and_the_csv(pdf):
    figures = sample.figures()
    rows = list(csv.DictReader(io.StringIO(curves_csv(figures))))
    written = words_of(pdf)
    for curve in figures.curves:
        of_curve = [row for row in rows if row["descriptor"] == curve.descriptor]
        assert [float(row["mean"]) for row in of_curve] == [point.mean for point in curve.points]
        assert " ".join(one_decimal(float(row["mean"])) for row in of_curve) in written


def test_pdf_has_the_same_bytes_again_and_no_date_in_it(pdf):
    assert typeset("report", "pdf", report_document(full())) == pdf
    assert b"CreationDate" not in pdf
    assert b"ModDate" not in pdf


def test_pdf_is_tagged_names_its_language_and_fits_few_pages(pdf):
    assert b"/Lang(en)" in pdf
    assert b"pdfuaid" in pdf  # says of itself that it follows PDF/UA
    assert pages_of(pdf) <= 4


def test_picture_is_one_png():
    picture = typeset("report", "png", report_document(full()))
    assert picture[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", picture[16:24])
    assert (900 < width < 1400, width < height < 4 * width) == (True, True)


@pytest.mark.parametrize("form", ["pdf", "png"])
def test_empty_record_can_be_set(form):
    payload = report_document(sample.report(development=sample.empty(), tasters={}, sessions=()))
    assert len(typeset("report", form, payload)) > 1000


@pytest.mark.parametrize("hostile", HOSTILE)
@pytest.mark.parametrize("form", ["pdf", "png"])
def test_hostile_text_stays_text(hostile, form):
    lot = replace(sample.LOT, **dict.fromkeys(("name", "code", "cultivar", "region", "garden", "producer"), hostile))
    whole = sample.figures()
    figures = replace(
        whole,
        evidence=replace(whole.evidence, left_out=(LeftOut("s2", None, "outlier", descriptor=hostile),)),
        departures=(replace(whole.departures[0], kind=hostile), *whole.departures[1:]),
        layers=(replace(whole.layers[0], leading=(hostile,)), *whole.layers[1:]),
        counterfactual=replace(whole.counterfactual, descriptor=hostile),
    )
    payload = report_document(
        full(
            lot=lot,
            development=sample.development(figures),
            tasters=dict.fromkeys(sample.TASTERS, hostile),
            labels=dict.fromkeys(sample.LABELS, hostile),
            sessions=tuple(replace(one, shop=hostile, vessel_material=hostile) for one in sample.sessions()),
        )
    )
    made = typeset("report", form, payload)
    if form == "pdf":
        written = "".join(text_of(made).replace("\u200b", "").split())
        runs = re.findall("[!-~]{3,}", hostile)
        assert [run for run in runs if run not in written] == []
        assert pages_of(made) < 40


def test_markup_in_a_name_is_shown_as_it_was_typed():
    name = "#emph[tea] *strong* `raw` $x$"
    payload = report_document(sample.report(lot=replace(sample.LOT, name=name)))
    assert name in words_of(typeset("report", "pdf", payload))


def test_character_that_no_font_draws_is_replaced_and_named():
    name = "Tea \U0001f9ff\ue123 leaf"  # a private one, which no font can be asked to draw
    made = typeset("report", "pdf", report_document(sample.report(lot=replace(sample.LOT, name=name))))
    written = words_of(made)
    assert f"{REPLACEMENT} leaf" in written
    assert "U+E123" in written
    assert "stands for a character that no font on this server can draw" in written


def test_server_without_fonts_of_its_own_replaces_what_the_typesetters_lack(monkeypatch):
    bundled = typst.Fonts(include_system_fonts=False)
    monkeypatch.setattr("tastings.reports.typeset._fonts", lambda: bundled)
    for hostile in HOSTILE:
        assert typeset("report", "pdf", report_document(full(lot=replace(sample.LOT, name=hostile))))[:5] == b"%PDF-"
    name = "Cliff oolong \u5ca9\u8336 no. 3"
    written = words_of(typeset("report", "pdf", report_document(full(lot=replace(sample.LOT, name=name)))))
    assert f"Cliff oolong {REPLACEMENT * 2} no. 3" in written
    assert "U+5CA9, U+8336" in written


def test_no_note_when_no_character_is_missing(pdf):
    assert "stands for a character" not in words_of(pdf)


def test_long_words_may_break_and_file_names_stay():
    payload = with_drawable_text({"a": ["x" * 40], "file": "y" * 64, "n": 3, "none": None}, missing=set())
    assert payload["a"][0].replace("\u200b", "") == "x" * 40
    assert max(map(len, payload["a"][0].split("\u200b"))) <= 18
    assert (payload["file"], payload["n"], payload["none"]) == ("y" * 64, 3, None)


def test_normal_form_of_a_character_is_preferred():
    payload = with_drawable_text(
        {"name": "\uff21\u33a1", "missing": [], "missing_words": "gone:"}, missing={"\uff21", "\u33a1"}
    )
    assert payload["name"] == "Am2"
    assert (payload["missing"], payload["missing_note"]) == (["U+33A1", "U+FF21"], "gone: U+33A1, U+FF21")


def test_photo_is_set_and_one_whose_file_is_gone_is_left_out():
    from tests.tastings.photos.photographs import encode_image, scene  # noqa: PLC0415 - only this test draws a photo

    payload = report_document(full(photos=(PHOTO, replace(PHOTO, file="gone", of="wet_leaf"))))
    made = typeset("report", "pdf", payload, pictures={"kept-1.jpg": encode_image(scene(320, 240), quality=80)})
    written = words_of(made)
    assert b"/Subtype/Image" in made
    assert ("Liquor, cup 3" in written, "Wet leaf" in written, "amber (72 %) or golden (20 %)" in written) == (
        True,
        False,
        True,
    )


def test_unknown_layout_raises():
    with pytest.raises(TypesetError):
        typeset("report", "pdf", {"words": {}})


def test_digest_depends_on_payload_layout_and_form():
    payload = report_document(sample.report())
    same = digest_of("report", "pdf", report_document(sample.report()))
    assert digest_of("report", "pdf", payload) == same
    others = {
        digest_of("report", "png", payload),
        digest_of("card", "pdf", payload),
        digest_of("report", "pdf", {**payload, "name": "Other"}),
    }
    assert len(others | {same}) == 4
