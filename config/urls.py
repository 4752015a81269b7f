"""All routes."""

from django.urls import include, path

from api.operations import health, metrics

urlpatterns = [
    path("health/live", health.live),
    path("health/ready", health.ready),
    path("metrics", metrics.metrics),
    path("", include("pages.urls")),
    path("", include("table.urls")),
    path("api/v1/", include("api.urls")),
]
handler400 = "api.http.problems.handler400"
handler404 = "api.http.problems.handler404"
handler500 = "api.http.problems.handler500"
