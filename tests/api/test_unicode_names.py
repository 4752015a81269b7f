"""Names and words are stored in Unicode's form NFC, whatever form a keyboard or a file has, and found by any form."""

from datetime import UTC, datetime
from unicodedata import normalize

import pytest

from lots.models import Lot
from lots.schema import Field, InvalidValue, clean_value
from tastings.actions.importing import import_session, import_targets, parse_sheet
from tastings.models import Descriptor, Session
from tastings.queries.lot_search import LotFilters, lots_page
from tests.api.phone import change, sync, verdict_names
from tests.factories import LotFactory

NAME = normalize("NFC", "Thé des brumes")
DECOMPOSED = normalize("NFD", NAME)


def test_a_composed_text_is_as_long_as_it_looks():
    of = Field(name="name", kind="text", longest=3)
    assert clean_value(of, normalize("NFD", "éèê")) == "éèê"
    with pytest.raises(InvalidValue):
        clean_value(of, "éèêe")


@pytest.mark.django_db
def test_a_name_is_composed_by_push_and_rest_and_the_same_again_changes_nothing(buyer):
    pushed = change("lot", name=DECOMPOSED, kind="green")
    word = change("descriptor", key="brume", label=DECOMPOSED, synonyms=[DECOMPOSED])
    assert verdict_names(sync(buyer.client, [pushed, word])) == ["applied", "applied"]
    buyer.client.post("/api/v1/lots/", {"name": DECOMPOSED, "kind": "green"})
    assert set(Lot.objects.values_list("name", flat=True)) == {NAME}
    assert Descriptor.objects.filter(team=buyer.team).values_list("label", "synonyms").get() == (NAME, [NAME])

    again = {**pushed, "fields": {"name": NAME, "kind": "green"}}
    assert verdict_names(sync(buyer.client, [again, pushed])) == ["unchanged", "unchanged"]


@pytest.mark.django_db
@pytest.mark.parametrize("name", [NAME, DECOMPOSED])
def test_a_sheet_and_a_search_find_the_lot_by_either_form(taster, lexicon, name):
    lot = LotFactory(team=taster.team, by=taster.user, name=NAME)
    sheet = "lot,kind,session,started_at,leaf_g,vessel_ml,number,steep_s,kettle_c\n"
    sheet += f"{name},,A,2026-03-04T10:00:00Z,5,110,1,10,99\n"
    targets = import_targets(taster.member)
    [session], errors = parse_sheet(sheet.encode(), targets=targets)
    import_session(taster.member, session, targets=targets, now=datetime(2026, 5, 4, tzinfo=UTC))
    assert (errors, Session.objects.get().lot_id) == ([], lot.id)
    assert [found.id for found in lots_page([taster.member], LotFilters(q=name)).lots] == [lot.id]
