"""``manage.py database_logins``: the logins of web and worker, which own nothing, and of a replica."""

import os

from django.core.exceptions import ImproperlyConfigured
from django.core.management.base import BaseCommand, CommandError, CommandParser

from teams.database_role import REPLICATION_LOGIN, create_login, create_replication_login
from teams.row_security import role, worker_role


class Command(BaseCommand):
    help = (
        "Make the logins that web and worker sign in with, or give them other passwords: LEAFSPAN_WEB_PASSWORD and "
        "LEAFSPAN_WORKER_PASSWORD. They own nothing and may only act as the role that row-level security binds. With "
        "LEAFSPAN_REPLICATION_PASSWORD also the login leafspan_replication, by which a replica copies the server. Run "
        "it as the owner of the tables, after migrate; an owner that may make no logins prints what an administrator "
        "has to run."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--web", default="leafspan_web", help="name of the web server's login")
        parser.add_argument("--worker", default="leafspan_worker", help="name of the worker's login")

    def handle(self, *args: object, web: str, worker: str, **options: object) -> None:
        passwords = [os.environ.get(name, "") for name in ("LEAFSPAN_WEB_PASSWORD", "LEAFSPAN_WORKER_PASSWORD")]
        if not all(passwords):
            raise CommandError("give LEAFSPAN_WEB_PASSWORD and LEAFSPAN_WORKER_PASSWORD")
        try:
            for name, password, acts_as in zip((web, worker), passwords, (role(), worker_role()), strict=True):
                create_login(name, password=password, acts_as=acts_as)
                self.stdout.write(f"{name} may act as {acts_as}")
            if replication := os.environ.get("LEAFSPAN_REPLICATION_PASSWORD"):
                create_replication_login(password=replication)
                self.stdout.write(f"{REPLICATION_LOGIN} may copy the server")
        except ImproperlyConfigured as error:
            raise CommandError(str(error)) from error
