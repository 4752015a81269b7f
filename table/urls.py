"""Addresses of the app."""

from django.urls import path

from table import views

urlpatterns = [
    path("table/", views.shell, name="table"),
    path("table/manifest.webmanifest", views.manifest, name="table-manifest"),
    path("table/sw.js", views.service_worker),
]
