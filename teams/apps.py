"""Application registration."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class TeamsConfig(AppConfig):
    """Registers `teams`."""

    name = "teams"

    def ready(self) -> None:
        """See to the application's rights after each migration."""
        from teams.rights import see_to_rights  # noqa: PLC0415 - not before all applications are there

        post_migrate.connect(see_to_rights, sender=self)
