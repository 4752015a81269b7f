"""An address receives no link for a forgotten password before its login has opened a link mailed there."""

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from tastings import tasks
from teams.actions.clean_up import delete_expired
from teams.actions.emails import (
    CLAIM_TIMEOUT,
    LINK_LIFETIME,
    PER_LOGIN,
    due_verifications,
    send_verification_mail,
    verify_email,
)
from teams.errors import NotFound
from teams.models import AuditEntry, EmailVerification, ResetLink, User
from tests.api.problems import refusal
from tests.factories import NOON, DeviceTokenFactory, MemberFactory, UserFactory, phone, web_browser
from tests.row_security import as_worker
from tests.teams.test_passwords import ask

pytestmark = pytest.mark.django_db
PASSWORD = "two leaves and a bud"
EMAIL, VERIFICATION = "/api/v1/me/email", "/api/v1/me/email/verification"


@pytest.fixture
def lin(team):
    return MemberFactory(team=team, user=UserFactory(username="Lin", password=PASSWORD))


@pytest.fixture
def client_of_lin(lin):
    DeviceTokenFactory(member=lin, token="of lin")
    return phone("of lin")


@pytest.fixture
def browser(lin):
    client = Client()
    client.force_login(lin.user)
    return client


def set_address(client, email="lin@tea.example"):
    answer = client.post(EMAIL, {"email": email, "password": PASSWORD})
    assert answer.status_code == 200
    send_due()


def send_due():
    """Do what the worker does with the requests that wait."""
    for request in due_verifications(now=timezone.now()):
        send_verification_mail(request, now=timezone.now())


def link_in(mail):
    return re.search(r"http://testserver/account/email/([^/\s]+)/", mail.body).group(1)


def is_verified(login):
    return User.objects.get(id=login.user_id).email_verified_at is not None


def test_address_receives_a_reset_link_only_once_it_is_verified(lin, client_of_lin, mailoutbox):
    set_address(client_of_lin)
    ask("Lin", now=timezone.now())
    ask("lin@tea.example", now=timezone.now())
    before = (len(mailoutbox), ResetLink.objects.count())
    verified = client_of_lin.put(VERIFICATION, {"token": link_in(mailoutbox[0])})
    ask("Lin", now=timezone.now())

    assert before == (1, 0)  # the mail that verifies, and no other
    assert (verified.status_code, verified.json()) == (200, {"email": "lin@tea.example", "email_verified": True})
    assert client_of_lin.get("/api/v1/me").json()["email_verified"] is True
    assert [mail.to for mail in mailoutbox] == [["lin@tea.example"]] * 2
    assert "/reset/" in mailoutbox[1].body
    assert AuditEntry.objects.filter(what="email_verified", who=lin.user, team=lin.team).count() == 1


def test_address_from_before_counts_as_not_verified_and_can_be_verified(lin, client_of_lin, browser, mailoutbox):
    User.objects.filter(id=lin.user_id).update(email="lin@tea.example")
    ask("Lin", now=timezone.now())
    page = browser.get("/account/").content.decode()
    again = browser.post("/account/email/again/")
    send_due()
    opened = browser.get(f"/account/email/{link_in(mailoutbox[0])}/").content.decode()
    looked_at = is_verified(lin)
    browser.post(f"/account/email/{link_in(mailoutbox[0])}/")

    assert "is not confirmed" in page
    assert (again.status_code, len(mailoutbox)) == (302, 1)
    assert "lin@tea.example" in opened
    assert (looked_at, is_verified(lin)) == (False, True)  # programs that look at mail open links by themselves
    assert "lin@tea.example</bdi>, confirmed" in browser.get("/account/").content.decode()


def test_who_owns_a_mistyped_address_cannot_verify_it(lin, client_of_lin, buyer, mailoutbox):
    set_address(client_of_lin)
    token = link_in(mailoutbox[0])
    other = Client()
    other.force_login(buyer.user)
    answers = [
        web_browser().get(f"/account/email/{token}/"), web_browser().post(f"/account/email/{token}/"),
        other.get(f"/account/email/{token}/"), other.post(f"/account/email/{token}/"),
    ]  # fmt: skip

    assert [answer.status_code for answer in answers] == [302, 302, 404, 404]
    assert answers[0]["Location"].startswith("/sign-in/")
    assert buyer.client.put(VERIFICATION, {"token": token}).status_code == 404
    assert phone().put(VERIFICATION, {"token": token}).status_code == 401
    assert not is_verified(lin)


def test_another_address_is_verified_anew_and_the_former_one_is_told(lin, client_of_lin, mailoutbox):
    set_address(client_of_lin)
    first = link_in(mailoutbox[0])
    assert client_of_lin.put(VERIFICATION, {"token": first}).status_code == 200
    mailoutbox.clear()
    set_address(client_of_lin, "lin@leaf.example")

    assert sorted(mail.to[0] for mail in mailoutbox) == ["lin@leaf.example", "lin@tea.example"]
    assert "/account/email/" not in next(mail.body for mail in mailoutbox if mail.to == ["lin@tea.example"])
    assert not is_verified(lin)
    assert client_of_lin.put(VERIFICATION, {"token": first}).status_code == 404
    mailoutbox.clear()
    ask("Lin", now=timezone.now())
    assert mailoutbox == []


def test_same_address_again_stays_verified(lin, client_of_lin, mailoutbox):
    set_address(client_of_lin)
    client_of_lin.put(VERIFICATION, {"token": link_in(mailoutbox[0])})
    set_address(client_of_lin)

    assert (is_verified(lin), len(mailoutbox)) == (True, 1)


def test_removed_address_mails_only_the_former_one(lin, client_of_lin, mailoutbox):
    set_address(client_of_lin)
    client_of_lin.put(VERIFICATION, {"token": link_in(mailoutbox[0])})
    mailoutbox.clear()
    set_address(client_of_lin, "")

    assert [(mail.to, "no longer counts" in mail.body) for mail in mailoutbox] == [(["lin@tea.example"], True)]


@pytest.mark.parametrize("token", ["never", "a.b", "", "\u00e9.x"])
def test_invented_link_is_refused(client_of_lin, browser, token):
    answer = client_of_lin.put(VERIFICATION, {"token": token or "x"})

    assert refusal(answer) == (404, "not-here", set())
    assert browser.get("/account/email/never/").status_code == 404


def test_link_ends_after_three_days(lin, client_of_lin, mailoutbox):
    set_address(client_of_lin)
    token, now = link_in(mailoutbox[0]), timezone.now()
    with pytest.raises(NotFound):
        verify_email(token, user=lin.user, address="", now=now + LINK_LIFETIME)

    verify_email(token, user=lin.user, address="", now=now + LINK_LIFETIME - timedelta(minutes=1))
    assert is_verified(lin)


def test_login_without_an_address_is_told_to_set_one_first(lin, client_of_lin, browser, mailoutbox):
    answer = client_of_lin.post(VERIFICATION)

    assert refusal(answer) == (422, "invalid", {("email", "required")})
    assert answer.json()["problems"][0]["detail"] == "there is no e-mail address yet: set one first"
    assert browser.post("/account/email/again/").status_code == 302
    assert due_verifications(now=timezone.now()) == []


def test_verified_address_is_mailed_no_link(lin, client_of_lin, mailoutbox):
    set_address(client_of_lin)
    client_of_lin.put(VERIFICATION, {"token": link_in(mailoutbox[0])})

    assert client_of_lin.post(VERIFICATION).json() == {"email": "lin@tea.example", "email_verified": True}
    assert due_verifications(now=timezone.now()) == []


def test_mails_are_limited(lin, client_of_lin, mailoutbox):
    set_address(client_of_lin)
    codes = [client_of_lin.post(VERIFICATION).status_code for _ in range(PER_LOGIN.max_attempts)]

    assert codes == [202] * (PER_LOGIN.max_attempts - 1) + [429]


def test_lost_message_is_mailed_by_the_timetable_and_none_twice(lin, client_of_lin, mailoutbox, monkeypatch):
    client_of_lin.post(EMAIL, {"email": "lin@tea.example", "password": PASSWORD})
    asked = []
    monkeypatch.setattr(tasks, "later", lambda job, *about: asked.append((job.value, *about)))
    with as_worker():
        tasks.due_reset_requests()
        tasks.send_verification_mail(asked[0][1])
        tasks.send_verification_mail(asked[0][1])

    assert asked == [("teams.mail_verification", str(EmailVerification.objects.get().id))]
    assert len(mailoutbox) == 1
    EmailVerification.objects.update(handled_at=None, claimed_at=timezone.now())
    assert due_verifications(now=timezone.now()) == []
    assert len(due_verifications(now=timezone.now() + CLAIM_TIMEOUT + timedelta(seconds=1))) == 1


def test_address_is_set_on_the_page_with_the_password(lin, browser, mailoutbox):
    wrong = browser.post("/account/email/", {"email": "lin@tea.example", "password": "wrong"})
    no_address = browser.post("/account/email/", {"email": "nowhere", "password": PASSWORD})
    right = browser.post("/account/email/", {"email": "lin@tea.example", "password": PASSWORD})
    send_due()

    assert "Is not the present password." in wrong.content.decode()
    assert "Must be an e-mail address." in no_address.content.decode()
    assert (right.status_code, len(mailoutbox)) == (302, 1)


def test_expired_requests_are_deleted(lin, client_of_lin, mailoutbox):
    set_address(client_of_lin)
    EmailVerification.objects.update(created_at=NOON)
    delete_expired(now=timezone.now())

    assert not EmailVerification.objects.exists()
