"""Application registration."""

from django.apps import AppConfig


class TeamsConfig(AppConfig):
    """Registers `teams`."""

    name = "teams"
