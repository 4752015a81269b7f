"""Pages that explain the types of problem documents: the addresses that their ``type`` names."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from api.http.problem_types import CODES, PATH, TYPES
from api.http.problem_types import problem_type as type_of
from pages.browser import page
from teams.errors import NotFound


@page
@require_safe
def explain(request: HttpRequest, problem_type: str) -> HttpResponse:
    """Say what a type of problem means; of fields that are not valid, each code."""
    code = {type_of(code): code for code in TYPES}.get(PATH + problem_type)
    if code is None:
        raise NotFound
    codes = CODES if code == "invalid" else {}
    context = {"problem": problem_type, "meaning": TYPES[code], "codes": codes.items()}
    return render(request, "pages/problem.html", context)
