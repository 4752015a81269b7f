"""Sign-in slows guessing and locks nobody out: the rule of `teams.actions.login_throttle`, at chosen moments."""

from datetime import timedelta
from threading import Barrier, Thread
from uuid import UUID, uuid4

import pytest
from django.db import connection, connections
from django.test import Client, RequestFactory
from django.test.utils import CaptureQueriesContext

from api.http.auth import client_ip
from teams.actions.attempt_counts import Limit, delete_expired_counts, increment
from teams.actions.login_throttle import (
    KNOWN_CLIENT_RETENTION,
    PER_ACCOUNT,
    PER_CLIENT,
    PER_IP,
    Caller,
    Credentials,
    check_login,
    delete_old_clients,
    network_key,
)
from teams.errors import NotSignedIn, Throttled
from teams.models import AttemptCount, AuditEntry, DeviceToken, KnownClient
from tests.api.problems import refusal
from tests.factories import NOON, MemberFactory, UserFactory, phone

pytestmark = pytest.mark.django_db
PASSWORD = "two leaves and a bud"
HOME, ELSEWHERE = "192.0.2.7", "198.51.100.9"  # addresses for documentation, RFC 5737
TOKENS = "/api/v1/auth/tokens"


@pytest.fixture
def lin(team):
    return MemberFactory(team=team, user=UserFactory(username="Lin", password=PASSWORD))


def attempt(password="wrong", *, username="Lin", at=HOME, now=NOON, **device):  # noqa: S107 - no secret
    """Return what an attempt comes to: in, wrong, or the seconds to wait."""
    try:
        check_login(Credentials(username=username, password=password), caller=Caller(address=at, **device), now=now)
    except NotSignedIn:
        return "wrong"
    except Throttled as refused:
        return refused.wait_s
    return "in"


def addresses(number):
    return [f"203.0.113.{n}" for n in range(number)]


@pytest.mark.parametrize("username", ["Lin", "nobody"])
def test_sixth_failure_from_one_client_waits_15_minutes(lin, username):
    answers = [attempt(username=username, now=NOON + timedelta(seconds=n)) for n in range(6)]
    right_too_soon = attempt(PASSWORD, username=username, now=NOON + timedelta(seconds=10))
    after = attempt(username=username, now=NOON + PER_CLIENT.window)

    assert answers == ["wrong"] * 5 + [15 * 60 - 5]
    assert (right_too_soon, after) == (15 * 60 - 10, "wrong")


def test_all_spellings_of_a_name_share_one_count(lin):
    spelled = ["Lin", "lin", "LIN", " lin ", "l\u0131n"]  # a dotless i is I in capitals too

    assert [attempt(username=name) for name in spelled] == ["wrong"] * 5
    assert isinstance(attempt(username="lIN"), int)


def test_guesses_from_elsewhere_lock_nobody_out(lin):
    stranger = [attempt(at=ELSEWHERE) for _ in range(50)]

    assert stranger[:5] == ["wrong"] * 5
    assert all(isinstance(wait, int) for wait in stranger[5:])
    assert attempt(PASSWORD) == "in"


def test_guesses_from_many_addresses_leave_one_attempt_to_every_new_client(lin):
    for address in addresses(40):
        attempt(at=address)
    new_place = [attempt(PASSWORD), attempt("typo"), attempt("typo")]

    assert AttemptCount.objects.filter(count__gt=PER_ACCOUNT.max_attempts).exists()
    assert new_place[0] == "in"
    assert new_place[1:] == ["wrong"] * 2  # signed in from here, so it is known now
    assert [attempt(at=ELSEWHERE), attempt(PASSWORD, at=ELSEWHERE)] == ["wrong", 15 * 60]
    assert attempt(PASSWORD, at=ELSEWHERE, now=NOON + PER_CLIENT.window) == "in"


def test_known_client_has_five_attempts_while_others_guess(lin):
    assert attempt(PASSWORD) == "in"
    for address in addresses(40):
        attempt(at=address)

    assert [attempt() for _ in range(4)] + [attempt(PASSWORD)] == ["wrong"] * 4 + ["in"]


def test_known_client_is_deleted_after_ninety_days(lin):
    assert attempt(PASSWORD) == "in"
    much_later = NOON + KNOWN_CLIENT_RETENTION
    for address in addresses(40):
        attempt(at=address, now=much_later)

    assert [attempt(now=much_later), attempt(now=much_later)] == ["wrong", 15 * 60]
    assert (delete_old_clients(now=much_later + timedelta(days=1)), KnownClient.objects.count()) == (1, 0)


def test_known_device_is_counted_apart_from_others_behind_the_same_router(lin):
    while attempt() == "wrong":
        pass
    device = {"login": lin.user_id, "device": "7"}

    assert attempt(PASSWORD, **device) == "in"
    assert isinstance(attempt(PASSWORD), int)
    assert isinstance(attempt(PASSWORD, login=uuid4(), device="7"), int)


def test_address_is_limited_over_all_names_except_for_known_clients(lin):
    assert attempt(PASSWORD) == "in"
    guesses = [attempt(username=f"name {n}") for n in range(PER_IP.max_attempts + 1)]

    assert guesses == ["wrong"] * PER_IP.max_attempts + [15 * 60]
    assert attempt(PASSWORD) == "in"
    assert attempt(username="name 51", at=ELSEWHERE) == "wrong"


def test_success_is_subtracted_from_the_counts(lin):
    for _ in range(3):
        assert [attempt() for _ in range(4)] + [attempt(PASSWORD)] == ["wrong"] * 4 + ["in"]


def test_requests_without_an_address_share_no_limit(lin):
    guesses = [attempt(username=f"name {n}", at="") for n in range(PER_IP.max_attempts + 5)]

    assert guesses == ["wrong"] * len(guesses)
    assert not KnownClient.objects.exists()


def test_password_is_not_checked_once_throttled(lin, monkeypatch):
    while attempt() == "wrong":
        pass
    monkeypatch.setattr("teams.actions.login_throttle.authenticate", None)

    assert isinstance(attempt(), int)


def test_known_and_unknown_names_run_the_same_statements(lin):
    UserFactory(username="Placeless", password=PASSWORD)
    kinds = []
    for name in ("Lin", "Placeless", "nobody"):
        with CaptureQueriesContext(connection) as seen:
            attempt(username=name)
        # for whom a transaction acts is told once in a test, which is one transaction, and else with each statement
        plain = [query["sql"].rpartition(", true); ")[2] for query in seen]
        kinds.append([" ".join(statement.partition("('")[0].split()[:3]) for statement in plain])

    assert kinds[0] == kinds[1] == kinds[2]


def test_failures_are_recorded_up_to_a_limit(lin):
    for address in [HOME] * 9 + addresses(60):
        attempt(at=address)
    for n in range(9):
        attempt(username=f"nobody {n}", at=ELSEWHERE)
    of_lin = AuditEntry.objects.filter(team=lin.team)

    assert set(of_lin.values_list("what", "who")) == {("failed_sign_in", lin.user_id)}
    assert of_lin.count() < PER_ACCOUNT.max_attempts
    assert of_lin.filter(about={"address": HOME}).count() == 1
    assert set(AuditEntry.objects.filter(team=None).values_list("who", "what")) == {(None, "failed_sign_in")}


def test_counts_restart_and_expired_ones_are_deleted(db):
    limit = Limit(kind="x", max_attempts=2, window=timedelta(minutes=1))
    counts = [increment(limit, "a", now=NOON + timedelta(seconds=s)) for s in (0, 30, 60, 61)]

    minute = timedelta(minutes=1)
    assert counts == [(1, NOON + minute), (2, NOON + minute), (1, NOON + 2 * minute), (2, NOON + 2 * minute)]
    assert (delete_expired_counts(now=NOON + 2 * minute), delete_expired_counts(now=NOON + 3 * minute)) == (0, 1)


@pytest.mark.django_db(transaction=True)
def test_simultaneous_attempts_are_all_counted(lin):
    together, answers = Barrier(8, timeout=60), []

    def guess():
        together.wait()
        answers.append(attempt())
        connections.close_all()

    threads = [Thread(target=guess) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert answers.count("wrong") == PER_CLIENT.max_attempts


@pytest.mark.parametrize(
    ("address", "network"),
    [
        ("192.0.2.7", "192.0.2.7"),
        (" 192.0.2.7 ", "192.0.2.7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),  # RFC 3849
        ("2001:db8:1:2::9", "2001:db8:1:2::/64"),
        ("fe80::1%eth0", "fe80::/64"),
        ("unix:", ""),
        ("", ""),
        ("192.0.2.7:80", "192.0.2.7"),
        ("[2001:db8:1:2::9]:80", "2001:db8:1:2::/64"),
        ("192.0.2.7:rubbish", ""),
    ],
)
def test_network_key(address, network):
    assert network_key(address) == network


@pytest.mark.parametrize(
    ("proxies", "forwarded", "address"),
    [
        (0, "203.0.113.1", "10.0.0.1"),
        (1, "203.0.113.1", "203.0.113.1"),
        (1, "6.6.6.6, 203.0.113.1", "203.0.113.1"),
        (2, "6.6.6.6, 203.0.113.1, 10.0.0.2", "203.0.113.1"),
        (2, "203.0.113.1", "10.0.0.1"),
        (1, "", "10.0.0.1"),
        (1, "rubbish", "10.0.0.1"),
        (1, "203.0.113.1:5678", "203.0.113.1"),
        (1, "[2001:db8::1]:5678", "2001:db8::/64"),
        (1, "[2001:db8::1]", "2001:db8::/64"),
    ],
)
def test_only_our_own_proxies_are_trusted(settings, proxies, forwarded, address):
    settings.TRUSTED_PROXIES = proxies
    request = RequestFactory().get("/", REMOTE_ADDR="10.0.0.1", HTTP_X_FORWARDED_FOR=forwarded)

    assert client_ip(request) == address


def test_throttled_sign_in_has_retry_after(lin):
    answers = [phone().post(TOKENS, {"username": "Lin", "password": "wrong", "device": "x"}) for _ in range(6)]

    assert refusal(answers[-1]) == (429, "throttled", set())
    assert 0 < int(answers[-1]["Retry-After"]) <= 900
    assert [answer.status_code for answer in answers] == [401] * 5 + [429]


def test_phone_with_an_expired_token_is_a_known_client(lin):
    token = phone().post(TOKENS, {"username": "Lin", "password": PASSWORD, "device": "x"}).json()["token"]
    DeviceToken.objects.update(expires_at=NOON)
    for _ in range(6):
        phone().post(TOKENS, {"username": "Lin", "password": "wrong", "device": "x"})
    sent = {"username": "Lin", "password": PASSWORD, "device": "x"}

    assert [phone().post(TOKENS, sent).status_code, phone(token).post(TOKENS, sent).status_code] == [429, 201]


def test_known_browser_is_a_known_client_and_the_page_shows_throttling(lin):
    known, other = Client(), Client()
    right = {"username": "Lin", "password": PASSWORD}
    assert known.post("/sign-in/", right).status_code == 302
    cookie = known.cookies["known_browser"]
    known.post("/sign-out/")
    answers = [other.post("/sign-in/", {**right, "password": "wrong"}) for _ in range(6)]
    other.cookies["known_browser"] = cookie.value.replace(str(lin.user_id), str(UUID(int=7)))

    assert (cookie["httponly"], cookie["samesite"]) == (True, "Lax")
    assert [answer.status_code for answer in answers] == [200] * 5 + [429]
    assert "Try again in 15 minutes" in answers[-1].content.decode()
    assert 0 < int(answers[-1]["Retry-After"]) <= 900
    assert (other.post("/sign-in/", right).status_code, known.post("/sign-in/", right).status_code) == (429, 302)


def test_sign_ins_are_recorded(lin):
    phone().post(TOKENS, {"username": "Lin", "password": PASSWORD, "device": "table phone"})
    Client().post("/sign-in/", {"username": "Lin", "password": PASSWORD})

    assert list(AuditEntry.objects.order_by("at").values_list("team", "who", "what", "about")) == [
        (lin.team_id, lin.user_id, "sign_in", {"device": device, "address": "127.0.0.1"})
        for device in ("table phone", "browser")
    ]
