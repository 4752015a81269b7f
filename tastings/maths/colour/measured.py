"""A liquor's colour as it is stored with the photo that it was measured in."""

from dataclasses import dataclass

from tastings.maths.colour.liquor import LiquorColour

COLOUR_METHOD = "1"
"""Version of `tastings.maths.colour.liquor` and its terms: raised when either gives other figures."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle of the upright picture, in fractions of its width and height; x and y are its upper left corner."""

    x: float
    y: float
    width: float
    height: float

    def overlaps(self, other: "Box") -> bool:
        """Whether the two have more than an edge in common."""
        apart = self.x >= other.x + other.width or other.x >= self.x + self.width
        above = self.y >= other.y + other.height or other.y >= self.y + self.height
        return not (apart or above)


@dataclass(frozen=True, slots=True, kw_only=True)
class Regions:
    """Where the white and the liquor are in the picture."""

    white: Box
    liquor: Box


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredColour(LiquorColour):
    """A colour with the regions it was measured in, the method, and who measured it when."""

    regions: Regions
    method: str
    by: str
    at: str
