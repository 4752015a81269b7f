"""Application registration."""

from django.apps import AppConfig


class LotsConfig(AppConfig):
    """Registers `lots`."""

    name = "lots"
