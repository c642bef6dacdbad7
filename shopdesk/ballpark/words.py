"""A range as one says it."""

from __future__ import annotations

import re
from decimal import Decimal

from babel.numbers import format_currency

from shopdesk.craft.money import minor_units
from shopdesk.look.formats import known_locale

_LETTER_AT_FIGURE = re.compile(r"(?<=[^\W\d_])(?=\d)")
"""Letters keep off the figure, as in `look.formats.money`."""


def said_span(low: Decimal, high: Decimal, currency: str, locale: str) -> str:
    """`about $450–600`, `about 450–600 €`: the sign once, cents only where there are any."""
    if low == high:
        return f"about {_said(low, currency, locale)}"
    whole = low == low.to_integral_value() and high == high.to_integral_value()
    pattern = _pattern(currency, locale, whole=whole)
    bare = pattern.replace("¤", "").strip("\u00a0 ")
    sign_first = pattern.startswith("¤")
    first = _written(low, currency, locale, pattern if sign_first else bare)
    last = _written(high, currency, locale, bare if sign_first else pattern)
    return f"about {first}–{last}"


def _said(amount: Decimal, currency: str, locale: str) -> str:
    whole = amount == amount.to_integral_value()
    return _written(amount, currency, locale, _pattern(currency, locale, whole=whole))


def _pattern(currency: str, locale: str, *, whole: bool) -> str:
    """The locale's own, with the currency's decimals or none."""
    pattern = known_locale(locale).currency_formats["standard"].pattern.split(";")[0]
    pattern = re.sub(r"\.[0#]+", "", pattern)
    decimals = 0 if whole else minor_units(currency)
    return re.sub(r"0(?!.*0)", f"0.{'0' * decimals}", pattern) if decimals else pattern


def _written(amount: Decimal, currency: str, locale: str, pattern: str) -> str:
    written = format_currency(
        amount, currency, format=pattern, locale=known_locale(locale), currency_digits=False
    )
    return _LETTER_AT_FIGURE.sub("\u00a0", str(written))
