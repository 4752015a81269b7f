"""Tasting sheets from CSV: read, checked, stored once, and what is left alone."""

import csv
import io
from datetime import UTC, datetime, timedelta
from uuid import uuid4, uuid5

import pytest
from django.core.management import CommandError, call_command

from lots.models import FieldHistory, Lot
from tastings.actions.importing import (
    CellError,
    ImportTargets,
    import_session,
    import_targets,
    parse_sheet,
    store_sessions,
)
from tastings.actions.importing.spreadsheet import MAX_SHEET_BYTES
from tastings.models import Infusion, Note, Session
from teams.errors import Invalid, NotAllowed
from teams.models import Team
from tests.api.phone import change, sync
from tests.factories import DescriptorFactory, LotFactory, ShopFactory

NOW = datetime(2026, 5, 4, 12, tzinfo=UTC)
TARGETS = ImportTargets(lots={}, shops={}, descriptors=frozenset(["strength", "sweetness", "orchid", "charcoal"]))
WHOLE = {"lot": "Ridge 2", "kind": "oolong", "session": "A", "started_at": "2026-03-04T10:11:00+01:00"}
ROW = {**WHOLE, "leaf_g": "5", "vessel_ml": "110", "number": "1", "steep_s": "10", "kettle_c": "99", "strength": "4.5"}


def sheet(*rows, delimiter=","):
    """Write rows as CSV; columns are those of all rows, in the order met."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(dict.fromkeys(key for row in rows for key in row)), delimiter=delimiter)
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def errors_of(*rows, targets=TARGETS):
    return parse_sheet(sheet(*rows), targets=targets)[1]


def store(person, *rows, now=NOW, dry_run=False):
    targets = import_targets(person.member)
    sessions, errors = parse_sheet(sheet(*rows), targets=targets)
    done = [import_session(person.member, session, targets=targets, now=now, dry_run=dry_run) for session in sessions]
    return done, [*errors, *(fault for one in done for fault in one.errors)]


def counted(done, word):
    return {kind: n for one in done for (kind, w), n in one.counts.items() if w == word}


def ratings(key):
    notes = Note.objects.filter(descriptor__key=key, removed=False).order_by("infusion__number")
    return [float(value) for value in notes.values_list("intensity", flat=True)]


# Reading


@pytest.mark.parametrize("data", [sheet(ROW), b"\xef\xbb\xbf" + sheet(ROW), sheet(ROW, delimiter=";")])
def test_a_byte_order_mark_and_semicolons_make_no_difference(data):
    sessions, errors = parse_sheet(data, targets=TARGETS)

    assert errors == []
    assert [(session.lot, session.label, session.values["started_at"]) for session in sessions] == [
        ("Ridge 2", "A", "2026-03-04T09:11:00Z")
    ]
    assert sessions[0].rows[1].ratings == {"strength": 4.5}


@pytest.mark.parametrize(
    ("cell", "reason"),
    [
        ({"kettle_c": "101"}, "must be at most 100"),
        ({"kettle_c": ""}, "is empty"),
        ({"steep_s": "ten"}, "must be a number with a decimal point, as 3.5"),
        ({"steep_s": "nan"}, "must be a number with a decimal point, as 3.5"),
        ({"number": "1.5"}, "must be a whole number"),
        ({"leaf_g": "5,5"}, "must be a number with a decimal point, as 3.5"),
        ({"leaf_g": "9" * 400}, "must be a finite number"),
        ({"strength": "10.5"}, "must be at most 10"),
        ({"strength": "4.55"}, "must be in steps of 0.1"),
        ({"started_at": "2026-03-04 10:11"}, "must be an RFC 3339 time with its offset, as 2026-03-04T10:11:12Z"),
        ({"vessel_material": "bone"}, None),
        ({"warmed": "perhaps"}, "must be yes or no"),
        ({"shop": "Nowhere"}, "the team has no shop called Nowhere"),
        ({"noted": "orchid lilac"}, "there is no descriptor lilac"),
        ({"noted": "strength"}, "strength is rated on this row: it is one or the other"),
        ({"lot": "x" * 201}, "at most 200 characters"),
    ],
)
def test_a_bad_cell_is_named_by_line_and_column(cell, reason):
    (column,) = cell
    (fault,) = [f for f in errors_of({**ROW, "number": "2"}, {**ROW, **cell}) if f.line == 3]

    assert fault.column == column
    assert reason is None or fault.reason == reason


def test_the_good_rows_of_a_pot_stay_without_the_bad_one():
    rows = [{**ROW, "number": str(n)} for n in (1, 2, 3)]
    rows[1]["kettle_c"] = "-1"
    sessions, errors = parse_sheet(sheet(*rows), targets=TARGETS)

    assert list(sessions[0].rows) == [1, 3]
    assert errors == [CellError(3, "kettle_c", "must be at least 0")]


def test_line_numbers_count_the_lines_of_the_file():
    text = (
        sheet(ROW).decode()
        + "\r\n"
        + '"Two\r\nlines",oolong,A,bad,5,110,1,10,99,4\r\n'
        + "Ridge 2,oolong,A,,,,7,1,200,\r\n"
    )
    errors = parse_sheet(text.encode(), targets=TARGETS)[1]

    assert [(fault.line, fault.column) for fault in errors] == [(4, "started_at"), (6, "kettle_c")]


def test_values_of_the_session_may_stand_on_one_row():
    later = dict.fromkeys(ROW, "") | {
        "lot": "Ridge 2",
        "session": "A",
        "number": "2",
        "steep_s": "12",
        "kettle_c": "98",
    }
    (session,), errors = parse_sheet(sheet(ROW, later), targets=TARGETS)

    assert errors == []
    assert (session.values["leaf_g"], session.rows[2].values["steep_s"], session.rows[2].ratings) == (5, 12, {})


def test_rows_that_contradict_each_other_are_named():
    errors = errors_of(
        ROW,
        {**ROW, "number": "2", "leaf_g": "6"},
        {**ROW, "number": "1"},
        {**ROW, "session": "B", "kind": "green"},
    )

    assert errors == [
        CellError(3, "leaf_g", "line 2 says something else for this session"),
        CellError(4, "number", "line 2 is this infusion already"),
        CellError(5, "kind", "line 2 says something else for this lot"),
    ]


def test_a_new_lot_needs_its_kind_and_a_session_its_pot():
    no_kind, no_leaf = {**ROW, "kind": ""}, {**ROW, "lot": "Ridge 3", "leaf_g": ""}
    reason = "no usable row of this session says it, and it must be known"

    assert errors_of(no_kind, no_leaf) == [CellError(2, "kind", reason), CellError(3, "leaf_g", reason)]


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty"),
        (b"lot,session\r\n", "empty"),
        (sheet({**ROW, "lot": "é"}).replace("é".encode(), b"\xe9"), "encoding"),
        (sheet(ROW).decode().encode("utf-16"), "encoding"),
        (sheet(ROW) + b'"open,\n', "csv"),
        (b"x" * (MAX_SHEET_BYTES + 1), "too_large"),
        (sheet({**ROW, "colour": "red"}), "unknown_column"),
        (sheet({key: value for key, value in ROW.items() if key != "kettle_c"}), "missing_column"),
        (sheet(ROW).replace(b"kind", b"lot"), "twice"),
        (sheet({**ROW, **{f"word_{n}": "" for n in range(100)}}), "too_many"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_as_a_whole(data, code):
    with pytest.raises(Invalid) as refused:
        parse_sheet(data, targets=TARGETS)

    assert [problem.code for problem in refused.value.problems] == [code]


def test_empty_cells_at_the_end_of_a_line_are_no_cells():
    text = sheet(ROW).decode().replace("\r\n", ",,\r\n")

    assert parse_sheet(text.encode(), targets=TARGETS)[1] == []


# Storing


def test_a_sheet_becomes_records(taster, lexicon):
    ShopFactory(team=taster.team, name="Harbour")
    done, errors = store(
        taster, {**ROW, "shop": "Harbour", "warmed": "no", "noted": "orchid; charcoal", "ending": "spent"}
    )
    session = Session.objects.get()

    assert errors == []
    assert counted(done, "new") == {"lot": 1, "session": 1, "infusion": 1, "note": 3}
    assert (session.lot.name, session.lot.kind, session.shop.name) == ("Ridge 2", "oolong", "Harbour")
    assert (session.leaf_g, session.warmed, session.ending, session.taster) == (5, False, "spent", taster.user)
    assert set(Note.objects.values_list("descriptor__key", "intensity", "moment")) == {
        ("strength", 4.5, "mouth"),
        ("orchid", None, "mouth"),
        ("charcoal", None, "mouth"),
    }


def test_importing_twice_changes_nothing(taster, lexicon):
    rows = [{**ROW, "number": str(n), "noted": "orchid"} for n in (0, 1, 2)]
    store(taster, *rows)
    before = Team.objects.get(id=taster.team.id).revision
    done, errors = store(taster, *rows, now=NOW + timedelta(days=1))

    assert errors == []
    assert {word for one in done for _, word in one.counts} == {"same"}
    assert Team.objects.get(id=taster.team.id).revision == before
    assert FieldHistory.objects.count() == 0


def test_two_tasters_who_give_a_pot_one_label_have_a_session_each(taster, buyer, lexicon):
    store(taster, ROW)
    done, errors = store(buyer, {**ROW, "steep_s": "77"})

    assert (errors, counted(done, "new")["session"], counted(done, "corrected")) == ([], 1, {})
    assert set(Infusion.objects.values_list("session__taster__username", "steep_s")) == {
        (taster.user.username, float(ROW["steep_s"])),
        (buyer.user.username, 77),
    }


def test_session_whose_id_does_not_name_its_taster_is_found_again(taster, lexicon, monkeypatch):
    """As imports of earlier versions made it."""
    earlier = uuid5(uuid5(taster.team.id, f"import lot {ROW['lot']}"), f"session {ROW['session']}")
    with monkeypatch.context() as patched:
        patched.setattr(store_sessions, "_session_id", lambda *_: earlier)
        store(taster, ROW)
    done, errors = store(taster, {**ROW, "steep_s": "77"})

    assert (errors, counted(done, "new"), Session.objects.get().id) == ([], {}, earlier)
    assert Infusion.objects.get().steep_s == 77


def test_dry_run_stores_nothing_and_prints_the_same(taster, lexicon):
    tried, _ = store(taster, ROW, {**ROW, "session": "B"}, dry_run=True)

    assert (Lot.objects.count(), Session.objects.count(), Note.objects.count()) == (0, 0, 0)
    assert [one.counts["session", "new"] for one in tried] == [1, 1]


def test_a_lot_of_that_name_is_used(taster, lexicon):
    lot = LotFactory(team=taster.team, by=taster.user, name="Ridge 2", kind="green")
    done, _ = store(taster, {**ROW, "kind": ""})

    assert Session.objects.get().lot_id == lot.id
    assert Lot.objects.get().kind == "green"
    assert ("lot", "new") not in done[0].counts


def test_a_lot_of_another_team_is_not_used(taster, lexicon):
    LotFactory(name="Ridge 2")

    assert store(taster, {**ROW, "kind": ""})[1][0].column == "kind"


def test_two_lots_of_that_name_are_an_error(taster, lexicon):
    LotFactory.create_batch(2, team=taster.team, by=taster.user, name="Ridge 2")
    done, errors = store(taster, ROW)

    assert done == []
    assert errors == [CellError(2, "lot", "the team has several lots of this name")]


def test_a_corrected_sheet_corrects_what_an_import_wrote(taster, lexicon):
    store(taster, ROW)
    done, errors = store(taster, {**ROW, "strength": "3"}, now=NOW + timedelta(days=1))

    assert errors == []
    assert counted(done, "corrected") == {"note": 1}
    assert ratings("strength") == [3.0]


def test_later_edit_of_a_phone_is_not_overwritten(taster, lexicon):
    store(taster, ROW)
    note = Note.objects.get()
    sync(taster.client, [change("note", note.id, at="2026-05-05T09:00:00Z", intensity=7)])
    done, errors = store(taster, {**ROW, "strength": "3"}, now=NOW + timedelta(days=365))

    assert errors == []
    assert counted(done, "kept") == {"note": 1}
    assert ratings("strength") == [7.0]


def test_what_was_deleted_since_stays_deleted(taster, lexicon):
    store(taster, ROW)
    session = Session.objects.get()
    sync(taster.client, [{"type": "session", "id": str(session.id), "at": "2026-05-05T00:00:00Z", "deleted": True}])
    done, errors = store(taster, ROW, {**ROW, "number": "2"}, now=NOW + timedelta(days=365))

    assert done[0].counts == {}
    assert [(fault.line, fault.column) for fault in errors] == [(2, "session"), (3, "session")]
    assert Session.objects.get().removed
    assert Infusion.objects.count() == 1


def test_infusion_created_on_a_phone_meanwhile_is_an_error(taster, lexicon):
    store(taster, ROW)
    session = Session.objects.get()
    mine = {"session": str(session.id), "number": 2, "steep_s": 12, "kettle_c": 99}
    sync(taster.client, [change("infusion", uuid4(), **mine)])
    done, errors = store(taster, ROW, {**ROW, "number": "2"}, {**ROW, "number": "3"}, now=NOW + timedelta(days=1))

    assert [(fault.line, fault.column) for fault in errors] == [(3, "number")]
    assert counted(done, "new") == {"infusion": 1, "note": 1}
    assert sorted(Infusion.objects.values_list("number", flat=True)) == [1, 2, 3]


def test_a_viewer_may_not_import(viewer, lexicon):
    with pytest.raises(NotAllowed):
        import_targets(viewer.member)


def test_descriptor_of_the_team_may_be_a_column_and_another_teams_may_not(taster, stranger, lexicon):
    DescriptorFactory(team=taster.team, by=taster.user, key="tide_pool")
    row = {**ROW, "tide_pool": "2"}
    store(taster, row)

    assert ratings("tide_pool") == [2.0]
    with pytest.raises(Invalid):
        store(stranger, row)


# The command


@pytest.fixture
def ask(taster, lexicon, tmp_path, capsys):
    """Run the command on rows; return what it printed and the error it ended with, if any."""

    def run(*rows, data=None, **options):
        path = tmp_path / "sheet.csv"
        path.write_bytes(data or sheet(*rows))
        error = ""
        try:
            call_command("import_csv", path, team=str(taster.team.id), username=taster.user.username, **options)
        except CommandError as ended:
            error = str(ended)
        return capsys.readouterr().out.splitlines(), error

    return run


def test_command_prints_what_was_stored_and_what_was_not(ask):
    printed, error = ask(ROW, {**ROW, "number": "2", "kettle_c": "120"})

    assert printed[:2] == [
        "Ridge 2 / A (line 2): 1 lot new, 1 session new, 1 infusion new, 1 note new",
        "line 3, kettle_c: must be at most 100",
    ]
    assert printed[2].startswith("Stored 1 lot, 1 session, 1 infusion, 1 note; 0 records corrected, 0 already so")
    assert error == "1 line left out or only partly taken, named above"


def test_the_command_names_unknown_columns_once_and_stores_nothing(ask):
    printed, error = ask({**ROW, "colour": "red"}, {**ROW, "number": "2", "colour": "brown"})

    assert printed == []
    assert error.count("colour") == 1
    assert Lot.objects.count() == 0


def test_the_command_tries_without_storing(ask):
    printed, error = ask(ROW, dry_run=True)

    assert printed[-1].startswith("Checked only; would store 1 lot, 1 session")
    assert error == ""
    assert Session.objects.count() == 0


# Published figures


def test_published_infusions_are_stored_as_the_sources_say(taster, lexicon):
    """Two published ways of brewing one leaf several times, as sheets.

    The lidded bowl of GB/T 23776-2018: 5 g (from memory) in 110 ml, boiling water, steeps of 2, 3 and 5 min.

    Hicks, Hsieh and Bell 1996, Food Research International 29:325-330: three steeps of 5 min in boiling water; of the
    caffeine of all three, 69, 23 and 8 % are in the first, second and third. Shares are put in as tenths on the rating
    scale. Leaf and water are not in the abstract; those of the ISO 3103 pot stand in: 2.8 g in 140 ml.
    """
    bowl = {**WHOLE, "session": "GB/T 23776", "leaf_g": "5", "vessel_ml": "110", "vessel_material": "porcelain"}
    session = {**WHOLE, "session": "Hicks", "leaf_g": "2.8", "vessel_ml": "140"}
    minutes, shares = (2, 3, 5), (69, 23, 8)
    rows = [
        *({**bowl, "number": str(n), "steep_s": str(60 * m), "kettle_c": "100"} for n, m in enumerate(minutes, 1)),
        *(
            {**session, "number": str(n), "steep_s": "300", "kettle_c": "100", "strength": str(share / 10)}
            for n, share in enumerate(shares, 1)
        ),
    ]
    done, errors = store(taster, *rows)
    bowls, sessions = (
        Infusion.objects.filter(session__vessel_ml=ml).order_by("number").values_list("number", "steep_s", "kettle_c")
        for ml in (110, 140)
    )

    assert errors == []
    assert [one.label for one in done] == ["GB/T 23776", "Hicks"]
    assert list(bowls) == [(1, 120, 100), (2, 180, 100), (3, 300, 100)]
    assert list(sessions) == [(1, 300, 100), (2, 300, 100), (3, 300, 100)]
    assert ratings("strength") == [6.9, 2.3, 0.8]
    assert sum(ratings("strength")) == pytest.approx(10)
    assert Session.objects.get(vessel_ml=110).leaf_g == 5
