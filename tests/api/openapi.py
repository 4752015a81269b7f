"""The OpenAPI document, made once for all tests of a process; none may change it."""

import jsonschema_rs
from drf_spectacular.generators import SchemaGenerator

DOCUMENT = SchemaGenerator().get_schema(request=None, public=True)


def schema_errors(name, value):
    """Return what of a value does not fit a named schema of the document."""
    return errors_of({"$ref": f"#/components/schemas/{name}"}, value)


def errors_of(schema, value):
    """Return what of a value does not fit a schema that may refer to those of the document."""
    validator = jsonschema_rs.Draft202012Validator({**schema, "components": DOCUMENT["components"]})
    return [error.message for error in validator.iter_errors(value)]
