"""Addresses of the pages; each module lists its own. Django tries them in this order."""

from importlib import import_module

from django.urls import path

from pages import client_guide, docs

MODULES = (
    "lots", "records", "record_history", "account", "email", "usage", "passwords", "people", "panel", "photos", "team",
    "team_settings", "audit", "words", "logo", "imports", "start", "accounts", "languages", "problems", "reports",
    "cards", "links", "arrival", "triangles", "triangle_cups", "flight_setup", "flight_outcome", "flight_scores",
    "flights", "shared",
)  # fmt: skip
urlpatterns = [
    path("api/v1/schema", docs.Document.as_view(), name="schema"),
    path("api/v1/docs", docs.show),
    *client_guide.urlpatterns,
    path("api/v1/docs/<str:resource>", docs.show, name="docs"),
    *(route for module in MODULES for route in import_module(f"pages.{module}").urlpatterns),
]
