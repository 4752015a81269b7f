"""What is wrong with a value, in the language that is active."""

from django.utils.formats import get_format
from django.utils.translation import gettext

from lots.schema import Fault
from teams.errors import Problem


def fault_text(fault: Fault) -> str:
    """Write what is wrong, with the language's decimal mark.

    >>> fault_text(Fault("range", "must be at least %(low)s", {"low": 0.5}))
    'must be at least 0.5'
    """
    message = gettext(fault.message)
    return message % {name: _written(value) for name, value in fault.values.items()} if fault.values else message


def field_problem(name: str, fault: Fault) -> Problem:
    """Return the part of a problem document about one field."""
    return Problem(name, fault.code, fault_text(fault))


def _written(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.15g}".replace(".", str(get_format("DECIMAL_SEPARATOR")))
    return str(value)
