"""What a record may not hold, PostgreSQL refuses as well: rows written past the push meet the same limits.

Rows go in by ``bulk_create``, which checks nothing in Python; deferred constraints are made to speak before the end.
"""

import copy
import math
from contextlib import contextmanager
from uuid import uuid4

import pytest
from django.db import DataError, IntegrityError, connection, transaction

from lots.models import Lot
from lots.models.wire import column_name, column_value
from lots.schema import clean_value
from tastings.models import Descriptor, Infusion, Note, Pot, Session
from tastings.queries.records import MODELS
from tastings.schemas import RECORD_SCHEMAS
from teams.models import DeviceToken, Member, Shop, Team, User
from tests.api.records import TYPES, Place
from tests.factories import LotFactory, ShopFactory, UserFactory, next_revision
from tests.lots.bad_values import FIELD_NAMES, FIELDS, beyond, fitting

# PostgreSQL manual, appendix "Error Codes": string_data_right_truncation and not_null_violation
TOO_LONG, NULL = "22001", "23502"


@pytest.fixture
def place(taster):
    return Place(taster)


@contextmanager
def refused(by):
    """Check that what happens inside is refused by the constraint of this name, or with this error code."""
    try:
        with transaction.atomic():
            yield
            connection.check_constraints()
    except (IntegrityError, DataError) as error:
        diagnostics = error.__cause__.diag
        assert by in (diagnostics.constraint_name, diagnostics.sqlstate)
    else:
        pytest.fail(f"{by} let it in")


@contextmanager
def taken():
    """Check that what happens inside is taken."""
    with transaction.atomic():
        yield
        connection.check_constraints()


def another(row, **fields):
    """Return an unsaved row like this one, with an id, a revision, and a number or key of its own."""
    made = copy.copy(row)
    made.id, made.revision = uuid4(), next_revision(row.team)
    if isinstance(made, Infusion):
        made.number = 7
    if isinstance(made, Descriptor):
        made.key = "another"
    for name, value in fields.items():
        setattr(made, name, value)
    return made


def insert(*rows):
    """Write rows as they are."""
    type(rows[0])._default_manager.bulk_create(rows)


def unfit_in_columns(type_name, field):
    """Return values that only a limit of the field keeps out of its column, each with who is to refuse it."""
    found = [(value, f"{type_name}_{field.name}_range") for value in beyond(field)]
    if field.kind == "number" and field.decimals is None:
        found += [(strange, f"{type_name}_{field.name}_range") for strange in (math.nan, math.inf)]
    if field.kind == "choice":
        found.append(("beer", f"{type_name}_{field.name}_choice"))
    if field.kind == "choice" and field.required:
        found.append(("", f"{type_name}_{field.name}_choice"))
    if field.kind == "text":
        found.append(("é" * (field.longest + 1), TOO_LONG))
        found += [("", f"{type_name}_{field.name}_given")] if field.required and not field.pattern else []
        found += [(bad, f"{type_name}_{field.name}_form") for bad in ("9", "É", "a\n") if field.pattern]
    if field.required:
        found.append((None, NULL))
    return found


@pytest.mark.parametrize(("type_name", "field"), FIELDS, ids=FIELD_NAMES)
def test_field_outside_its_limits_is_refused(place, type_name, field):
    for value, by in unfit_in_columns(type_name, field):
        if len(str(value)) > field.longest and by.endswith("_form"):
            continue
        with refused(by):
            insert(another(getattr(place, type_name), **{column_name(field): value}))


@pytest.mark.parametrize(("type_name", "field"), FIELDS, ids=FIELD_NAMES)
def test_field_at_its_limits_is_taken(place, type_name, field):
    for value in fitting(field):
        with taken():
            stored = column_value(field, clean_value(field, value))
            row = another(getattr(place, type_name), **{column_name(field): stored})
            insert(row)
            type(row)._default_manager.filter(id=row.id).update(removed=True)  # its number or key is free again


@pytest.mark.parametrize(
    ("type_name", "name", "decimals"),
    [(type_name, field.name, field.decimals) for type_name, field in FIELDS if field.decimals is not None],
)
def test_number_is_kept_to_its_decimals(place, type_name, name, decimals):
    row = another(getattr(place, type_name), **{name: 1 + 0.26 * 10**-decimals})
    insert(row)
    row.refresh_from_db()

    assert getattr(row, name) == 1


@pytest.mark.parametrize(
    ("type_name", "low", "high"),
    [(schema.type, low, high) for schema in RECORD_SCHEMAS.values() for low, high in schema.ordered_pairs],
)
def test_pair_out_of_order_is_refused(place, type_name, low, high):
    with refused(f"{type_name}_{low}_up_to_high"):
        insert(another(getattr(place, type_name), **{low: 9, high: 8}))
    for values in ({low: 8, high: 8}, {low: 9, high: None}, {low: None, high: 8}):
        with taken():
            insert(another(getattr(place, type_name), **values))


@pytest.mark.parametrize("type_name", TYPES)
def test_revision_is_once_per_team(place, stranger, type_name):
    row, elsewhere = getattr(place, type_name), getattr(Place(stranger), type_name)

    with refused(f"{type_name}_revision_once"):
        insert(another(row, revision=row.revision))
    with taken():
        insert(another(elsewhere, revision=row.revision + 1000), another(row, revision=row.revision + 1000))


@pytest.mark.parametrize("type_name", TYPES)
def test_id_is_once_over_all_teams(place, stranger, type_name):
    elsewhere = getattr(Place(stranger), type_name)

    with refused(f"{MODELS[type_name]._meta.db_table}_pkey"):
        insert(another(getattr(place, type_name), id=elsewhere.id))


PARENTS = {
    "lot.from_lot": ("lot", "lot_from_own_team"),
    "session.lot": ("lot", "session_lot_of_team"),
    "session.shop": ("shop", "session_shop_of_team"),
    "session.pot": ("pot", "session_pot_of_team"),
    "pot.shop": ("shop", "pot_shop_of_team"),
    "infusion.session": ("session", "infusion_session_of_team"),
    "note.session": ("session", "note_session_of_team"),
}


@pytest.mark.parametrize("reference", PARENTS)
def test_child_of_another_teams_parent_is_refused(place, stranger, reference):
    child, field = reference.split(".")
    parent, constraint = PARENTS[reference]
    elsewhere = Place(stranger)
    foreign = stranger.member.shop_id if parent == "shop" else getattr(elsewhere, parent).id
    alone = {"infusion_id": None} if child == "note" else {}

    for absent_or_foreign in (foreign, uuid4()):
        with refused(constraint):
            insert(another(getattr(place, child), **alone, **{f"{field}_id": absent_or_foreign}))
    own = place.lot.id if reference == "lot.from_lot" else getattr(getattr(place, child), f"{field}_id")
    with taken():
        insert(another(getattr(place, child), **{f"{field}_id": own}))


def test_child_may_come_before_its_parent_in_one_transaction(place):
    session = another(place.session)

    with taken():
        insert(another(place.infusion, session_id=session.id))
        insert(session)


def test_note_on_another_sessions_infusion_is_refused(place, taster):
    other = another(place.session)
    insert(other)

    with refused("note_infusion_of_session"):
        insert(another(place.note, session_id=other.id))
    with refused("note_infusion_of_session"):
        insert(another(place.note, infusion_id=uuid4()))
    with refused("note_infusion_of_session"):  # nor may an infusion leave its notes behind
        Infusion.objects.filter(id=place.infusion.id).update(session_id=other.id)


def test_two_live_infusions_of_a_number_are_refused(place):
    with refused("infusion_number_once"):
        insert(another(place.infusion, number=1))
    with taken():
        insert(another(place.infusion, number=1, removed=True))
    with refused("infusion_number_once"):
        Infusion.objects.update(removed=False)


def test_infusions_may_trade_numbers_in_one_transaction(place):
    second = another(place.infusion, number=2)
    insert(second)

    with taken():
        Infusion.objects.filter(id=second.id).update(number=1)
        Infusion.objects.filter(id=place.infusion.id).update(number=2)


def test_descriptor_key_is_once_among_a_teams_live_words(place, stranger, lexicon):
    with refused("descriptor_key_once_per_team"):
        insert(another(place.descriptor, key=place.descriptor.key))
    with taken():
        insert(another(place.descriptor, key=place.descriptor.key, removed=True))
    with taken():
        insert(another(Place(stranger).descriptor, key=place.descriptor.key))


def test_builtin_key_is_once(lexicon):
    built_in = Descriptor.objects.filter(team=None).first()

    with refused("descriptor_key_once_per_team"):
        insert(another(built_in, key=built_in.key))


def test_descriptor_has_a_team_and_an_author_or_neither(place):
    for lacking in ({"by_id": None}, {"author_id": None}, {"team_id": None}):
        with refused("descriptor_has_author"):
            insert(another(place.descriptor, **lacking))
    with taken():
        insert(another(place.descriptor, by_id=None, author_id=None, team_id=None))


@pytest.mark.parametrize("type_name", ["lot", "infusion", "note"])
def test_records_have_an_author(place, type_name):
    with refused(f"{type_name}_author_given"):
        insert(another(getattr(place, type_name), author_id=None))


def test_open_session_counts_as_shared(place):
    with refused("session_open_is_shared"):
        insert(another(place.session, shared_once=False))
    for shared_once in (False, True):
        with taken():
            insert(another(place.session, private=True, shared_once=shared_once))


@pytest.mark.parametrize(
    ("parent", "by"),
    [("lot", "session_lot_of_team"), ("session", "infusion_session_of_team"), ("infusion", "note_infusion_of_session")],
)
def test_row_that_others_hang_on_cannot_be_deleted(place, parent, by):
    row = getattr(place, parent)

    with refused(by):
        type(row)._default_manager.filter(id=row.id)._raw_delete("default")


def test_people_have_names_and_roles_once(place, taster, owner, stranger):
    team, shop, user = taster.team, taster.member.shop, taster.user

    with refused("team_name_not_blank"):
        insert(Team(name=""))
    with refused("team_revision_counts_up"):
        Team.objects.filter(id=team.id).update(revision=-1)
    with refused("shop_name_not_blank"):
        insert(Shop(team=team, name=""))
    with refused("shop_name_once_per_team"):
        insert(Shop(team=team, name=shop.name))
    with refused("member_once_per_team"):
        insert(Member(team=team, user=user, role="owner"))
    with refused("member_role_known"):
        insert(Member(team=team, user=UserFactory(), role="king"))
    with refused("member_in_own_shop"):
        insert(Member(team=team, user=UserFactory(), role="owner", shop=ShopFactory(team=stranger.team)))
    with refused("user_username_once"):
        insert(User(username=user.username.upper()))
    with refused("teams_devicetoken_digest_key"):
        insert(
            DeviceToken(member=owner.member, device="x", digest=taster.device.digest, expires_at="2030-01-01T00:00Z")
        )


def test_every_table_of_records_is_covered_here():
    assert set(MODELS.values()) == {Lot, Pot, Session, Infusion, Note, Descriptor}
    assert {model.schema for model in MODELS.values()} == set(RECORD_SCHEMAS.values())


def test_from_lot_may_be_a_lot_of_the_same_push(taster):
    sample = another(LotFactory(team=taster.team, by=taster.user))

    with taken():
        insert(another(sample, from_lot_id=sample.id), sample)
