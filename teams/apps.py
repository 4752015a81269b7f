"""Application registration."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class TeamsConfig(AppConfig):
    """Registers `teams`."""

    name = "teams"

    def ready(self) -> None:
        """Grant the application's role its permissions after each migration."""
        from teams.permissions import grant_permissions  # noqa: PLC0415 - not before all applications are there

        post_migrate.connect(grant_permissions, sender=self)
