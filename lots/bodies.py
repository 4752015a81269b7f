"""Bodies of requests, checked by a record schema."""

from collections.abc import Mapping

from lots.schema import RecordSchema, clean_fields, record_faults
from lots.wording import field_problem
from teams.errors import Invalid, Problem


def check_body(schema: RecordSchema, sent: Mapping[str, object]) -> tuple[dict[str, object], list[Problem]]:
    """Return the clean values of a body, and what is wrong with the other fields or missing."""
    values, faults = clean_fields(schema, sent)
    faulty = {name for name, _fault in faults}
    missing = [(name, fault) for name, fault in record_faults(schema, values) if name not in faulty]
    return values, [field_problem(name, fault) for name, fault in [*faults, *missing]]


def clean_body(schema: RecordSchema, sent: Mapping[str, object]) -> dict[str, object]:
    """Return the clean values of a body; raise Invalid, naming each field that is wrong or missing."""
    values, problems = check_body(schema, sent)
    if problems:
        raise Invalid(problems=problems)
    return values
