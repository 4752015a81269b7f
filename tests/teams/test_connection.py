"""When a connection counts as usable, and that it is usable after statements sent together have failed."""

import pytest
from django.db import DatabaseError, connection, connections

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
