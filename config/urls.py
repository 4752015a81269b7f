"""All routes."""

urlpatterns: list[object] = []
