"""What the OpenAPI document says of photos."""

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse
from rest_framework import serializers as s

from api.http.openapi import ETAG, NOT_MODIFIED, PAGING, an_object, described, fields_of, page, problem
from api.photos import OnePhoto, PhotoColour, PhotoContentOf, PhotoImage, Photos, PhotoThumbnail
from tastings.actions.photo_colour import REGIONS
from tastings.actions.picture import REFUSALS
from tastings.maths.colour.liquor import REASONS
from tastings.schemas import PHOTO


def _told(words: dict[str, str]) -> str:
    return "; ".join(f"`{word}`: {meaning}" for word, meaning in words.items())


def _lab(name: str, help_text: str = "") -> s.Serializer[dict[str, float]]:
    return an_object(name, l=s.FloatField(), a=s.FloatField(), b=s.FloatField())(allow_null=True, help_text=help_text)


_REGION = an_object(
    "PhotoRegion",
    x=s.FloatField(min_value=0, max_value=1, help_text="left edge, of the picture's width"),
    y=s.FloatField(min_value=0, max_value=1, help_text="upper edge, of the picture's height"),
    width=s.FloatField(max_value=1, help_text="more than 0"),
    height=s.FloatField(max_value=1, help_text="more than 0"),
)
NEW_COLOUR = an_object(
    "NewLiquorColour",
    white=_REGION(help_text="something white beside the liquor: the cup's rim, paper"),
    liquor=_REGION(),
)
_SEEN = an_object(
    "PhotoRegionSeen",
    lab=_lab("RegionLab", "as photographed, not corrected"),
    pixels=s.IntegerField(),
    clipped=s.FloatField(help_text="share of pixels with a channel at its end"),
)
COLOUR = an_object(
    "LiquorColour",
    verdict=s.ChoiceField(choices=["told", "cannot_tell"]),
    reason=s.ChoiceField(choices=list(REASONS), allow_null=True, help_text=_told(REASONS)),
    detail=s.CharField(allow_blank=True),
    illuminant=s.CharField(),
    lab=_lab("LiquorLab", "CIELAB; the white beside it counts as 100, 0, 0"),
    sd=_lab("LiquorSd", "standard deviation of each"),
    terms=an_object(
        "LiquorTerm",
        key=s.CharField(),
        label=s.CharField(),
        pinyin=s.CharField(allow_null=True),
        characters=s.CharField(allow_null=True),
        delta_e=s.FloatField(help_text="CIEDE2000 to the term's place"),
        probability=s.FloatField(help_text="that this term is the nearest"),
    )(many=True, help_text="the most probable first; the first two always"),
    white=_SEEN(allow_null=True),
    liquor=_SEEN(allow_null=True),
    regions=an_object("PhotoRegions", **{name: _REGION() for name in REGIONS})(),
    method=s.CharField(),
    by=s.UUIDField(),
    at=s.DateTimeField(),
)
NEW_PHOTO = an_object("NewPhoto", id=s.UUIDField(help_text="made by the client; version 7 advised"), **fields_of(PHOTO))
PHOTO_READ = an_object(
    "Photo",
    id=s.UUIDField(),
    **fields_of(PHOTO),
    state=s.ChoiceField(
        choices=["receiving", "checking", "kept", "refused"],
        help_text="`checking`: all bytes are there and a worker looks at them; the picture can be read once `kept`",
    ),
    reason=s.ChoiceField(choices=list(REFUSALS), allow_null=True, help_text=_told(REFUSALS)),
    received=s.IntegerField(help_text="bytes that are safe: where to go on"),
    width=s.IntegerField(allow_null=True, help_text="pixels, upright"),
    height=s.IntegerField(allow_null=True),
    colour=COLOUR(allow_null=True),
    by=s.UUIDField(),
    created_at=s.DateTimeField(),
)

_OFFSET = OpenApiParameter(
    "Upload-Offset",
    int,
    OpenApiParameter.HEADER,
    required=True,
    description="where this piece begins; a 409 and every success say in the same header where to go on",
)
_JPEG = {(200, "image/jpeg"): OpenApiResponse(OpenApiTypes.BINARY, description="JPEG, sRGB, upright, no metadata")}
_BODY = problem(400, 413, 415, 422)

DESCRIBED = {
    Photos: {
        "get": described(
            operation_id="photo_list",
            parameters=[
                OpenApiParameter("session", OpenApiTypes.UUID),
                OpenApiParameter("lot", OpenApiTypes.UUID),
                *PAGING,
                ETAG,
            ],
            responses={200: page(PHOTO_READ, "PhotoPage"), **NOT_MODIFIED, **problem(422)},
        ),
        "post": described(
            operation_id="photo_create",
            request=NEW_PHOTO,
            responses={201: PHOTO_READ, 200: PHOTO_READ, **_BODY, **problem(403)},
        ),
    },
    OnePhoto: {
        "get": described(
            operation_id="photo_read",
            parameters=[ETAG],
            responses={200: PHOTO_READ, **NOT_MODIFIED, **problem(404)},
        ),
        "delete": described(operation_id="photo_delete", responses={204: None, **problem(403, 404)}),
    },
    PhotoContentOf: {
        "put": described(
            operation_id="photo_send",
            parameters=[_OFFSET],
            request={"application/octet-stream": OpenApiTypes.BINARY},
            responses={200: PHOTO_READ, **_BODY, **problem(403, 404, 409, 507)},
        )
    },
    PhotoImage: {
        "get": described(
            operation_id="photo_image",
            parameters=[ETAG],
            responses={**_JPEG, **NOT_MODIFIED, **problem(404)},
        )
    },
    PhotoThumbnail: {
        "get": described(
            operation_id="photo_thumbnail",
            parameters=[ETAG],
            responses={**_JPEG, **NOT_MODIFIED, **problem(404)},
        )
    },
    PhotoColour: {
        "post": described(
            operation_id="photo_colour",
            request=NEW_COLOUR,
            responses={200: PHOTO_READ, **_BODY, **problem(403, 404, 409)},
        )
    },
}
"""What each view says of its operations."""
