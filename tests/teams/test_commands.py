"""The commands that a script runs beside the server: new team, new member, word list."""

import io
import json
from uuid import UUID, uuid4

import pytest
from django.core.management import CommandError, call_command

from tastings.models import Descriptor
from teams.models import Member, Role, Shop, Team, User
from tests.api.test_people import sign_in
from tests.factories import ShopFactory, TeamFactory

PASSWORD = "two leaves and a bud"


@pytest.fixture
def _password(monkeypatch):
    monkeypatch.setenv("LEAFSPAN_PASSWORD", PASSWORD)


def run(command, **options):
    """Return the one JSON line that a command prints."""
    out = io.StringIO()
    call_command(command, stdout=out, **options)
    [line] = out.getvalue().splitlines()
    return json.loads(line)


def new_team(**options):
    return run("new_team", **{"name": "Kettle & Lid", "shop": "Old Lane", "username": "Lin"} | options)


def new_member(to, **options):
    return run("new_member", **{"team": str(to.id), "shop": "Old Lane", "username": "Ode", "role": "taster"} | options)


@pytest.mark.usefixtures("_password")
def test_new_team_has_a_shop_and_an_owner_who_can_sign_in(db):
    ids = new_team()

    member = Member.objects.get()
    assert ids == {"team": str(member.team_id), "shop": str(member.shop_id), "user": str(member.user_id)}
    assert (member.team.name, member.shop.name, member.user.username, member.role) == (
        "Kettle & Lid", "Old Lane", "Lin", Role.OWNER,
    )  # fmt: skip
    assert member.shop.team == member.team
    assert sign_in(username="lin").json()["team"] == ids["team"]
    assert PASSWORD not in member.user.password


@pytest.mark.usefixtures("_password")
def test_new_team_of_a_known_login_asks_for_its_own_password(db, monkeypatch):
    first, second = new_team(), new_team(name="Second", username="LIN")
    monkeypatch.setenv("LEAFSPAN_PASSWORD", "some other words")

    assert (first["user"], first["team"] != second["team"]) == (second["user"], True)
    with pytest.raises(CommandError, match=r"username: .*taken"):
        new_team(name="Third")
    assert Team.objects.count() == 2


@pytest.mark.parametrize("password", [None, ""])
def test_commands_need_a_password(team, monkeypatch, password):
    monkeypatch.delenv("LEAFSPAN_PASSWORD", raising=False)
    if password is not None:
        monkeypatch.setenv("LEAFSPAN_PASSWORD", password)
    for call in (new_team, lambda: new_member(team)):
        with pytest.raises(CommandError, match="LEAFSPAN_PASSWORD"):
            call()
    assert (Team.objects.count(), User.objects.count()) == (1, 0)


@pytest.mark.parametrize("password", ["short", "password", "lin-lin-lin"])
def test_commands_refuse_a_weak_password(team, monkeypatch, password):
    monkeypatch.setenv("LEAFSPAN_PASSWORD", password)
    for call in (lambda: new_team(username="lin-lin-li"), lambda: new_member(team, username="lin-lin-li")):
        with pytest.raises(CommandError, match="password: "):
            call()
    assert (Team.objects.count(), User.objects.count(), Shop.objects.count()) == (1, 0, 0)


@pytest.mark.usefixtures("_password")
@pytest.mark.parametrize(
    "options",
    [{"name": " "}, {"name": "x" * 121}, {"shop": ""}, {"shop": "x" * 121}, {"username": ""}, {"username": "x" * 81},
     {"username": "a\x00b"}, {"name": "\ud800"}],
)  # fmt: skip
def test_new_team_refuses_invalid_names(db, options):
    with pytest.raises(CommandError, match=f"^{next(iter(options))}: "):
        new_team(**options)
    assert (Team.objects.count(), User.objects.count(), Shop.objects.count()) == (0, 0, 0)


@pytest.mark.usefixtures("_password")
@pytest.mark.parametrize("role", Role.values)
@pytest.mark.parametrize("named", ["id", "name", "new"])
def test_new_member_is_added_to_a_shop(team, role, named):
    shop = ShopFactory(team=team, name="Old Lane")
    ids = new_member(team, role=role, shop={"id": str(shop.id), "name": "Old Lane", "new": "New Lane"}[named])

    member = Member.objects.get()
    assert ids == {"team": str(team.id), "shop": str(member.shop_id), "user": str(member.user_id)}
    assert (member.role, member.shop.name, member.shop.team) == (
        role,
        "New Lane" if named == "new" else "Old Lane",
        team,
    )
    assert sign_in(username="Ode").json()["role"] == role


@pytest.mark.usefixtures("_password")
def test_new_member_finds_the_team_by_its_name(team):
    assert new_member(team, team=team.name)["team"] == str(team.id)


@pytest.mark.usefixtures("_password")
def test_new_member_of_an_unknown_or_unclear_team_is_refused(team):
    TeamFactory(name="Twice")
    TeamFactory(name="Twice")
    for name in ("Nowhere", "Twice", str(uuid4())):
        with pytest.raises(CommandError, match=name):
            new_member(team, team=name)
    assert Member.objects.count() == 0


@pytest.mark.usefixtures("_password")
def test_new_member_twice_is_refused_and_once_more_after_leaving(team):
    first = new_member(team)
    with pytest.raises(CommandError, match="already a member"):
        new_member(team)
    Member.objects.update(left_at="2026-01-01T00:00Z")

    assert new_member(team, role="buyer") == first
    assert Member.objects.values_list("role", "left_at").get() == ("buyer", None)


@pytest.mark.usefixtures("_password")
def test_new_member_refuses_an_unknown_role(team):
    with pytest.raises(CommandError, match="king"):
        call_command("new_member", "--team", str(team.id), "--shop", "x", "--username", "Ode", "--role", "king")


def test_load_lexicon_fills_an_empty_list_and_then_finds_it_full(db):
    first, second = io.StringIO(), io.StringIO()
    call_command("load_lexicon", stdout=first)
    before = list(Descriptor.objects.order_by("id").values())
    call_command("load_lexicon", stdout=second)

    assert first.getvalue() == f"{len(before)} descriptors stored\n"
    assert len(before) > 100
    assert second.getvalue() == ""
    assert list(Descriptor.objects.order_by("id").values()) == before


def test_load_lexicon_mends_what_differs_and_keeps_what_left_the_list(lexicon, taster):
    own = Descriptor.objects.create(
        id=uuid4(), team=taster.team, by=taster.user, author=taster.user, key="own_word", label="own", revision=1,
        created_at="2026-01-01T00:00Z", updated_at="2026-01-01T00:00Z",
    )  # fmt: skip
    Descriptor.objects.filter(team=None, key="body").update(label="changed", removed=True)
    old = Descriptor.objects.create(
        id=UUID(int=7), key="left_the_list", label="left", revision=1,
        created_at="2026-01-01T00:00Z", updated_at="2026-01-01T00:00Z",
    )  # fmt: skip
    out = io.StringIO()
    call_command("load_lexicon", stdout=out)

    body = Descriptor.objects.get(team=None, key="body")
    old.refresh_from_db()
    own.refresh_from_db()
    assert out.getvalue() == "2 descriptors stored\n"
    assert (body.label != "changed", body.removed, body.revision) == (True, False, 2)
    assert (old.removed, own.removed, own.label) == (True, False, "own")
