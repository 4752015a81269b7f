"""Addresses of version 1, by resource; each folder lists its own."""

from django.urls import include, path

RESOURCES = ("account", "people", "sync", "descriptors", "records", "lots", "flights", "photos", "shares", "operations")
urlpatterns = [path("", include(f"api.{resource}.urls")) for resource in RESOURCES]
