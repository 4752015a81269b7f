"""A team's logo."""

from uuid import UUID

from tastings.models import TeamLogo
from tastings.models.photo_files import thumbnail_key
from tastings.queries.photos import ServedFile, name_on_disk
from teams.errors import NotFound


def logo_of(team: UUID) -> TeamLogo | None:
    """Return a team's logo with its picture; None when there is none."""
    return TeamLogo.objects.filter(team_id=team).select_related("content").first()


def logo_name(team: UUID) -> str:
    """Return the name on the disk of the picture that the team shows as its logo; empty without one."""
    logo = logo_of(team)
    return "" if logo is None or logo.content is None else name_on_disk(logo.content)


def logo_file(team: UUID) -> ServedFile:
    """Return the picture of a team's logo, as pages show it; raise NotFound when there is none."""
    logo = logo_of(team)
    if logo is None or logo.content is None:
        raise NotFound
    return ServedFile(key=thumbnail_key(team, name_on_disk(logo.content)), tag=logo.content.thumbnail_sha256)


def is_logo(content: UUID) -> bool:
    """Whether a picture is a team's logo."""
    return TeamLogo.objects.filter(content_id=content).exists()
