"""Whether the content of a lot's report may have changed, in one statement."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

import msgspec

from tastings.queries.guides import usual_pot_at
from tastings.queries.other_harvests import NORMAL_FORM
from teams.errors import NotFound
from teams.models import Member
from teams.postgresql.together import run_together
from teams.row_security import acting_for, run_for_lot
from teams.time_zones import zone_named

_Place = tuple[UUID, str, str | None, UUID | None]
"""The lot's team with its time zone, and the role and shop of the login in it."""
_MAKER, _MAKER_OF_KIN = (NORMAL_FORM % {"expressions": name} for name in ("lot.producer", "kin.producer"))
_STATE = """
    SELECT
        lot.team_id, team.time_zone, place.role, place.shop_id,
        team.revision,  -- counts every change of the team's records; the usual pot follows from them
        (SELECT md5(string_agg(concat_ws(' ', shop.id, shop.usual_pot, shop.name), '|' ORDER BY shop.id))
            FROM teams_shop AS shop WHERE shop.team_id = team.id),
        lot.revision, team.ready_roast, team.name,
        (SELECT logo.content_id FROM tastings_teamlogo AS logo WHERE logo.team_id = team.id),
        -- a change of a session's infusions or notes shows as figures that are due
        (SELECT concat_ws(' ', count(*), max(revision)) FROM tastings_session WHERE lot_id = lot.id),
        (SELECT max(revision) FROM tastings_descriptor WHERE team_id = team.id),
        figures.computed_revision, figures.due_revision, figures.computed_at, figures.method, figures.failure,
        panel.version, panel.computed_at,
        -- the roast that the team likes follows from its other lots of the same degree
        (SELECT concat_ws(' ', count(*), max(other.computed_at)) FROM tastings_development AS other
            JOIN lots_lot AS kin ON kin.id = other.lot_id
            WHERE kin.team_id = lot.team_id AND kin.roast = lot.roast AND lot.roasted_on IS NOT NULL
                AND NOT kin.removed),
        -- the sample it was bought on, the lots bought on it, and the blind flights of lot and sample
        (SELECT concat_ws(' ', sample.name, sample.removed, of_sample.computed_at, of_sample.computed_revision)
            FROM lots_lot AS sample LEFT JOIN tastings_development AS of_sample ON of_sample.lot_id = sample.id
            WHERE sample.id = lot.from_lot_id),
        (SELECT md5(string_agg(concat_ws(' ', bought.id, bought.name, bought.removed, of_bought.computed_at,
                of_bought.computed_revision), '|' ORDER BY bought.id))
            FROM lots_lot AS bought LEFT JOIN tastings_development AS of_bought ON of_bought.lot_id = bought.id
            WHERE bought.from_lot_id = lot.id),
        (SELECT md5(string_agg(concat_ws(' ', flight.id, flight.name, flight.state, flight.answer_made), '|'
                ORDER BY flight.id))
            FROM tastings_flightlot AS candidate JOIN tastings_flight AS flight ON flight.id = candidate.flight_id
            WHERE candidate.lot_id IN (lot.id, lot.from_lot_id)),
        -- other harvests of its producer
        (SELECT md5(string_agg(concat_ws(' ', kin.id, kin.name, kin.harvest_year, kin.harvest_season,
                of_kin.computed_at, of_kin.computed_revision), '|' ORDER BY kin.id))
            FROM lots_lot AS kin LEFT JOIN tastings_development AS of_kin ON of_kin.lot_id = kin.id
            WHERE kin.team_id = lot.team_id AND kin.kind = lot.kind AND NOT kin.removed AND lot.producer <> ''
                AND {maker_of_kin} = {maker}),
        (SELECT max(word.updated_at) FROM tastings_descriptor AS word WHERE word.team_id IS NULL),
        (SELECT md5(string_agg(concat_ws(' ', login.id, login.username, login.name), '|' ORDER BY login.id))
            FROM teams_member AS place JOIN teams_user AS login ON login.id = place.user_id
            WHERE place.team_id = team.id),
        (SELECT md5(string_agg(photo::text, '|' ORDER BY photo.id)) FROM tastings_photo AS photo
            WHERE photo.team_id = team.id AND (photo.lot_id = lot.id OR photo.session_id IN (
                SELECT id FROM tastings_session WHERE lot_id = lot.id)))
    FROM lots_lot AS lot
        JOIN teams_team AS team ON team.id = lot.team_id
        LEFT JOIN tastings_development AS figures ON figures.lot_id = lot.id
        LEFT JOIN tastings_teampanel AS panel ON panel.team_id = team.id
        LEFT JOIN teams_member AS place ON place.team_id = team.id AND place.user_id = %s AND place.left_at IS NULL
    WHERE lot.id = %s AND NOT lot.removed
""".replace("{maker_of_kin}", _MAKER_OF_KIN).replace("{maker}", _MAKER)


@dataclass(frozen=True, slots=True)
class ReportState:
    """A cache key of a lot's report; it changes whenever the content may change.

    Equal keys mean equal content. A push to another lot of the team changes the key only if the usual pot follows.
    Read it before the content: what is cached under it is then never older than the key.
    """

    time_zone: str
    """In which its moments are written; which day is today follows from it."""
    key: tuple[object, ...]


def report_state(member: Member, lot: UUID, *, now: datetime) -> ReportState:
    """Return the state of a lot's report for a member of its team or a guest in it.

    Raise NotFound if the lot is absent, removed or another team's, which look the same.
    """
    (team, zone, _, _), figures = _only(run_together([(_STATE, [member.user_id, lot])])[0])
    if team != member.team_id:
        raise NotFound
    return _state(member, lot, zone, figures, now=now)


def report_state_of(login: UUID, lot: UUID, *, now: datetime) -> tuple[Member, ReportState]:
    """Return a member of the lot's team made of the login's role and shop there, and the state of its report.

    Raise NotFound as `report_state`, and if the login has no place in the lot's team.
    """
    (team, zone, role, shop), figures = _only(run_for_lot(lot, (_STATE, [login, lot])))
    if role is None:
        raise NotFound
    member = Member(team_id=team, user_id=login, shop_id=shop, role=role)
    with acting_for(team):
        return member, _state(member, lot, zone, figures, now=now)


def _state(member: Member, lot: UUID, zone: str, figures: tuple[object, ...], *, now: datetime) -> ReportState:
    revision, shops, *rest = figures
    today = now.astimezone(zone_named(zone)).date()
    return ReportState(zone, (lot, today, usual_pot_at(member, state=(revision, shops)), shops, *rest))


def _only(rows: list[tuple[object, ...]]) -> tuple[_Place, tuple[object, ...]]:
    if not rows:
        raise NotFound
    return msgspec.convert(rows[0][:4], _Place), rows[0][4:]
