"""Reads JSON bodies: limited in size, strict, gzip accepted."""

from __future__ import annotations

import json
import math
import zlib
from collections.abc import Mapping
from contextlib import suppress
from typing import IO, NoReturn

import msgspec
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import BaseParser, DataAndFiles
from rest_framework.request import Request

MAX_BODY_BYTES = 2 * 1024 * 1024
"""Most bytes of a body after unpacking."""
MOST_DIGITS = 40
"""Of a whole number, its sign included."""
_DIGITS_AS_ZEROS = bytes.maketrans(b"123456789", b"000000000")


class TooLarge(APIException):
    """The body is larger than one request may be."""

    status_code = 413
    default_detail = gettext_lazy("at most 2 MiB and 1,000 changes in one request; nothing was applied")
    default_code = "too_large"


class StrictJSONParser(BaseParser):
    """Reads what RFC 8259 allows and nothing more: no NaN, no infinities, no number beyond a double."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,  # noqa: ARG002 - the framework asks for it
        parser_context: Mapping[str, object] | None = None,
    ) -> DataAndFiles[object, MultiValueDict[str, object]]:
        """Return the parsed body.

        Raise TooLarge beyond 2 MiB (no more than that is unpacked), ParseError for what is not JSON in UTF-8.
        """
        request = parsed_request(parser_context)
        if int(request.META.get("CONTENT_LENGTH") or 0) > MAX_BODY_BYTES:
            raise TooLarge
        body = stream.read(MAX_BODY_BYTES + 1)
        match request.META.get("HTTP_CONTENT_ENCODING", "identity").strip().lower():
            case "gzip":
                body = _decompress(body)
            case "identity" | "":
                pass
            case _:
                raise ParseError(_("only gzip is spoken as Content-Encoding"))
        if len(body) > MAX_BODY_BYTES:
            raise TooLarge
        return DataAndFiles(decode_json(body), MultiValueDict())


def parsed_request(parser_context: Mapping[str, object] | None) -> Request:
    """Return the request whose body a parser reads."""
    request = (parser_context or {})["request"]
    if not isinstance(request, Request):
        raise TypeError(f"no request of the framework: {request!r}")
    return request


def decode_json(body: bytes) -> object:
    """Return what a body says: by msgspec, in a sixth of the time of the library that can also say what is wrong."""
    if b"0" * MOST_DIGITS not in body.translate(_DIGITS_AS_ZEROS):
        with suppress(msgspec.DecodeError, UnicodeDecodeError, RecursionError):
            return msgspec.json.decode(body)
    try:
        return json.loads(
            body.decode("utf-8"),
            object_pairs_hook=_replace_surrogates,
            parse_constant=_reject_constant,
            parse_float=_parse_float,
            parse_int=_parse_int,
        )
    except UnicodeDecodeError as error:
        raise ParseError(_("the body is not UTF-8")) from error
    except RecursionError as error:
        raise ParseError(_("the body is nested too deeply")) from error
    except ValueError as error:
        raise ParseError(_("the body is not JSON: %(error)s") % {"error": error}) from error


def _decompress(body: bytes) -> bytes:
    unpacker = zlib.decompressobj(wbits=31)
    try:
        plain = unpacker.decompress(body, MAX_BODY_BYTES + 1)
    except zlib.error as error:
        raise ParseError(_("the body is not gzip")) from error
    if len(plain) <= MAX_BODY_BYTES and not unpacker.eof:
        raise ParseError(_("the gzip body ends too early"))
    if unpacker.unused_data:
        raise ParseError(_("more follows the end of the gzip body"))
    return plain


def _replace_surrogates(pairs: list[tuple[str, object]]) -> dict[str, object]:
    """Return the object; a lone surrogate in a name becomes ``?``, since the answer repeats the name."""
    parsed = dict(pairs)
    if "".join(parsed).isascii():
        return parsed
    return {name.encode(errors="replace").decode(): value for name, value in pairs}


def _reject_constant(name: str) -> NoReturn:
    raise ValueError(_("%(name)s is not a number") % {"name": name})


def _parse_float(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(_("%(number)s is beyond what a number can hold") % {"number": text[:40]})
    return number


def _parse_int(text: str) -> int:
    if len(text) > MOST_DIGITS:
        raise ValueError(_("a number has too many digits"))
    return int(text)
