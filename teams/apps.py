"""Application registration."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class TeamsConfig(AppConfig):
    """Registers `teams`."""

    name = "teams"

    def ready(self) -> None:
        """Grant the application's role its permissions after each migration."""
        from teams.database_role import grant_privileges  # noqa: PLC0415 - not before all applications are there

        post_migrate.connect(grant_privileges, sender=self)
