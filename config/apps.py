"""Application registration; `config` holds management commands only."""

from django.apps import AppConfig


class ConfigConfig(AppConfig):
    """How Leafspan is put together."""

    name = "config"
