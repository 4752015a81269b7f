"""Addresses of live events and of a team's export."""

from django.urls import path

from api.operations.events import Events
from api.operations.export import TeamExport

urlpatterns = [path("events", Events.as_view()), path("team/export", TeamExport.as_view())]
