"""What codes of records and of figures are called: kinds of tea, materials, moments, countries, foods.

Every table holds lazy translations, so that a label follows the language that is active when it is written. A code that
no table has is shown as it is written, with spaces.
"""

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import get_language, pgettext, pgettext_lazy

Labels = Mapping[str, Promise]

KINDS = {
    "green": pgettext_lazy("kind of lot", "green"),
    "white": pgettext_lazy("kind of lot", "white"),
    "yellow": pgettext_lazy("kind of lot", "yellow"),
    "oolong": pgettext_lazy("kind of lot", "oolong"),
    "black": pgettext_lazy("kind of lot", "black"),
    "dark": pgettext_lazy("kind of lot", "dark"),
    "scented": pgettext_lazy("kind of lot", "scented"),
    "herbal": pgettext_lazy("kind of lot", "herbal"),
}
"""Kinds of tea as a word in a line: green, oolong."""
TEAS = {
    "green": pgettext_lazy("kind of tea", "Green tea"),
    "white": pgettext_lazy("kind of tea", "White tea"),
    "yellow": pgettext_lazy("kind of tea", "Yellow tea"),
    "oolong": pgettext_lazy("kind of tea", "Oolong"),
    "black": pgettext_lazy("kind of tea", "Black tea"),
    "dark": pgettext_lazy("kind of tea", "Dark tea"),
    "scented": pgettext_lazy("kind of tea", "Scented tea"),
    "herbal": pgettext_lazy("kind of tea", "Herbal infusion"),
}
"""Kinds of tea as a name: Green tea."""
COUNTRIES = {
    "AR": pgettext_lazy("country", "Argentina"),
    "AZ": pgettext_lazy("country", "Azerbaijan"),
    "BD": pgettext_lazy("country", "Bangladesh"),
    "BR": pgettext_lazy("country", "Brazil"),
    "BT": pgettext_lazy("country", "Bhutan"),
    "CN": pgettext_lazy("country", "China"),
    "CO": pgettext_lazy("country", "Colombia"),
    "GB": pgettext_lazy("country", "United Kingdom"),
    "GE": pgettext_lazy("country", "Georgia"),
    "HK": pgettext_lazy("country", "Hong Kong"),
    "ID": pgettext_lazy("country", "Indonesia"),
    "IN": pgettext_lazy("country", "India"),
    "IR": pgettext_lazy("country", "Iran"),
    "JP": pgettext_lazy("country", "Japan"),
    "KE": pgettext_lazy("country", "Kenya"),
    "KR": pgettext_lazy("country", "Korea"),
    "LA": pgettext_lazy("country", "Laos"),
    "LK": pgettext_lazy("country", "Sri Lanka"),
    "MM": pgettext_lazy("country", "Myanmar"),
    "MW": pgettext_lazy("country", "Malawi"),
    "MY": pgettext_lazy("country", "Malaysia"),
    "MZ": pgettext_lazy("country", "Mozambique"),
    "NP": pgettext_lazy("country", "Nepal"),
    "NZ": pgettext_lazy("country", "New Zealand"),
    "PT": pgettext_lazy("country", "Portugal"),
    "RU": pgettext_lazy("country", "Russia"),
    "RW": pgettext_lazy("country", "Rwanda"),
    "TH": pgettext_lazy("country", "Thailand"),
    "TR": pgettext_lazy("country", "Turkey"),
    "TW": pgettext_lazy("country", "Taiwan"),
    "TZ": pgettext_lazy("country", "Tanzania"),
    "UG": pgettext_lazy("country", "Uganda"),
    "US": pgettext_lazy("country", "United States"),
    "VN": pgettext_lazy("country", "Vietnam"),
    "ZA": pgettext_lazy("country", "South Africa"),
    "ZW": pgettext_lazy("country", "Zimbabwe"),
}
"""Countries that grow tea or trade in it, by ISO 3166-1 alpha-2."""
SEASONS = {
    "spring": pgettext_lazy("season", "spring"),
    "summer": pgettext_lazy("season", "summer"),
    "autumn": pgettext_lazy("season", "autumn"),
    "winter": pgettext_lazy("season", "winter"),
}
ROASTS = {
    "none": pgettext_lazy("roast", "unroasted"),
    "light": pgettext_lazy("roast", "light roast"),
    "medium": pgettext_lazy("roast", "medium roast"),
    "medium_dark": pgettext_lazy("roast", "medium dark roast"),
    "dark": pgettext_lazy("roast", "dark roast"),
}
STATUSES = {
    "sample": pgettext_lazy("status of a lot", "Sample"),
    "bought": pgettext_lazy("status of a lot", "Bought"),
    "retired": pgettext_lazy("status of a lot", "Retired"),
}
MATERIALS = {
    "porcelain": pgettext_lazy("vessel material", "porcelain"),
    "unglazed_clay": pgettext_lazy("vessel material", "unglazed clay"),
    "glazed_stoneware": pgettext_lazy("vessel material", "glazed stoneware"),
    "glass": pgettext_lazy("vessel material", "glass"),
    "silver": pgettext_lazy("vessel material", "silver"),
    "cast_iron": pgettext_lazy("vessel material", "cast iron"),
}
MOMENTS = {
    "dry_leaf": pgettext_lazy("moment of a note", "dry leaf"),
    "warmed_leaf": pgettext_lazy("moment of a note", "warmed leaf"),
    "wet_leaf": pgettext_lazy("moment of a note", "wet leaf"),
    "lid": pgettext_lazy("moment of a note", "lid"),
    "liquor": pgettext_lazy("moment of a note", "liquor"),
    "mouth": pgettext_lazy("moment of a note", "mouth"),
    "finish": pgettext_lazy("moment of a note", "finish"),
    "empty_cup": pgettext_lazy("moment of a note", "empty cup"),
    "spent_leaf": pgettext_lazy("moment of a note", "spent leaf"),
    "body": pgettext_lazy("moment of a note", "body"),
}
PHOTO_SUBJECTS = {
    "dry_leaf": pgettext_lazy("subject of a photo", "Dry leaf"),
    "wet_leaf": pgettext_lazy("subject of a photo", "Wet leaf"),
    "liquor": pgettext_lazy("subject of a photo", "Liquor"),
    "spent_leaf": pgettext_lazy("subject of a photo", "Spent leaf"),
    "other": pgettext_lazy("subject of a photo", "Photo"),
}
PROFILES = {
    "build_up": pgettext_lazy("how strength develops", "builds up"),
    "steady": pgettext_lazy("how strength develops", "stays steady"),
    "slow_fade": pgettext_lazy("how strength develops", "fades slowly"),
    "quick_fade": pgettext_lazy("how strength develops", "fades quickly"),
    "undecided": pgettext_lazy("how strength develops", "course not known yet"),
}
PROFILE_NOUNS = {
    "build_up": pgettext_lazy("profile", "build up"),
    "steady": pgettext_lazy("profile", "steady"),
    "slow_fade": pgettext_lazy("profile", "slow fade"),
    "quick_fade": pgettext_lazy("profile", "quick fade"),
}
DEPARTURES = {
    "cool_water": pgettext_lazy("how a pour differed", "cooler water"),
    "long_steep": pgettext_lazy("how a pour differed", "longer steep"),
    "short_steep": pgettext_lazy("how a pour differed", "shorter steep"),
    "leaf_ratio": pgettext_lazy("how a pour differed", "leaf to water"),
    "cold_vessel": pgettext_lazy("how a pour differed", "cold vessel"),
}
FOODS = {
    "dark_chocolate": pgettext_lazy("food", "Dark chocolate"),
    "ripe_pear": pgettext_lazy("food", "A ripe pear or peach"),
    "walnuts": pgettext_lazy("food", "Roasted walnuts"),
    "butter_biscuits": pgettext_lazy("food", "Butter biscuits"),
    "rice_crackers": pgettext_lazy("food", "Rice crackers with seaweed"),
    "fresh_goat_cheese": pgettext_lazy("food", "Fresh goat's cheese"),
    "dried_figs": pgettext_lazy("food", "Dried figs or apricots"),
    "candied_orange": pgettext_lazy("food", "Candied orange peel"),
    "spiced_cake": pgettext_lazy("food", "Spiced cake"),
    "smoked_salmon": pgettext_lazy("food", "Smoked salmon on rye bread"),
    "baked_mushrooms": pgettext_lazy("food", "Baked mushrooms"),
    "hard_cheese": pgettext_lazy("food", "Mild hard cheese"),
}
ALLERGENS = {
    "milk": pgettext_lazy("allergen", "milk"),
    "nuts": pgettext_lazy("allergen", "nuts"),
    "soya": pgettext_lazy("allergen", "soya"),
    "gluten": pgettext_lazy("allergen", "cereals with gluten"),
    "egg": pgettext_lazy("allergen", "egg"),
    "sesame": pgettext_lazy("allergen", "sesame"),
    "sulphites": pgettext_lazy("allergen", "sulphites"),
    "fish": pgettext_lazy("allergen", "fish"),
}
"""Allergens, by the names of Annex II of Regulation (EU) No 1169/2011 (from memory)."""


def label(labels: Labels, code: str) -> str:
    """Return what a code is called.

    >>> label(MATERIALS, "unglazed_clay"), label(COUNTRIES, "ZZ")
    ('unglazed clay', 'ZZ')
    """
    return str(labels[code]) if code in labels else code.replace("_", " ")


def descriptor_label(key: str, labels: Mapping[str, str] | None = None) -> str:
    """Return what a descriptor is called: a built-in word in the language that is active, a team's own as it wrote it.

    ``labels`` are the team's and the built-in words by key, as they are stored; a key without one is made readable.

    >>> descriptor_label("stone_fruit", {"stone_fruit": "Stone fruit"}), descriptor_label("wet_slate")
    ('Stone fruit', 'Wet slate')
    """
    stored = (labels or {}).get(key) or key.replace("_", " ").capitalize()
    return pgettext("descriptor", stored)


def descriptor_in_sentence(key: str, labels: Mapping[str, str] | None = None) -> str:
    """Return a descriptor as it stands inside a sentence: in English with a small letter, unless it is an abbreviation.

    >>> descriptor_in_sentence("stone_fruit"), descriptor_in_sentence("x", {"x": "CTC leaf"})
    ('stone fruit', 'CTC leaf')
    """
    name = descriptor_label(key, labels)
    is_lower_case = (get_language() or "en").startswith("en") and not name[1:2].isupper()
    return name[:1].lower() + name[1:] if is_lower_case else name
