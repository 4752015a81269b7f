"""A phone is signed in by a code that a signed-in member makes: once, within five minutes, at a limited rate."""

from datetime import timedelta
from threading import Barrier, Thread

import pytest
from django.db import connections
from django.test import Client
from django.utils import timezone

from teams.actions.clean_up import delete_expired
from teams.actions.login_throttle import Caller
from teams.actions.sign_in_codes import (
    ALPHABET,
    CODE_LIFETIME,
    LENGTH,
    OVER_ALL,
    PER_CLIENT,
    create_sign_in_code,
    sign_in_by_code,
)
from teams.errors import NotSignedIn, Throttled
from teams.models import AttemptCount, AuditEntry, DeviceToken, Role, SignInCode
from tests.api.problems import refusal
from tests.factories import NOON, MemberFactory, UserFactory, person, phone

pytestmark = pytest.mark.django_db
CODES, TOKENS, FROM_SESSION = "/api/v1/auth/codes", "/api/v1/auth/tokens", "/api/v1/auth/tokens/from-session"
PASSWORD = "two leaves and a bud"


def use(code, **other):
    return phone().post(TOKENS, {"code": code, "device": "new phone", **other})


def attempt(code, *, now=NOON, at="192.0.2.7", device=""):
    """Return what an attempt comes to: the token, wrong, or the seconds to wait."""
    try:
        token, _ = sign_in_by_code(code, device="phone", caller=Caller(address=at, device=device), now=now)
    except NotSignedIn:
        return "wrong"
    except Throttled as refused:
        return refused.wait_s
    return token


def test_code_signs_a_phone_in_as_the_member_who_made_it(taster):
    made = taster.client.post(CODES)
    answer = use(made.json()["code"])
    signed_in = answer.json()
    me = phone(signed_in["token"]).get("/api/v1/me").json()

    assert (made.status_code, made["Cache-Control"]) == (201, "no-store")
    assert made.json()["url"] == f"http://testserver/table/#code={made.json()['code']}"
    assert answer.status_code == 201
    assert (signed_in["user"], signed_in["team"], signed_in["role"]) == (
        str(taster.user.id), str(taster.team.id), "taster",
    )  # fmt: skip
    assert me["user"] == str(taster.user.id)
    events = AuditEntry.objects.filter(team=taster.team, who=taster.user).values_list("what", "about")
    assert dict(events) == {"sign_in_code": {}, "sign_in": {"device": "new phone", "address": "127.0.0.1"}}


def test_code_works_once(taster):
    code = taster.client.post(CODES).json()["code"]

    assert (use(code).status_code, refusal(use(code))) == (201, (401, "not-signed-in", set()))
    assert DeviceToken.objects.filter(device="new phone").count() == 1


@pytest.mark.parametrize(("after", "outcome"), [(timedelta(seconds=299), True), (CODE_LIFETIME, False)])
def test_code_works_for_five_minutes(taster, after, outcome):
    code, expires_at = create_sign_in_code(taster.member, now=NOON)

    assert expires_at == NOON + timedelta(minutes=5)
    assert (attempt(code, now=NOON + after) != "wrong") is outcome


def test_second_code_ends_the_first(taster, buyer):
    first, second = (taster.client.post(CODES).json()["code"] for _ in range(2))
    other = buyer.client.post(CODES).json()["code"]

    assert [use(code).status_code for code in (first, second, other)] == [401, 201, 201]


@pytest.mark.parametrize("typed", ["{} {}", "{}{}", "{}-{}", " {}\u2013{} "])
def test_how_a_code_is_typed_does_not_matter(taster, typed):
    code = taster.client.post(CODES).json()["code"].lower()
    misread = code.replace("0", "o").replace("1", "l")

    assert use(typed.format(*misread.split("-"))).status_code == 201


def test_codes_are_random_and_stored_as_a_keyed_digest(taster, settings):
    codes = [create_sign_in_code(taster.member, now=NOON)[0] for _ in range(40)]
    with_this_key = SignInCode.objects.get().digest
    settings.SECRET_KEY = "another"

    assert {len(code) for code in codes} == {LENGTH}
    assert set("".join(codes)) <= set(ALPHABET)
    assert len(set(codes)) == 40
    assert len(with_this_key) == 64
    assert codes[-1] not in with_this_key
    assert attempt(codes[-1]) == "wrong"  # without the server's key a digest cannot be recomputed


def test_wrong_codes_are_slowed_per_client(taster):
    code, _ = create_sign_in_code(taster.member, now=NOON)
    guesses = [attempt(f"{n:08}") for n in range(PER_CLIENT.max_attempts + 1)]

    assert guesses == ["wrong"] * 10 + [15 * 60]
    assert attempt(code) == 15 * 60  # not looked at, so it still works elsewhere
    assert len(attempt(code, at="192.0.2.8")) == 43


def test_device_that_was_signed_in_is_counted_apart_from_others_behind_the_same_router(taster):
    while attempt("00000000") == "wrong":
        pass
    code, _ = create_sign_in_code(taster.member, now=NOON)

    assert len(attempt(code, device="7")) == 43


def test_guesses_from_many_clients_leave_each_one_attempt(taster):
    code, _ = create_sign_in_code(taster.member, now=NOON)
    assert attempt("00000000", at="198.51.100.1") == "wrong"
    AttemptCount.objects.order_by("-key").update(count=OVER_ALL.max_attempts + 1)

    assert [attempt("00000000", at="198.51.100.2") for _ in range(2)] == ["wrong", 15 * 60]
    assert len(attempt(code, at="198.51.100.3")) == 43


def test_success_is_subtracted_from_the_count(taster):
    for _ in range(PER_CLIENT.max_attempts + 1):
        code, _ = create_sign_in_code(taster.member, now=NOON)
        assert len(attempt(code)) == 43


def test_member_who_left_and_login_that_signed_out_have_no_code_any_more(owner, taster, buyer):
    left, signed_out = taster.client.post(CODES).json()["code"], buyer.client.post(CODES).json()["code"]
    assert owner.client.delete(f"/api/v1/members/{taster.user.id}/").status_code == 204
    assert buyer.client.delete(TOKENS).status_code == 204

    assert [use(left).status_code, use(signed_out).status_code] == [401, 401]
    assert not SignInCode.objects.exists()


def test_code_gives_the_role_that_the_member_has_when_it_is_used(owner, taster):
    code = taster.client.post(CODES).json()["code"]
    assert owner.client.patch(f"/api/v1/members/{taster.user.id}/", {"role": "viewer"}).status_code == 200

    assert use(code).json()["role"] == "viewer"


@pytest.mark.parametrize(
    ("sent", "problems"),
    [
        ({"code": ""}, {("code", "required")}),
        ({"code": 12345678}, {("code", "type")}),
        ({"code": "A" * 41}, {("code", "too_long")}),
        ({"device": None}, {("device", "required")}),
        ({"password": "x"}, {("code", "one_of")}),
    ],
)
def test_body_that_is_no_sign_in_by_code_is_refused_by_field(db, sent, problems):
    answer = phone().post(TOKENS, {"code": "ABCD-EFGH", "device": "phone", **sent})

    assert refusal(answer) == (422, "invalid", problems)


def test_expired_codes_are_deleted(taster, buyer):
    create_sign_in_code(taster.member, now=NOON)
    create_sign_in_code(buyer.member, now=timezone.now())
    delete_expired(now=timezone.now())

    assert [code.member for code in SignInCode.objects.all()] == [buyer.member]


@pytest.mark.django_db(transaction=True)
def test_of_two_phones_at_once_one_is_signed_in(taster):
    code, _ = create_sign_in_code(taster.member, now=NOON)
    barrier, found = Barrier(4, timeout=60), []

    def ask():
        barrier.wait()
        found.append(attempt(code))
        connections.close_all()

    threads = [Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(found)[1:] == ["wrong"] * 3 or sorted(found, key=len)[:3] == ["wrong"] * 3
    assert DeviceToken.objects.filter(member=taster.member).count() == 2


@pytest.fixture
def lin(team):
    return MemberFactory(team=team, user=UserFactory(username="Lin", password=PASSWORD), role=Role.BUYER)


@pytest.fixture
def browser(lin):
    """A browser that is signed in, with Django's check for forged requests."""
    client = Client(enforce_csrf_checks=True)
    client.get("/sign-in/")
    sent = {"username": "Lin", "password": PASSWORD, "csrfmiddlewaretoken": client.cookies["csrftoken"].value}
    assert client.post("/sign-in/", sent).status_code == 302
    return client


def ask_app_token(browser, *, csrf=True, **body):
    headers = {"X-CSRFToken": browser.cookies["csrftoken"].value} if csrf else {}
    body = {"device": "app", **body}
    return browser.post(FROM_SESSION, body, content_type="application/json", headers=headers)


def test_browser_that_is_signed_in_gets_a_token_for_the_app(lin, browser):
    answer = ask_app_token(browser)
    me = phone(answer.json()["token"]).get("/api/v1/me").json()

    assert (answer.status_code, answer["Cache-Control"]) == (201, "no-store")
    assert (me["user"], me["team"]["id"], me["role"]) == (str(lin.user_id), str(lin.team_id), "buyer")
    assert AuditEntry.objects.filter(team=lin.team, what="sign_in", about__device="app").count() == 1


def test_token_of_the_app_is_chosen_among_the_teams(lin, browser, stranger):
    elsewhere = MemberFactory(team=stranger.team, user=lin.user, role=Role.VIEWER)
    chosen = ask_app_token(browser, team=str(elsewhere.team_id))
    foreign = ask_app_token(browser, team=str(person(MemberFactory().team, Role.OWNER).team.id))

    assert (chosen.json()["team"], chosen.json()["role"]) == (str(elsewhere.team_id), "viewer")
    assert refusal(foreign) == (401, "not-signed-in", set())


def test_forged_request_gets_no_token(lin, browser):
    without = ask_app_token(browser, csrf=False)
    form = browser.post(FROM_SESSION, {"device": "app"}, headers={"Origin": "https://elsewhere.example"})
    elsewhere = browser.post(
        FROM_SESSION,
        {"device": "app"},
        content_type="application/json",
        headers={"Origin": "https://elsewhere.example", "X-CSRFToken": browser.cookies["csrftoken"].value},
    )

    assert [answer.status_code for answer in (without, form, elsewhere)] == [403, 403, 403]
    assert refusal(without)[:2] == (403, "not-allowed")
    assert browser.cookies["sessionid"]["samesite"] == browser.cookies["csrftoken"]["samesite"] == "Lax"
    assert not DeviceToken.objects.filter(member=lin).exists()


def test_device_token_and_nobody_get_no_token_from_a_session(taster):
    assert taster.client.post(FROM_SESSION, {"device": "app"}).status_code == 401
    assert phone().post(FROM_SESSION, {"device": "app"}).status_code == 401
