"""How a phone talks to a server that is slow, absent, full, or has enough of it."""

import pytest

from table.phone import MemoryStore, Patience, Phone, PhoneError, RefusedError, SignedOutError, UnreachableError
from tests.table.scripted import GONE, Script, answer, applied, on, page, pulled, takes_all

TEA = {"name": "Mist Ridge", "kind": "oolong"}


def refusal(status, code="nope"):
    return answer(status, {"type": f"/problems/{code}", "title": "No", "status": status, "detail": "no"})


def test_nothing_heard_is_tried_again_after_growing_pauses():
    phone, script, pauses = on(GONE, answer(503), answer(429), takes_all)
    phone.new("lot", TEA, record="lot-1")
    assert phone.sync().words == {"applied": 1}
    assert pauses == [0.5, 1.0, 2.0]
    assert script.sent[0] == script.sent[3]


def test_chance_shortens_pauses_to_no_less_than_half():
    slept = []
    for chance in (0.0, 1.0):
        Patience(first_s=1, longest_s=6, sleep=slept.append, chance=lambda c=chance: c).wait(3)
    Patience(longest_s=6, sleep=slept.append, chance=lambda: 1.0).wait(50)
    assert slept == [2.0, 4.0, 6.0]


def test_a_server_that_says_how_long_is_given_as_long():
    phone, _, pauses = on(answer(503, retry_after="7"), takes_all)
    phone.sync()
    assert pauses == [7.0]


def test_silence_in_the_end_is_told_and_what_is_unsent_stays():
    phone, script, pauses = on(GONE, GONE, GONE, GONE)
    phone.new("lot", TEA, record="lot-1")
    with pytest.raises(UnreachableError):
        phone.sync()
    assert (len(script.sent), len(pauses), len(phone.unsent)) == (4, 3, 1)
    assert phone.sync().words == {"applied": 1}


def test_401_stops_and_says_so_until_signed_in_again():
    phone, script, pauses = on(refusal(401))
    phone.new("lot", TEA, record="lot-1")
    for _ in range(2):
        with pytest.raises(SignedOutError):
            phone.sync()
    assert (len(script.sent), pauses, phone.signed_in) == (1, [], False)
    script.answers = [answer(201, {"token": "new", "user": "ina"})]
    assert phone.sign_in(username="ina", password="p")["user"] == "ina"
    assert phone.sync().words == {"applied": 1}
    assert [headers.get("Authorization") for headers in script.headers] == ["Bearer secret", None, "Bearer new"]


def test_409_is_told_at_once():
    phone, script, _ = on(refusal(409, "unknown-schema"))
    phone.new("lot", TEA, record="lot-1")
    with pytest.raises(RefusedError) as told:
        phone.sync()
    assert (told.value.status, len(script.sent), len(phone.unsent)) == (409, 1, 1)


@pytest.mark.parametrize("nonsense", [answer(200, ["?"]), page(verdicts=[{}, {}])])
def test_an_answer_that_is_none_is_told_and_nothing_is_kept_of_it(nonsense):
    phone, _, _ = on(nonsense)
    phone.new("lot", TEA, record="lot-1")
    with pytest.raises(PhoneError):
        phone.sync()
    assert (len(phone.unsent), phone.records("lot")[0].unsent) == (1, True)


def test_at_most_1000_changes_go_at_once():
    phone, script, _ = on()
    for i in range(1001):
        phone.edit("lot", f"lot-{i}", {"remarks": "thin"})
    phone.sync()
    assert [len(body["changes"]) for body in script.sent] == [1000, 1]


def test_at_most_2_mib_go_at_once():
    phone, script, _ = on()
    for i in range(5):
        phone.edit("lot", f"lot-{i}", {"remarks": "茶" * 200_000})  # 600 kB in UTF-8
    phone.sync()
    assert [len(body["changes"]) for body in script.sent] == [3, 2]


def test_413_makes_smaller_chunks_until_they_go():
    def small_server(body):
        return refusal(413) if len(body["changes"]) > 2 else takes_all(body)

    phone, script, _ = on(*[small_server] * 20)
    for i in range(8):
        phone.edit("lot", f"lot-{i}", {"remarks": "thin"})
    assert phone.sync().words == {"applied": 8}
    assert [len(body["changes"]) for body in script.sent] == [8, 4, 2, 2, 2, 2]


def test_what_is_too_large_alone_is_put_aside_and_the_rest_goes():
    def server(body):
        return refusal(413) if any("x" in c["fields"]["remarks"] for c in body["changes"]) else takes_all(body)

    phone, _, _ = on(*[server] * 20)
    for text in ("thin", "x", "round"):
        phone.edit("lot", f"lot-{text}", {"remarks": text})
    assert phone.sync().words == {"applied": 2, "refused": 1}
    assert [(u.record, u.problems[0]["code"]) for u in phone.refused] == [("lot-x", "too_large")]


def test_pages_are_taken_until_there_are_no_more():
    phone, script, _ = on(
        page(pulled("lot-1"), cursor=5, more=True), page(pulled("lot-2", deleted=True), cursor=9), page=1
    )
    assert phone.sync().pulled == 2
    assert [(body["cursor"], body["limit"]) for body in script.sent] == [(0, 1), (5, 1)]
    assert [record.id for record in phone.records("lot")] == ["lot-1"]


def test_in_a_hurry_nothing_is_taken_in():
    phone, script, _ = on(lambda body: page(pulled(), cursor=5, verdicts=[applied(body["changes"][0])]))
    phone.edit("lot", "lot-2", {"remarks": "thin"})
    phone.sync(pull=False)
    assert (len(script.sent), phone.records("lot")) == (1, [])
    script.answers = [page(cursor=0)]
    phone.sync()
    assert script.sent[-1]["cursor"] == 0


def test_a_line_that_is_no_address_is_refused():
    from table.phone import HttpLink  # noqa: PLC0415 - only here

    with pytest.raises(UnreachableError, match="is not an address"):
        HttpLink("ftp://tea.example")


def test_what_json_cannot_carry_is_refused_when_it_is_written_down():
    phone = Phone(Script(), store=MemoryStore())
    for value in (float("nan"), "\ud800"):
        with pytest.raises(ValueError, match=r"JSON|surrogates"):
            phone.new("lot", {"name": value})
    assert phone.unsent == []
