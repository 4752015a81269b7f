"""All routes."""

from django.urls import include, path

from api import (
    account_pages,
    card_pages,
    flight_pages,
    health,
    link_pages,
    lots_pages,
    metrics,
    report_pages,
    shared_pages,
)

urlpatterns = [
    path("health/live", health.live),
    path("health/ready", health.ready),
    path("metrics", metrics.metrics),
    path("api/v1/", include("api.urls")),
    *lots_pages.urlpatterns,
    *account_pages.urlpatterns,
    *report_pages.urlpatterns,
    *card_pages.urlpatterns,
    *link_pages.urlpatterns,
    *flight_pages.urlpatterns,
    *shared_pages.urlpatterns,
]
handler400 = "api.problems.bad_request"
handler404 = "api.problems.no_such_route"
handler500 = "api.problems.broken"
