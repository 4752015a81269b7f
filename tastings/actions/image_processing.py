"""An uploaded file turned into pictures of our own: decoded, turned upright, encoded again without metadata.

Nothing of the file but its pixels goes on: no EXIF, no place, no comment, no profile, nothing hidden behind the end.
"""

import io
import warnings
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pi_heif
from PIL import Image, ImageCms, ImageOps

from tastings.maths.arrays import PixelArray
from tastings.schemas import MOST_PIXELS

Image.MAX_IMAGE_PIXELS = MOST_PIXELS  # Pillow warns above this and fails above twice as many; both are refusals here
FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")
FORMATS_OF_LOGOS = ("JPEG", "PNG", "WEBP")
# one thread and the picture alone: no depth map, no thumbnail, no second picture for bright screens
pi_heif.register_heif_opener(decode_threads=1, thumbnails=False, depth_images=False, aux_images=False)
THUMBNAIL_SIDE = 320
QUALITY = 90
MOST_PIXELS_OF_A_SIDE = 65_500
"""Longest side that libjpeg can write (``JPEG_MAX_DIMENSION`` in its jmorecfg.h)."""
_LARGEST_PROFILE = 1024 * 1024
_SIDE_TO_MEASURE = 1000

Refusal = Literal["wrong_hash", "not_an_image", "too_many_pixels", "broken_image"]
"""Why a photo is refused; `tastings.wording.photos.REFUSALS` says it in words."""


class UnreadableImage(Exception):  # noqa: N818 - reads as what happened
    """The file cannot become a picture."""

    def __init__(self, reason: Refusal) -> None:
        super().__init__(reason)
        self.reason = reason


@dataclass(frozen=True, slots=True, kw_only=True)
class ProcessedImage:
    """A picture as it is stored: two JPEGs in sRGB, upright, and the size in pixels of the first."""

    image: bytes
    thumbnail: bytes
    width: int
    height: int


def decode_image(
    file: bytes, *, formats: tuple[str, ...] = FORMATS, side: int = MOST_PIXELS_OF_A_SIDE
) -> ProcessedImage:
    """Decode a file and write it anew, with no side longer than ``side`` pixels.

    Raise UnreadableImage if it is broken or of an unknown format, or (by its header, before decoding) has more than 50
    megapixels or a side too long for a JPEG.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow warns of odd metadata, none of which is used
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        try:
            opened = Image.open(io.BytesIO(file), formats=formats)
        except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
            raise UnreadableImage("too_many_pixels") from error
        except MemoryError:
            raise
        except Exception as error:  # decoders fail in many ways on what is no image
            raise UnreadableImage("not_an_image") from error
        with opened:
            if max(opened.size) > MOST_PIXELS_OF_A_SIDE:
                raise UnreadableImage("too_many_pixels")
            try:
                picture = _fit_within(_upright_srgb(opened), side=side)
            except MemoryError:
                raise
            except Exception as error:
                raise UnreadableImage("broken_image") from error
    small = _fit_within(picture, side=THUMBNAIL_SIDE)
    return ProcessedImage(image=_jpeg(picture), thumbnail=_jpeg(small), width=picture.width, height=picture.height)


def pixels_of(image: bytes) -> PixelArray:
    """Return the sRGB of a stored picture, uint8[height, width, 3], large ones at a half, a quarter or an eighth."""
    with Image.open(io.BytesIO(image), formats=("JPEG",)) as opened:
        opened.draft("RGB", (_SIDE_TO_MEASURE, _SIDE_TO_MEASURE))
        return np.asarray(opened.convert("RGB"))


def _upright_srgb(opened: Image.Image) -> Image.Image:
    opened.load()
    profile = opened.info.get("icc_profile")
    plain = _flatten(_transpose(opened))
    if isinstance(profile, bytes) and len(profile) <= _LARGEST_PROFILE:
        plain = _convert_profile(plain, profile)
    if plain.mode != "RGB":  # a copy of 50 megapixels is 150 MB, so none is made without need
        plain = plain.convert("RGB")
    plain.info = {}  # other metadata, such as a comment, would be saved too
    return plain


def _transpose(opened: Image.Image) -> Image.Image:
    try:
        return ImageOps.exif_transpose(opened)
    except Exception:  # noqa: BLE001 - a broken note on how the phone was held is no reason to lose the photo
        return opened


def _flatten(picture: Image.Image) -> Image.Image:
    """Return the picture with 8 bits a channel and without transparency."""
    if picture.mode.startswith("I"):  # 16 bits of grey
        levels = np.asarray(picture, dtype=np.float64) / 257
        return Image.fromarray(np.clip(np.round(levels), 0, 255).astype(np.uint8))
    if picture.has_transparency_data:
        solid = picture.convert("RGBA")
        background = Image.new("RGBA", solid.size, (255, 255, 255, 255))
        return Image.alpha_composite(background, solid).convert("RGB")
    return picture if picture.mode in ("RGB", "L", "CMYK") else picture.convert("RGB")


def _convert_profile(picture: Image.Image, profile: bytes) -> Image.Image:
    """Convert the picture from its own profile to sRGB; ignore a profile that does not fit."""
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        converted = ImageCms.profileToProfile(picture, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return picture
    return converted or picture


def _fit_within(picture: Image.Image, *, side: int) -> Image.Image:
    if max(picture.size) <= side:
        return picture
    scale = side / max(picture.size)
    width, height = (max(1, round(length * scale)) for length in picture.size)  # of a very thin one a pixel is left
    return picture.resize((width, height), Image.Resampling.LANCZOS)


def _jpeg(picture: Image.Image) -> bytes:
    written = io.BytesIO()
    picture.save(written, "JPEG", quality=QUALITY)
    return written.getvalue()
