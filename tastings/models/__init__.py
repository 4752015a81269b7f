from tastings.models.descriptors import Descriptor
from tastings.models.development import Development
from tastings.models.documents import RenderedDocument
from tastings.models.flights import Flight, FlightCup, FlightLot, FlightMember
from tastings.models.logos import TeamLogo
from tastings.models.notes import Note
from tastings.models.panel import TeamPanel
from tastings.models.photos import Photo, PhotoContent
from tastings.models.pots import Pot
from tastings.models.record_counts import RecordCount
from tastings.models.sessions import Infusion, Session
from tastings.models.shares import Share
from tastings.models.triangles import Trial, TriangleTaster, TriangleTest

__all__ = [
    "Descriptor",
    "Development",
    "Flight",
    "FlightCup",
    "FlightLot",
    "FlightMember",
    "Infusion",
    "Note",
    "Photo",
    "PhotoContent",
    "Pot",
    "RecordCount",
    "RenderedDocument",
    "Session",
    "Share",
    "TeamLogo",
    "TeamPanel",
    "Trial",
    "TriangleTaster",
    "TriangleTest",
]
