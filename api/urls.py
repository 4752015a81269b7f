"""Addresses of version 1, by resource; each folder lists its own. Django tries them in this order."""

from importlib import import_module

from api.http.addresses import with_either_slash

RESOURCES = ("sync", "account", "people", "descriptors", "records", "lots", "flights", "photos", "shares", "operations")
urlpatterns = [
    route for resource in RESOURCES for route in with_either_slash(import_module(f"api.{resource}.urls").urlpatterns)
]
