"""Headings and captions of a report, the same on the page and in the PDF. Pure."""

from django.utils.translation import gettext as _


def report_heads() -> dict[str, str]:
    """Return the headings in the language that is active."""
    return {
        "strength": _("Strength, cup by cup"),
        "chart_note": _(
            "Line: the mean cup when every lot is brewed alike. Shaded: where that mean lies with 80 % probability; a"
            " single cup may differ more. Marks: what each taster found, allowing for how they brewed."
        ),
        "guide": _("How to brew it"),
        "guide_detail": _("Brewing it in detail"),
        "cup": _("Cup"),
        "steep": _("Steep"),
        "strength_short": _("Strength"),
        "interval": _("80 % interval"),
        "flavours": _("Everything rated, cup by cup"),
        "strips_note": _(
            "Mean of each rating when every lot is brewed alike, 0 to 10, those that peak early first. Bar in a colour"
            " of its own, number in bold: the highest of its row. Thin lines: 80 % interval."
        ),
        "layers": _("What changes from cup to cup"),
        "leading": _("In front"),
        "change": _("Change"),
        "richness": _("Flavours at once"),
        "richness_note": _("Flavours at once: how many there are together, faint ones counted less than strong ones."),
        "corrected": _("What was corrected, and why"),
        "corrected_intro": _("These cups were not brewed like the others; the curve allows for it."),
        "left_out": _("Left out"),
        "ageing": _("Rest after roasting"),
        "body": _("Felt in the body, as tasters reported it"),
        "agreement": _("How the tasters agree"),
        "sure": _("How sure is this?"),
        "course": _("This tea …"),
        "probability": _("Probability"),
        "next": _("One more session:"),
        "numbers": _("The strength curve in numbers"),
        "mean": _("Mean"),
        "tasted": _("As tasted, evened out"),
        "ratings": _("Ratings"),
        "choosing": _("How it was chosen"),
        "harvests": _("Other harvests of this producer"),
        "sessions": _("Sessions behind it"),
        "photos": _("Photos"),
        "care": _("Take care"),
    }
