"""How far a flight has come, as a sentence for whoever asks for what does not go with it."""

from django.utils.translation import gettext as _


def flight_is(state: str) -> str:
    """Say in which of `tastings.models.Flight.State` a flight is."""
    return {
        "set_up": _("the flight is set up"),
        "tasting": _("the flight is tasting"),
        "revealed": _("the flight is revealed"),
        "decided": _("the flight is decided"),
        "called_off": _("the flight is called off"),
    }[state]
