"""One-time links into a team: who may make them, what they open, and that they open it once."""

from datetime import UTC, datetime, timedelta
from threading import Barrier, Thread
from uuid import uuid4

import pytest
from django.db import connections
from django.test import Client

from api.http.requests import HEADER
from teams.models import AuditEntry, Invitation, Member, Role, User
from tests.api.problems import refusal
from tests.factories import MemberFactory, UserFactory, phone

ADDRESS, ACCEPT = "/api/v1/invitations/", "/api/v1/invitations/accept"
PASSWORD = "two leaves and a bud"


def made(owner, **fields):
    sent = {"role": "taster", "shop": str(owner.member.shop_id), **fields}
    answer = owner.client.post(ADDRESS, sent)
    assert answer.status_code == 201, answer.json()
    return answer.json()


def accept(token, client=None, **fields):
    sent = {"token": token, "username": "Mei", "password": PASSWORD, **fields}
    return (client or phone()).post(ACCEPT, sent)


def error_text(answer):
    return answer.status_code, {k: v for k, v in answer.items() if k != HEADER}, answer.content


def test_owner_invites_and_a_new_login_joins(owner):
    invitation = made(owner)
    answer = accept(invitation["token"], device="Mei's phone")
    joined = answer.json()

    member = Member.objects.get(user__username="Mei")
    assert invitation == {
        "id": invitation["id"], "role": "taster", "shop": str(owner.member.shop_id), "by": str(owner.user.id),
        "state": "open", "created_at": invitation["created_at"], "expires_at": invitation["expires_at"],
        "used_by": None, "token": invitation["token"], "link": f"http://testserver/join/{invitation['token']}/",
    }  # fmt: skip
    assert (answer.status_code, answer["Cache-Control"]) == (201, "no-store")
    assert (member.team, member.shop, member.role) == (owner.team, owner.member.shop, "taster")
    assert {name: joined[name] for name in ("user", "team", "shop", "role")} == {
        "user": str(member.user_id), "team": str(owner.team.id), "shop": str(member.shop_id), "role": "taster",
    }  # fmt: skip
    assert phone(joined["token"]).get("/api/v1/me").json()["username"] == "Mei"
    listed = owner.client.get(ADDRESS).json()["results"]
    assert [(one["id"], one["state"], one["used_by"]) for one in listed] == [
        (invitation["id"], "used", str(member.user_id))
    ]
    assert list(AuditEntry.objects.order_by("at").values_list("what", "who")) == [
        ("invitation", owner.user.id), ("joined", member.user_id),
    ]  # fmt: skip


def test_joining_without_a_device_signs_nobody_in(owner):
    joined = accept(made(owner)["token"]).json()

    assert (joined["token"], joined["expires_at"]) == (None, None)
    assert not Member.objects.get(user__username="Mei").tokens.exists()


def test_invitation_token_is_not_stored(owner):
    token = made(owner)["token"]

    assert token not in map(str, Invitation.objects.values().get().values())
    assert token not in owner.client.get(ADDRESS).content.decode()
    assert token not in "".join(str(about) for about in AuditEntry.objects.values_list("about", flat=True))


def test_used_expired_revoked_and_unknown_links_look_the_same(owner):
    used, ended, revoked = (made(owner) for _ in range(3))
    assert accept(used["token"]).status_code == 201
    Invitation.objects.filter(id=ended["id"]).update(expires_at=datetime.now(UTC))
    assert owner.client.delete(f"{ADDRESS}{revoked['id']}/").status_code == 204
    tokens = [used["token"], ended["token"], revoked["token"], "never-made"]
    by_api = [accept(token, username="Bo") for token in tokens]
    pages = [getattr(Client(), method)(f"/join/{token}/") for token in tokens for method in ("get", "post")]

    assert [refusal(answer) for answer in by_api] == [(404, "not-here", set())] * 4
    assert [error_text(answer) for answer in by_api] == [error_text(by_api[0])] * 4
    assert [answer.status_code for answer in pages] == [404] * 8
    assert len({answer.content for answer in pages}) == 1
    assert not User.objects.filter(username="Bo").exists()
    states = {one["id"]: one["state"] for one in owner.client.get(ADDRESS).json()["results"]}
    assert states == {used["id"]: "used", ended["id"]: "expired", revoked["id"]: "revoked"}


def test_a_known_login_joins_with_its_own_password_and_keeps_its_other_team(owner, stranger):
    mei = UserFactory(username="Mei", password=PASSWORD)
    MemberFactory(team=stranger.team, user=mei, role=Role.VIEWER)
    token = made(owner, role="buyer")["token"]
    wrong = accept(token, password="wrong")
    right = accept(token, username="mEI", device="phone")

    assert refusal(wrong) == (401, "not-signed-in", set())
    assert right.status_code == 201
    assert {place["role"] for place in phone(right.json()["token"]).get("/api/v1/me").json()["teams"]} == {
        "viewer", "buyer",
    }  # fmt: skip
    assert User.objects.filter(username__iexact="mei").count() == 1


def test_existing_requires_a_new_or_a_known_login(owner):
    UserFactory(username="Lin", password=PASSWORD)
    token = made(owner)["token"]

    assert refusal(accept(token, username="Lin", existing=False)) == (422, "invalid", {("username", "taken")})
    assert refusal(accept(token, username="Lim", existing=True)) == (401, "not-signed-in", set())
    assert not User.objects.filter(username="Lim").exists()


@pytest.mark.parametrize(
    ("sent", "problems"),
    [
        ({"password": "short"}, {("password", "weak")}),
        ({"password": "password"}, {("password", "weak")}),
        ({"username": "x" * 81}, {("username", "too_long")}),
        ({"username": " "}, {("username", "required")}),
        ({"username": None, "password": 5}, {("username", "required"), ("password", "type")}),
        ({"device": "x" * 201}, {("device", "too_long")}),
        ({"existing": "yes"}, {("existing", "type")}),
        ({"role": "owner"}, {("role", "unknown_field")}),
    ],
)
def test_invalid_acceptance_leaves_the_invitation_open(owner, sent, problems):
    token = made(owner)["token"]

    assert refusal(accept(token, **sent)) == (422, "invalid", problems)
    assert (Member.objects.count(), accept(token).status_code) == (1, 201)


def test_member_cannot_join_twice_and_former_member_returns(owner):
    mei = MemberFactory(team=owner.team, user=UserFactory(username="Mei", password=PASSWORD), role=Role.BUYER)
    token = made(owner, role="viewer")["token"]
    there = accept(token)
    Member.objects.filter(id=mei.id).update(left_at=datetime.now(UTC))
    back = accept(token)

    assert refusal(there) == (422, "invalid", {("username", "taken")})
    assert back.status_code == 201
    assert Member.objects.filter(id=mei.id).values_list("role", "left_at").get() == ("viewer", None)


@pytest.mark.parametrize("role", ["buyer", "taster", "viewer"])
def test_only_owners_invite(owner, role, request):
    someone = request.getfixturevalue(role)
    invitation = made(owner)
    answers = [
        someone.client.get(ADDRESS),
        someone.client.post(ADDRESS, {"role": "owner", "shop": str(owner.member.shop_id)}),
        someone.client.delete(f"{ADDRESS}{invitation['id']}/"),
    ]

    assert [refusal(answer) for answer in answers] == [(403, "not-allowed", set())] * 3
    assert Invitation.objects.values_list("revoked_at", flat=True).get() is None


@pytest.mark.parametrize(
    ("sent", "problems"),
    [
        ({"role": "king"}, {("role", "choice")}),
        ({"role": None}, {("role", "required")}),
        ({"shop": str(uuid4())}, {("shop", "unknown_parent")}),
        ({"shop": "here"}, {("shop", "id")}),
        ({"expires_at": "2026-01-01T00:00:00Z"}, {("expires_at", "range")}),
        ({"expires_at": "soon"}, {("expires_at", "moment")}),
        ({"expires_at": "2026-01-01T00:00:00"}, {("expires_at", "moment")}),
        ({"team": str(uuid4())}, {("team", "unknown_field")}),
    ],
)
def test_invalid_invitation_is_refused(owner, sent, problems):
    answer = owner.client.post(ADDRESS, {"role": "taster", "shop": str(owner.member.shop_id), **sent})

    assert refusal(answer) == (422, "invalid", problems)
    assert not Invitation.objects.exists()


def test_invitation_into_the_shop_of_another_team_is_refused_as_into_none(owner, stranger):
    answer = owner.client.post(ADDRESS, {"role": "taster", "shop": str(stranger.member.shop_id)})

    assert refusal(answer) == (422, "invalid", {("shop", "unknown_parent")})


def test_invitation_expires_as_requested_and_within_a_month(owner):
    def moment(days):
        return (datetime.now(UTC) + timedelta(days=days)).isoformat()

    usual, short = made(owner), made(owner, expires_at=moment(1))
    far = owner.client.post(ADDRESS, {"role": "taster", "shop": usual["shop"], "expires_at": moment(31)})

    assert datetime.fromisoformat(usual["expires_at"]) - datetime.fromisoformat(usual["created_at"]) == timedelta(7)
    assert datetime.fromisoformat(short["expires_at"]) < datetime.fromisoformat(usual["expires_at"])
    assert refusal(far) == (422, "invalid", {("expires_at", "range")})


def test_used_invitation_cannot_be_revoked_and_revoking_twice_is_allowed(owner):
    used, revoked = made(owner), made(owner)
    accept(used["token"])
    deletes = [owner.client.delete(f"{ADDRESS}{one['id']}/").status_code for one in (used, revoked, revoked)]

    assert deletes == [404, 204, 204]
    assert AuditEntry.objects.filter(what="invitation_revoked").count() == 1


def test_invitations_by_a_removed_member_are_revoked(owner, team):
    second = MemberFactory(team=team, role=Role.OWNER)
    invitation = made(owner)
    Invitation.objects.update(by=second.user)
    assert owner.client.delete(f"/api/v1/members/{second.user_id}/").status_code == 204

    assert accept(invitation["token"]).status_code == 404


@pytest.mark.parametrize("rows", [1, 3])
def test_invitations_are_listed_newest_first_in_pages_and_three_queries(owner, rows, django_assert_num_queries):
    ids = [made(owner)["id"] for _ in range(rows)]
    owner.client.get("/api/v1/me")
    with django_assert_num_queries(3):  # whose team; the token with its member; the invitations
        listed = owner.client.get(ADDRESS).json()
    pages, address = [], f"{ADDRESS}?limit=1"
    while address:
        page = owner.client.get(address).json()
        pages += [one["id"] for one in page["results"]]
        address = page["next"]

    assert [one["id"] for one in listed["results"]] == pages == ids[::-1]


def test_join_page_shows_the_invitation_and_signs_in(owner):
    browser, link = Client(enforce_csrf_checks=True), made(owner, role="viewer")["link"]
    shown = browser.get(link)
    sent = {"username": "Mei", "password": PASSWORD, "csrfmiddlewaretoken": browser.cookies["csrftoken"].value}
    weak = browser.post(link, {**sent, "password": "short"})
    entered = browser.post(link, sent)

    page = shown.content.decode()
    assert (shown.status_code, shown["Cache-Control"], shown["X-Robots-Tag"]) == (200, "no-store", "noindex")
    assert "Join Kettle &amp; Lid" in page
    assert "Role: viewer" in page
    assert "too short" in weak.content.decode()
    assert (entered.status_code, entered["Location"]) == (302, "/lots/")
    assert browser.get("/lots/").status_code == 200
    assert (browser.get(link).status_code, Client().get(link).status_code) == (404, 404)
    assert Client(enforce_csrf_checks=True).post(link, sent).status_code == 403


def test_join_page_shows_errors_of_a_known_login(owner):
    UserFactory(username="Mei", password=PASSWORD)
    link = made(owner)["link"]
    wrong = Client().post(link, {"username": "Mei", "password": "wrong", "existing": "on"})
    taken = Client().post(link, {"username": "Mei", "password": PASSWORD})
    right = Client().post(link, {"username": "Mei", "password": PASSWORD, "existing": "on"})

    assert "User name or password is wrong" in wrong.content.decode()
    assert "This name is taken" in taken.content.decode()
    assert right.status_code == 302


@pytest.mark.django_db(transaction=True)
def test_of_two_simultaneous_acceptances_one_succeeds(owner):
    token, together, codes = made(owner)["token"], Barrier(2, timeout=60), []

    def come_in(name):
        together.wait()
        codes.append(accept(token, username=name).status_code)
        connections.close_all()

    threads = [Thread(target=come_in, args=[name]) for name in ("Mei", "Bo")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(codes) == [201, 404]
    assert Member.objects.filter(team=owner.team).count() == 2
    assert User.objects.filter(username__in=["Mei", "Bo"]).count() == 1


@pytest.mark.parametrize(
    "name",
    [
        "mei\u200b",
        "\u202emei",
        "\uff4dei",
        "m\u00adei",
        "mei\u3164",
        "mei  b",
        "\U0001d426ei",
        "m\u0435i",
        "mei\u2010b",
    ],
)
def test_name_that_passes_for_anothers_is_refused(owner, name):
    UserFactory(username="mei")
    invitation = made(owner)

    assert refusal(accept(invitation["token"], username=name)) == (422, "invalid", {("username", "pattern")})
    assert accept(invitation["token"], username="Zo\u00eb 梅").status_code == 201
