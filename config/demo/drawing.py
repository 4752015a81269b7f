"""Drawn pictures of liquor in a white bowl, where a real table would have photos. They say so themselves."""

from io import BytesIO

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from tastings.maths.arrays import FloatArray
from tastings.maths.colour.cielab import encoded

WIDTH, HEIGHT = 640, 480
WHITE = {"x": 0.04, "y": 0.06, "width": 0.14, "height": 0.2}
"""The white card on the table, as shares of width and height."""
LIQUOR = {"x": 0.46, "y": 0.42, "width": 0.2, "height": 0.26}
"""The middle of the bowl."""
SHADES = {
    "rock": (0.35, 1.1, 3.0),
    "rolled": (0.07, 0.2, 1.0),
    "green": (0.08, 0.09, 0.7),
    "white": (0.06, 0.14, 0.7),
    "black": (0.5, 1.8, 4.0),
    "dark": (0.6, 1.9, 4.0),
}
"""How much red, green and blue light a full cup swallows, by how the leaf is brewed. [natural logarithm]"""
_BOWL, _LIQUOR = 200.0, 168.0  # radii [px]
_CENTRE = (0.56 * WIDTH, 0.55 * HEIGHT)
_TABLE, _CARD, _CHINA = (0.36, 0.27, 0.18), (0.86, 0.86, 0.85), (0.8, 0.8, 0.78)  # linear light


def liquor_picture(*, style: str, strength: float) -> bytes:
    """Draw one cup as a JPEG: light through the liquor to the white china and back, deepest in the middle.

    ``style`` is a key of :data:`SHADES`; ``strength`` is 0 for water, 1 for a full cup.
    """
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float64)
    away = np.hypot(x - _CENTRE[0], y - _CENTRE[1])
    depth = np.clip(1.0 - (away / _LIQUOR) ** 2, 0.0, 1.0) ** 0.35
    light = np.broadcast_to(np.array(_TABLE), (HEIGHT, WIDTH, 3)).copy()
    light *= (1.0 - 0.25 * y / HEIGHT)[..., None]
    card = _inside(x / WIDTH, y / HEIGHT, region=WHITE)
    light[card] = _CARD
    rim = 1.0 - 0.12 * np.clip((away - _LIQUOR) / (_BOWL - _LIQUOR), 0.0, 1.0)
    china = np.array(_CHINA) * rim[..., None]
    through = china * np.exp(-np.array(SHADES[style]) * strength * depth[..., None])
    light = _over(light, china, share=_disc(away, _BOWL))
    light = _over(light, through, share=_disc(away, _LIQUOR))
    picture = Image.fromarray(np.round(255 * encoded(light)).astype(np.uint8))
    font = ImageFont.load_default(size=24)  # still legible at half the size, as the pages show it
    ImageDraw.Draw(picture).text((14, HEIGHT - 36), "drawn for the demo", fill=(250, 246, 238), font=font)
    written = BytesIO()
    picture.save(written, "JPEG", quality=90)
    return written.getvalue()


def _inside(x: FloatArray, y: FloatArray, *, region: dict[str, float]) -> np.ndarray:
    """Return where the card lies, a margin around the region that is measured."""
    edge = 0.015
    across = (x > region["x"] - edge) & (x < region["x"] + region["width"] + edge)
    down = (y > region["y"] - edge) & (y < region["y"] + region["height"] + edge)
    return across & down


def _disc(away: FloatArray, radius: float) -> FloatArray:
    """Return how much of each pixel a disc covers, its edge a pixel wide."""
    return np.clip(radius - away + 0.5, 0.0, 1.0)


def _over(below: FloatArray, above: FloatArray, *, share: FloatArray) -> FloatArray:
    return np.asarray(below + (above - below) * share[..., None])
