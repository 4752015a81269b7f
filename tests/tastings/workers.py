"""Real Celery workers on the servers of the tests."""

import os
import subprocess
import sys
import time
from contextlib import contextmanager

from django.conf import settings
from django.db import connection

from config.dev.home import ROOT


@contextmanager
def running_worker(log, *command, **environment):
    """Run a worker until the block ends, told to stop by then; give its process. What it writes goes to a file.

    ``command`` are the arguments of Python; the worker of one process when left out.
    """
    database = "postgresql://{USER}:{PASSWORD}@{HOST}:{PORT}/{NAME}".format(**connection.settings_dict)
    servers = {"DATABASE_URL": database, "REDIS_URL": settings.REDIS_URL, "PYTHONPATH": str(ROOT)}
    with log.open("wb") as file:
        worker = subprocess.Popen(
            [sys.executable, "-m", *(command or ("celery", "-A", "config", "worker", "--concurrency", "1"))],
            cwd=ROOT, env={**os.environ, **servers, **environment}, stdout=file, stderr=file,
        )  # fmt: skip
    try:
        yield worker
    finally:
        worker.terminate()
        worker.wait(timeout=300)


def wait_for(true, *, worker=None):
    """Wait until something is true, and no longer than the worker runs; the limit only guards against never."""
    deadline = time.monotonic() + 300
    while not true():
        assert time.monotonic() < deadline, "it never came true"
        assert worker is None or worker.poll() is None, "the worker has ended"
        time.sleep(0.05)
