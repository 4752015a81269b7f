"""The curves of a lot as a table for spreadsheets: one row for each descriptor and infusion. Pure."""

import csv
from io import StringIO

from tastings.maths.curve.development import Development

COLUMNS = ("descriptor", "infusion", "mean", "low", "high", "observed", "n")


def curves_csv(figures: Development) -> str:
    """Return every curve's points as CSV after RFC 4180 with a header [points, 0 to 10], empty where nobody tasted.

    Only keys and numbers stand in it, so no cell can be taken for a formula.
    """
    text = StringIO()
    sheet = csv.writer(text)
    sheet.writerow(COLUMNS)
    for curve in figures.curves:
        for point in curve.points:
            sheet.writerow([curve.descriptor, *(getattr(point, name) for name in COLUMNS[1:])])
    return text.getvalue()
