"""``manage.py admin``: Django's admin over this installation, read-only, for whoever looks after it."""

import os
import secrets
import sys

from django.core.management.base import BaseCommand, CommandParser


class Command(BaseCommand):
    help = "Serve Django's admin on this machine, read-only: teams, people, devices, jobs and files, no tasting notes."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8001, help="on 127.0.0.1")

    def handle(self, *args: object, port: int, **options: object) -> None:
        code = secrets.token_urlsafe(16)
        environment = {**os.environ, "DJANGO_SETTINGS_MODULE": "config.admin.settings", "LEAFSPAN_ADMIN_CODE": code}
        environment.setdefault("LEAFSPAN_SECRET_KEY", secrets.token_hex())  # else each worker would make one up
        self.stdout.write(f"Read-only admin: http://127.0.0.1:{port}/login/?code={code}\nCtrl-C ends it.")
        self.stdout.flush()
        gunicorn = ["-m", "gunicorn", "--bind", f"127.0.0.1:{port}", "--threads", "2", "--no-control-socket"]
        quiet = ["--log-level", "warning"]
        os.execve(sys.executable, [sys.executable, *gunicorn, *quiet, "config.admin.wsgi"], environment)  # noqa: S606 - ours
