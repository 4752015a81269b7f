"""Reads of links: by the team that gave them, and by whoever holds one.

A link's address carries the share's id under a signature with the server's key, so that it cannot be guessed and can be
shown again, while a copy of the database alone opens nothing. The row decides whether the link is still valid.

A link opens only while the one who gave it, or the owner who kept it, may give links. When that ends, because they
left or lost the role, the link waits: to outsiders it looks ended, and an owner is asked whether to keep or end it.
"""

from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from uuid import UUID, uuid4

from django.core.signing import BadSignature, Signer
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from tastings.models import Share
from tastings.queries.records import first_or_not_found
from tastings.queries.reports import ReportContent
from teams.errors import NotAllowed, NotFound
from teams.models import Member, Role, User
from teams.row_security import acting_for, team_of

MOST_ENDED = 20
DECIDING = (Role.OWNER, Role.BUYER)
"""Who may give links, as `Member.decides` has it."""


def _signer() -> Signer:
    return Signer(salt="leafspan.share", sep=".")


def _vouched() -> Exists:
    """Return the condition that someone in the team who may give links stands behind a link."""
    user = Coalesce(OuterRef("kept_by_id"), OuterRef("by_id"))
    deciding = Member.objects.filter(left_at=None, role__in=DECIDING)
    return Exists(deciding.filter(team_id=OuterRef("team_id"), user_id=user))


def vouched_shares(team: UUID) -> QuerySet[Share]:
    """Return a team's links, each with ``vouched``: whether someone who may give links stands behind it."""
    return Share.objects.filter(team_id=team).annotate(vouched=_vouched())


def token_of(share: UUID) -> str:
    """Return what stands in a link's address."""
    return _signer().sign(urlsafe_b64encode(share.bytes).decode().rstrip("="))


def share_with(token: str, *, now: datetime) -> Share:
    """Return the share of a valid link.

    Raise NotFound if it was never given, has expired, was revoked, waits for an owner, or its lot is gone, without
    saying which.
    """
    try:
        share = UUID(bytes=urlsafe_b64decode(f"{_signer().unsign(token)}=="))
    except (BadSignature, ValueError) as error:
        raise NotFound from error
    with acting_for(team_of("share", share)):
        rows = Share.objects.filter(_vouched(), id=share, revoked_at=None, expires_at__gt=now, lot__removed=False)
        return first_or_not_found(rows.select_related("team"))


def guest_of(share: Share) -> Member:
    """Return an outside reader of the team's shared records, at the shop of whoever gave the link."""
    giver = Member.objects.filter(team_id=share.team_id, user_id=share.by_id).select_related("shop").first()
    return Member(team=share.team, user=User(id=uuid4()), shop=giver.shop if giver else None, role=Role.VIEWER)


def for_outsiders(content: ReportContent, *, with_tastings: bool) -> ReportContent:
    """Return a report's content as a link shows it: no internal code, and nothing of how the team chose the lot.

    Only ``with_tastings`` does it show who tasted it, where and when, and how the figures came about.
    """
    content = replace(content, lot=replace(content.lot, code=None), flights=(), arrivals=(), harvests=())
    if with_tastings:
        return content
    figures = replace(content.development.figures, tasted=())
    return replace(
        content,
        tasters={},
        sessions=(),
        panel=None,
        development=replace(content.development, figures=figures, computed_at=None),
        photos=tuple(replace(photo, day=None) for photo in content.photos),
        is_for_customers=True,
    )


def shares_of(member: Member, *, lot: UUID | None, after: UUID | None, limit: int) -> Sequence[Share]:
    """Return the team's links in the order of their ids, those to one lot if named.

    Raise NotAllowed if the member is neither buyer nor owner: a link opens what it leads to.
    """
    may_share(member)
    rows = vouched_shares(member.team_id)
    if lot is not None:
        rows = rows.filter(lot_id=lot)
    if after is not None:
        rows = rows.filter(id__gt=after)
    return list(rows.order_by("id")[:limit])


def shares_to(member: Member, lot: UUID, *, now: datetime) -> tuple[list[Share], list[Share], list[Share]]:
    """Return all links to a lot that open, all that wait, and the latest of those that ended; the newest first.

    Raise NotAllowed as `shares_of`.
    """
    may_share(member)
    rows = vouched_shares(member.team_id).filter(lot_id=lot).order_by("-created_at", "id")
    holds = Q(revoked_at=None, expires_at__gt=now)
    valid = rows.filter(holds)
    return (list(valid.filter(_vouched())), list(valid.filter(~_vouched())), list(rows.exclude(holds)[:MOST_ENDED]))


def waiting_shares(member: Member, *, now: datetime) -> list[Share]:
    """Return the team's links that wait for an owner's decision, with lot and giver, the oldest first; owners only."""
    if not member.runs_team:
        return []
    waiting = Share.objects.filter(~_vouched(), team_id=member.team_id, revoked_at=None, expires_at__gt=now)
    rows = waiting.filter(lot__removed=False).select_related("lot", "by")
    return list(rows.annotate(vouched=_vouched()).order_by("created_at", "id"))


def share_for(member: Member, share: UUID) -> Share:
    """Return the team's link; raise NotFound for an absent or foreign one, NotAllowed as `shares_of`."""
    row = first_or_not_found(vouched_shares(member.team_id).filter(id=share))
    may_share(member)
    return row


def may_share(member: Member) -> None:
    """Raise NotAllowed unless the member is a buyer or an owner."""
    if not member.decides:
        raise NotAllowed(_("buyers and owners share lots"))


def is_open(share: Share, *, now: datetime) -> bool:
    """Return whether the link, one of `vouched_shares`, may be read."""
    return _is_vouched(share) and share.revoked_at is None and share.expires_at > now


def is_waiting(share: Share, *, now: datetime) -> bool:
    """Return whether the link, one of `vouched_shares`, opens nothing until an owner keeps it."""
    return not _is_vouched(share) and share.revoked_at is None and share.expires_at > now


def _is_vouched(share: Share) -> bool:
    return bool(share.vouched)  # type: ignore[attr-defined]  # annotated
