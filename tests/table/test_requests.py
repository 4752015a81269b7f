"""Requests to a server that is slow, absent or overloaded, or that refuses them."""

import socket
import threading

import pytest

from table.phone import (
    HttpTransport,
    MemoryStore,
    Phone,
    PhoneError,
    RefusedError,
    RetryPolicy,
    SignedOutError,
    UnreachableError,
)
from tests.table.scripted import (
    NO_RESPONSE,
    ScriptedTransport,
    apply_all,
    page,
    pulled,
    response,
    signed_in_phone,
    verdict_on,
)

TEA = {"name": "Mist Ridge", "kind": "oolong"}


def refusal(status, code="nope"):
    return response(status, {"type": f"/problems/{code}", "title": "No", "status": status, "detail": "no"})


def test_request_without_answer_is_repeated_after_growing_pauses():
    phone, script, pauses = signed_in_phone(NO_RESPONSE, response(503), response(429), apply_all)
    phone.create("lot", TEA, record="lot-1")
    assert phone.sync().verdicts == {"applied": 1}
    assert pauses == [0.5, 1.0, 2.0]
    assert script.sent[0] == script.sent[3]


def test_body_that_arrived_too_slowly_is_sent_again():
    phone, script, pauses = signed_in_phone(refusal(408, "too-slow"), apply_all)
    phone.create("lot", TEA, record="lot-1")
    assert phone.sync().verdicts == {"applied": 1}
    assert (pauses, script.sent[0] == script.sent[1]) == ([0.5], True)


def test_jitter_shortens_pauses_to_no_less_than_half():
    slept = []
    for jitter in (0.0, 1.0):
        RetryPolicy(first_s=1, longest_s=6, sleep=slept.append, jitter=lambda value=jitter: value).pause(3)
    RetryPolicy(longest_s=6, sleep=slept.append, jitter=lambda: 1.0).pause(50)
    assert slept == [2.0, 4.0, 6.0]


def test_retry_after_of_the_server_is_obeyed():
    phone, _, pauses = signed_in_phone(response(503, retry_after="7"), apply_all)
    phone.sync()
    assert pauses == [7.0]


def test_last_failed_attempt_raises_and_unsent_changes_stay():
    phone, script, pauses = signed_in_phone(NO_RESPONSE, NO_RESPONSE, NO_RESPONSE, NO_RESPONSE)
    phone.create("lot", TEA, record="lot-1")
    with pytest.raises(UnreachableError):
        phone.sync()
    assert (len(script.sent), len(pauses), len(phone.unsent)) == (4, 3, 1)
    assert phone.sync().verdicts == {"applied": 1}


def test_401_stops_sending_until_signed_in_again():
    phone, script, pauses = signed_in_phone(refusal(401))
    phone.create("lot", TEA, record="lot-1")
    for _ in range(2):
        with pytest.raises(SignedOutError):
            phone.sync()
    assert (len(script.sent), pauses, phone.signed_in) == (1, [], False)
    script.answers = [response(201, {"token": "new", "user": "ina"})]
    assert phone.sign_in(username="ina", password="p")["user"] == "ina"
    assert phone.sync().verdicts == {"applied": 1}
    assert [headers.get("Authorization") for headers in script.headers] == ["Bearer secret", None, "Bearer new"]


def test_409_raises_at_once():
    phone, script, _ = signed_in_phone(refusal(409, "unknown-schema"))
    phone.create("lot", TEA, record="lot-1")
    with pytest.raises(RefusedError) as refused:
        phone.sync()
    assert (refused.value.status, len(script.sent), len(phone.unsent)) == (409, 1, 1)


@pytest.mark.parametrize("malformed", [response(200, ["?"]), page(verdicts=[{}, {}])])
def test_malformed_answer_raises_and_changes_nothing(malformed):
    phone, _, _ = signed_in_phone(malformed)
    phone.create("lot", TEA, record="lot-1")
    with pytest.raises(PhoneError):
        phone.sync()
    assert (len(phone.unsent), phone.records("lot")[0].unsent) == (1, True)


def test_at_most_1000_changes_are_sent_at_once():
    phone, script, _ = signed_in_phone()
    for i in range(1001):
        phone.edit("lot", f"lot-{i}", {"remarks": "thin"})
    phone.sync()
    assert [len(body["changes"]) for body in script.sent] == [1000, 1]


def test_at_most_2_mib_are_sent_at_once():
    phone, script, _ = signed_in_phone()
    for i in range(5):
        phone.edit("lot", f"lot-{i}", {"remarks": "茶" * 200_000})  # 600 kB in UTF-8
    phone.sync()
    assert [len(body["changes"]) for body in script.sent] == [3, 2]


def test_413_halves_requests_until_they_are_accepted():
    def small_server(body):
        return refusal(413) if len(body["changes"]) > 2 else apply_all(body)

    phone, script, _ = signed_in_phone(*[small_server] * 20)
    for i in range(8):
        phone.edit("lot", f"lot-{i}", {"remarks": "thin"})
    assert phone.sync().verdicts == {"applied": 8}
    assert [len(body["changes"]) for body in script.sent] == [8, 4, 2, 2, 2, 2]


def test_change_too_large_by_itself_is_refused_and_the_rest_is_sent():
    def server(body):
        return refusal(413) if any("x" in c["fields"]["remarks"] for c in body["changes"]) else apply_all(body)

    phone, _, _ = signed_in_phone(*[server] * 20)
    for text in ("thin", "x", "round"):
        phone.edit("lot", f"lot-{text}", {"remarks": text})
    assert phone.sync().verdicts == {"applied": 2, "refused": 1}
    assert [(u.record, u.problems[0]["code"]) for u in phone.refused] == [("lot-x", "too_large")]


def test_pages_are_pulled_until_there_are_no_more():
    phone, script, _ = signed_in_phone(
        page(pulled("lot-1"), cursor=5, more=True), page(pulled("lot-2", deleted=True), cursor=9), page_size=1
    )
    assert phone.sync().pulled == 2
    assert [(body["cursor"], body["limit"]) for body in script.sent] == [(0, 1), (5, 1)]
    assert [record.id for record in phone.records("lot")] == ["lot-1"]


def test_sync_without_pull_only_sends():
    phone, script, _ = signed_in_phone(lambda body: page(pulled(), cursor=5, verdicts=[verdict_on(body["changes"][0])]))
    phone.edit("lot", "lot-2", {"remarks": "thin"})
    phone.sync(pull=False)
    assert (len(script.sent), phone.records("lot")) == (1, [])
    script.answers = [page(cursor=0)]
    phone.sync()
    assert script.sent[-1]["cursor"] == 0


def test_silence_on_a_kept_connection_is_no_answer_either():
    with socket.create_server(("127.0.0.1", 0)) as server:
        url = f"http://127.0.0.1:{server.getsockname()[1]}"

        def answer_once():
            peer, _ = server.accept()
            peer.recv(4096)
            peer.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\n{}")
            peer.recv(4096)
            silent.wait(30)
            peer.close()

        silent = threading.Event()
        answering = threading.Thread(target=answer_once)
        answering.start()
        transport = HttpTransport(url, timeout_s=0.2)
        assert transport.send("GET", "/", headers={}, body=None).body == b"{}"
        with pytest.raises(UnreachableError):
            transport.send("GET", "/", headers={}, body=None)
        silent.set()
        answering.join()


def test_url_of_another_scheme_is_refused():
    with pytest.raises(UnreachableError, match="is not an address"):
        HttpTransport("ftp://tea.example")


def test_value_that_json_cannot_hold_is_refused_at_the_edit():
    phone = Phone(ScriptedTransport(), store=MemoryStore())
    for value in (float("nan"), "\ud800"):
        with pytest.raises(ValueError, match=r"JSON|surrogates"):
            phone.create("lot", {"name": value})
    assert phone.unsent == []
