"""A line of an export checked field by field and turned into a row of the database."""

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from uuid import UUID

from lots.merge import DELETED, StampedRecord, pack, unpack
from lots.models import Synced
from lots.models.wire import column_value
from lots.schema import InvalidValue, clean_id, clean_value, record_faults, stamp_moment
from lots.wording import fault_text
from tastings.actions.importing.team.archive import Archive, BadFile
from tastings.models import Descriptor
from tastings.queries.exporting import JSON, STAMPS, Column, Table

Row = tuple[object, ...]


@dataclass(slots=True)
class Known:
    """What was read so far that later lines may name, where no foreign key of the database keeps teams apart."""

    members: set[str] = field(default_factory=set)
    words: dict[str, str] = field(default_factory=dict)
    """Key by id of every descriptor, built-in ones included."""
    later: list[tuple[str, BadFile]] = field(default_factory=list)
    """Descriptors that may come on a later line, with what is wrong if they do not."""
    tests: set[str] = field(default_factory=set)
    pictures: set[str] = field(default_factory=set)

    @classmethod
    def with_built_in(cls) -> "Known":
        """Return what is known before the first line."""
        built_in = Descriptor.objects.filter(team=None).values_list("id", "key")
        return cls(words={str(word): key for word, key in built_in})

    def came_later(self) -> None:
        """Raise what is wrong with the first descriptor that was named and did not come."""
        for word, fault in self.later:
            if word not in self.words:
                raise fault


def checked_lines(archive: Archive, table: Table, *, known: Known) -> Iterator[tuple[int, dict[str, object]]]:
    """Give every line of a table's file with clean values; raise BadFile for the first that does not hold."""
    names = {column.name for column in table.columns}
    for number, line in archive.lines(table.file):
        if odd := sorted(names ^ line.keys()):
            reason = "is missing" if odd[0] in names else "is not part of it"
            raise BadFile(reason, file=table.file, line=number, field=odd[0][:80])
        values: dict[str, object] = {}
        for column in table.columns:
            try:
                values[column.name] = _clean(column, line[column.name])
                _known_reference(column, values, known=known, place=(table.file, number))
            except InvalidValue as error:
                raise BadFile(fault_text(error.fault), file=table.file, line=number, field=column.name) from error
        if issubclass(table.model, Synced):
            _check_record(table, values, number=number)
        _remember(table, values, known=known)
        yield number, values


def _clean(column: Column, value: object) -> object:
    match column.field.kind:
        case "json":
            if value is None and column.field.required:
                raise InvalidValue("required", "must not be null")
            try:
                json.dumps(value, ensure_ascii=False).encode()
            except UnicodeEncodeError as error:
                raise InvalidValue("characters", "holds a character that cannot be stored") from error
            return value
        case "stamps":
            return _stamps(value)
        case _:
            return clean_value(column.field, value)


def _stamps(value: object) -> list[list[object]]:
    try:
        stamps = unpack(value)  # type: ignore[arg-type]  # whatever it is, it fits or it does not
        for stamp in stamps.values():
            moments = [stamp.at, *([stamp.reported] if stamp.reported else [])]
            if [stamp_moment(at) for at in moments] != moments or clean_id(stamp.device) != stamp.device:
                raise InvalidValue("type", "has a moment or a device that is none")
            clean_id(stamp.by)
    except (TypeError, ValueError) as error:
        raise InvalidValue("type", "is no list of edits") from error
    packed = pack(stamps)
    if packed != value:
        raise InvalidValue("type", "does not have the form in which edits are kept")
    return packed


_NO_WORD = "is neither built in here nor in descriptors.jsonl"


def _known_reference(column: Column, values: Mapping[str, object], *, known: Known, place: tuple[str, int]) -> None:
    value = values[column.name]
    if value is None:
        return
    match column.field.to:
        case "member" if value not in known.members:
            raise InvalidValue("unknown_parent", "is nobody of members.jsonl")
        case "triangle_test" if value not in known.tests:
            raise InvalidValue("unknown_parent", "is no test of triangle_tests.jsonl")
        case "photo_content" if value not in known.pictures:
            raise InvalidValue("unknown_parent", "is no picture of photo_contents.jsonl")
        case "descriptor" if column.name != "descriptor_id":
            fault = BadFile(_NO_WORD, file=place[0], line=place[1], field=column.name)
            known.later.append((str(value), fault))
        case "descriptor" if value not in known.words:
            raise InvalidValue("unknown_parent", _NO_WORD)
        case "descriptor" if known.words[str(value)] != values["descriptor"]:
            raise InvalidValue("unknown_parent", "is the descriptor %(key)s", key=known.words[str(value)])
        case _:
            return


def _check_record(table: Table, values: Mapping[str, object], *, number: int) -> None:
    schema = table.model.schema  # type: ignore[attr-defined]  # of records that travel
    fields = {one.name: values[one.name] for one in schema.fields}
    for name, fault in record_faults(schema, fields):
        raise BadFile(fault_text(fault), file=table.file, line=number, field=name)
    stamps = unpack(values["stamps"])  # type: ignore[arg-type]  # cleaned
    if stray := sorted(stamps.keys() - fields.keys() - {DELETED}):
        raise BadFile(f"{stray[0][:80]} is no field", file=table.file, line=number, field="stamps")
    if StampedRecord(fields, stamps).removed != values["deleted"]:
        raise BadFile("is not what the stamps say", file=table.file, line=number, field="deleted")


def _remember(table: Table, values: Mapping[str, object], *, known: Known) -> None:
    match table.name:
        case "members":
            known.members.add(str(values["user"]))
        case "descriptors":
            known.words[str(values["id"])] = str(values["key"])
        case "triangle_tests":
            known.tests.add(str(values["id"]))
        case "photo_contents":
            known.pictures.add(str(values["id"]))
        case _:
            return


def row_maker(table: Table, *, team: UUID) -> tuple[list[str], Callable[[Mapping[str, object]], Row]]:
    """Return the database columns of a table, and what makes a row for them of a line's values."""
    places = [column for column in table.columns if column.stored_in is not None]
    constants = {**({"team_id": str(team)} if table.of_team else {}), **table.constants}
    tail = tuple(_text(value) for value in constants.values())

    def row(values: Mapping[str, object]) -> Row:
        return (*(_held(column, values[column.name]) for column in places), *tail)

    return [*(str(column.stored_in) for column in places), *constants], row


def _held(column: Column, value: object) -> str | None:
    if column.field.kind in (JSON, STAMPS, "texts"):
        return None if value is None else json.dumps(value, ensure_ascii=False)
    return _text(column_value(column.field, value))


def _text(value: object) -> str | None:
    """Return the value as the database reads it in a COPY."""
    match value:
        case None | str():
            return value
        case bool():
            return "t" if value else "f"
        case _:
            return str(value)
