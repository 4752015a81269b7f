"""``manage.py dev``: everything in the foreground, as ``make run`` does once .venv is there."""

import os
import sys

from django.core.management.base import BaseCommand

from config.dev.home import ROOT


class Command(BaseCommand):
    help = "Start the database, the broker, the web server, the worker and the timetable in the foreground."
    requires_system_checks: list[str] = []

    def handle(self, *args: object, **options: object) -> None:
        os.chdir(ROOT)
        os.execv(sys.executable, [sys.executable, "-m", "config.dev", "run"])  # noqa: S606 - no shell wanted
