"""The OpenAPI document, made once for all tests of a process; none may change it."""

from drf_spectacular.generators import SchemaGenerator

DOCUMENT = SchemaGenerator().get_schema(request=None, public=True)
