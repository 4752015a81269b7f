"""What `manage.py check --deploy` finds missing in the environment of a server for real use."""

import os
from collections.abc import Sequence

from django.apps import AppConfig
from django.conf import settings
from django.core import checks
from django.db import connections


@checks.register(checks.Tags.security, deploy=True)
def check_environment(app_configs: Sequence[AppConfig] | None, **_: object) -> list[checks.CheckMessage]:  # noqa: ARG001 - Django's shape
    """Return what is wrong with the settings that only whoever runs the server can know."""
    messages: list[checks.CheckMessage] = []
    if not os.environ.get("LEAFSPAN_SECRET_KEY"):
        messages.append(
            checks.Error(
                "LEAFSPAN_SECRET_KEY is not set: each process has a key of its own.",
                hint="Browsers would be signed out at random. Make one up, 50 characters or more, and keep it.",
                id="leafspan.E001",
            )
        )
    if settings.SECURE_SSL_REDIRECT and not settings.TRUSTED_PROXIES:
        messages.append(
            checks.Warning(
                "LEAFSPAN_TLS=1 says that a proxy stands before the server, LEAFSPAN_PROXIES that none does.",
                hint="All callers seem to have the proxy's address and share one allowance of wrong passwords.",
                id="leafspan.W001",
            )
        )
    if not settings.SITE_URL.startswith("https://"):
        messages.append(
            checks.Warning(
                "LEAFSPAN_URL is not set to an https address.",
                hint="Links in mail begin with the name that the request came for.",
                id="leafspan.W002",
            )
        )
    if settings.EMAIL_BACKEND == "django.core.mail.backends.console.EmailBackend":
        messages.append(
            checks.Warning(
                "LEAFSPAN_MAIL is not set: mail is printed where the worker runs.",
                hint="A forgotten password cannot be set anew.",
                id="leafspan.W003",
            )
        )
    return messages


@checks.register(checks.Tags.database, deploy=True)
def check_login(databases: Sequence[str] | None = None, **_: object) -> list[checks.CheckMessage]:
    """Return a warning if the login of `DATABASE_URL` owns tables: for ``check --deploy --database default``."""
    if "default" not in (databases or ()):
        return []
    with connections["default"].cursor() as cursor:
        cursor.execute(
            "SELECT session_user, EXISTS (SELECT FROM pg_class WHERE relnamespace = 'public'::regnamespace"
            " AND pg_get_userbyid(relowner) = session_user)"
        )
        login, owns = cursor.fetchone()
    if not owns:
        return []
    return [
        checks.Warning(
            f"DATABASE_URL signs in as {login}, who owns the tables and could pass row-level security.",
            hint="Only manage.py needs the owner. `manage.py database_logins` makes logins for web and worker.",
            id="leafspan.W004",
        )
    ]
