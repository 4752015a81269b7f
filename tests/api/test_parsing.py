"""Bodies of JSON mean what Python's own reader says, whichever library reads them."""

import json

import pytest
from rest_framework.exceptions import ParseError

from api.http.parsing import decode_json


@pytest.mark.parametrize(
    "text",
    [
        " null\n", "true", "[]", "{}", '""', "0", "-0", "-0.0", "1e5", "1E-400", "5e-324", "0.1", "9007199254740993.0",
        "9223372036854775808", "-123456789012345678901234567890", "1" * 40, "-" + "1" * 39, "0." + "1" * 60,
        '"\\ud83d\\ude00"', '"\\/"', '"\\u0000"', '"\\ud800"', '"\u2028\x7f"', '{"a": 1, "b": [{"a": 2}], "a": 3}',
    ],
)  # fmt: skip
def test_valid_body_is_read_as_python_reads_it(text):
    assert repr(decode_json(text.encode())) == repr(json.loads(text))


def test_lone_surrogate_in_a_name_becomes_a_question_mark():
    assert decode_json(b'{"\\ud800": 1}') == {"?": 1}


@pytest.mark.parametrize(
    "body",
    [
        b"", b"NaN", b"-Infinity", b"1e999", b"1" * 41, b"-" + b"1" * 40, b"01", b"1.", b"+1", b"[1,]", b"1 2", b"'a'",
        b'"\t"', b'"\xff"', b'"\xed\xa0\x80"', b"\xef\xbb\xbf1", b"{1: 2}", b"[" * 100_000,
    ],
)  # fmt: skip
def test_other_body_is_refused(body):
    with pytest.raises(ParseError):
        decode_json(body)
