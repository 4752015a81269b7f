"""Photos of a lot or session in the browser: adding, the colour of the liquor by two clicks, deleting."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING
from uuid import uuid4

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe
from django.views.generic import View

from api.http.conditional import id_from_path
from pages.browser import membership_with, page, read_as_member
from pages.form_page import add_problems
from pages.record_fields import address_of
from pages.record_forms import number_in
from pages.reports import picture
from tastings.actions.photo_colour import measure_colour
from tastings.actions.photo_permissions import check_may_change_photo
from tastings.actions.photos import announce_photo, delete_photo, receive_piece
from tastings.errors import PhotoNotReady
from tastings.maths.colour.measured import Box, Regions
from tastings.queries.photos import get_photo, list_photos, photo_file
from tastings.queries.reports import photo_facts
from tastings.reports.photos import photo_row
from tastings.wording.fields import RECORD_TYPES
from tastings.wording.labels import PHOTO_SUBJECTS
from tastings.wording.photos import COLOUR_REASONS, REFUSALS
from teams.errors import Invalid, NotAllowed, NotFound

if TYPE_CHECKING:
    from uuid import UUID

    from tastings.models import Photo
    from teams.models import Member

_MOST = 200
"""Photos on one page."""
_WIDTH_PX = 280
"""Width of the picture that is clicked on: it fits the narrowest screen."""
_PARENTS = ("lot", "session")


class PhotoForm(forms.Form):
    """A file and what it shows."""

    file = forms.FileField(
        label=gettext_lazy("Photo, at most 3.5 MB"),
        widget=forms.FileInput({"accept": "image/jpeg,image/png,image/webp,image/heic"}),
    )
    of = forms.ChoiceField(label=gettext_lazy("What it shows"), choices=list(PHOTO_SUBJECTS.items()), initial="liquor")


class PhotosOf(View):
    """The photos of one lot or session."""

    def get(self, request: HttpRequest, record_type: str, record_id: str) -> HttpResponse:
        """Show them, and the form that adds one."""
        member, record = self._found(request, record_type, record_id)
        return self._render(request, member, record_type, record, PhotoForm())

    def post(self, request: HttpRequest, record_type: str, record_id: str) -> HttpResponse:
        """Add one: announced and received at once, checked by a worker."""
        member, record = self._found(request, record_type, record_id)
        form = PhotoForm(request.POST, request.FILES)
        if form.is_valid():
            content, now, photo = form.cleaned_data["file"].read(), timezone.now(), uuid4()
            sent = {"of": form.cleaned_data["of"], "sha256": hashlib.sha256(content).hexdigest()}
            try:
                announce_photo(
                    member, photo=photo, sent={**sent, record_type: str(record), "bytes": len(content)}, now=now
                )
                if get_photo(member, photo).state == "receiving":
                    receive_piece(member, photo=photo, offset=0, piece=content, now=now)
            except Invalid as refused:
                add_problems(form, refused.problems)
            else:
                return redirect("record-photos", record_type, record)
        return self._render(request, member, record_type, record, form)

    def _found(self, request: HttpRequest, record_type: str, record_id: str) -> tuple[Member, UUID]:
        member, record = membership_with(request, record_type, record_id)
        if record_type not in _PARENTS:
            raise NotFound
        return member, record.id

    def _render(
        self, request: HttpRequest, member: Member, record_type: str, record: UUID, form: forms.Form
    ) -> HttpResponse:
        parents = {name: record if name == record_type else None for name in _PARENTS}
        photos = list_photos(member, session=parents["session"], lot=parents["lot"], after=None, limit=_MOST)
        context = {
            "form": form,
            "photos": [_row(photo) for photo in photos],
            "back": address_of(record_type, record),
            "type_name": RECORD_TYPES[record_type],
            "may_write": member.may_write,
        }
        return render(request, "pages/record_photos.html", context, status=422 if form.errors else 200)


def _row(photo: Photo) -> dict[str, object]:
    """Describe a photo; one that is not ready says why."""
    state = {"receiving": _("not received completely"), "checking": _("is being checked; load this page again")}
    why = str(REFUSALS.get(photo.reason, "")) if photo.reason else str(state.get(photo.state, ""))
    shown = None if photo.content is None else photo_row(photo_facts(photo))
    return {"id": photo.id, "of": PHOTO_SUBJECTS[photo.of], "shown": shown, "why": why}


class ColourForm(forms.Form):
    """The middles of the white and of the liquor, and how wide a square around each counts, in percent."""

    white_x = forms.CharField(label=gettext_lazy("White: percent from the left"))
    white_y = forms.CharField(label=gettext_lazy("White: percent from the top"))
    liquor_x = forms.CharField(label=gettext_lazy("Liquor: percent from the left"))
    liquor_y = forms.CharField(label=gettext_lazy("Liquor: percent from the top"))
    size = forms.CharField(label=gettext_lazy("Width of each square, percent"), initial="8")

    def clean(self) -> dict[str, object]:
        """Read the numbers."""
        for name, text in list(self.cleaned_data.items()):
            number = number_in(text)
            low, high = (1, 50) if name == "size" else (0, 100)
            if not isinstance(number, int | float) or not low <= number <= high:
                self.add_error(name, _("A number from %(low)s to %(high)s.") % {"low": low, "high": high})
            else:
                self.cleaned_data[name] = float(number)
        return self.cleaned_data

    def regions(self) -> Regions:
        """Return the squares, moved inwards where they would reach beyond the picture."""
        side = self.cleaned_data["size"] / 100

        def square(of: str) -> Box:
            x, y = (self.cleaned_data[f"{of}_{axis}"] / 100 - side / 2 for axis in ("x", "y"))
            return Box(x=min(max(x, 0), 1 - side), y=min(max(y, 0), 1 - side), width=side, height=side)

        return Regions(white=square("white"), liquor=square("liquor"))


class PhotoPage(View):
    """One photo: its picture, the colour of its liquor, and a button that deletes it."""

    def get(self, request: HttpRequest, photo_id: str) -> HttpResponse:
        """Show it; with ``white_x`` and ``white_y`` the next click is on the liquor."""
        member, photo = _found(request, photo_id)
        point = {name: request.GET[name] for name in ("white_x", "white_y") if name in request.GET}
        return self._render(request, member, photo, ColourForm(initial=point), point)

    def post(self, request: HttpRequest, photo_id: str) -> HttpResponse:
        """Take a click, measure the colour, or delete the photo."""
        member, photo = _found(request, photo_id)
        check_may_change_photo(member, photo.id)
        if request.POST.get("do") == "delete":
            delete_photo(member, photo=photo.id, now=timezone.now())
            parent = ("session", photo.session_id) if photo.session_id else ("lot", photo.lot_id)
            return redirect("record-photos", *parent)
        data = request.POST.dict()
        for of in ("white", "liquor"):
            data |= _clicked(request, photo, of)
        if "white.x" in request.POST:
            return redirect(f"{request.path}?white_x={data['white_x']}&white_y={data['white_y']}")
        form = ColourForm({"size": "8", **data})
        if form.is_valid():
            regions = form.regions()
            if regions.white.overlaps(regions.liquor):
                form.add_error("white_x", _("The white lies over the liquor."))
            else:
                try:
                    measure_colour(member, photo=photo.id, regions=regions, now=timezone.now())
                except PhotoNotReady as refused:
                    raise NotAllowed(refused.detail) from refused
                return redirect(request.path)
        return self._render(request, member, photo, form, data)

    def _render(
        self, request: HttpRequest, member: Member, photo: Photo, form: ColourForm, point: dict[str, str]
    ) -> HttpResponse:
        parent = ("session", photo.session_id) if photo.session_id else ("lot", photo.lot_id)
        try:
            check_may_change_photo(member, photo.id)
        except NotAllowed:
            may_change = False
        else:
            may_change = True
        row = _row(photo)
        colour = None if photo.content is None else photo_facts(photo).colour
        context = {
            "form": form,
            "photo": row,
            "width": _WIDTH_PX,
            "white": (point["white_x"], point["white_y"]) if {"white_x", "white_y"} <= point.keys() else None,
            "reason": str(COLOUR_REASONS[colour.reason]) if colour is not None and colour.reason else "",
            "may_change": may_change,
            "parent": parent,
        }
        return render(request, "pages/photo.html", context, status=422 if form.errors else 200)


def _found(request: HttpRequest, photo_id: str) -> tuple[Member, Photo]:
    return read_as_member(request, lambda member: get_photo(member, id_from_path(photo_id)))


def _clicked(request: HttpRequest, photo: Photo, of: str) -> dict[str, str]:
    """Return where the picture was clicked on, in percent: browsers send the pixel as ``white.x`` and ``white.y``."""
    content = photo.content
    if content is None or f"{of}.x" not in request.POST:
        return {}
    height_px = _WIDTH_PX * content.height / content.width
    point: dict[str, str] = {}
    for axis, size_px in (("x", _WIDTH_PX), ("y", height_px)):
        pixel = number_in(request.POST.get(f"{of}.{axis}", ""))
        percent = 100 * float(pixel) / size_px if isinstance(pixel, int | float) else 0.0
        point[f"{of}_{axis}"] = f"{min(max(percent, 0.0), 100.0):.1f}"
    return point


@page
@require_safe
def photo_picture(request: HttpRequest, photo_id: str) -> HttpResponse:
    """Give a photo's thumbnail."""
    member, photo = _found(request, photo_id)
    return picture(request, photo_file(member, photo.id, thumbnail=True))
