"""Importing a spreadsheet in the browser: checked first, with its columns guessed; what is wrong named by line."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.generic import View

from pages.browser import chosen_member
from pages.record_forms import sentence
from tastings.actions.importing import (
    COLUMNS,
    Table,
    guess_columns,
    import_session,
    import_targets,
    parse_rows,
    read_table,
    translated,
)
from tastings.actions.importing.store_sessions import CORRECTED, NEW, NOT_OVERWRITTEN, SAME
from tastings.queries.developments import labels_of
from tastings.wording.importing import COLUMN_LABELS
from tastings.wording.labels import descriptor_label
from teams.errors import Invalid, Problem

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from tastings.actions.importing import CellError, ImportTargets
    from teams.models import Member

MOST_SESSIONS, MOST_RATINGS = 500, 20_000
"""Most of one file. A session is checked by storing it and rolling back, which takes some hundredths of a second."""
_MOST_SHOWN = 200
"""Most faults that the page lists; the file that can be downloaded has all of them."""


@dataclass(frozen=True, slots=True)
class _Outcome:
    """What an import did, or would do."""

    counts: Counter[tuple[str, str]]
    errors: list[CellError]


class Import(View):
    """The spreadsheet travels along in the form, so that nothing lies on the server before it is imported."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Ask for a file and explain its columns."""
        import_targets(chosen_member(request))
        return self._render(request)

    def post(self, request: HttpRequest) -> HttpResponse:
        """Check the file (``do=check``), import it, or give the rows that are wrong as a file (``do=download``)."""
        member = chosen_member(request)
        targets = import_targets(member)
        upload = request.FILES.get("file")
        data = upload.read() if upload is not None else request.POST.get("text", "").encode()
        labels = labels_of(member)
        table, chosen = None, list[str]()
        try:
            table = read_table(data)
            chosen = request.POST.getlist("column") if upload is None else []
            chosen = chosen if len(chosen) == len(table.columns) else guess_columns(table, labels)
            do = request.POST.get("do", "check")
            outcome = _run(member, table, chosen, targets=targets, dry_run=do != "import")
        except Invalid as refused:
            problems = [f"{p.field}: {p.detail}" if p.field else sentence(p.detail) for p in refused.problems]
            return self._render(request, problems=problems, **(_columns(table, chosen, labels) if table else {}))
        if do == "download":
            return _bad_rows(table, outcome.errors)
        return self._render(
            request,
            done=do == "import",
            outcome=_summary(outcome),
            errors=outcome.errors[:_MOST_SHOWN],
            n_errors=len({error.line for error in outcome.errors}),
            **_columns(table, chosen, labels),
        )

    def _render(self, request: HttpRequest, **context: object) -> HttpResponse:
        explained = [(name, COLUMN_LABELS[name]) for name in COLUMNS]
        status = 422 if context.get("problems") else 200
        return render(request, "pages/import.html", {"explained": explained, **context}, status=status)


def _run(member: Member, table: Table, chosen: list[str], *, targets: ImportTargets, dry_run: bool) -> _Outcome:
    columns, lines = translated(table, chosen)
    too_many_ratings = _("the file has %(found)s ratings and words, at most %(most)s are imported at once: divide it")
    _check_size(_count_ratings(columns, lines), MOST_RATINGS, too_many_ratings)
    sessions, errors = parse_rows(columns, lines, targets=targets)
    too_many_sessions = _("the file has %(found)s sessions, at most %(most)s are imported at once: divide it")
    _check_size(len(sessions), MOST_SESSIONS, too_many_sessions)
    counts: Counter[tuple[str, str]] = Counter()
    new_lots: set[str] = set()
    for session in sessions:
        done = import_session(member, session, targets=targets, now=timezone.now(), dry_run=dry_run)
        counts.update(done.counts)
        errors = [*errors, *done.errors]
        if done.counts.get(("lot", NEW)):
            new_lots.add(done.lot)
    counts["lot", NEW] = len(new_lots)  # a dry run makes a lot once for each of its sessions
    return _Outcome(counts, sorted(errors, key=lambda error: error.line))


def _count_ratings(columns: Sequence[str], lines: Sequence[tuple[int, Sequence[str]]]) -> int:
    """Return how many ratings and words the rows have at most, without checking them."""
    count = 0
    for _line, cells in lines:
        for column, cell in zip(columns, cells, strict=False):
            if column == "noted":
                count += len(re.split(r"[\s;]+", cell.strip("; ")))
            elif column and column not in COLUMNS and cell.strip():
                count += 1
    return count


def _check_size(count: int, most: int, message: str) -> None:
    """Refuse a file that has more than is imported at once."""
    if count > most:
        raise Invalid(problems=[Problem("", "too_many", message % {"found": count, "most": most})])


def _summary(outcome: _Outcome) -> list[str]:
    """Say what is new, corrected, the same and left alone."""
    counts = outcome.counts

    def total(kind: str) -> int:
        return sum(n for (_type, outcome_), n in counts.items() if outcome_ == kind)

    new = {"lots": counts["lot", NEW], "sessions": counts["session", NEW], "infusions": counts["infusion", NEW]}
    new["notes"] = counts["note", NEW]
    return [
        _("New: lots %(lots)s, sessions %(sessions)s, infusions %(infusions)s, notes %(notes)s.") % new,
        _("Corrected: %(corrected)s. Already so: %(same)s. Edited or deleted since, and left alone: %(left)s.")
        % {"corrected": total(CORRECTED), "same": total(SAME), "left": total(NOT_OVERWRITTEN)},
    ]


def _columns(table: Table, chosen: list[str], labels: dict[str, str]) -> dict[str, object]:
    """Return what the page needs to ask which column is which, with the file's text."""
    words = sorted(((key, descriptor_label(key, labels)) for key in labels), key=lambda word: word[1].casefold())
    meanings = [*((name, str(COLUMN_LABELS[name])) for name in COLUMNS), *words]
    first = table.lines[0][1]
    columns = [
        {"name": name, "chosen": chosen[i] if i < len(chosen) else "", "example": first[i] if i < len(first) else ""}
        for i, name in enumerate(table.columns)
    ]
    return {"columns": columns, "meanings": meanings, "text": _written([table.columns, *_cells_by_line(table)])}


def _cells_by_line(table: Table) -> list[list[str]]:
    """Return the rows, with empty ones where the file has none, so that the numbers of lines stay."""
    rows: list[list[str]] = []
    for line, cells in table.lines:
        rows.extend([[]] * (line - 2 - len(rows)))
        rows.append([" ".join(cell.split()) for cell in cells])
    return rows


def _bad_rows(table: Table, errors: list[CellError]) -> HttpResponse:
    """Answer with the wrong rows as a file, each with its line and what is wrong in front."""
    cells = dict(table.lines)
    reasons: dict[int, list[str]] = {}
    for error in errors:
        reasons.setdefault(error.line, []).append(f"{error.column}: {error.reason}".removeprefix(": "))
    rows = [[str(line), "; ".join(why), *cells[line]] for line, why in reasons.items()]
    written = _written([[_("line"), _("what is wrong"), *table.columns], *rows])
    response = HttpResponse("\ufeff" + written, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="left-out.csv"'
    response["X-Content-Type-Options"] = "nosniff"
    return response


def _written(rows: Iterable[Sequence[str]]) -> str:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=";", lineterminator="\n").writerows(rows)
    return out.getvalue()
