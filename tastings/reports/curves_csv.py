"""The curves of a lot as a table for spreadsheets: one row for each descriptor and infusion. Pure."""

import csv
from collections.abc import Mapping
from io import StringIO
from typing import Any

COLUMNS = ("descriptor", "infusion", "mean", "low", "high", "observed", "n")


def curves_csv(development: Mapping[str, Any]) -> str:
    """Write the points of every curve.

    Parameters
    ----------
    development : mapping
        The lot's development record.

    Returns
    -------
    str
        CSV after RFC 4180 with a header; numbers as in the record [points, 0 to 10], nothing where nobody tasted.
        Only keys and numbers stand in it, so no cell can be taken for a formula.
    """
    text = StringIO()
    sheet = csv.writer(text)
    sheet.writerow(COLUMNS)
    for curve in development.get("curves") or ():
        for point in curve["points"]:
            sheet.writerow([curve["descriptor"], *(point.get(name) for name in COLUMNS[1:])])
    return text.getvalue()
