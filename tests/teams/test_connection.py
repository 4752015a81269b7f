"""When a connection counts as usable, without a statement that tries it."""

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
