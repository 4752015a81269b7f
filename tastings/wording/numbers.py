"""Numbers, counts, dates and lists as people read them, in the language that is active."""

import unicodedata
from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal

from django.utils import timezone
from django.utils.formats import date_format, get_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from teams.time_zones import is_repeated

# Classes of characters (Unicode's bidirectional algorithm) that leave a sentence running from left to right.
_LEFT_TO_RIGHT = frozenset({"L", "EN", "ES", "ET", "CS", "NSM", "BN", "B", "S", "WS", "ON", ""})
_DIRECTION_MARKS = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
LONGEST_ORDINAL_IN_WORDS = 12


def number(value: object) -> str:
    """Write a number without needless zeros; what is no number is returned as text.

    >>> number(5.0), number(2.5), number("spring")
    ('5', '2.5', 'spring')
    """
    return _localised(f"{value:g}") if isinstance(value, int | float | Decimal) else str(value)


def one_decimal(value: float) -> str:
    """Write points on the 0 to 10 scale with one decimal and a true minus sign."""
    return _fixed(value, places=1)


def two_decimals(value: float) -> str:
    """Write a coefficient with two decimals and a true minus sign."""
    return _fixed(value, places=2)


def in_fives(value: float) -> str:
    """Write an estimate that is not known to the last digit: whole below ten, in fives from there on.

    >>> in_fives(7.4), in_fives(66.6), in_fives(137.2)
    ('7', '65', '135')
    """
    return f"{round(value) if value < 10 else 5 * round(value / 5)}"


def money(amount: float, currency: str | None) -> str:
    """Write an amount with the code of its currency; two significant digits below a hundredth.

    >>> money(1180.5, "EUR"), money(0.656, "EUR"), money(0.0042, None)
    ('1,180.50 EUR', '0.66 EUR', '0.0042')
    """
    places = 2 if amount >= 0.01 or not amount else 4
    rounded = round(amount, places)  # number_format cuts off
    return f"{number_format(rounded, decimal_pos=places, force_grouping=True)} {currency or ''}".strip()


def price_per_kg(amount: float, currency: str | None) -> str:
    """Write what a kilogram costs; a price without a currency is said to lack it.

    >>> price_per_kg(129.5, "EUR"), price_per_kg(129.5, None)
    ('129.50 EUR per kg', '129.50 per kg (currency not noted)')
    """
    values = {"price": money(amount, currency)}
    return (_("%(price)s per kg") if currency else _("%(price)s per kg (currency not noted)")) % values


def signed(value: float, *, places: int = 1) -> str:
    """Write a difference with its sign, a true minus or a plus.

    >>> signed(0.31), signed(-0.04), signed(-0.07, places=2)
    ('+0.3', '0.0', '\u22120.07')
    """
    written = f"{value:+.{places}f}"
    return _localised(written[1:] if not float(written) else written.replace("-", "\u2212"))


def percent(probability: float) -> str:
    """Write a probability for people; never 0 or 100 %, which no amount of tasting can give."""
    if probability > 0.99:
        return _("more than 99\u00a0%%") % {}
    if probability < 0.01:
        return _("less than 1\u00a0%%") % {}
    return f"{round(probability * 100)}\u00a0%"


def percent_or_beyond(probability: float) -> str:
    """Write a probability inside a sentence of an answer; as :func:`percent`, with an ordinary space."""
    return percent(probability).replace("\u00a0", " ")


def day(value: object) -> str:
    """Write a moment, in the active time zone, or a date as a day; text that is neither is returned as it is."""
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            return str(value)
    if isinstance(value, datetime):
        value = local_time(value)
    return date_format(value, "DATE_FORMAT") if isinstance(value, date) else ""


def clock(value: datetime) -> str:
    """Write the time of a moment in the active time zone; of an hour that came twice with the zone's short name."""
    local = local_time(value)
    return f"{local:%H:%M %Z}" if is_repeated(local) else f"{local:%H:%M}"


def day_and_time(value: datetime | str) -> str:
    """Write a moment as day and time in the active time zone."""
    at = datetime.fromisoformat(value) if isinstance(value, str) else value
    return f"{day(at)}, {clock(at)}"


def local_time(value: datetime) -> datetime:
    """Return a moment in the active time zone; as it is where a calendar ends, and what has no zone."""
    if timezone.is_naive(value):
        return value
    try:
        return timezone.localtime(value)
    except OverflowError:
        return value


def duration(seconds: float) -> str:
    """Write a steep as a clock is read at the table.

    >>> duration(22.0), duration(60.0), duration(95.0)
    ('22 s', '1 min', '1 min 35 s')
    """
    minutes, rest = divmod(round(seconds), 60)
    return " ".join(
        part for part in (f"{minutes} min" if minutes else "", f"{rest} s" if rest or not minutes else "") if part
    )


def listed(parts: Iterable[str]) -> str:
    """Join words as one would say them.

    >>> listed(["honey", "malt", "pine"])
    'honey, malt and pine'
    """
    *most, last = list(parts) or [""]
    return _("%(first)s and %(last)s") % {"first": ", ".join(most), "last": last} if most else last


def number_range(low: str, high: str) -> str:
    """Write a range of two numbers that are already written: 3 to 5."""
    return _("%(low)s to %(high)s") % {"low": low, "high": high}


def numbers_listed(numbers: Iterable[int]) -> str:
    """Write whole numbers with runs drawn together.

    >>> numbers_listed([5, 1, 2, 3])
    '1 to 3 and 5'
    """
    runs: list[list[int]] = []
    for n in sorted(set(numbers)):
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    return listed(
        part
        for run in runs
        for part in ([number_range(str(run[0]), str(run[-1]))] if len(run) > 2 else [str(n) for n in run])
    )


def ordinal(n: int) -> str:
    """Write the place of a cup in its session: first to twelfth in words, then with the language's mark.

    >>> ordinal(3), ordinal(13), ordinal(22)
    ('third', '13th', '22nd')
    """
    words = (
        pgettext("ordinal", "first"),
        pgettext("ordinal", "second"),
        pgettext("ordinal", "third"),
        pgettext("ordinal", "fourth"),
        pgettext("ordinal", "fifth"),
        pgettext("ordinal", "sixth"),
        pgettext("ordinal", "seventh"),
        pgettext("ordinal", "eighth"),
        pgettext("ordinal", "ninth"),
        pgettext("ordinal", "tenth"),
        pgettext("ordinal", "eleventh"),
        pgettext("ordinal", "twelfth"),
    )
    if 1 <= n <= LONGEST_ORDINAL_IN_WORDS:
        return words[n - 1]
    if 10 < n % 100 < 20:
        return pgettext("ordinal", "%(n)sth") % {"n": n}
    match n % 10:
        case 1:
            return pgettext("ordinal", "%(n)sst") % {"n": n}
        case 2:
            return pgettext("ordinal", "%(n)snd") % {"n": n}
        case 3:
            return pgettext("ordinal", "%(n)srd") % {"n": n}
        case _:
            return pgettext("ordinal", "%(n)sth") % {"n": n}


def capitalised(text: str) -> str:
    """Return a sentence with a capital first letter."""
    return text[:1].upper() + text[1:]


def isolated(text: str) -> str:
    """Keep right-to-left writing in a name from reversing the rest of the sentence.

    Marks that open or close a stretch of one direction are taken out: one too many would end the isolation early.
    """
    without_marks = "".join(c for c in text if c not in _DIRECTION_MARKS)
    reverses = any(unicodedata.bidirectional(c) not in _LEFT_TO_RIGHT for c in without_marks)
    return f"\u2068{without_marks}\u2069" if reverses else without_marks


def _fixed(value: float, *, places: int) -> str:
    written = f"{value:.{places}f}"
    return _localised(written[1:] if not float(written) and written.startswith("-") else written.replace("-", "\u2212"))


def _localised(written: str) -> str:
    """Put the language's decimal mark into a number that is written with a point."""
    return written.replace(".", str(get_format("DECIMAL_SEPARATOR")))
