"""The journal: an event that was reported as stored is there after any crash."""

import os

import pytest

from table.phone import JournalStore, MemoryStore, Phone, StoreError
from tests.table.scripted import ScriptedTransport, apply_all, page, pulled, signed_in_phone

TEA = {"name": "Mist Ridge", "kind": "oolong"}


def used_store(path):
    """Return the store of a phone with pulled, sent and unsent changes."""
    store = JournalStore(path, device="d")
    first = page(pulled("lot-1", name="one"), pulled("lot-2", name="two"), cursor=5)
    phone, _, _ = signed_in_phone(first, apply_all, store=store)
    phone.sync()
    phone.edit("lot", "lot-1", {"remarks": "thin"})
    phone.sync()
    phone.create("lot", TEA, record="lot-3")
    phone.delete("lot", "lot-2")
    return store


def test_state_is_read_again(tmp_path):
    store = used_store(tmp_path / "phone")
    before = store.state
    store.close()
    with Phone(ScriptedTransport(), store=JournalStore(tmp_path / "phone")) as again:
        assert again._store.state == before
        assert ([u.record for u in again.unsent], again.device) == (["lot-3", "lot-2"], "d")


def test_journal_cut_at_any_byte_has_every_complete_event(tmp_path):
    store = used_store(tmp_path / "phone")
    store.close()
    whole = (tmp_path / "phone").read_bytes()
    states = []
    for end in range(len(whole), 0, -1):
        path = tmp_path / "cut"
        path.write_bytes(whole[:end])
        cut = JournalStore(path, device="d")
        states.append((whole[:end].count(b"\n"), cut.state.snapshot()))
        assert path.read_bytes().endswith(b"\n")
        cut.close()
    lines = whole.splitlines()
    for n_events, found in states[:: max(1, len(states) // 200)]:
        expected = MemoryStore("d")
        path.write_bytes(b"".join(line + b"\n" for line in lines[: max(n_events, 1)]))
        expected = JournalStore(path, device="d")
        assert found == expected.state.snapshot()
        expected.close()


def test_compacting_changes_nothing_but_the_length(tmp_path):
    store = used_store(tmp_path / "phone")
    before = store.state.snapshot()
    store.compact()
    store.append({"event": "signed", "token": "later"})
    store.close()
    again = JournalStore(tmp_path / "phone")
    assert again.state.snapshot()["state"] == before["state"] | {"token": "later"}
    assert (tmp_path / "phone").read_bytes().count(b"\n") == 2
    again.close()


def test_a_long_journal_compacts_itself(tmp_path):
    store = JournalStore(tmp_path / "phone")
    for i in range(40):
        change = {"type": "lot", "id": "lot-1", "at": str(i), "fields": {"remarks": "x" * 50_000}}
        store.append({"event": "written", "number": 1, "begins": True, "change": change})
    assert (tmp_path / "phone").stat().st_size < 1_100_000
    assert store.state.view("lot-1").fields["remarks"] == "x" * 50_000
    store.close()


def test_second_phone_on_one_journal_is_refused(tmp_path):
    store = JournalStore(tmp_path / "phone")
    with pytest.raises(StoreError, match="cannot be used"):
        JournalStore(tmp_path / "phone")
    store.close()
    JournalStore(tmp_path / "phone").close()


@pytest.mark.parametrize("text", ["{}\n", "tea\n", '{"event": "unheard of"}\n', '[1]\n{"event": "begun"}\n'])
def test_file_that_is_no_journal_is_refused_and_left_as_it_is(tmp_path, text):
    (tmp_path / "phone").write_text(text)
    with pytest.raises(StoreError, match="line 1"):
        JournalStore(tmp_path / "phone")
    assert (tmp_path / "phone").read_text() == text


def test_full_disk_raises_and_damages_nothing(tmp_path, monkeypatch):
    store = JournalStore(tmp_path / "phone")
    before = (tmp_path / "phone").read_bytes()
    real = os.write

    def full(file, content):
        if len(content) > 40:
            return real(file, content[:40])
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(os, "write", full)
        with pytest.raises(StoreError, match="No space"):
            store.append({"event": "signed", "token": "x" * 20})
    assert (tmp_path / "phone").read_bytes() == before
    assert store.state.token == ""
    store.append({"event": "signed", "token": "y"})
    store.close()
    again = JournalStore(tmp_path / "phone")
    assert again.state.token == "y"
    again.close()


def test_only_the_owner_may_read_the_token(tmp_path):
    JournalStore(tmp_path / "phone").close()
    assert (tmp_path / "phone").stat().st_mode & 0o077 == 0
