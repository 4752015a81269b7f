"""Real Celery workers on the servers of the tests."""

import os
import signal
import subprocess
import sys
from contextlib import contextmanager, suppress

from django.conf import settings
from django.db import connection

from config.dev.home import ROOT
from tests.config.launching import eventually

ALONE = "--without-mingle"
"""Look for no other workers, which takes a second."""


def environment_on_test_servers():
    """Return the environment for a program that is to use the database and the broker of the tests."""
    database = "postgresql://{USER}:{PASSWORD}@{HOST}:{PORT}/{NAME}".format(**connection.settings_dict)
    return {**os.environ, "DATABASE_URL": database, "REDIS_URL": settings.REDIS_URL}


@contextmanager
def running_worker(log, *command, **environment):
    """Run a worker while the block runs, then kill it; give its process. What it writes goes to a file.

    ``command`` are the arguments of Python; the worker of one process when left out. Killed, because to stop takes it
    three seconds; `test_queues` has one that stops.
    """
    env = environment_on_test_servers() | {"PYTHONPATH": str(ROOT)} | environment
    with log.open("wb") as file:
        worker = subprocess.Popen(
            [sys.executable, "-m", *(command or ("celery", "-A", "config", "worker", "--concurrency", "1", ALONE))],
            cwd=ROOT, env=env, stdout=file, stderr=file, start_new_session=True,
        )  # fmt: skip
    try:
        yield worker
    finally:
        with suppress(ProcessLookupError):  # it has ended, and with it its children
            os.killpg(worker.pid, signal.SIGKILL)
        worker.wait(timeout=300)


def wait_for(true, *, worker=None):
    """Wait until something is true; fail if it never is, and as soon as the worker has ended."""

    def has_ended():
        return worker is not None and worker.poll() is not None

    assert eventually(lambda: true() or has_ended()), "it never came true"
    assert not has_ended(), "the worker has ended"
