"""When a connection is usable, when it sends settings, and how it reads times."""

from datetime import UTC
from uuid import uuid4

import pytest
from django.db import DatabaseError, connection, connections

from teams.postgresql.base import DatabaseWrapper

pytestmark = pytest.mark.django_db


@pytest.fixture
def other():
    made = connections.create_connection("default")
    assert not made.is_usable()
    made.connect()
    yield made
    made.close()


def test_connection_is_usable_until_the_server_ends_it(other):
    with other.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        [(process,)] = cursor.fetchall()
    assert other.is_usable()
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_terminate_backend(%s, 10000)", [process])
    assert not other.is_usable()


def test_connection_is_not_usable_in_a_failed_transaction(other):
    other.set_autocommit(False)
    with pytest.raises(DatabaseError), other.cursor() as cursor:
        cursor.execute("SELECT 1/0")
    assert not other.is_usable()
    other.rollback()
    assert other.is_usable()


PREPARED, FAILS = ("SELECT %s::int + 1", [1]), ("SELECT 1 / %s::int", [0])


def fail_before_it_is_prepared(other):
    assert other.connection.prepare_threshold == 1
    other.run_together([PREPARED])
    with pytest.raises(DatabaseError, match="division by zero"):
        other.run_together([FAILS, PREPARED])


def test_statements_after_one_that_failed_are_prepared_anew(other):
    with pytest.raises(DatabaseError, match="division by zero"):
        other.run_together([FAILS])  # while nothing is prepared
    for _ in range(3):
        fail_before_it_is_prepared(other)
        assert other.run_together([PREPARED]) == [[(2,)]]


def test_statements_after_one_that_failed_are_prepared_anew_after_a_rollback(other):
    other.set_autocommit(False)
    fail_before_it_is_prepared(other)
    other.rollback()
    assert other.run_together([PREPARED]) == [[(2,)]]

    before = other.savepoint()
    fail_before_it_is_prepared(other)
    other.savepoint_rollback(before)
    assert other.run_together([PREPARED]) == [[(2,)]]
    other.rollback()


def test_settings_are_sent_only_where_a_transaction_does_not_begin_with_them(other):
    """A statement alone is one that the server can keep the plan of, and shorter."""
    ask = "SELECT current_query()"

    def settings_sent():
        with other.cursor() as cursor:
            cursor.execute(ask)
            [(query,)] = cursor.fetchall()
        assert query.endswith(ask)
        return query != ask

    assert not settings_sent()
    assert other.run_together([(ask, [])]) == [[(ask,)]]
    assert not settings_sent()
    for end in (other.commit, other.rollback):
        other.set_autocommit(False)
        assert not settings_sent()
        other.teams = str(uuid4())
        assert [settings_sent(), settings_sent()] == [True, False]
        other.teams = ""
        end()
        assert not settings_sent()
        other.teams = str(uuid4())
        assert settings_sent()
        other.teams = ""
        other.rollback()
        other.set_autocommit(True)
        assert not settings_sent()
    other.teams = str(uuid4())
    assert [settings_sent(), settings_sent()] == [True, True]


def test_times_are_read_in_utc_also_by_statements_sent_together(other):
    with other.cursor() as cursor:
        cursor.execute("SELECT now()")
        [(alone,)] = cursor.fetchall()
    [[(together,)]] = other.run_together([("SELECT now()", [])])
    assert alone.tzinfo is together.tzinfo is UTC


def test_new_connection_after_a_lost_one_sends_settings_again(other):
    other.teams = str(uuid4())
    other.set_autocommit(False)
    for _ in range(2):
        with other.cursor() as cursor:
            cursor.execute("SELECT current_setting('leafspan.teams', true)")
            assert cursor.fetchall() == [(other.teams,)]
        other.close()
        other.connect()
        other.set_autocommit(False)


def test_other_wrappers_get_each_statement_with_its_values_and_its_cursor(other):
    seen = []

    def note(execute, sql, params, many, context):
        settings, _, statement = sql.rpartition("; ")
        seen.append((bool(settings), statement, params, many, context["connection"] is other))
        return execute(sql, params, many, context)

    alone, repeated = "SELECT %s::int", "SELECT set_config('leafspan.session', %s, true)"
    with other.execute_wrapper(note):
        other.run_together([(alone, [0])])  # with settings in force
        other.teams = str(uuid4())
        other.run_together([(alone, [1]), (alone, [2])])
        with other.cursor() as cursor:
            cursor.execute(alone, [3])
            other.set_autocommit(False)
            for values in ([["a"], ["b"]], [["c"], ["d"]]):  # before and after the settings are in force
                cursor.executemany(repeated, values)
            cursor.execute(alone, [4])
    other.rollback()
    assert seen == [
        *((False, alone, [number], False, True) for number in range(3)),
        (True, alone, [3], False, True),
        (False, repeated, [["a"], ["b"]], True, True),
        (False, repeated, [["c"], ["d"]], True, True),
        (False, alone, [4], False, True),
    ]


def test_settings_of_statements_sent_together_are_not_prepared(other):
    """Their text differs from team to team: they would take the places of others."""
    for team in (uuid4(), uuid4()):
        other.teams = str(team)
        for _ in range(3):
            other.run_together([PREPARED])
    with other.cursor() as cursor:
        cursor.execute("SELECT statement FROM pg_prepared_statements")
        assert cursor.fetchall() == [("SELECT $1::int + 1",)]


def test_many_values_are_sent_in_a_transaction_of_their_own_connection():
    made = connections["replica"] = DatabaseWrapper(connection.settings_dict, alias="replica")
    try:
        made.teams = str(uuid4())
        with made.cursor() as cursor:
            cursor.executemany("SELECT set_config('leafspan.session', %s, true)", [["a"], ["b"]])
            cursor.execute("SELECT current_setting('leafspan.teams')")
            assert cursor.fetchall() == [(made.teams,)]
    finally:
        made.close()
        del connections["replica"]
