"""Application registration; `config` holds management commands and what `check --deploy` asks."""

from django.apps import AppConfig

import config.checks  # noqa: F401 - registers the checks


class ConfigConfig(AppConfig):
    """How Leafspan is put together."""

    name = "config"
