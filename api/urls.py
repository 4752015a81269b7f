"""Addresses of version 1, by resource; each folder lists its own."""

from importlib import import_module

from api.http.addresses import with_either_slash

RESOURCES = ("account", "people", "sync", "descriptors", "records", "lots", "flights", "photos", "shares", "operations")
urlpatterns = [
    route for resource in RESOURCES for route in with_either_slash(import_module(f"api.{resource}.urls").urlpatterns)
]
