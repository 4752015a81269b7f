"""Reads of links: by the team that gave them, and by whoever holds one.

A link's address carries the share's id under a signature with the server's key, so that it cannot be guessed and can be
shown again, while a copy of the database alone opens nothing. The row decides whether the link is still valid.
"""

from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from uuid import UUID, uuid4

from django.core.signing import BadSignature, Signer
from django.db.models import Q
from django.utils.translation import gettext as _

from tastings.models import Share
from tastings.queries.reports import ReportContent
from teams.errors import NotAllowed, NotFound
from teams.models import Member, Role, User
from teams.row_security import acting_for, team_of

MOST_ENDED = 20


def _signer() -> Signer:
    return Signer(salt="leafspan.share", sep=".")


def token_of(share: UUID) -> str:
    """Return what stands in a link's address."""
    return _signer().sign(urlsafe_b64encode(share.bytes).decode().rstrip("="))


def share_with(token: str, *, now: datetime) -> Share:
    """Return the share of a link that holds.

    Raises
    ------
    NotFound
        It was never given, has expired, was revoked, or its lot is gone: it cannot be told which.
    """
    try:
        share = UUID(bytes=urlsafe_b64decode(f"{_signer().unsign(token)}=="))
    except (BadSignature, ValueError) as error:
        raise NotFound from error
    with acting_for(team_of("share", share)):
        found = (
            Share.objects.filter(id=share, revoked_at=None, expires_at__gt=now, lot__removed=False)
            .select_related("team")
            .first()
        )
    if found is None:
        raise NotFound
    return found


def guest_of(share: Share) -> Member:
    """Return a reader of the team's shared records who is no one in it, at the shop of who gave the link."""
    giver = Member.objects.filter(team_id=share.team_id, user_id=share.by_id).select_related("shop").first()
    return Member(team=share.team, user=User(id=uuid4()), shop=giver.shop if giver else None, role=Role.VIEWER)


def without_names(content: ReportContent) -> ReportContent:
    """Return a report's content with letters in place of its tasters, in the order of their first session."""
    figures = content.development.figures
    ids = [*(one.taster for one in content.sessions), *(one.taster for one in figures.tasted)]
    letters = {taster: _letters(place) for place, taster in enumerate(dict.fromkeys(ids))}
    keys = {taster: f"taster-{letter.lower()}" for taster, letter in letters.items()}
    tasted = tuple(replace(one, taster=keys[one.taster]) for one in figures.tasted)
    return replace(
        content,
        tasters={keys[taster]: _("Taster %(letter)s") % {"letter": letter} for taster, letter in letters.items()},
        development=replace(content.development, figures=replace(figures, tasted=tasted)),
        sessions=tuple(replace(one, taster=keys[one.taster], taster_name="") for one in content.sessions),
    )


def _letters(place: int) -> str:
    """Return A to Z, then AA, AB, ... ."""
    before, this = divmod(place, 26)
    return (_letters(before - 1) if before else "") + chr(ord("A") + this)


def shares_of(member: Member, *, lot: UUID | None, after: UUID | None, limit: int) -> Sequence[Share]:
    """Return the team's links in the order of their ids, those to one lot if named.

    Raises
    ------
    NotAllowed
        The member neither buys nor owns: a link opens what it leads to.
    """
    may_share(member)
    rows = Share.objects.filter(team_id=member.team_id)
    if lot is not None:
        rows = rows.filter(lot_id=lot)
    if after is not None:
        rows = rows.filter(id__gt=after)
    return list(rows.order_by("id")[:limit])


def shares_to(member: Member, lot: UUID, *, now: datetime) -> tuple[list[Share], list[Share]]:
    """Return all links to a lot that hold, and the latest of those that ended; the newest first.

    Raises
    ------
    NotAllowed
        As `shares_of`.
    """
    may_share(member)
    rows = Share.objects.filter(team_id=member.team_id, lot_id=lot).order_by("-created_at", "id")
    holds = Q(revoked_at=None, expires_at__gt=now)
    return list(rows.filter(holds)), list(rows.exclude(holds)[:MOST_ENDED])


def share_for(member: Member, share: UUID) -> Share:
    """Return the team's link; raise NotFound for an absent or foreign one, NotAllowed as `shares_of`."""
    found = Share.objects.filter(team_id=member.team_id, id=share).first()
    if found is None:
        raise NotFound
    may_share(member)
    return found


def may_share(member: Member) -> None:
    """Raise NotAllowed unless the member buys or owns."""
    if not member.decides:
        raise NotAllowed(_("buyers and owners share lots"))


def is_open(share: Share, *, now: datetime) -> bool:
    """Return whether the link may be read."""
    return share.revoked_at is None and share.expires_at > now
