"""What families of words are called."""

from django.utils.translation import pgettext_lazy

from tastings.wording.labels import Labels

FAMILIES: Labels = {
    "flowers": pgettext_lazy("family of words", "flowers"),
    "fresh fruit": pgettext_lazy("family of words", "fresh fruit"),
    "dried fruit": pgettext_lazy("family of words", "dried fruit"),
    "sweet kitchen": pgettext_lazy("family of words", "sweet kitchen"),
    "nuts and grains": pgettext_lazy("family of words", "nuts and grains"),
    "spice": pgettext_lazy("family of words", "spice"),
    "herb and leaf": pgettext_lazy("family of words", "herb and leaf"),
    "vegetable": pgettext_lazy("family of words", "vegetable"),
    "dairy": pgettext_lazy("family of words", "dairy"),
    "wood": pgettext_lazy("family of words", "wood"),
    "resin": pgettext_lazy("family of words", "resin"),
    "smoke and fire": pgettext_lazy("family of words", "smoke and fire"),
    "earth and stone": pgettext_lazy("family of words", "earth and stone"),
    "sea": pgettext_lazy("family of words", "sea"),
    "storage": pgettext_lazy("family of words", "storage"),
    "taste": pgettext_lazy("family of words", "taste"),
    "texture": pgettext_lazy("family of words", "texture"),
    "structure": pgettext_lazy("family of words", "structure"),
    "finish": pgettext_lazy("family of words", "finish"),
    "body feeling": pgettext_lazy("family of words", "body feeling"),
    "leaf look": pgettext_lazy("family of words", "leaf look"),
    "liquor look": pgettext_lazy("family of words", "liquor look"),
    "faults": pgettext_lazy("family of words", "faults"),
}
"""The built-in families, in the order in which pages list them; a team's own are shown as they were written."""
