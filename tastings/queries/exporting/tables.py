"""The tables of an export, parents first, and what is left out on purpose; all texts are part of the file format."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from uuid import UUID

from django.db.models import Model, QuerySet

from lots.models import FieldHistory
from lots.schema import Field, RecordSchema
from tastings.models import (
    Descriptor,
    Flight,
    FlightCup,
    FlightLot,
    FlightMember,
    Photo,
    PhotoContent,
    TeamLogo,
    Trial,
    TriangleTaster,
    TriangleTest,
)
from tastings.queries.exporting.columns import Column, plain_columns, synced_columns
from tastings.queries.exporting.scope import ExportScope
from tastings.queries.records import MODELS
from tastings.schemas import FLIGHT, PHOTO, TRIAL, TRIANGLE_TEST
from teams.models import Member, Role, Shop, Team


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportTable:
    """One table of an export: a file of JSON lines, one row a line.

    ``constants`` are database columns that hold the same in every row of a team and are not exported; ``of_team``
    says whether the database's table has a team's id of its own.
    """

    name: str
    about: str
    model: type[Model]
    columns: tuple[Column, ...]
    rows: Callable[[ExportScope], QuerySet[Model]]
    of_team: bool = True
    constants: Mapping[str, object] = field(default_factory=dict)

    @property
    def file(self) -> str:
        """Where it stands in the zip."""
        return f"records/{self.name}.jsonl"

    def rows_of(self, team: Team) -> QuerySet[Model]:
        """Return all rows of a team."""
        return self.rows(ExportScope(team))


def _of_records(name: str, type_name: str, *, about: str) -> ExportTable:
    """Return the table of a record type that travels by sync."""
    model = MODELS[type_name]
    return ExportTable(
        name=name, about=about, model=model, columns=synced_columns(model), rows=lambda scope: scope.records(type_name)
    )


def _plain(  # noqa: PLR0913 - what tells one table from another
    name: str,
    model: type[Model],
    rows: Callable[[ExportScope], QuerySet[Model]],
    *,
    about: str,
    schema: RecordSchema | None = None,
    without: tuple[str, ...] = (),
) -> ExportTable:
    """Return the table of a model that does not travel by sync."""
    columns = plain_columns(model, schema=schema, without=without)
    return ExportTable(name=name, about=about, model=model, columns=columns, rows=rows)


_JOB_COLUMNS = ("plan_asked_at", "answer_asked_at")

SETTINGS = ExportTable(
    name="settings",
    about="what the team has chosen; one line",
    model=Team,
    columns=plain_columns(
        Team, without=("id", "name", "created_at", "revision", "first_revision", "pruned_revision", "pruned_before")
    ),
    rows=ExportScope.settings,
)
MEMBERS = ExportTable(
    name="members",
    about="the team's people, those who left included; no password or token is ever exported",
    model=Member,
    columns=(
        Column(field=Field(name="user", kind="reference", required=True), read="user_id", stored_in="user_id"),
        Column(
            field=Field(name="username", kind="text", longest=80, required=True), read="user__username", stored_in=None
        ),
        Column(field=Field(name="name", kind="text", longest=120), read="user__name", stored_in=None),
        Column(field=Field(name="shop", kind="reference", to="shop"), read="shop_id", stored_in="shop_id"),
        Column(
            field=Field(name="role", kind="choice", choices=tuple(Role.values), required=True),
            read="role",
            stored_in="role",
        ),
        Column(field=Field(name="joined_at", kind="moment", required=True), read="joined_at", stored_in="joined_at"),
        Column(field=Field(name="left_at", kind="moment"), read="left_at", stored_in="left_at"),
    ),
    rows=ExportScope.members,
)
TRIANGLE_TASTERS = _plain(
    "triangle_tasters",
    TriangleTaster,
    ExportScope.triangle_tasters,
    about="who is to taste in each triangle test, and how many answers they are to give",
)
_OF_THE_FILE = {
    "upload": str(UUID(int=0)),
    "state": Photo.State.STORED.value,
    "reason": "",
    "sha256": "",
    "bytes": 0,
    "attempts": 0,
}
"""Columns of a logo about the uploaded file, which is gone once its picture is stored."""
LOGO = ExportTable(
    name="logo",
    about="the team's logo, if it has one: which picture of photo_contents it is",
    model=TeamLogo,
    columns=(
        Column(
            field=Field(name="content", kind="reference", to="photo_content", required=True),
            read="content_id",
            stored_in="content_id",
        ),
        Column(field=Field(name="touched_at", kind="moment", required=True), read="touched_at", stored_in="touched_at"),
    ),
    rows=ExportScope.logo,
    constants=_OF_THE_FILE,
)

TABLES: tuple[ExportTable, ...] = (
    SETTINGS,
    _plain("shops", Shop, ExportScope.shops, about="the team's shops", without=("revision",)),
    MEMBERS,
    ExportTable(
        name="descriptors",
        about="the team's own words; built-in ones come with the program",
        model=Descriptor,
        columns=synced_columns(Descriptor, without=("position",)),
        rows=lambda scope: scope.records("descriptor"),
        constants={"position": 0},
    ),
    _of_records("lots", "lot", about="one tea as sampled or bought"),
    _of_records("pots", "pot", about="the vessels on the shelves"),
    _plain(
        "flights",
        Flight,
        ExportScope.flights,
        about="samples tasted under codes",
        schema=FLIGHT,
        without=("revision", *_JOB_COLUMNS),
    ),
    _plain("flight_lots", FlightLot, ExportScope.flight_lots, about="the candidates of each flight"),
    _plain("flight_members", FlightMember, ExportScope.flight_members, about="who tastes or pours in each flight"),
    _plain("flight_cups", FlightCup, ExportScope.flight_cups, about="the coded cups of each flight"),
    _of_records("sessions", "session", about="one pot of one lot by one taster"),
    _of_records("infusions", "infusion", about="one pour of a session"),
    _of_records("notes", "note", about="one word noticed at one moment, with how strong it was if that was rated"),
    _plain("history", FieldHistory, ExportScope.history, about="values that lost to another edit of the same field"),
    _plain(
        "triangle_tests",
        TriangleTest,
        ExportScope.triangle_tests,
        about="three cups, two of them the same tea: tests of one lot against another",
        schema=TRIANGLE_TEST,
    ),
    TRIANGLE_TASTERS,
    ExportTable(
        name="trials",
        about="the answers given in triangle tests; a withdrawn one does not count",
        model=Trial,
        columns=plain_columns(Trial, schema=TRIAL),
        rows=ExportScope.trials,
        of_team=False,
    ),
    _plain(
        "photo_contents",
        PhotoContent,
        ExportScope.photo_contents,
        about="pictures; the files are photos/<sha256>-<first 8 digits of id>.jpg and .thumbnail.jpg",
    ),
    _plain(
        "photos",
        Photo,
        ExportScope.photos,
        about="photos of leaf and liquor, and the measured colour",
        schema=PHOTO,
        without=("revision",),
    ),
    LOGO,
)

EXCLUDED: Mapping[str, str] = {
    "teams.User": "logins: only names and roles are exported, with the members; never a password",
    "teams.AuditEntry": "the log of who signed in and did what, on one server",
    "teams.DeviceToken": "devices signed in: whoever moves signs in again",
    "teams.EmailVerification": "links of one server by which an address is verified",
    "teams.Invitation": "links of one server by which people come in",
    "teams.KnownClient": "addresses a login was used from",
    "teams.MovedTeam": "which cell a team lives in, said by each server",
    "teams.StoredAnswer": "answers that a repeated request gets again, for a day",
    "teams.SignInCode": "codes by which a phone signs in, for five minutes",
    "teams.ResetLink": "links of one server by which a password is set anew",
    "teams.ResetRequest": "requests for such links",
    "teams.AttemptCount": "counts of failed attempts",
    "tastings.Development": "figures computed from the records; they are computed again",
    "tastings.RecordCount": "counts of the records; they are counted again",
    "tastings.RenderedDocument": "documents rendered from figures and kept for a while; they are rendered again",
    "tastings.Share": "signed links to one server's pages; they hold nothing that was tasted",
    "tastings.TeamPanel": "what was learned about tasters from the records; it is learned again",
}
"""Tables that no export holds, by their model's name, and why."""

ALWAYS_EXCLUDED = (
    "Passwords, tokens and devices signed in.",
    "Figures computed from the records; an import computes them again.",
    "Built-in descriptors, which come with the program.",
    "Photos whose file has not arrived whole, or was taken away while the export was made.",
)
OWNER_EXCLUDED = (
    "Private sessions of other members, with all that hangs on them.",
    "Flights that are not revealed yet, with the sessions tasted in them.",
)
