"""Every address of the URL table with the methods it takes."""

from django.urls import URLResolver, get_resolver


def routes():
    """Return (address, parameters, methods) of every route, the address as a format string."""
    return sorted(_below(get_resolver().url_patterns, ""))


def _below(patterns, prefix):
    for pattern in patterns:
        route = prefix + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from _below(pattern.url_patterns, route)
        else:
            parameters = tuple(pattern.pattern.converters)
            for name in parameters:
                route = route.replace(f"<str:{name}>", f"{{{name}}}")
            yield "/" + route, parameters, _methods(pattern.callback)


def _methods(view):
    made = getattr(view, "view_class", None) or getattr(view, "cls", None)
    if made is None:
        return ("get",)  # plain function views here are all read-only
    return tuple(name for name in ("get", "post", "put", "patch", "delete") if hasattr(made, name))
