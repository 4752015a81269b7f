"""The web server's settings: ``gunicorn -c python:config.gunicorn_options config.asgi``."""

import os
from pathlib import Path

from gunicorn import glogging  # type: ignore[import-untyped]  # it has no types

from config.logs import formatter
from config.web.connections import KEEP_ALIVE_S
from config.web.garbage import collect_less

worker_class = "config.web.connections.Worker"
worker_connections = 4000
"""Most connections of one process, live events among them."""
keepalive = KEEP_ALIVE_S
preload_app = True  # loaded once, then forked: half the time until it serves, and less memory
workers = int(os.environ.get("WEB_CONCURRENCY") or 2)
graceful_timeout = 25
"""How long a running request may take to end after the stop signal. [s]"""
control_socket_disable = True

_home = Path(os.environ.get("LEAFSPAN_HOME") or Path(__file__).resolve().parent.parent / ".leafspan")
_counts = Path(os.environ.setdefault("PROMETHEUS_MULTIPROC_DIR", str(_home / "metrics")))


def on_starting(server: object) -> None:  # noqa: ARG001 - gunicorn's shape
    """Empty the folder in which the processes count: what is in it was counted before this server began."""
    _counts.mkdir(parents=True, exist_ok=True, mode=0o700)
    for file in _counts.iterdir():  # the folder itself stays: it was made for us where we may make none
        file.unlink()


def when_ready(server: object) -> None:  # noqa: ARG001 - gunicorn's shape
    """Leave what was loaded out of every later collection of garbage, in this process and those it forks."""
    collect_less()


class logger_class(glogging.Logger):  # type: ignore[misc]  # noqa: N801 - gunicorn's name for the setting
    """Writes in the form that `config.logs` says."""

    def setup(self, cfg: object) -> None:
        """Set up as always, then change the form."""
        super().setup(cfg)
        for handler in self.error_log.handlers:
            handler.setFormatter(formatter(os.environ.get("LEAFSPAN_LOGS", "")))
