"""The Celery application: JSON messages, queues and timetable in settings."""

import os

from celery import Celery

import config.job_context  # noqa: F401 - what is done around each job

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
# Django's checks import all pages and the API. The tests run them, and so does `manage.py migrate`.
os.environ.setdefault("CELERY_SKIP_CHECKS", "1")
app = Celery("leafspan")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
