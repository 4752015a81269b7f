"""Root starts everything, but web, worker and timetable run without root's rights."""

import os
from pathlib import Path

import pytest

from config.dev import program_identity
from config.dev.home import LaunchError, photos_folder

as_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root has rights to give up")


@pytest.fixture
def folders(tmp_path):
    """The folders that our programs write, with a picture in one of them."""
    found = [tmp_path / name for name in ("photos", "metrics", "beat")]
    (found[0] / "kept").mkdir(parents=True)
    (found[0] / "kept/one.jpg").write_bytes(b"x")
    return found


def owners(folder):
    return {path.stat().st_uid for path in (folder, *folder.rglob("*"))}


@pytest.mark.skipif(os.geteuid() == 0, reason="about an ordinary user")
def test_ordinary_user_runs_the_programs_as_itself(tmp_path, folders):
    assert program_identity.find_program_identity(tmp_path, folders) == "self"


@as_root
def test_root_becomes_nobody_where_nobody_can_read_the_code(tmp_path, folders, monkeypatch):
    monkeypatch.setattr(program_identity, "_others_can_read", lambda home: True)
    monkeypatch.setattr(program_identity, "can_use", lambda identity, folder, program: True)
    tmp_path.chmod(0o700)
    (tmp_path / "secrets.json").write_text("")
    (tmp_path / "secrets.json").chmod(0o600)

    kind, uid, _gid = program_identity.find_program_identity(tmp_path, folders).split(":")
    assert kind == "nobody"
    assert [owners(folder) for folder in folders] == [{int(uid)}] * 3
    assert tmp_path.stat().st_mode & 0o777 == 0o711
    assert (tmp_path / "secrets.json").stat().st_uid == 0


@as_root
def test_root_enters_a_namespace_where_only_root_can_read_the_code(tmp_path, folders, monkeypatch):
    monkeypatch.setattr(program_identity, "_others_can_read", lambda home: True)
    monkeypatch.setattr(program_identity, "can_use", lambda identity, folder, program: True)
    program_identity.find_program_identity(tmp_path, folders)  # an earlier start, as nobody
    monkeypatch.undo()
    monkeypatch.setattr(program_identity, "_others_can_read", lambda home: False)
    tmp_path.chmod(0o700)

    try:
        identity = program_identity.find_program_identity(tmp_path, folders)
    except LaunchError:
        pytest.skip("this container allows no identity other than root")
    assert identity.split(":")[0] in ("namespace", "capability")
    if identity.startswith("namespace"):
        assert [owners(folder) for folder in folders] == [{0}] * 3
    assert tmp_path.stat().st_mode & 0o777 == 0o700


@as_root
def test_nothing_runs_as_root_if_no_identity_works(tmp_path, folders, monkeypatch):
    monkeypatch.setattr(program_identity, "can_use", lambda identity, folder, program: False)
    with pytest.raises(LaunchError, match="cannot be run without root's rights"):
        program_identity.find_program_identity(tmp_path, folders)


@as_root
def test_photo_folder_elsewhere_keeps_its_owner(tmp_path, folders, monkeypatch):
    monkeypatch.setattr(program_identity, "_others_can_read", lambda home: True)
    monkeypatch.setattr(program_identity, "can_use", lambda identity, folder, program: True)
    (tmp_path / "home").mkdir()
    elsewhere = photos_folder(tmp_path / "home", {"LEAFSPAN_PHOTOS": str(folders[0])})
    program_identity.find_program_identity(tmp_path / "home", [elsewhere])
    assert owners(elsewhere) == {0}
    assert photos_folder(Path("/data"), {}) == Path("/data/photos")
