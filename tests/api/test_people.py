"""Signing in and out, who the caller is, shops and members."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest

from teams.models import DeviceToken, Role, Shop
from tests.api.phone import NEW_RECORD, change, pulled_records, sync
from tests.api.problems import named, refusal
from tests.factories import DeviceTokenFactory, MemberFactory, ShopFactory, TeamFactory, UserFactory, person, phone

PASSWORD = "two leaves and a bud"
TOKENS = "/api/v1/auth/tokens"


def sign_in(client=None, **fields):
    return (client or phone()).post(TOKENS, {"password": PASSWORD, "device": "phone", **fields})


@pytest.fixture
def member(team):
    return MemberFactory(team=team, user=UserFactory(username="Lin", password=PASSWORD), role=Role.BUYER)


def test_sign_in_gives_a_token_that_signs_requests(member):
    before = datetime.now(UTC)
    response = sign_in(username="Lin")
    made = response.json()

    assert response.status_code == 201
    assert response["Cache-Control"] == "no-store"
    assert made == {
        "token": made["token"],
        "expires_at": made["expires_at"],
        "must_sign_in_by": made["must_sign_in_by"],
        "user": str(member.user_id),
        "team": str(member.team_id),
        "shop": str(member.shop_id),
        "role": "buyer",
    }
    assert datetime.fromisoformat(made["expires_at"]) > before
    me = phone(made["token"]).get("/api/v1/me").json()
    assert me == {
        "user": str(member.user_id),
        "name": "Lin",
        "username": "Lin",
        "email": "",
        "email_verified": False,
        "team": {"id": str(member.team_id), "name": member.team.name},
        "shop": {"id": str(member.shop_id), "name": member.shop.name, "usual_pot": None},
        "role": "buyer",
        "teams": [{"id": str(member.team_id), "name": member.team.name, "role": "buyer"}],
        "token": {"id": me["token"]["id"], **{name: made[name] for name in ("expires_at", "must_sign_in_by")}},
    }


def test_sign_in_stores_no_plain_token(member):
    token = sign_in(username="Lin").json()["token"]

    stored = DeviceToken.objects.values().get()
    assert token not in map(str, stored.values())


def test_sign_in_name_is_found_without_regard_to_case(member):
    assert sign_in(username="lIN").status_code == 201


def test_sign_in_ignores_an_expired_token(member):
    assert sign_in(phone("ended"), username="Lin").status_code == 201


def test_sign_in_gives_one_refusal_for_any_wrong_name_or_password(member):
    UserFactory(username="Placeless", password=PASSWORD)
    MemberFactory(team=member.team, user=UserFactory(username="Gone", password=PASSWORD, is_active=False))
    MemberFactory(team=member.team, user=UserFactory(username="Left", password=PASSWORD), left_at=datetime.now(UTC))
    answers = [
        sign_in(username="Lin", password="wrong"),
        sign_in(username="nobody"),
        sign_in(username="Placeless"),
        sign_in(username="Gone"),
        sign_in(username="Left"),
    ]

    assert [refusal(answer) for answer in answers] == [(401, "not-signed-in", set())] * 5
    assert len({answer.content for answer in answers}) == 1
    assert {answer["WWW-Authenticate"] for answer in answers} == {"Bearer"}


@pytest.mark.parametrize(
    ("sent", "problems"),
    [
        ({"device": None}, {("device", "required")}),
        ({"device": ""}, {("device", "required")}),
        ({"device": "  "}, {("device", "required")}),
        ({"device": "x" * 201}, {("device", "too_long")}),
        ({"device": "a\x00b"}, {("device", "characters")}),
        (
            {"username": None, "password": None, "device": None},
            {(n, "required") for n in ("username", "password", "device")},
        ),
        ({"username": 7}, {("username", "type")}),
        ({"username": "\ud800"}, {("username", "characters")}),
        ({"password": "x" * 1001}, {("password", "too_long")}),
        ({"team": "here"}, {("team", "id")}),
    ],
)
def test_sign_in_names_every_bad_field(member, sent, problems):
    assert refusal(sign_in(**{"username": "Lin", **sent})) == (422, "invalid", problems)
    assert not DeviceToken.objects.exists()


def test_sign_in_to_either_of_two_teams(member):
    other = MemberFactory(team=TeamFactory(name="Second"), user=member.user, role=Role.OWNER)
    named_teams = [{"team": str(member.team_id)}, {"team": str(other.team_id)}, {}]
    first, second, unnamed = (sign_in(username="Lin", **named_team) for named_team in named_teams)
    elsewhere = sign_in(username="Lin", team=str(TeamFactory().id))

    assert [(a.json()["team"], a.json()["role"]) for a in (first, second, unnamed)] == [
        (str(member.team_id), "buyer"),
        (str(other.team_id), "owner"),
        (str(member.team_id), "buyer"),
    ]
    assert [place["name"] for place in phone(second.json()["token"]).get("/api/v1/me").json()["teams"]] == [
        member.team.name,
        "Second",
    ]
    assert refusal(elsewhere) == (401, "not-signed-in", set())


@pytest.mark.parametrize(
    ("header", "type_name"),
    [
        (None, "not-authenticated"),
        ("Basic bGluOng=", "not-authenticated"),
        ("Bearer", "authentication-failed"),
        ("Bearer wrong", "authentication-failed"),
        ("Bearer \xff", "authentication-failed"),
    ],
)
def test_request_without_a_valid_token_is_challenged(db, header, type_name):
    client = phone()
    if header:
        client.credentials(HTTP_AUTHORIZATION=header)
    response = client.get("/api/v1/me")

    assert refusal(response) == (401, type_name, set())
    assert response["WWW-Authenticate"] == "Bearer"


def test_expired_token_is_challenged(taster):
    DeviceToken.objects.update(expires_at=datetime.now(UTC) - timedelta(seconds=1))
    response = taster.client.get("/api/v1/me")

    assert refusal(response) == (401, "authentication-failed", set())
    assert response["WWW-Authenticate"] == "Bearer"


@pytest.mark.parametrize("ended", ["left", "inactive"])
def test_token_is_invalid_once_its_member_left(taster, ended):
    if ended == "left":
        type(taster.member).objects.update(left_at=datetime.now(UTC))
    else:
        type(taster.user).objects.update(is_active=False)

    assert taster.client.get("/api/v1/me").status_code == 401


def test_tokens_lists_own_devices_newest_first(taster, owner):
    DeviceTokenFactory(member=taster.member, device="ended", expires_at=datetime.now(UTC))
    scale = DeviceTokenFactory(member=taster.member, device="scale")
    answer = taster.client.get(TOKENS).json()

    assert answer["next"] is None
    assert [(one["id"], one["device"], one["current"]) for one in answer["results"]] == [
        (str(scale.id), "scale", False),
        (str(taster.device.id), "phone", True),
    ]
    assert answer["results"][0].keys() == {
        "id", "device", "created_at", "expires_at", "must_sign_in_by", "last_used_at", "current",
    }  # fmt: skip
    assert (answer["results"][0]["last_used_at"], answer["results"][1]["last_used_at"] is None) == (None, False)


def test_token_is_signed_out_at_once(taster):
    lost = DeviceTokenFactory(member=taster.member, token="lost phone")
    client = phone("lost phone")
    before = client.get("/api/v1/me").status_code
    deleted = taster.client.delete(f"{TOKENS}/{lost.id}").status_code

    assert (before, deleted, client.get("/api/v1/me").status_code) == (200, 204, 401)
    assert taster.client.get("/api/v1/me").status_code == 200


def test_token_current_is_signed_out_at_once(taster):
    assert (taster.client.delete(f"{TOKENS}/current").status_code, taster.client.get("/api/v1/me").status_code) == (
        204,
        401,
    )


def test_token_of_another_login_cannot_be_deleted(taster, owner):
    answers = [taster.client.delete(f"{TOKENS}/{which}") for which in (owner.device.id, uuid4(), "no-id")]

    assert [refusal(answer) for answer in answers] == [(404, "not-here", set())] * 3
    assert len({answer.content for answer in answers}) == 1
    assert owner.client.get("/api/v1/me").status_code == 200


def test_viewer_reads_but_does_not_write(viewer, taster):
    lot = {"id": str(uuid4()), **NEW_RECORD["lot"]}
    taster.client.post("/api/v1/lots/", lot)
    address = f"/api/v1/lots/{lot['id']}/"
    pushed = sync(viewer.client, [change("lot", **NEW_RECORD["lot"])])

    assert viewer.client.get(address).json()["name"] == lot["name"]
    assert [change["id"] for change in pulled_records(pushed["changes"])] == [lot["id"]]
    assert [(v["verdict"], named(v)) for v in pushed["verdicts"]] == [("refused", {("", "not_allowed")})]
    for answer in (
        viewer.client.post("/api/v1/lots/", {"id": str(uuid4()), **NEW_RECORD["lot"]}),
        viewer.client.patch(address, {"name": "mine"}),
        viewer.client.delete(address),
    ):
        assert refusal(answer) == (403, "not-allowed", {("", "not_allowed")})
    assert viewer.client.get("/api/v1/lots/").json()["results"] == [viewer.client.get(address).json()]


@pytest.mark.parametrize(("role", "may"), [("owner", True), ("buyer", False), ("taster", False), ("viewer", False)])
def test_shops_are_changed_by_owners_only(team, role, may):
    someone, shop = person(team, role), ShopFactory(team=team, name="Old Lane")
    opened = someone.client.post("/api/v1/shops/", {"name": " New Lane "})
    renamed = someone.client.patch(f"/api/v1/shops/{shop.id}/", {"name": "Old Street"})

    names = set(Shop.objects.filter(team=team).values_list("name", flat=True)) - {someone.member.shop.name}
    if may:
        assert opened.status_code == 201
        assert opened.json() == {"id": opened.json()["id"], "name": "New Lane", "usual_pot": None}
        assert (renamed.status_code, renamed.json()) == (
            200,
            {"id": str(shop.id), "name": "Old Street", "usual_pot": None},
        )
        assert names == {"New Lane", "Old Street"}
    else:
        assert refusal(opened) == refusal(renamed) == (403, "not-allowed", set())
        assert names == {"Old Lane"}


@pytest.mark.parametrize(
    ("name", "code"),
    [(None, "required"), (5, "type"), (" ", "required"), ("x" * 121, "too_long"), ("a\x00", "characters"),
     ("\udfff", "characters"), ("Taken", "taken")],
)  # fmt: skip
def test_invalid_shop_name_is_refused(owner, name, code):
    shop, _ = ShopFactory(team=owner.team, name="Old Lane"), ShopFactory(team=owner.team, name="Taken")
    opened = owner.client.post("/api/v1/shops/", {"name": name})
    renamed = owner.client.patch(f"/api/v1/shops/{shop.id}/", {"name": name})

    assert refusal(opened) == refusal(renamed) == (422, "invalid", {("name", code)})
    assert Shop.objects.filter(team=owner.team).count() == 3


def test_names_are_compared_in_one_form_of_unicode(owner):
    composed, decomposed = "Caf\u00e9 Lane", "Cafe\u0301 Lane"
    assert owner.client.post("/api/v1/shops/", {"name": composed}).status_code == 201

    again = owner.client.post("/api/v1/shops/", {"name": decomposed})

    assert [(one["field"], one["code"]) for one in again.json()["problems"]] == [("name", "taken")]


def test_shop_name_may_be_that_of_another_team(owner, stranger):
    ShopFactory(team=stranger.team, name="Old Lane")

    assert owner.client.post("/api/v1/shops/", {"name": "Old Lane"}).status_code == 201


@pytest.mark.parametrize("more", [0, 2])
def test_shops_are_listed_by_name_in_three_queries(taster, stranger, more, django_assert_num_queries):
    made = [ShopFactory(team=taster.team, name=f"A {9 - n}") for n in range(more)]
    taster.client.get("/api/v1/me")  # notes when the device last spoke
    with django_assert_num_queries(3):  # whose team; the token with its member; the shops
        answer = taster.client.get("/api/v1/shops/").json()

    found = sorted([*made, taster.member.shop], key=lambda shop: shop.name)
    shops = [{"id": str(shop.id), "name": shop.name, "usual_pot": None} for shop in found]
    assert answer == {"results": shops, "next": None}


@pytest.mark.parametrize("more", [0, 2])
def test_members_are_listed_in_three_queries(taster, stranger, more, django_assert_num_queries):
    others = [MemberFactory(team=taster.team, left_at=datetime.now(UTC)) for _ in range(more)]
    taster.client.get("/api/v1/me")
    with django_assert_num_queries(3):  # whose team; the token with its member; the members with their logins
        answer = taster.client.get("/api/v1/members/").json()

    assert [(one["id"], one["role"], one["left_at"] is None) for one in answer["results"]] == [
        (str(member.user_id), "taster", member.left_at is None) for member in (taster.member, *others)
    ]
    one = taster.client.get(f"/api/v1/members/{taster.user.id}/").json()
    assert one == answer["results"][0]
    assert one.keys() == {"id", "name", "username", "role", "shop", "joined_at", "left_at"}


@pytest.mark.parametrize("address", ["me", "shops/", "members/", "auth/tokens", "shops/{shop}/", "members/{user}/"])
def test_unchanged_answer_is_304(taster, address):
    address = "/api/v1/" + address.format(shop=taster.member.shop_id, user=taster.user.id)
    taster.client.get(address)
    first = taster.client.get(address)
    again = taster.client.get(address, HTTP_IF_NONE_MATCH=first["ETag"])

    assert (first.status_code, again.status_code, again.content) == (200, 304, b"")
    assert first["Cache-Control"] == "private, no-cache"
