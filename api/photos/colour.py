"""The colour of the liquor in a photo."""

from collections.abc import Mapping

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.bodies import BodySerializer, Number, Part, validated_body
from api.http.conditional import id_from_path
from api.http.openapi import operation
from api.photos.photos import PhotoSerializer
from lots.schema import Field
from tastings.actions.photo_colour import measure_colour
from tastings.actions.photo_permissions import check_may_change_photo
from tastings.maths.colour.measured import Box, Regions
from tastings.queries.photos import get_photo

_PLACE = Field(name="place", kind="number", low=0, high=1, required=True)
_SIZE = Field(name="size", kind="number", above=0, high=1, required=True)
_ROUNDING = 1e-9
"""So far a region may reach beyond the picture, since fractions are not exact."""


class PhotoRegionSerializer(Part):
    """A rectangle of the upright picture, in fractions of its width and height."""

    unknown = gettext_lazy("is not part of a region")
    expected = gettext_lazy("must be x, y, width and height")
    x = Number(_PLACE, help_text="left edge, of the picture's width")
    y = Number(_PLACE, help_text="upper edge, of the picture's height")
    width = Number(_SIZE, help_text="more than 0")
    height = Number(_SIZE, help_text="more than 0")

    def validate(self, attrs: Mapping[str, float]) -> Box:
        """Return the rectangle, which must lie within the picture."""
        box = Box(**{name: float(value) for name, value in attrs.items()})
        beyond = ValidationError(_("reaches beyond the picture"), code="range").detail
        sides = (("width", box.x + box.width), ("height", box.y + box.height))
        if errors := {name: beyond for name, end in sides if end > 1 + _ROUNDING}:
            raise ValidationError(errors)
        return box


class NewLiquorColourSerializer(BodySerializer):
    """Where the liquor is, and something white beside it."""

    white = PhotoRegionSerializer(help_text="something white beside the liquor: the cup's rim, paper")
    liquor = PhotoRegionSerializer()

    def validate(self, attrs: Mapping[str, Box]) -> Mapping[str, Box]:
        """Refuse regions that overlap."""
        if attrs["white"].overlaps(attrs["liquor"]):
            raise ValidationError({"white": ValidationError(_("lies over the liquor"), code="overlap").detail})
        return attrs


class PhotoColour(APIView):
    """The colour of the liquor in one photo."""

    @operation({200: PhotoSerializer}, [403, 404, 409], operation_id="photo_colour", request=NewLiquorColourSerializer)
    def post(self, request: Request, photo_id: str) -> Response:
        """Measure the liquor's colour from a region of it and one of something white; it is stored with the photo."""
        member, photo = member_of(request), id_from_path(photo_id)
        check_may_change_photo(member, photo)
        regions = Regions(**validated_body(request, NewLiquorColourSerializer))
        measure_colour(member, photo=photo, regions=regions, now=timezone.now())
        return Response(PhotoSerializer(get_photo(member, photo)).data)
