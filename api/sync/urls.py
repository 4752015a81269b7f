"""Addresses of the sync."""

from django.urls import path

from api.sync.sync import Sync, SyncStream

urlpatterns = [path("sync", Sync.as_view()), path("sync/stream", SyncStream.as_view())]
