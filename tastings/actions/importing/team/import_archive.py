"""Reads an export's zip as untrusted input.

No file of it is written under the name it gives, nothing is unpacked beyond the size it declares, and lines are read
one at a time.
"""

import hashlib
import json
import re
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from tastings.queries.exporting import FORMAT, LOGO, TABLES, TRIANGLE_TASTERS, VERSION
from tastings.schemas import LARGEST_PHOTO

MAX_LINE_BYTES = 4 * 1024 * 1024
"""Most bytes of a line; a flight with its answer may have some hundred thousand."""
MAX_MANIFEST_BYTES = 256 * 1024 * 1024
MAX_FILE_BYTES = 1 << 40
_CHUNK_BYTES = 1 << 20
_PHOTO = re.compile(r"photos/[0-9a-f]{64}-[0-9a-f]{8}(\.thumbnail)?\.jpg", re.ASCII)
_IGNORED_FILES = {"dictionary.json", "dictionary.md"}
_RECORDS = {table.file for table in TABLES}
_MAY_BE_ABSENT = {LOGO.file, TRIANGLE_TASTERS.file}
"""Files that exports of earlier versions lack."""

LogLine = Callable[[str], object]


class ArchiveError(Exception):
    """The file cannot be imported; says where in it and why."""

    def __init__(self, reason: str, *, file: str = "", line: int = 0, field: str = "") -> None:
        where = [file, f"line {line}" if line else "", field]
        super().__init__(": ".join([*filter(None, [", ".join(filter(None, where))]), reason]))


@dataclass(frozen=True, slots=True, kw_only=True)
class ManifestEntry:
    """What the manifest says of one file."""

    bytes: int
    sha256: str
    lines: int


class Archive:
    """An opened export; every file's hash was checked on opening."""

    def __init__(
        self, zip_file: zipfile.ZipFile, *, manifest: Mapping[str, object], files: Mapping[str, ManifestEntry]
    ) -> None:
        self._zip, self.manifest, self.files = zip_file, manifest, files

    def lines(self, name: str) -> Iterator[tuple[int, Mapping[str, object]]]:
        """Give number and content of every line."""
        count = 0
        if name in _MAY_BE_ABSENT - self.files.keys():
            return
        with self._zip.open(name) as file:
            while line := file.readline(MAX_LINE_BYTES + 1):
                count += 1
                yield count, _object(line, file=name, number=count)
        if count != self.files[name].lines:
            raise ArchiveError(f"has {count} lines, the manifest says {self.files[name].lines}", file=name)

    def raw_lines(self, name: str) -> Iterator[tuple[int, str]]:
        """Give number and text of every line."""
        with self._zip.open(name) as file:
            for number, line in enumerate(iter(lambda: file.readline(MAX_LINE_BYTES + 1), b""), start=1):
                yield number, line.decode(errors="replace")

    def read_photo(self, name: str, *, sha256: object) -> bytes:
        """Return a photo's file; raise ArchiveError when there is none or it has another hash."""
        entry = self.files.get(name)
        if entry is None:
            raise ArchiveError("is not in the zip", file=name)
        if entry.sha256 != sha256:
            raise ArchiveError("is not the picture that photo_contents tells of", file=name)
        return self._zip.read(name)


def _object(line: bytes, *, file: str, number: int) -> Mapping[str, object]:
    if len(line) > MAX_LINE_BYTES:
        raise ArchiveError(f"is longer than {MAX_LINE_BYTES} bytes", file=file, line=number)
    try:
        content = json.loads(line.decode(), parse_constant=_reject_constant, object_pairs_hook=_reject_duplicate_keys)
    except (ValueError, RecursionError) as error:
        raise ArchiveError(f"is no JSON in UTF-8: {error}", file=file, line=number) from error
    if not isinstance(content, dict):
        raise ArchiveError("is no JSON object", file=file, line=number)
    return content


def _reject_constant(text: str) -> object:
    raise ValueError(f"{text} is no number")


def _reject_duplicate_keys(pairs: Sequence[tuple[str, object]]) -> dict[str, object]:
    content = dict(pairs)
    if len(content) != len(pairs):
        raise ValueError("a name stands in it twice")
    return content


@contextmanager
def open_archive(path: Path, *, log: LogLine) -> Iterator[Archive]:
    """Open an export and check it as a whole: its names, sizes, version and every hash.

    Raise ArchiveError if it is no export, of another version, damaged or cut short, or holds what an export does not.
    """
    with ExitStack() as stack:
        try:
            target = stack.enter_context(zipfile.ZipFile(stack.enter_context(path.open("rb"))))
        except zipfile.BadZipFile as error:
            raise ArchiveError("is no zip, or was cut short", file=path.name) from error
        except OSError as error:
            raise ArchiveError(str(error.strerror or error), file=path.name) from error
        _check_names(target)
        manifest, files = _manifest(target)
        _check_hashes(target, files, log=log)
        yield Archive(target, manifest=manifest, files=files)


def _check_names(target: zipfile.ZipFile) -> None:
    seen: set[str] = set()
    for info in target.infolist():
        name = info.filename
        if name in seen:
            raise ArchiveError("stands in the zip twice", file=name[:200])
        seen.add(name)
        if not _is_known(name):
            raise ArchiveError("is nothing that an export holds", file=name[:200])
        if info.flag_bits & 0x1 or info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise ArchiveError("is encrypted, or packed in a way that an export is not", file=name)
        max_bytes = (
            MAX_MANIFEST_BYTES
            if name == "manifest.json"
            else 2 * LARGEST_PHOTO
            if _PHOTO.fullmatch(name)
            else MAX_FILE_BYTES
        )
        if info.file_size > max_bytes:
            raise ArchiveError(f"is larger than {max_bytes} bytes", file=name)
    if missing := sorted(_RECORDS - _MAY_BE_ABSENT - seen):
        raise ArchiveError("is missing", file=missing[0])


def _is_known(name: str) -> bool:
    is_sheet = re.fullmatch(r"sheets/[a-z]{1,40}\.csv", name, re.ASCII)  # not read
    return bool(
        name in _RECORDS or name in _IGNORED_FILES or name == "manifest.json" or is_sheet or _PHOTO.fullmatch(name)
    )


def _manifest(target: zipfile.ZipFile) -> tuple[Mapping[str, object], Mapping[str, ManifestEntry]]:
    name = "manifest.json"
    try:
        with target.open(name) as file:
            raw_manifest = file.read(MAX_MANIFEST_BYTES + 1)
    except KeyError as error:
        raise ArchiveError("is missing: the export was cut short, or this is none", file=name) from error
    try:
        content = json.loads(raw_manifest)
        files = {str(entry["name"]): _parse_entry(entry) for entry in content["files"]}
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise ArchiveError("does not have the form of one", file=name) from error
    if (content.get("format"), content.get("version")) != (FORMAT, VERSION):
        raise ArchiveError(
            f"is of format {content.get('format')!r} {content.get('version')!r}, not {FORMAT} {VERSION}", file=name
        )
    if (unexpected := sorted(files.keys() ^ (set(target.namelist()) - {name}))) != []:
        raise ArchiveError("stands in the manifest or in the zip, but not in both", file=unexpected[0][:200])
    return content, files


def _parse_entry(raw: Mapping[str, object]) -> ManifestEntry:
    size, sha256, lines = raw["bytes"], raw["sha256"], raw["lines"]
    if not isinstance(size, int) or not isinstance(lines, int) or not isinstance(sha256, str):
        raise TypeError
    return ManifestEntry(bytes=size, sha256=sha256, lines=lines)


def _check_hashes(target: zipfile.ZipFile, files: Mapping[str, ManifestEntry], *, log: LogLine) -> None:
    for name, entry in files.items():
        digest, size = hashlib.sha256(), 0
        try:
            with target.open(name) as file:
                # never more than was declared, however far it would unpack
                while size <= entry.bytes and (piece := file.read(_CHUNK_BYTES)):
                    digest.update(piece)
                    size += len(piece)
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError) as error:
            raise ArchiveError(f"is damaged: {error}", file=name) from error
        if (size, digest.hexdigest()) != (entry.bytes, entry.sha256):
            raise ArchiveError("is damaged: its size or SHA-256 is not the manifest's", file=name)
    log(f"manifest: {len(files)} files, each as it was written")
