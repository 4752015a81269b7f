"""An export's zip as a stranger may have made it: nothing in it is believed before it is checked.

No file of it is ever written under the name it gives, nothing is unpacked beyond the size it declares, and lines are
read one at a time.
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

from tastings.queries.exporting import FORMAT, TABLES, VERSION
from tastings.schemas import LARGEST_PHOTO

LONGEST_LINE = 4 * 1024 * 1024
"""Bytes; a flight with its answer may take some hundred thousand."""
LARGEST_MANIFEST = 256 * 1024 * 1024
LARGEST_FILE = 1 << 40
_PIECE = 1 << 20
_PHOTO = re.compile(r"photos/[0-9a-f]{64}-[0-9a-f]{8}(\.thumbnail)?\.jpg", re.ASCII)
_UNREAD = {"dictionary.json", "dictionary.md"}
_RECORDS = {table.file for table in TABLES}

Say = Callable[[str], object]


class BadFile(Exception):  # noqa: N818 - reads as what happened
    """The file cannot be imported; says where in it and why."""

    def __init__(self, reason: str, *, file: str = "", line: int = 0, field: str = "") -> None:
        where = [file, f"line {line}" if line else "", field]
        super().__init__(": ".join([*filter(None, [", ".join(filter(None, where))]), reason]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the manifest says of one file."""

    bytes: int
    sha256: str
    lines: int


class Archive:
    """An opened export; every file's hash was checked on opening."""

    def __init__(self, zip_file: zipfile.ZipFile, *, manifest: Mapping[str, object], files: Mapping[str, Told]) -> None:
        self._zip, self.manifest, self.files = zip_file, manifest, files

    def lines(self, name: str) -> Iterator[tuple[int, Mapping[str, object]]]:
        """Give number and content of every line."""
        count = 0
        with self._zip.open(name) as file:
            while line := file.readline(LONGEST_LINE + 1):
                count += 1
                yield count, _object(line, file=name, number=count)
        if count != self.files[name].lines:
            raise BadFile(f"has {count} lines, the manifest says {self.files[name].lines}", file=name)

    def raw_lines(self, name: str) -> Iterator[tuple[int, str]]:
        """Give number and text of every line."""
        with self._zip.open(name) as file:
            for number, line in enumerate(iter(lambda: file.readline(LONGEST_LINE + 1), b""), start=1):
                yield number, line.decode(errors="replace")

    def picture(self, name: str, *, sha256: object) -> bytes:
        """Return a photo's file; raise BadFile when there is none or it has another hash."""
        told = self.files.get(name)
        if told is None:
            raise BadFile("is not in the zip", file=name)
        if told.sha256 != sha256:
            raise BadFile("is not the picture that photo_contents tells of", file=name)
        return self._zip.read(name)


def _object(line: bytes, *, file: str, number: int) -> Mapping[str, object]:
    if len(line) > LONGEST_LINE:
        raise BadFile(f"is longer than {LONGEST_LINE} bytes", file=file, line=number)
    try:
        found = json.loads(line.decode(), parse_constant=_no_constant, object_pairs_hook=_once)
    except (ValueError, RecursionError) as error:
        raise BadFile(f"is no JSON in UTF-8: {error}", file=file, line=number) from error
    if not isinstance(found, dict):
        raise BadFile("is no JSON object", file=file, line=number)
    return found


def _no_constant(text: str) -> object:
    raise ValueError(f"{text} is no number")


def _once(pairs: Sequence[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name stands in it twice")
    return found


@contextmanager
def opened(path: Path, *, say: Say) -> Iterator[Archive]:
    """Open an export and check it as a whole: its names, sizes, version and every hash.

    Raises
    ------
    BadFile
        It is no export, of another version, damaged or cut short, or holds what an export does not.
    """
    with ExitStack() as stack:
        try:
            target = stack.enter_context(zipfile.ZipFile(stack.enter_context(path.open("rb"))))
        except zipfile.BadZipFile as error:
            raise BadFile("is no zip, or was cut short", file=path.name) from error
        except OSError as error:
            raise BadFile(str(error.strerror or error), file=path.name) from error
        _check_names(target)
        manifest, files = _manifest(target)
        _check_hashes(target, files, say=say)
        yield Archive(target, manifest=manifest, files=files)


def _check_names(target: zipfile.ZipFile) -> None:
    seen: set[str] = set()
    for info in target.infolist():
        name = info.filename
        if name in seen:
            raise BadFile("stands in the zip twice", file=name[:200])
        seen.add(name)
        if not _is_known(name):
            raise BadFile("is nothing that an export holds", file=name[:200])
        if info.flag_bits & 0x1 or info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise BadFile("is encrypted, or packed in a way that an export is not", file=name)
        most = (
            LARGEST_MANIFEST
            if name == "manifest.json"
            else 2 * LARGEST_PHOTO
            if _PHOTO.fullmatch(name)
            else LARGEST_FILE
        )
        if info.file_size > most:
            raise BadFile(f"is larger than {most} bytes", file=name)
    if missing := sorted(_RECORDS - seen):
        raise BadFile("is missing", file=missing[0])


def _is_known(name: str) -> bool:
    is_sheet = re.fullmatch(r"sheets/[a-z]{1,40}\.csv", name, re.ASCII)  # not read
    return bool(name in _RECORDS or name in _UNREAD or name == "manifest.json" or is_sheet or _PHOTO.fullmatch(name))


def _manifest(target: zipfile.ZipFile) -> tuple[Mapping[str, object], Mapping[str, Told]]:
    name = "manifest.json"
    try:
        with target.open(name) as file:
            read = file.read(LARGEST_MANIFEST + 1)
    except KeyError as error:
        raise BadFile("is missing: the export was cut short, or this is none", file=name) from error
    try:
        found = json.loads(read)
        files = {str(told["name"]): _told(told) for told in found["files"]}
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise BadFile("does not have the form of one", file=name) from error
    if (found.get("format"), found.get("version")) != (FORMAT, VERSION):
        raise BadFile(
            f"is of format {found.get('format')!r} {found.get('version')!r}, not {FORMAT} {VERSION}", file=name
        )
    if (stray := sorted(files.keys() ^ (set(target.namelist()) - {name}))) != []:
        raise BadFile("stands in the manifest or in the zip, but not in both", file=stray[0][:200])
    return found, files


def _told(said: Mapping[str, object]) -> Told:
    size, sha256, lines = said["bytes"], said["sha256"], said["lines"]
    if not isinstance(size, int) or not isinstance(lines, int) or not isinstance(sha256, str):
        raise TypeError
    return Told(bytes=size, sha256=sha256, lines=lines)


def _check_hashes(target: zipfile.ZipFile, files: Mapping[str, Told], *, say: Say) -> None:
    for name, told in files.items():
        digest, size = hashlib.sha256(), 0
        try:
            with target.open(name) as file:
                # never more than was declared, however far it would unpack
                while size <= told.bytes and (piece := file.read(_PIECE)):
                    digest.update(piece)
                    size += len(piece)
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError) as error:
            raise BadFile(f"is damaged: {error}", file=name) from error
        if (size, digest.hexdigest()) != (told.bytes, told.sha256):
            raise BadFile("is damaged: its size or SHA-256 is not the manifest's", file=name)
    say(f"manifest: {len(files)} files, each as it was written")
