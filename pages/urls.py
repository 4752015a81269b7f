"""Addresses of the pages."""

from django.urls import path

from pages import (
    account,
    accounts,
    cards,
    client_guide,
    docs,
    email,
    flights,
    languages,
    links,
    lots,
    problems,
    record_history,
    records,
    reports,
    shared,
    usage,
)

urlpatterns = [
    path("api/v1/schema", docs.Document.as_view(), name="schema"),
    path("api/v1/docs", docs.DocsPage.as_view()),
    *client_guide.urlpatterns,
    *lots.urlpatterns,
    *records.urlpatterns,
    *record_history.urlpatterns,
    *account.urlpatterns,
    *email.urlpatterns,
    *usage.urlpatterns,
    *accounts.urlpatterns,
    *languages.urlpatterns,
    *problems.urlpatterns,
    *reports.urlpatterns,
    *cards.urlpatterns,
    *links.urlpatterns,
    *flights.urlpatterns,
    *shared.urlpatterns,
]
