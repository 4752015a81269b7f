"""The check finds what is lost, what was applied twice, and phones that disagree."""

import pytest

from tests.faults.consistency import check_records

PHONE, AT = "phone-1", "2026-03-04T12:00:00.000000Z"
CHANGE = {"type": "lot", "id": "lot-1", "at": AT, "fields": {"remarks": "thin"}}


class FakePhone:
    """A phone that shows the same everywhere but where a test changes it."""

    device = PHONE

    def __init__(self, *entries, records=()):
        self.entries, self.shown = list(entries), list(records)

    def request(self, method, path):
        assert (method, path) == ("GET", "/api/v1/lots/lot-1/history")
        return {"current": self.entries[:1], "overwritten": self.entries[1:]}

    def records(self, type_name):
        return [] if type_name in ("member", "shop") else self.shown


class FakeTaster:
    username = "ina"

    def __init__(self, phone):
        self.phone, self.acknowledged, self.unshared_changes, self.photos = phone, [CHANGE], 1, []


def entry(value="thin", *, at=AT, claimed_at=None):
    return {"field": "remarks", "value": value, "at": at, "device": PHONE, "by": "ina", "claimed_at": claimed_at}


@pytest.mark.parametrize(
    ("phone", "revision", "wrong"),
    [
        (FakePhone(entry()), 1, ""),
        (FakePhone(entry("round", at="later"), entry()), 1, ""),
        (FakePhone(entry("round")), 1, "lost: remarks of lot lot-1, 'thin'"),
        (FakePhone(entry(), entry()), 1, "twice in the history of lot-1"),
        (FakePhone(entry(at="a", claimed_at=AT), entry(at="b", claimed_at=AT)), 1, "twice in the history of lot-1"),
        (FakePhone(entry()), 2, "the team counts 2 revisions, not 1 to 1"),
        (FakePhone(entry()), 0, "the team counts 0 revisions, not 1 to 1"),
    ],
)
def test_what_is_wrong_is_found(phone, revision, wrong):
    found = check_records(phone, [FakeTaster(phone)], revision=revision)
    assert (len(found), wrong in "".join(found)) == (bool(wrong), True)


def test_a_phone_that_shows_something_else_is_found():
    found = check_records(FakePhone(entry()), [FakeTaster(FakePhone(entry(), records=["?"]))], revision=1)
    assert found == [f"ina shows other {kind}s than the server" for kind in ("lot", "session", "infusion", "note")]
