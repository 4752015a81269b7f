"""The form of a session: a chosen pot fills in volume, material and weight of the vessel."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from pages.record_forms import RecordForm, form_value, value_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from django.http import QueryDict

    from lots.schema import RecordSchema
    from pages.record_forms import Options

VESSEL = ("vessel_ml", "vessel_material", "vessel_g")
"""Fields that say which vessel it was; the dry leaf is weighed anew for every session."""


class SessionForm(RecordForm):
    """A record's form whose vessel follows from the pot that is chosen; ``pots`` are the pots' values by id.

    A field of the vessel that is left as the form proposed it takes the pot's value. One that was typed and differs
    from the pot's is refused, so that a session never names a pot and describes another one.
    """

    def __init__(  # noqa: PLR0913 - those of every record's form, and the pots
        self,
        schema: RecordSchema,
        names: Sequence[str],
        *,
        options: Options,
        values: Mapping[str, object],
        pots: Mapping[str, Mapping[str, object]],
        data: QueryDict | None = None,
    ) -> None:
        self.pots = pots
        super().__init__(schema, names, options=options, values=values, data=data)
        self.fields["pot"].help_text = _("Volume, material and weight below follow it when it is chosen.")
        del self.fields["vessel_ml"].widget.attrs["required"]  # a pot that is chosen fills it in

    def clean(self) -> dict[str, object]:
        """Fill in what follows from the pot, and refuse what contradicts it."""
        chosen = self.cleaned_data.get("pot", "")
        pot = self.pots.get(chosen, {})
        is_new = bool(pot) and chosen != self.values.get("pot")
        sent = {name: self.cleaned_data.get(name) for name in VESSEL}
        left = {name for name in VESSEL if sent[name] in ("", self.initial[name])}
        filled = {name: pot.get(name) for name in left} if is_new else {}
        for name, value in filled.items():
            self.cleaned_data[name] = form_value(self.schema.by_name()[name], value, self.zone)
        super().clean()
        self.cleaned_data |= {name: value for name, value in filled.items() if name not in self.errors}
        for name in VESSEL:
            typed, known = self.cleaned_data.get(name), pot.get(name)
            if name not in left and name not in self.errors and known not in (None, typed):
                shown = value_text(self.schema.by_name()[name], known, self.options)
                self.add_error(
                    name,
                    _("The pot has %(value)s here. Leave it so, correct the pot, or choose none.") % {"value": shown},
                )
        return self.cleaned_data
