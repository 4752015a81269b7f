"""What the report tells of a photo: of what, which cup, which colour of liquor."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from tastings.maths.colour.liquor import Lab, TermMatch
from tastings.maths.colour.measured import Box, MeasuredColour, Regions
from tastings.queries.reports import PhotoFacts
from tastings.reports.photos import colour_hex, photo_row

AMBER = MeasuredColour(
    lab=Lab(57.78, 24.88, 53.92),
    terms=(TermMatch("amber", 1.2, 0.72), TermMatch("golden", 4.0, 0.2), TermMatch("orange_red", 9.0, 0.08)),
    regions=Regions(
        white=Box(x=0.0, y=0.0, width=0.2, height=0.2),
        liquor=Box(x=0.5, y=0.5, width=0.2, height=0.2),
    ),
    method="1",
    by="t1",
    at="2026-03-04T12:00:00Z",
)
PHOTO = PhotoFacts(
    id="p1",
    of="liquor",
    number=3,
    day=datetime(2026, 3, 4, 12, tzinfo=UTC),
    width=320,
    height=240,
    file="kept-1",
    sha256="0" * 64,
    colour=AMBER,
    href="/x.jpg",
)


def test_photo_tells_the_cup_and_the_colour_of_its_liquor():
    row = photo_row(PHOTO)
    assert row.caption == "Liquor, cup 3, 4 March 2026"
    assert row.colour == "Liquor: amber (72\u00a0%) or golden (20\u00a0%)"
    # 57.78, 24.88, 53.92 is sRGB 199, 120, 40 (colour-science 0.4.7, as in tests/tastings/photos/test_liquor.py)
    assert row.swatch == "#c77828"
    assert (row.href, row.file, row.width, row.height) == ("/x.jpg", "kept-1", 320, 240)


@pytest.mark.parametrize("colour", [None, replace(AMBER, lab=None, terms=(), reason="white_dark")])
def test_photo_without_a_measured_colour_has_none(colour):
    row = photo_row(replace(PHOTO, colour=colour, number=None))
    assert (row.caption, row.colour, row.swatch) == ("Liquor, 4 March 2026", "", "")


def test_colour_beyond_the_screen_is_cut_to_it():
    assert colour_hex(Lab(100, 0, 0)) == "#ffffff"
    assert colour_hex(Lab(0, 0, 0)) == "#000000"
    assert colour_hex(Lab(90, -120, 120)).startswith("#00")
