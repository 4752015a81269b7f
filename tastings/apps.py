"""Application registration."""

from django.apps import AppConfig


class TastingsConfig(AppConfig):
    """Registers `tastings`."""

    name = "tastings"
