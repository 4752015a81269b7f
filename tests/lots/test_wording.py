"""Sentences of faults: the numbers in them are those of the limits."""

import pytest
from django.utils.translation import override

from lots.schema import Fault
from lots.wording import fault_text


@pytest.mark.parametrize(
    ("limit", "language", "written"),
    [
        (20_971_520, "en", "20971520"),
        (9_999_999.0, "en", "9999999"),
        (2**53, "en", "9007199254740992"),
        (0.1, "en", "0.1"),
        (0.1, "de", "0,1"),
        (-430, "de", "-430"),
    ],
)
def test_a_limit_is_written_out(limit, language, written):
    with override(language):
        assert fault_text(Fault("range", "%(high)s", {"high": limit})) == written
