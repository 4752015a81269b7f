"""The form in which operators see a table in Django's admin."""

from typing import TYPE_CHECKING

from django.contrib import admin
from django.db.models import Model
from django.http import Http404, HttpRequest, HttpResponse

if TYPE_CHECKING:
    _ModelAdmin = admin.ModelAdmin[Model]
else:
    _ModelAdmin = admin.ModelAdmin


class ReadOnlyAdmin(_ModelAdmin):
    """Shows the named columns of a table, in its list and of a row, and changes nothing.

    ``columns`` names what is needed to look after a server: never a secret, nor what somebody tasted or wrote.
    """

    columns: tuple[str, ...] = ()
    actions = None
    view_on_site = False
    show_full_result_count = False
    list_per_page = 50

    def get_list_display(self, request: HttpRequest) -> tuple[str, ...]:  # noqa: ARG002 - Django's shape
        """Return the columns of the list."""
        return self.columns

    def get_fields(self, request: HttpRequest, obj: Model | None = None) -> tuple[str, ...]:  # noqa: ARG002 - as above
        """Return the fields of a row's page."""
        return self.columns

    def get_readonly_fields(self, request: HttpRequest, obj: Model | None = None) -> tuple[str, ...]:  # noqa: ARG002 - as above
        """Return all of them."""
        return self.columns

    def has_module_permission(self, request: HttpRequest) -> bool:
        """Whether the site is open to this browser."""
        return self.admin_site.has_permission(request)

    def has_view_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:  # noqa: ARG002 - as above
        """Whether the site is open to this browser."""
        return self.admin_site.has_permission(request)

    def has_add_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:  # noqa: ARG002 - as above
        """Nobody makes rows here."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:  # noqa: ARG002 - as above
        """Nobody changes rows here."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:  # noqa: ARG002 - as above
        """Nobody deletes rows here."""
        return False

    def history_view(self, request: HttpRequest, object_id: str, extra_context: object = None) -> HttpResponse:  # noqa: ARG002 - as above
        """Nothing is changed here, so there is no history."""
        raise Http404
