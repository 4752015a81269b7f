"""Changing a password, signing out everywhere, and a forgotten password by mail."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from teams.actions.clean_up import delete_expired
from teams.actions.resets import CLAIM_TIMEOUT, LINK_LIFETIME, due_reset_requests, reset_password, send_reset_mail
from teams.errors import NotFound
from teams.models import AuditEntry, DeviceToken, ResetLink, ResetRequest
from tests.api.problems import refusal
from tests.factories import NOON, DeviceTokenFactory, MemberFactory, TeamFactory, UserFactory, phone, web_browser

pytestmark = pytest.mark.django_db
PASSWORD, BETTER = "two leaves and a bud", "withered and rolled"
TOKENS, ASK, RESET = "/api/v1/auth/tokens", "/api/v1/auth/reset", "/api/v1/auth/reset/password"


def sign_in(username="Lin", password=PASSWORD):
    return phone().post(TOKENS, {"username": username, "password": password, "device": "phone"})


@pytest.fixture
def lin(team):
    return MemberFactory(
        team=team, user=UserFactory(username="Lin", password=PASSWORD, email="lin@tea.example", email_verified_at=NOON)
    )


@pytest.fixture
def client_of_lin(lin):
    return phone(sign_in().json()["token"])


@pytest.fixture
def browser(lin):
    client = web_browser()
    assert client.post("/sign-in/", {"username": "Lin", "password": PASSWORD}).status_code == 302
    return client


def mailed(outbox):
    """Return the tokens in the mails."""
    return [re.search(r"http://testserver/reset/([\w-]{43})/", mail.body).group(1) for mail in outbox]


def ask(username, *, now=NOON):
    """Ask for a link and do what the worker does."""
    answer = phone().post(ASK, {"username": username})
    made = ResetRequest.objects.order_by("-created_at").first()
    ResetRequest.objects.filter(id=made.id).update(created_at=now)
    send_reset_mail(made.id, now=now)
    return answer


def test_password_change_signs_out_everything_else(lin, client_of_lin, browser):
    other = phone(sign_in().json()["token"])
    answer = client_of_lin.post("/api/v1/me/password", {"password": PASSWORD, "new_password": BETTER})

    assert answer.status_code == 204
    assert (client_of_lin.get("/api/v1/me").status_code, other.get("/api/v1/me").status_code) == (200, 401)
    assert browser.get("/lots/").status_code == 302
    assert (sign_in().status_code, sign_in(password=BETTER).status_code) == (401, 201)
    assert AuditEntry.objects.filter(what="password_change", team=lin.team, who=lin.user).count() == 1


@pytest.mark.parametrize(
    ("sent", "problems"),
    [
        ({"password": "wrong"}, {("password", "wrong")}),
        ({"new_password": "short"}, {("new_password", "weak")}),
        ({"new_password": "password1"}, {("new_password", "weak")}),
        ({"password": None, "new_password": ""}, {("password", "required"), ("new_password", "required")}),
    ],
)
def test_invalid_password_change_changes_nothing(client_of_lin, sent, problems):
    answer = client_of_lin.post("/api/v1/me/password", {"password": PASSWORD, "new_password": BETTER, **sent})

    assert refusal(answer) == (422, "invalid", problems)
    assert sign_in().status_code == 201


def test_stolen_token_cannot_guess_the_password_for_long(client_of_lin):
    codes = [
        client_of_lin.post("/api/v1/me/password", {"password": f"guess {n}", "new_password": BETTER}).status_code
        for n in range(6)
    ]

    assert codes == [422] * 5 + [429]


def test_sign_out_everywhere_ends_devices_of_every_team_and_browsers(lin, client_of_lin, browser):
    elsewhere = MemberFactory(team=TeamFactory(), user=lin.user)
    DeviceTokenFactory(member=elsewhere)
    other = MemberFactory(team=lin.team)
    DeviceTokenFactory(member=other)
    before = browser.get("/lots/").status_code
    answer = client_of_lin.delete(TOKENS)

    assert (before, answer.status_code) == (200, 204)
    assert (client_of_lin.get("/api/v1/me").status_code, browser.get("/lots/").status_code) == (401, 302)
    assert [token.member for token in DeviceToken.objects.all()] == [other]
    assert set(AuditEntry.objects.filter(what="sign_out_everywhere").values_list("team", flat=True)) == {
        lin.team_id, elsewhere.team_id,
    }  # fmt: skip
    assert browser.post("/sign-in/", {"username": "Lin", "password": PASSWORD}).status_code == 302
    assert browser.get("/lots/").status_code == 200


def test_email_is_set_with_the_password_only(lin, client_of_lin):
    ask("Lin")
    refused = client_of_lin.post("/api/v1/me/email", {"email": "thief@tea.example", "password": "wrong"})
    wrong = client_of_lin.post("/api/v1/me/email", {"email": "nowhere", "password": PASSWORD})
    right = client_of_lin.post("/api/v1/me/email", {"email": " lin@leaf.example ", "password": PASSWORD})

    assert refusal(refused) == (422, "invalid", {("password", "wrong")})
    assert refusal(wrong) == (422, "invalid", {("email", "pattern")})
    assert (right.status_code, right.json()) == (200, {"email": "lin@leaf.example", "email_verified": False})
    assert client_of_lin.get("/api/v1/me").json()["email"] == "lin@leaf.example"
    assert not ResetLink.objects.exists()  # what was mailed to the address before opens nothing any more
    assert client_of_lin.post("/api/v1/me/email", {"email": "", "password": PASSWORD}).json() == {
        "email": "", "email_verified": False,
    }  # fmt: skip


@pytest.mark.parametrize("asked", ["Lin", "lIN", "lin@tea.example", " LIN@tea.example "])
def test_forgotten_password_is_set_by_a_mailed_link_once(lin, client_of_lin, browser, mailoutbox, asked):
    now = datetime.now(UTC)
    answer = ask(asked, now=now)
    [token] = mailed(mailoutbox)
    weak = phone().post(RESET, {"token": token, "password": "short"})
    done = phone().post(RESET, {"token": token, "password": BETTER})
    again = phone().post(RESET, {"token": token, "password": PASSWORD})

    assert (answer.status_code, mailoutbox[0].to) == (202, ["lin@tea.example"])
    assert refusal(weak) == (422, "invalid", {("password", "weak")})
    assert done.status_code == 204
    assert refusal(again) == (404, "not-here", set())
    assert again.content == phone().post(RESET, {"token": "never", "password": BETTER}).content
    assert (client_of_lin.get("/api/v1/me").status_code, browser.get("/lots/").status_code) == (401, 302)
    assert (sign_in().status_code, sign_in(password=BETTER).status_code) == (401, 201)
    assert AuditEntry.objects.filter(what="password_reset", who=lin.user).count() == 1
    assert token not in map(str, ResetLink.objects.values().get().values())


def test_reset_request_runs_the_same_statements_for_any_name(lin, mailoutbox):
    UserFactory(username="Addressless", password=PASSWORD)
    UserFactory(username="Gone", password=PASSWORD, email="gone@tea.example", is_active=False)
    answers, statements = [], []
    phone().post(ASK, {"username": "first"})  # the settings of a transaction go with its first statement
    for name in ("Lin", "Addressless", "Gone", "nobody", "nobody@tea.example"):
        with CaptureQueriesContext(connection) as seen:
            answers.append(phone().post(ASK, {"username": name}))
        statements.append([re.sub(r"'[^']*'", "?", query["sql"]) for query in seen])
    for request in ResetRequest.objects.all():
        send_reset_mail(request.id, now=NOON)

    assert [answer.status_code for answer in answers] == [202] * 5
    assert len({answer.content for answer in answers}) == 1
    assert [queries for queries in statements if queries != statements[0]] == []
    assert [mail.to for mail in mailoutbox] == [["lin@tea.example"]]


def test_reset_link_expires(lin, mailoutbox):
    ask("Lin")
    [token] = mailed(mailoutbox)

    with pytest.raises(NotFound):
        reset_password(token=token, password=BETTER, address="", now=NOON + LINK_LIFETIME)
    reset_password(token=token, password=BETTER, address="", now=NOON + LINK_LIFETIME - timedelta(seconds=1))
    assert sign_in(password=BETTER).status_code == 201


def test_mailbox_is_not_flooded(lin, mailoutbox):
    for _ in range(5):
        ask("Lin")
    sent_at_first = len(mailoutbox)
    ask("Lin", now=NOON + LINK_LIFETIME + timedelta(seconds=1))

    assert (sent_at_first, len(mailoutbox)) == (3, 4)


def test_reset_requests_of_one_address_are_limited(lin):
    answers = [phone().post(ASK, {"username": f"name {n}"}) for n in range(11)]

    assert [answer.status_code for answer in answers] == [202] * 10 + [429]
    assert 0 < int(answers[-1]["Retry-After"]) <= 3600


def test_lost_or_failed_mail_is_due_again(lin, mailoutbox, monkeypatch):
    request = ResetRequest.objects.create(asked="Lin", site="http://testserver", created_at=NOON)
    due_before = due_reset_requests(now=NOON)

    def broken(*_):
        raise OSError("no mail server")

    with monkeypatch.context() as patched:
        patched.setattr("teams.actions.resets.send_mail", broken)
        with pytest.raises(OSError, match="no mail server"):
            send_reset_mail(request.id, now=NOON)
    later = NOON + CLAIM_TIMEOUT + timedelta(seconds=1)

    assert (due_before, due_reset_requests(now=NOON), due_reset_requests(now=later)) == ([request.id], [], [request.id])
    assert (send_reset_mail(request.id, now=NOON), send_reset_mail(request.id, now=later)) == (0, 1)
    assert (send_reset_mail(request.id, now=later), due_reset_requests(now=later), len(mailoutbox)) == (0, [], 1)


def test_reset_pages(lin, mailoutbox):
    browser = web_browser(enforce_csrf_checks=True)
    page = browser.get("/reset/")
    form = {"csrfmiddlewaretoken": browser.cookies["csrftoken"].value}
    pages = {browser.post("/reset/", {**form, "username": name}).content for name in ("Lin", "nobody")}
    for request in ResetRequest.objects.all():
        send_reset_mail(request.id, now=datetime.now(UTC))
    link = f"/reset/{mailed(mailoutbox)[0]}/"
    shown, weak = browser.get(link), browser.post(link, {**form, "password": "short"})
    done, gone = browser.post(link, {**form, "password": BETTER}), browser.get(link)

    assert b"Forgotten your password?" in page.content
    assert len(pages) == 1
    assert (shown.status_code, shown["Cache-Control"], b"Lin" in shown.content) == (200, "no-store", True)
    assert b"too short" in weak.content
    assert (b"Sign in with the new one" in done.content, gone.status_code) == (True, 404)
    assert gone.content == web_browser().get("/join/never/").content
    assert sign_in(password=BETTER).status_code == 201


def test_expired_rows_are_deleted(lin, browser):
    ask("Lin")
    sign_in(password="wrong")
    DeviceTokenFactory(member=lin, expires_at=NOON)
    AuditEntry.objects.create(team=lin.team, who=lin.user, what="share", about={}, at=NOON)
    counts = {table: table.objects.count() for table in (AuditEntry, DeviceToken, ResetLink, ResetRequest)}
    delete_expired(now=datetime.now(UTC))

    assert all(counts.values())
    delete_expired(now=datetime.now(UTC) + timedelta(days=401))
    left = [table.objects.count() for table in (AuditEntry, DeviceToken, ResetLink, ResetRequest)]
    assert left == [0, 0, 0, 0]
