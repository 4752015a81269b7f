"""All routes of Django; `config.web.serving` answers ``/health/`` and live events before."""

from django.urls import include, path

from api.operations import metrics

urlpatterns = [
    path("api/v1/", include("api.urls")),
    path("metrics", metrics.metrics),
    path("", include("pages.urls")),
    path("", include("table.urls")),
]
handler400 = "api.http.problems.handler400"
handler404 = "pages.failures.handler404"
handler500 = "pages.failures.handler500"
