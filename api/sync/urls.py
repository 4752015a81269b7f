"""Address of the sync."""

from django.urls import path

from api.sync.sync import Sync

urlpatterns = [path("sync", Sync.as_view())]
