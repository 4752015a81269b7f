"""Validates the lines of an export field by field and turns them into rows of the database."""

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from uuid import UUID

from lots.merge import DELETED, StampedRecord, pack, unpack
from lots.models import Synced
from lots.models.wire import column_value
from lots.schema import InvalidValue, clean_id, clean_stamp, clean_value, record_faults
from lots.wording import fault_text
from tastings.actions.importing.team.import_archive import Archive, ArchiveError
from tastings.models import Descriptor
from tastings.queries.exporting import JSON, STAMPS, Column, ExportTable
from teams.time_zones import UTC_NAME

ArchiveRow = tuple[object, ...]
_ADDED_COLUMNS: Mapping[str, Mapping[str, object]] = {"settings": {"time_zone": UTC_NAME}}
"""Columns, by table, that exports of earlier versions lack, with the value that they had in effect."""


@dataclass(slots=True)
class ReferencedIds:
    """Ids read so far that later lines may name, where no foreign key of the database separates teams."""

    members: set[str] = field(default_factory=set)
    descriptors: dict[str, str] = field(default_factory=dict)
    """Key by id of every descriptor, built-in ones included."""
    unresolved: list[tuple[str, ArchiveError]] = field(default_factory=list)
    """Descriptors that may follow on a later line, each with the error if it does not."""
    tests: set[str] = field(default_factory=set)
    pictures: set[str] = field(default_factory=set)

    @classmethod
    def from_built_in(cls) -> "ReferencedIds":
        """Return the ids that are there before the first line: the built-in descriptors."""
        built_in = Descriptor.objects.filter(team=None).values_list("id", "key")
        return cls(descriptors={str(descriptor): key for descriptor, key in built_in})

    def raise_unresolved(self) -> None:
        """Raise the error of the first descriptor that was named and is not in the file."""
        for descriptor, error in self.unresolved:
            if descriptor not in self.descriptors:
                raise error


def validated_lines(
    archive: Archive, table: ExportTable, *, referenced: ReferencedIds
) -> Iterator[tuple[int, dict[str, object]]]:
    """Yield every line of a table's file with clean values; raise ArchiveError for the first that is not valid."""
    names = {column.name for column in table.columns}
    for number, written in archive.lines(table.file):
        line = {**_ADDED_COLUMNS.get(table.name, {}), **written}
        if unexpected := sorted(names ^ line.keys()):
            reason = "is missing" if unexpected[0] in names else "is not part of it"
            raise ArchiveError(reason, file=table.file, line=number, field=unexpected[0][:80])
        values: dict[str, object] = {}
        for column in table.columns:
            try:
                values[column.name] = _clean(column, line[column.name])
                _check_reference(column, values, referenced=referenced, position=(table.file, number))
            except InvalidValue as error:
                raise ArchiveError(fault_text(error.fault), file=table.file, line=number, field=column.name) from error
        if issubclass(table.model, Synced):
            _check_record(table, values, number=number)
        _register(table, values, referenced=referenced)
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
        stamps = unpack(value)  # type: ignore[arg-type]  # any JSON: unpack raises if it does not fit
        for stamp in stamps.values():
            moments = [stamp.at, *([stamp.reported] if stamp.reported else [])]
            if [clean_stamp(at) for at in moments] != moments or clean_id(stamp.device) != stamp.device:
                raise InvalidValue("type", "has a moment or a device that is none")
            clean_id(stamp.by)
    except (TypeError, ValueError) as error:
        raise InvalidValue("type", "is no list of edits") from error
    packed = pack(stamps)
    if packed != value:
        raise InvalidValue("type", "does not have the form in which edits are kept")
    return packed


_UNKNOWN_DESCRIPTOR = "is neither built in here nor in descriptors.jsonl"


def _check_reference(
    column: Column, values: Mapping[str, object], *, referenced: ReferencedIds, position: tuple[str, int]
) -> None:
    value = values[column.name]
    if value is None:
        return
    match column.field.to:
        case "member" if value not in referenced.members:
            raise InvalidValue("unknown_parent", "is nobody of members.jsonl")
        case "triangle_test" if value not in referenced.tests:
            raise InvalidValue("unknown_parent", "is no test of triangle_tests.jsonl")
        case "photo_content" if value not in referenced.pictures:
            raise InvalidValue("unknown_parent", "is no picture of photo_contents.jsonl")
        case "descriptor" if column.name != "descriptor_id":
            error = ArchiveError(_UNKNOWN_DESCRIPTOR, file=position[0], line=position[1], field=column.name)
            referenced.unresolved.append((str(value), error))
        case "descriptor" if value not in referenced.descriptors:
            raise InvalidValue("unknown_parent", _UNKNOWN_DESCRIPTOR)
        case "descriptor" if referenced.descriptors[str(value)] != values["descriptor"]:
            raise InvalidValue("unknown_parent", "is the descriptor %(key)s", key=referenced.descriptors[str(value)])
        case _:
            return


def _check_record(table: ExportTable, values: Mapping[str, object], *, number: int) -> None:
    if values.get("descriptor") is not None and values.get("descriptor_id") is None:
        raise ArchiveError("must not be null", file=table.file, line=number, field="descriptor_id")
    schema = table.model.schema  # type: ignore[attr-defined]  # of records that travel
    fields = {field.name: values[field.name] for field in schema.fields}
    for name, error in record_faults(schema, fields):
        raise ArchiveError(fault_text(error), file=table.file, line=number, field=name)
    stamps = unpack(values["stamps"])  # type: ignore[arg-type]  # cleaned
    if unexpected := sorted(stamps.keys() - fields.keys() - {DELETED}):
        raise ArchiveError(f"{unexpected[0][:80]} is no field", file=table.file, line=number, field="stamps")
    if StampedRecord(fields, stamps).removed != values["deleted"]:
        raise ArchiveError("is not what the stamps say", file=table.file, line=number, field="deleted")


def _register(table: ExportTable, values: Mapping[str, object], *, referenced: ReferencedIds) -> None:
    match table.name:
        case "members":
            referenced.members.add(str(values["user"]))
        case "descriptors":
            referenced.descriptors[str(values["id"])] = str(values["key"])
        case "triangle_tests":
            referenced.tests.add(str(values["id"]))
        case "photo_contents":
            referenced.pictures.add(str(values["id"]))
        case _:
            return


def row_builder(table: ExportTable, *, team: UUID) -> tuple[list[str], Callable[[Mapping[str, object]], ArchiveRow]]:
    """Return the database columns of a table, and a function that makes a row of a line's values."""
    stored_columns = [column for column in table.columns if column.stored_in is not None]
    constants = {**({"team_id": str(team)} if table.of_team else {}), **table.constants}
    tail = tuple(_copy_text(value) for value in constants.values())

    def row(values: Mapping[str, object]) -> ArchiveRow:
        return (*(_db_value(column, values[column.name]) for column in stored_columns), *tail)

    return [*(str(column.stored_in) for column in stored_columns), *constants], row


def _db_value(column: Column, value: object) -> str | None:
    if column.field.kind in (JSON, STAMPS, "texts"):
        return None if value is None else json.dumps(value, ensure_ascii=False)
    return _copy_text(column_value(column.field, value))


def _copy_text(value: object) -> str | None:
    """Return the value as the database reads it in a COPY."""
    match value:
        case None | str():
            return value
        case bool():
            return "t" if value else "f"
        case _:
            return str(value)
