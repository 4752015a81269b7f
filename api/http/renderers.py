"""Renderers of views that answer with something other than JSON."""

from rest_framework.renderers import BaseRenderer, JSONRenderer


def json_or(media_type: str) -> list[type[BaseRenderer]]:
    """Return the renderers of a view that admits clients who accept only this type; errors are JSON all the same."""
    name = media_type.rpartition("/")[2]
    return [JSONRenderer, type(f"{name}Renderer", (JSONRenderer,), {"media_type": media_type, "format": name})]
