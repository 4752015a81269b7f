"""The timetable sends each of its jobs to its queue by name, and loads none of them."""

import os
import subprocess
import sys

from celery import current_app
from django.conf import settings

from config.dev.home import ROOT
from tastings.jobs import Job
from tastings.queues import Queue

SEND_ALL = """
import json, sys
from celery.beat import Scheduler
from config.timetable import app

app.Beat().init_loader()
scheduler = Scheduler(app)
for entry in scheduler.schedule.values():
    scheduler.apply_async(entry, advance=False)
print(json.dumps(sorted({"numpy", "tastings.tasks", "config.urls"} & sys.modules.keys())))
"""


def sent_to(queue):
    """Take all messages of a queue; return the names of their jobs."""
    with current_app.connection_for_read() as link:
        channel, names = link.default_channel, []
        while message := channel.basic_get(queue.value, no_ack=True):
            assert "sent_at" in message.headers
            names.append(message.headers["task"])
        return sorted(names)


def test_every_job_of_the_timetable_is_sent_to_its_queue_and_none_is_loaded(db):
    current_app.control.purge()
    environment = {**os.environ, "REDIS_URL": settings.REDIS_URL, "DATABASE_URL": "postgresql://a:b@127.0.0.1:1/none"}
    done = subprocess.run(
        [sys.executable, "-c", SEND_ALL],
        cwd=ROOT, env=environment, capture_output=True, text=True, check=False, timeout=300,
    )  # fmt: skip

    assert (done.returncode, done.stdout) == (0, "[]\n"), done.stderr
    wanted = {queue: [] for queue in Queue}
    for entry in settings.CELERY_BEAT_SCHEDULE.values():
        route = settings.CELERY_TASK_ROUTES.get(entry["task"], {"queue": settings.CELERY_TASK_DEFAULT_QUEUE})
        wanted[Queue(route["queue"])].append(Job(entry["task"]).value)
    assert {queue: sent_to(queue) for queue in Queue} == {queue: sorted(names) for queue, names in wanted.items()}
