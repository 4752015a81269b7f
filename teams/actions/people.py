"""Creates and changes teams, members, shops and device tokens."""

import hashlib
from datetime import datetime, timedelta
from unicodedata import category, normalize
from unicodedata import name as unicode_name
from uuid import UUID, uuid4

from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.utils.translation import gettext as _

from teams.actions.counters import random_beginning
from teams.actions.revisions import lock_team
from teams.errors import Invalid, NotAllowed, NotFound, Problem, StartAgain
from teams.models import DeviceToken, Member, Role, Shop, Team, User
from teams.queries.people import is_id, shop_by_id_or_name
from teams.row_security import acting_for, acting_for_login, has_team, teams_of_login
from teams.texts import is_blank
from teams.time_zones import UTC_NAME, time_zone_names


def clean_name(value: object, *, field: str, longest: int) -> str:
    """Return a trimmed, non-empty name in Unicode's form NFC, in which names are compared; else raise Invalid."""
    if not isinstance(value, str):
        raise Invalid(problems=[Problem(field, "type", _("must be a text"))])
    name = normalize("NFC", value.strip())
    if is_blank(name):
        raise Invalid(problems=[Problem(field, "required", _("must not be empty"))])
    if len(name) > longest:
        raise Invalid(problems=[Problem(field, "too_long", _("at most %(longest)s characters") % {"longest": longest})])
    if "\x00" in name or any("\ud800" <= c <= "\udfff" for c in name):
        raise Invalid(problems=[Problem(field, "characters", _("holds a character that cannot be stored"))])
    return name


def _get_or_create_login(username: str, password: str) -> User:
    """Return the login, new or known; a known one must give its own password. For the command line."""
    username = clean_name(username, field="username", longest=80)
    known = User.objects.filter(username__iexact=username).first()
    if known is None:
        return create_login(username, password)
    if not known.check_password(password):
        raise Invalid(problems=[Problem("username", "taken", _("this name is taken and the password is not its own"))])
    return known


def clean_username(value: object) -> str:
    """Return the name of a login to be, one that cannot easily pass for another's; else raise Invalid.

    Unicode's form NFKC has no full-width or stylised letters (https://www.unicode.org/reports/tr36/, section 2.10.2).
    Letters of alphabets that look alike are not mixed, as "highly restrictive" identifiers do not
    (https://www.unicode.org/reports/tr39/, section 5.2), and signs are those of ASCII.
    """
    name = clean_name(value, field="username", longest=80)
    invisible = {"Cc", "Cf", "Cn", "Co", "Zl", "Zp", "Zs"}
    if normalize("NFKC", name) != name or any(category(c) in invisible for c in name.replace(" ", "")) or "  " in name:
        raise _username_problem(_("holds an invisible character, or one that has a plainer form"))
    if any(category(c)[0] in "PS" and not c.isascii() for c in name):
        raise _username_problem(_("holds a sign that looks like a common one"))
    if len({alphabet for c in name if (alphabet := _alphabet(c)) in _ALIKE}) > 1:
        raise _username_problem(_("mixes letters of alphabets that look alike"))
    return name


_ALIKE = frozenset({"LATIN", "GREEK", "COPTIC", "CYRILLIC", "ARMENIAN", "CHEROKEE", "GEORGIAN", "LISU", "DESERET"})
"""Alphabets whose letters look like those of another one."""


def _alphabet(letter: str) -> str:
    """Return the first word of a letter's Unicode name, which is its alphabet."""
    return unicode_name(letter, "").partition(" ")[0]


def _username_problem(detail: str) -> Invalid:
    return Invalid(problems=[Problem("username", "pattern", detail)])


def create_login(username: str, password: str) -> User:
    """Make a login; raise Invalid for a name that does not fit or a weak password."""
    user = User(username=clean_username(username))
    set_password(user, password, field="password")
    try:
        with acting_for_login(user.id), transaction.atomic():
            user.save()
    except IntegrityError as error:
        raise Invalid(problems=[Problem("username", "taken", _("this name is taken"))]) from error
    return user


def set_language(user: User, language: str) -> None:
    """Choose the language of the login's pages and mail."""
    with acting_for_login(user.id):
        User.objects.filter(id=user.id).update(language=language)


def set_password(user: User, password: str, *, field: str) -> None:
    """Set the login's password without saving; raise Invalid, naming the field, if it is easily guessed."""
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise Invalid(problems=[Problem(field, "weak", " ".join(error.messages))]) from error
    user.set_password(password)


@transaction.atomic
def create_team(  # noqa: PLR0913 - a team with its owner
    *,
    name: str,
    shop: str,
    username: str,
    password: str,
    time_zone: str = UTC_NAME,
    id_of_team: UUID | None = None,
) -> Member:
    """Make a team with its first shop and its owner."""
    team = Team(id=id_of_team or uuid4(), name=clean_name(name, field="name", longest=120))
    team.time_zone = clean_time_zone(time_zone)
    team.revision = team.first_revision = random_beginning()
    team.save(force_insert=True)
    first = Shop.objects.create(team=team, name=clean_name(shop, field="shop", longest=120))
    return Member.objects.create(team=team, user=_get_or_create_login(username, password), shop=first, role=Role.OWNER)


def create_first_team(*, name: str, shop: str, username: str, password: str, time_zone: str = UTC_NAME) -> Member:
    """Make the first team of this server with its owner, a new login.

    Raise NotFound if there is a team already, Invalid if a name does not fit or the password is easily guessed.
    """
    team = uuid4()
    with acting_for(team), transaction.atomic():
        with connection.cursor() as cursor:  # of two requests at once, one is too late
            cursor.execute("SELECT pg_advisory_xact_lock(hashtext('leafspan first team'))")
        if has_team():
            raise NotFound
        return create_team(
            name=name, shop=shop, username=username, password=password, time_zone=time_zone, id_of_team=team
        )


@transaction.atomic
def create_member(*, team: Team, shop: str, username: str, password: str, role: str) -> Member:
    """Make a login a member of the team; raise Invalid if it is one already.

    ``shop`` is the id or the name of one of its shops; a name that is new opens one.
    """
    if role not in Role.values:
        raise Invalid(
            problems=[Problem("role", "choice", _("one of %(choices)s") % {"choices": ", ".join(Role.values)})]
        )
    user = _get_or_create_login(username, password)
    shop_row = shop_by_id_or_name(team, shop)
    if shop_row is None and is_id(shop):
        raise Invalid(problems=[Problem("shop", "unknown_parent", _("the team has no shop with this id"))])
    shop_row = shop_row or Shop.objects.create(team=team, name=clean_name(shop, field="shop", longest=120))
    return add_member(team=team, user=user, shop=shop_row, role=role)


def add_member(*, team: Team, user: User, shop: Shop, role: str) -> Member:
    """Create a membership, or restore the one that was left; raise Invalid if there is one already."""
    if Member.objects.filter(team=team, user=user, left_at=None).exists():
        raise Invalid(problems=[Problem("username", "taken", _("is already a member of this team"))])
    member, _created = Member.objects.update_or_create(
        team=team, user=user, defaults={"shop": shop, "role": role, "left_at": None}
    )
    return member


def check_may_change_team(member: Member) -> None:
    """Raise NotAllowed unless the member is an owner."""
    if not member.runs_team:
        raise NotAllowed(_("only an owner may change the team"))


def check_may_change_shops(member: Member) -> None:
    """Raise NotAllowed unless the member is an owner."""
    if not member.runs_team:
        raise NotAllowed(_("only an owner may change shops"))


@transaction.atomic
def update_team(member: Member, *, name: object = None, ready_roast: object = None, time_zone: object = None) -> Team:
    """Rename the team, or choose its level for a medium roast or its time zone; only an owner may."""
    check_may_change_team(member)
    team = Team.objects.select_for_update(no_key=True).get(id=member.team_id)
    if name is not None:
        team.name = clean_name(name, field="name", longest=120)
    if ready_roast is not None:
        if isinstance(ready_roast, bool) or not isinstance(ready_roast, int | float) or not 0 <= ready_roast <= 10:
            raise Invalid(problems=[Problem("ready_roast", "range", _("must be a number from 0 to 10"))])
        team.ready_roast = float(ready_roast)
    if time_zone is not None:
        team.time_zone = clean_time_zone(time_zone)
    team.save(update_fields=["name", "ready_roast", "time_zone"])
    return team


def clean_time_zone(value: object) -> str:
    """Return the name of a time zone; raise Invalid for an unknown one."""
    if isinstance(value, str) and value in time_zone_names():
        return value
    raise Invalid(problems=[Problem("time_zone", "choice", _("is not a time zone of the IANA database"))])


@transaction.atomic
def create_shop(member: Member, *, name: object) -> Shop:
    """Open a shop; only an owner may."""
    check_may_change_shops(member)
    lock_team(member.team_id)  # so that no other takes the name meanwhile
    return Shop.objects.create(team_id=member.team_id, name=_free_shop_name(member, name, shop_id=None))


@transaction.atomic
def rename_shop(member: Member, *, shop_id: UUID, name: object) -> None:
    """Rename a shop; only an owner may."""
    check_may_change_shops(member)
    lock_team(member.team_id)
    clean = _free_shop_name(member, name, shop_id=shop_id)
    if not Shop.objects.filter(team_id=member.team_id, id=shop_id).update(name=clean):
        raise NotFound


def _free_shop_name(member: Member, name: object, *, shop_id: UUID | None) -> str:
    clean = clean_name(name, field="name", longest=120)
    others = Shop.objects.filter(team_id=member.team_id, name=clean)
    if (others if shop_id is None else others.exclude(id=shop_id)).exists():
        raise Invalid(problems=[Problem("name", "taken", _("the team has a shop of this name"))])
    return clean


def token_digest(token: str) -> str:
    """Return the digest that is stored of a token: a plain SHA-256, since a token is 256 random bits."""
    return hashlib.sha256(token.encode()).hexdigest()


def sign_out(token: DeviceToken) -> None:
    """End this token at once."""
    token.delete()


def sign_out_device(login: UUID, token_id: UUID) -> None:
    """End one of the login's own tokens; raise NotFound for any other."""
    with acting_for(*teams_of_login(login)):
        n_deleted, _rows = DeviceToken.objects.filter(member__user_id=login, id=token_id).delete()
    if not n_deleted:
        raise NotFound


def check_cursor(token: DeviceToken, *, cursor: int, now: datetime) -> None:
    """Check that a device may pull from its cursor; store when it starts from 0.

    Tombstones are pruned after a while. A device that started after the last pruned deletion cannot hold a deleted
    record, whatever its cursor. Raise StartAgain if tombstones that the device has not received may have been pruned,
    or the cursor lies outside the team's revisions: another team's, or one from before an older backup was restored.
    """
    team = token.member.team
    if cursor == 0:
        token.began_at = now
        DeviceToken.objects.filter(id=token.id).update(began_at=now)
        return
    if not team.first_revision <= cursor <= team.revision:
        raise StartAgain
    _check_deletions(token, cursor=cursor)


def check_page(token: DeviceToken, *, cursor: int) -> None:
    """Check, once a page after a cursor was read, that no tombstones were pruned meanwhile; raise StartAgain."""
    token.member.team.refresh_from_db(fields=("pruned_before", "pruned_revision"))
    if cursor:
        _check_deletions(token, cursor=cursor)


def _check_deletions(token: DeviceToken, *, cursor: int) -> None:
    team = token.member.team
    before = team.pruned_before
    may_miss_deletions = before is not None and (token.began_at is None or token.began_at < before)
    if may_miss_deletions and cursor < team.pruned_revision:
        raise StartAgain


def record_use(token: DeviceToken, *, now: datetime) -> None:
    """Store when a device was last used, at most once a minute, and renew its token, at most once a day."""
    changes: dict[str, datetime] = {}
    if token.last_used_at is None or now - token.last_used_at > timedelta(minutes=1):
        changes["last_used_at"] = now
    end = min(now + timedelta(days=settings.DEVICE_TOKEN_DAYS), token.must_sign_in_by)
    if end - token.expires_at >= timedelta(days=1) or end == token.must_sign_in_by > token.expires_at:
        changes["expires_at"] = token.expires_at = end
    if changes:
        DeviceToken.objects.filter(id=token.id).update(**changes)
