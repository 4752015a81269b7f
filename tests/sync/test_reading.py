"""What a push reads before it decides: the named records, those they refer to, and what is known around them."""

from uuid import UUID

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from tastings.actions.push.change import Change
from tastings.actions.push.reading import read_state
from tastings.actions.push.state import MergeTarget, StoredDescriptor
from tastings.models import RecordCount
from teams.models import Team
from tests.factories import (
    NOON,
    DescriptorFactory,
    FlightCupFactory,
    InfusionFactory,
    LotFactory,
    NoteFactory,
    PotFactory,
    SessionFactory,
    ShopFactory,
    next_revision,
)

pytestmark = pytest.mark.django_db
FREE, FREE_TOO = UUID(int=31), UUID(int=32)
REVEALED = {"flight__state": "revealed", "flight__revealed_at": NOON}


def read(who, *named, **options):
    """Read for changes, each of type, id and what it sets."""
    changes = [
        Change(type=kind, id=record, fields=dict(fields[0]) if fields else {}, stamp=None)
        for kind, record, *fields in named
    ]
    with transaction.atomic():
        return read_state(who.member, changes, **{"for_whole_team": False, **options})


def ids(state):
    """Return the ids of the records that were read, by type, where there are any."""
    return {kind: set(records) for kind, records in state.records.items() if records}


@pytest.fixture
def session(taster):
    return SessionFactory(lot__team=taster.team, by=taster.user)


@pytest.fixture
def others():
    return Team.objects.create(name="Second House")


def test_parents_of_a_stored_note_and_its_word_are_read(taster, session):
    infusion = InfusionFactory(session=session)
    note = NoteFactory(session=session, infusion=infusion, descriptor__key="wet_slate")
    NoteFactory(session=session, descriptor=None)
    state = read(taster, ("note", note.id))
    assert ids(state) == {"note": {note.id}, "session": {session.id}, "lot": {session.lot_id}}
    assert state.descriptors == {"wet_slate": [StoredDescriptor(note.descriptor_id, False, None)]}
    assert state.records["note"][note.id].values["descriptor"] == "wet_slate"
    assert (set(state.used_ids), state.revision) == ({note.id}, next_revision(taster.team) - 1)


def test_a_stored_note_without_a_word_is_read(taster, session):
    note = NoteFactory(session=session, descriptor=None)
    state = read(taster, ("note", note.id))
    assert (state.records["note"][note.id].row.descriptor, state.descriptors) == (None, {})


def test_parents_of_a_stored_infusion_and_what_a_change_names_are_read(taster, session):
    infusion, other = InfusionFactory(session=session), SessionFactory(lot__team=taster.team, by=taster.user)
    state = read(taster, ("infusion", infusion.id, {"session": str(other.id)}))
    assert ids(state) == {
        "infusion": {infusion.id},
        "session": {session.id, other.id},
        "lot": {session.lot_id, other.lot_id},
    }


def test_named_lots_pots_and_words_are_read_and_sessions_without_a_lot(taster, session):
    lot, pot, word = LotFactory(team=taster.team), PotFactory(team=taster.team), DescriptorFactory(team=taster.team)
    assert ids(read(taster, ("lot", lot.id), ("session", session.id))) == {
        "lot": {lot.id, session.lot_id},
        "session": {session.id},
    }
    assert ids(read(taster, ("pot", pot.id), ("descriptor", word.id))) == {"pot": {pot.id}, "descriptor": {word.id}}
    made = {"lot": str(lot.id), "pot": str(pot.id)}
    assert ids(read(taster, ("session", FREE, made))) == {"lot": {lot.id}, "pot": {pot.id}}
    assert ids(read(taster, ("session", FREE, {"lot": None, "leaf_g": 5}))) == {}


def test_rows_of_another_team_are_in_use_and_not_read(taster, others):
    theirs = SessionFactory(lot__team=others)
    word = DescriptorFactory(team=others)
    state = read(taster, ("session", theirs.id), ("lot", theirs.lot_id), ("pot", FREE), ("descriptor", word.id))
    assert (ids(state), state.built_in) == ({}, set())
    assert set(state.used_ids) == {theirs.id, theirs.lot_id, word.id}


def test_a_private_session_of_another_is_read_for_the_whole_team_alone(taster, buyer):
    private = SessionFactory(lot__team=taster.team, by=buyer.user, private=True)
    assert ids(read(taster, ("session", private.id))) == {}
    assert ids(read(taster, ("session", private.id), for_whole_team=True)).keys() == {"session", "lot"}
    assert ids(read(buyer, ("session", private.id))).keys() == {"session", "lot"}


def test_one_id_for_two_types_is_told(taster, session):
    assert not read(taster, ("session", session.id), ("note", FREE)).ids_of_several_types
    assert read(taster, ("session", session.id), ("note", session.id)).ids_of_several_types


def test_words_are_read_by_key_live_ones_first_and_what_they_were_merged_into(taster, others):
    last = DescriptorFactory(team=taster.team, key="slate", position=1)
    middle = DescriptorFactory(team=taster.team, key="wet_slate", removed=True, merged_into=last)
    old = DescriptorFactory(team=taster.team, key="stone", removed=True, merged_into=middle)
    live = DescriptorFactory(team=taster.team, key="stone", position=5)
    DescriptorFactory(team=others, key="stone")
    DescriptorFactory(team=taster.team, key="not_named")
    state = read(taster, ("note", FREE, {"descriptor": "stone"}), ("descriptor", FREE_TOO, {"key": "absent"}))
    assert state.descriptors == {
        "stone": [
            StoredDescriptor(live.id, False, None),
            StoredDescriptor(old.id, True, MergeTarget(middle.id, "wet_slate")),
        ],
        "wet_slate": [StoredDescriptor(middle.id, True, MergeTarget(last.id, "slate"))],
        "slate": [StoredDescriptor(last.id, False, None)],
    }


def test_a_key_of_a_changed_word_is_looked_up_and_a_built_in_word_is_no_record_of_the_team(taster):
    own = DescriptorFactory(team=taster.team, key="slate")
    built_in = DescriptorFactory(team=None, by=None, author=None, key="house_word")
    state = read(taster, ("descriptor", FREE, {"key": "slate"}), ("descriptor", built_in.id, {"label": "x"}))
    assert (list(state.descriptors), ids(state), state.built_in) == (["slate"], {}, {built_in.id})
    assert state.descriptors["slate"][0].id == own.id
    assert list(read(taster, ("note", FREE, {"descriptor": "house_word"})).descriptors) == ["house_word"]


def test_shops_are_the_named_ones_of_the_team(taster, others):
    named, _, theirs = ShopFactory(team=taster.team), ShopFactory(team=taster.team), ShopFactory(team=others)
    pots = [("pot", FREE, {"shop": str(named.id)}), ("pot", FREE_TOO, {"shop": str(theirs.id)})]
    assert read(taster, *pots).shops == {named.id}
    assert read(taster, ("pot", FREE, {"name": "x"})).shops == set()


def test_a_lot_is_followed_to_the_samples_that_it_was_bought_from(taster, others):
    first = LotFactory(team=taster.team)
    second = LotFactory(team=taster.team, from_lot=first)
    LotFactory(team=taster.team, from_lot=second)
    theirs = LotFactory(team=others)
    bought = ("lot", FREE, {"from_lot": str(second.id)})
    assert read(taster, bought, ("lot", FREE_TOO, {"from_lot": str(theirs.id)})).samples == {
        second.id: first.id,
        first.id: None,
    }
    assert ids(read(taster, bought)) == {"lot": {second.id}}
    assert read(taster, ("session", FREE, {"lot": str(second.id)})).samples == {}


def test_cups_are_the_named_ones_of_the_taster_and_show_their_lot_after_the_reveal(taster, buyer, others):
    blind, _ = (FlightCupFactory(lot__team=taster.team, taster=taster.user) for _ in range(2))
    revealed = FlightCupFactory(lot__team=taster.team, taster=taster.user, **REVEALED)
    of_another = FlightCupFactory(lot__team=taster.team, taster=buyer.user, **REVEALED)
    elsewhere = FlightCupFactory(lot__team=others, taster=taster.user, **REVEALED)
    cups = (blind, revealed, of_another, elsewhere)
    named = [("session", UUID(int=40 + i), {"flight_cup": str(cup.id)}) for i, cup in enumerate(cups)]
    state = read(taster, *named)
    assert state.cups.keys() == {blind.id, revealed.id}
    assert ids(state) == {"lot": {revealed.lot_id}}
    known = ("session", FREE, {"lot": str(revealed.lot_id)})
    assert ids(read(taster, *named, known)) == {"lot": {revealed.lot_id}}


def test_two_cups_cost_as_many_queries_as_one(taster, django_assert_num_queries):
    cups = [FlightCupFactory(lot__team=taster.team, taster=taster.user) for _ in range(2)]
    named = [("session", UUID(int=40 + i), {"flight_cup": str(cup.id)}) for i, cup in enumerate(cups)]
    with CaptureQueriesContext(connection) as one:
        read(taster, named[0])
    with django_assert_num_queries(len(one)):
        assert len(read(taster, *named).cups) == 2


def test_what_the_member_has_stored_counts_for_the_quotas(taster, settings):
    settings.QUOTAS = {**settings.QUOTAS, "records": (1000, 4), "notes": (1000, 2)}
    RecordCount.objects.create(team=taster.team, user=taster.user, notes=1, records=4)
    allowance = read(taster, ("pot", FREE)).allowance
    full = allowance.full_quota("pot", FREE)
    assert (full.name, full.used, full.of_team) == ("records", 4, False)
    assert [allowance.full_quota("note", UUID(int=n)) is None for n in (51, 52)] == [True, False]
