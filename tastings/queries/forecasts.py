"""A lot's cups in another vessel."""

from uuid import UUID

from tastings.maths.brewing.brews import BrewError
from tastings.maths.forecast.vessel import VesselForecast, vessel_forecast
from tastings.maths.guide.pots import PotRequest
from tastings.queries.brews import load_brews
from tastings.queries.guides import UsualPot
from tastings.queries.panels import calibration_of
from tastings.queries.records import record_for
from teams.models import Member


def vessel_forecast_for(member: Member, lot: UUID, *, pot: PotRequest) -> VesselForecast | None:
    """Foretell the cups of a lot in a pot from its shared sessions; None while none has a rated strength.

    Raise NotFound for an unknown lot, PotError if the cups of that pot cannot be predicted.
    """
    record_for(member, "lot", lot)
    tastings, scales = load_brews(lot), calibration_of(member.team_id).scales
    return vessel_forecast(tastings.brews, pot=pot, even_brew=tastings.even_brew, scales=scales)


def forecast_in_usual_pot(member: Member, lot: UUID, *, pot: UsualPot) -> VesselForecast | None:
    """Foretell them in the pot of the guide; None where the lot was tasted in one of that material, or unrated."""
    try:
        forecast = vessel_forecast_for(member, lot, pot=pot.as_asked())
    except BrewError:
        return None
    if forecast is None or forecast.first.vessel_material == forecast.other.vessel_material:
        return None
    return forecast
