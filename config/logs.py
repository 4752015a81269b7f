"""Log lines: for people at a terminal, or one JSON object each for a program that collects them.

``LEAFSPAN_LOGS=json`` asks for JSON: ``time``, ``level``, ``logger``, ``message``; where known the ids ``request``,
``job_id`` and ``team``, and ``job``, a name; of a request ``method``, ``route``, ``status`` and ``ms``; of an error its
type, where it came from and, from the database, its state and constraint.

Neither form has addresses, only their routes, since some are secret links. JSON also leaves out the message of an
error: a database names the values it refuses, which may be someone's notes. Standard library only, since
the settings and the web server's own settings read this.
"""

import json
import logging
import sys
import traceback
from datetime import UTC, datetime
from types import TracebackType

from api.http.context import log_fields, route_of

EXTRA_FIELDS = ("method", "route", "status", "ms", "seconds", "outcome")
"""Fields that our own log calls add."""
_FRAMES = 30


class Lines(logging.Formatter):
    """For people: moment, level, logger, message, what it is about; errors with all they say."""

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)s %(name)s %(message)s%(about)s")

    def format(self, record: logging.LogRecord) -> str:
        """Return the line, and the lines of an error."""
        text = [f"{name}={value}" for name, value in log_fields().items()]
        text += [f"ms={ms}"] if (ms := getattr(record, "ms", None)) is not None else []
        record.about = f" [{' '.join(text)}]" if text else ""
        return super().format(record)

    def formatMessage(self, record: logging.LogRecord) -> str:  # noqa: N802 - the library's name
        """Return the first line."""
        record.message = _without_address(record, record.message)
        return super().formatMessage(record)


class JsonLines(logging.Formatter):
    """For programs: one object in one line."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        moment = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        line: dict[str, object] = {
            "time": moment.replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": _message(record),
            **log_fields(),
            **{name: value for name in EXTRA_FIELDS if (value := getattr(record, name, None)) is not None},
        }
        job = getattr(record, "data", None)
        if isinstance(job, dict):
            line |= {"job": job.get("name"), "job_id": job.get("id"), "seconds": job.get("runtime")}
        if record.exc_info and record.exc_info[1] is not None:
            line["error"] = _error(record.exc_info[1], record.exc_info[2])
        return json.dumps(line, default=str)


def _message(record: logging.LogRecord) -> str:
    """Return the message without the text of an error or the arguments of a job."""
    job = getattr(record, "data", None)
    if isinstance(job, dict):  # lines of Celery: name, id, outcome and error message
        return f"{job.get('name')} {job.get('description') or 'done'}"
    arguments = record.args
    if isinstance(arguments, tuple):
        arguments = tuple(type(part).__name__ if isinstance(part, BaseException) else part for part in arguments)
    text = str(record.msg) % arguments if arguments else str(record.msg)
    return _without_address(record, text)


def _without_address(record: logging.LogRecord, text: str) -> str:
    """Put the route in the place of the address of a request, which the framework's lines hold."""
    request = getattr(record, "request", None)
    if request is None or not hasattr(request, "path"):
        return text
    for address in (request.get_full_path(), request.path):
        text = text.replace(address, route_of(request)) if address != "/" else text
    return text


def _error(error: BaseException, trace: TracebackType | None) -> dict[str, object]:
    """Return type and place of an error and of its cause, never its text."""
    frames = traceback.extract_tb(trace)[-_FRAMES:]
    fields: dict[str, object] = {
        "type": type(error).__name__,
        "where": [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames],
    }
    diagnosis = getattr(error, "diag", None)  # psycopg's
    for name in ("sqlstate", "constraint_name", "table_name"):
        if value := getattr(diagnosis, name, None):
            fields[name] = value
    cause = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    if cause is not None:
        fields["cause"] = _error(cause, cause.__traceback__)
    return fields


def formatter(form: str) -> logging.Formatter:
    """Return the formatter for ``json`` or, for anything else, people."""
    return JsonLines() if form == "json" else Lines()


def log_settings(form: str) -> dict[str, object]:
    """Return the settings of logging for `logging.config.dictConfig`; ``form`` is ``json``, ``lines`` or empty."""
    if form not in ("json", "lines", ""):
        raise ValueError(f"LEAFSPAN_LOGS must be json or lines, not {form!r}")
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"chosen": {"()": formatter, "form": form}},
        "handlers": {"stderr": {"class": "logging.StreamHandler", "stream": sys.stderr, "formatter": "chosen"}},
        "root": {"handlers": ["stderr"], "level": "INFO"},
        "loggers": {
            "django.request": {"level": "ERROR"},  # refusals have our own line
            "celery.worker.strategy": {"level": "WARNING"},  # the end of a job is logged, its arrival is not
            "psycopg": {"level": "ERROR"},  # it warns of the end of a pipeline whose error is raised and logged
        },
    }
