"""The admin's site: open to whoever has the link that the command printed, and to nobody else."""

import hmac

from django.conf import settings
from django.contrib.admin import AdminSite
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import URLPattern, URLResolver, reverse

_COOKIE = "leafspan_admin"
_FOR_LOGINS = ("password_change", "password_change_done", "autocomplete", "view_on_site")


class ReadOnlySite(AdminSite):
    """Shows what the apps' ``admin.py`` name; the link's code takes the place of a login."""

    site_header = site_title = "Leafspan: what this server stores"
    index_title = "Tables"
    index_template = "admin/tables.html"
    site_url = None
    enable_nav_sidebar = False

    def has_permission(self, request: HttpRequest) -> bool:
        """Whether this browser has opened the link."""
        return request.get_signed_cookie(_COOKIE, default=None, salt=settings.ADMIN_CODE) is not None

    def get_urls(self) -> list[URLResolver | URLPattern]:
        """Return Django's routes without those that need a login."""
        return [route for route in super().get_urls() if getattr(route, "name", None) not in _FOR_LOGINS]

    def login(self, request: HttpRequest, extra_context: dict[str, object] | None = None) -> HttpResponse:  # noqa: ARG002 - Django's shape
        """Remember a browser that brings the link's code; refuse any other."""
        if not hmac.compare_digest(request.GET.get("code", "").encode(), settings.ADMIN_CODE.encode()):
            raise PermissionDenied("Open the link that manage.py admin has printed.")
        response = HttpResponseRedirect(reverse("admin:index"))
        response.set_signed_cookie(_COOKIE, "opened", salt=settings.ADMIN_CODE, httponly=True, samesite="Strict")
        return response

    def logout(  # type: ignore[override]  # the stubs know Django's own page only
        self,
        request: HttpRequest,  # noqa: ARG002 - Django's shape
        extra_context: dict[str, object] | None = None,  # noqa: ARG002 - as above
    ) -> HttpResponse:
        """Forget this browser."""
        response = HttpResponseRedirect(reverse("admin:index"))
        response.delete_cookie(_COOKIE)
        return response
