"""Django's admin with our site as the default."""

from django.contrib import admin
from django.contrib.admin.apps import AdminConfig


class ReadOnlyAdminConfig(AdminConfig):
    """Registers each app's ``admin.py`` with the read-only site."""

    default_site = "config.admin.site.ReadOnlySite"

    def ready(self) -> None:
        """Look for all ``admin.py``, then leave out what Django's own register: they ask for a login's rights."""
        from django.contrib.auth.models import Group  # noqa: PLC0415 - models can be imported from here on

        super().ready()
        admin.site.unregister(Group)
