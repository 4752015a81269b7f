"""A later start skips the setup only while code and database are unchanged."""

import psycopg
import pytest
from django.db import connection

from config.dev import setup_stamp
from config.dev.setup_stamp import is_set_up, write_stamp


@pytest.fixture
def home(tmp_path):
    (tmp_path / "postgres").mkdir()
    return tmp_path


@pytest.fixture
def database_url(db):
    found = connection.settings_dict
    return f"postgresql://{found['USER']}:{found['PASSWORD']}@{found['HOST']}:{found['PORT']}/{found['NAME']}"


def test_database_without_a_stamp_is_not_set_up(home, database_url):
    assert not is_set_up(home, database_url)


def test_stamped_database_is_set_up(home, database_url):
    write_stamp(home, database_url)

    assert is_set_up(home, database_url)


def test_changed_sources_need_setting_up_again(home, database_url, monkeypatch):
    write_stamp(home, database_url)
    monkeypatch.setattr(setup_stamp, "_SOURCES", ("*/migrations/*.py",))

    assert not is_set_up(home, database_url)


def test_another_role_needs_setting_up_again(home, database_url, monkeypatch):
    write_stamp(home, database_url)
    monkeypatch.setenv("LEAFSPAN_DATABASE_ROLE", "another_role")  # it has no privileges yet

    assert not is_set_up(home, database_url)


def test_stamp_goes_with_data_that_are_elsewhere(home, database_url, tmp_path):
    (home / "postgres").rmdir()
    (tmp_path / "elsewhere").mkdir()
    (home / "postgres.location").write_text(str(tmp_path / "elsewhere"))
    write_stamp(home, database_url)

    assert is_set_up(home, database_url)
    assert [file.name for file in (tmp_path / "elsewhere").iterdir()] == ["leafspan-setup"]


def test_stamp_that_cannot_be_written_only_costs_the_shortcut(home, database_url):
    (home / "postgres").rmdir()
    write_stamp(home, database_url)

    assert not is_set_up(home, database_url)


def test_migration_undone_by_hand_needs_setting_up_again(home, database_url, monkeypatch):
    write_stamp(home, database_url)
    with psycopg.connect(database_url) as link:
        applied = link.execute("SELECT count(*) FROM django_migrations").fetchone()[0]
    assert setup_stamp._applied_migrations(database_url) == applied > 0
    monkeypatch.setattr(setup_stamp, "_applied_migrations", lambda _url: applied - 1)

    assert not is_set_up(home, database_url)
