"""Deleting old tombstones: a deleted record is kept for 400 days, so that phones long unused still learn of it.

A phone that syncs even later must start again; see `teams.actions.people.check_cursor`.
"""

from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import Exists, Max, OuterRef, Q, QuerySet

from lots.models import Lot, Synced
from tastings.actions.quotas import recount_records
from tastings.models import Descriptor, Flight, FlightCup, FlightLot, Infusion, Note, Photo, Pot, Session, TriangleTest
from teams.models import Shop, Team
from teams.row_security import acting_for, every_team, skip_team_elsewhere

RETENTION = timedelta(days=400)


def prune_all(*, now: datetime) -> int:
    """Delete old tombstones of every team, and count its records; return the number deleted."""
    n_deleted = 0
    for team in every_team():
        with skip_team_elsewhere(), acting_for(team):
            n_deleted += prune(team, now=now)
            recount_records(team)
    return n_deleted


@transaction.atomic
def prune(team: UUID, *, now: datetime) -> int:
    """Delete the team's old tombstones that no record refers to; return their number."""
    cutoff = now - RETENTION
    locked = Team.objects.select_for_update(no_key=True).get(id=team)
    n_deleted, highest = 0, locked.pruned_revision
    for rows in (  # children first
        _old(Note, team=team, cutoff=cutoff),
        _old(Infusion, team=team, cutoff=cutoff).exclude(Exists(Note.objects.filter(infusion=OuterRef("id")))),
        _old(Session, team=team, cutoff=cutoff).exclude(
            Exists(Note.objects.filter(session=OuterRef("id")))
            | Exists(Infusion.objects.filter(session=OuterRef("id")))
        ),
        _old(Pot, team=team, cutoff=cutoff).exclude(
            Exists(Session.objects.filter(pot=OuterRef("id"))) | Exists(Shop.objects.filter(usual_pot=OuterRef("id")))
        ),
        _old(Lot, team=team, cutoff=cutoff).exclude(
            Exists(Session.objects.filter(lot=OuterRef("id")))
            | Exists(Lot.objects.filter(from_lot=OuterRef("id")))
            | Exists(TriangleTest.objects.filter(lot=OuterRef("id")))
            | Exists(TriangleTest.objects.filter(against=OuterRef("id")))
            | Exists(FlightLot.objects.filter(lot=OuterRef("id")))
            | Exists(FlightCup.objects.filter(lot=OuterRef("id")))
            | Exists(Flight.objects.filter(reference=OuterRef("id")))
        ),
        _old(Descriptor, team=team, cutoff=cutoff).exclude(
            Exists(Note.objects.filter(descriptor=OuterRef("id")))
            # a phone may come with the key of a merged descriptor however late
            | Exists(Descriptor.objects.filter(id=OuterRef("id"), merged_into__isnull=False))
            | Exists(Descriptor.objects.filter(merged_into=OuterRef("id")))
        ),
    ):
        ids = list(rows.values_list("id", flat=True))
        if not ids:
            continue
        old = rows.model._default_manager.filter(id__in=ids)
        photos = Photo.objects.filter(Q(session__in=ids) | Q(lot__in=ids), team_id=team)  # which go along
        for revisions in (old.aggregate(highest=Max("revision")), photos.aggregate(highest=Max("revision"))):
            highest = max(highest, revisions["highest"] or 0)
        old.delete()
        n_deleted += len(ids)
    if n_deleted:
        Team.objects.filter(id=team).update(
            pruned_revision=highest, pruned_before=max(cutoff, locked.pruned_before or cutoff)
        )
    return n_deleted


def _old(model: type[Synced], *, team: UUID, cutoff: datetime) -> QuerySet[Synced]:
    return model._default_manager.filter(team_id=team, removed=True, updated_at__lt=cutoff)
