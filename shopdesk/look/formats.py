"""How money and times are written for people, in the shop's locale: for pages, emails and documents.

Pure functions: a locale is a Babel identifier such as `en_US`, a zone a `tzinfo`, and "today" is handed in.
The patterns are CLDR's, as Babel carries them.
"""

from __future__ import annotations

import re
from datetime import date, datetime, tzinfo
from decimal import Decimal
from functools import lru_cache

from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_skeleton, format_time
from babel.numbers import format_currency, format_decimal

MINUS = "\u2212"
THIN = "\u202f"

# CLDR's currency spacing, which Babel leaves out: letters keep off the figure, `KWD 1.234`.
_LETTER_AT_FIGURE = re.compile(r"(?<=[^\W\d_])(?=\d)")
_FEW = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)


@lru_cache(maxsize=32)
def known_locale(name: str | None) -> Locale:
    """The locale of that name, or plain English where Babel does not know it: no page fails over it."""
    try:
        return Locale.parse((name or "en").replace("-", "_"))
    except (ValueError, UnknownLocaleError):
        return Locale.parse("en")


def money(value: Decimal | int, currency: str, locale: str | None = "en_US") -> str:
    """`$343.70`: with the currency's sign and number of decimals (ISO 4217); minus is a true minus."""
    return _money(str(value), currency, locale)


@lru_cache(maxsize=4096)
def _money(value: str, currency: str, locale: str | None) -> str:
    """Kept, because of the hundred figures beside a quote all but a few are as they were a keystroke ago. By
    the value as text: zero and minus zero are written differently."""
    written = str(format_currency(Decimal(value), currency, locale=known_locale(locale))).replace("-", MINUS)
    return _LETTER_AT_FIGURE.sub("\u00a0", written)


def amount(value: Decimal | int, currency: str, locale: str | None = "en_US") -> str:
    """`343.70`: the figure alone, for columns that say the currency at their head."""
    return str(format_currency(value, currency, format="#,##0.00", locale=known_locale(locale))).replace(
        "-", MINUS
    )


def number(value: Decimal | int, locale: str | None = "en_US") -> str:
    """`1,234.5`: a plain number, without zeros that say nothing."""
    plain = value.normalize() if isinstance(value, Decimal) else value
    return str(format_decimal(plain, locale=known_locale(locale))).replace("-", MINUS)


def day(value: date, locale: str | None = "en_US", today: date | None = None) -> str:
    """`9 December`, as the locale writes it; with the year unless it is that of `today`."""
    where = known_locale(locale)
    if today is not None and value.year == today.year:
        return str(format_skeleton("MMMMd", value, locale=where))
    return str(format_date(value, "long", locale=where))


def short_day(value: date, locale: str | None = "en_US", today: date | None = None) -> str:
    """`9 Dec`, for ledgers; with the year when that is not today's."""
    same_year = today is not None and value.year == today.year
    return str(format_skeleton("MMMd" if same_year else "yMMMd", value, locale=known_locale(locale)))


def weekday(value: date, locale: str | None = "en_US", today: date | None = None) -> str:
    """`Wednesday 9 December`, as the locale writes it; with the year when that is not today's."""
    where = known_locale(locale)
    if today is not None and value.year != today.year:
        return str(format_date(value, "full", locale=where))
    if "MMMMEEEEd" in where.datetime_skeletons:
        return str(format_skeleton("MMMMEEEEd", value, locale=where))
    return f"{format_date(value, 'EEEE', locale=where)}, {format_skeleton('MMMMd', value, locale=where)}"


def clock(value: datetime, zone: tzinfo, locale: str | None = "en_US") -> str:
    """`14:30` or `2:30 PM`, as the locale tells the time, in the zone."""
    local = value.astimezone(zone)
    return str(format_time(local.time(), "short", locale=known_locale(locale))).replace(THIN, "\u00a0")


def moment(value: datetime, zone: tzinfo, locale: str | None = "en_US", today: date | None = None) -> str:
    """`Wed 9 Dec, 14:30` in the zone; with the year when that is not today's. `value` is an aware time."""
    local = value.astimezone(zone)
    same_year = today is None or local.year == today.year
    on = format_skeleton("MMMEd" if same_year else "yMMMEd", local.date(), locale=known_locale(locale))
    return f"{on}, {clock(value, zone, locale)}"


def since(value: date, today: date) -> str:
    """How long ago a day was, in words that fit after a verb.

    `today` · `yesterday` · `on Monday` within the week · `twelve days ago` · `three weeks ago`.
    """
    days = (today - value).days
    if days < 0:
        return "still to come"
    if days == 0:
        return "today"
    if days == 1:
        return "yesterday"
    if days < 7:
        return f"on {format_date(value, 'EEEE', locale='en')}"
    if days < 21:
        return f"{_count(days)} days ago"
    if days < 60:
        return f"{_count(days // 7)} weeks ago"
    if days < 730:
        return f"{_count(days // 30)} months ago"
    return f"{_count(days // 365)} years ago"


def waiting_since(value: date, today: date) -> str:
    """How long something has been waiting: `since today`, `since Monday`, `for twelve days`."""
    days = (today - value).days
    if days <= 0:
        return "since today"
    if days == 1:
        return "since yesterday"
    if days < 7:
        return f"since {format_date(value, 'EEEE', locale='en')}"
    if days < 21:
        return f"for {_count(days)} days"
    if days < 60:
        return f"for {_count(days // 7)} weeks"
    if days < 730:
        return f"for {_count(days // 30)} months"
    return f"for {_count(days // 365)} years"


def _count(number: int) -> str:
    return _FEW[number] if number < len(_FEW) else str(number)


def listed(parts: list[str]) -> str:
    """`a sideboard`, `a sideboard and two chairs`, `a sideboard, a table and two chairs`."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} and {parts[-1]}"
