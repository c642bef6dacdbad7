"""Where a shop can be: time zones, currencies, and ways to write money and dates, each as a list to choose
from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cache
from itertools import groupby
from zoneinfo import available_timezones

from babel import Locale
from babel.core import get_global
from babel.numbers import get_currency_name, get_territory_currencies
from django.utils.translation.trans_real import parse_accept_lang_header

from shopdesk.craft.money import CURRENCIES
from shopdesk.look.formats import day, money

LOCALES = (
    "en_US", "en_GB", "en_IE", "en_CA", "en_AU", "en_NZ", "en_ZA", "en_IN", "cs_CZ", "da_DK",
    "de_DE", "de_AT", "de_CH", "es_ES", "es_MX", "fi_FI", "fr_FR", "fr_BE", "fr_CA", "fr_CH",
    "it_IT", "ja_JP", "nb_NO", "nl_NL", "nl_BE", "pl_PL", "pt_BR", "pt_PT", "sv_SE",
)  # fmt: skip
_CONTINENTS = frozenset(
    {"Africa", "America", "Antarctica", "Asia", "Atlantic", "Australia", "Europe", "Indian", "Pacific"}
)
_LETTER_PAPER = frozenset({"US", "CA", "MX"})
"""Of the countries above, those that print on Letter (CLDR, supplemental data, `paperSize`)."""


@dataclass(frozen=True)
class Likely:
    """What the browser's language suggests, to begin with. `zone` is "" where a country has several."""

    locale: str
    currency: str
    units: str
    paper: str
    zone: str


def likely(accept_language: str) -> Likely:
    """A guess from an `Accept-Language` header; American where it says nothing that is known."""
    locale = next(
        filter(None, (_known(tag) for tag, _ in parse_accept_lang_header(accept_language[:500]))), "en_US"
    )
    country = locale.partition("_")[2]
    money_there = [code for code in get_territory_currencies(country) if code in CURRENCIES]
    zones = _zones_of(country)
    return Likely(
        locale=locale,
        currency=money_there[0] if money_there else "USD",
        units="in" if country == "US" else "cm",
        paper="Letter" if country in _LETTER_PAPER else "A4",
        zone=zones[0] if len(zones) == 1 else "",
    )


def _known(tag: str) -> str:
    """ "de-at" → "de_AT", "de" → "de_DE", anything else → ""."""
    language, _, country = tag.replace("-", "_").partition("_")
    exact = f"{language.lower()}_{country.upper()}"
    if exact in LOCALES:
        return exact
    return next((locale for locale in LOCALES if locale.startswith(f"{language.lower()}_")), "")


@cache
def zones() -> frozenset[str]:
    """The time zones that are named after a place."""
    return frozenset(
        name for name in available_timezones() if name.partition("/")[0] in _CONTINENTS and "/" in name
    )


def zone_choices(country: str = "") -> list[tuple[str, list[tuple[str, str]]]]:
    """Every zone by continent, those of a country ("US") before all; for a select with groups."""
    by_continent = [
        (continent, [(name, _said(name.partition("/")[2])) for name in names])
        for continent, names in groupby(sorted(zones()), key=lambda name: name.partition("/")[0])
    ]
    near = [(name, _said(name)) for name in _zones_of(country)]
    return [("Likely", near), *by_continent] if near else by_continent


def _zones_of(country: str) -> list[str]:
    return sorted(
        name for name, where in get_global("zone_territories").items() if where == country and name in zones()
    )


def _said(name: str) -> str:
    return name.replace("_", " ").replace("/", ": ")


@cache
def currency_choices() -> list[tuple[str, str]]:
    return [(code, f"{code}, {get_currency_name(code, locale='en')}") for code in sorted(CURRENCIES)]


def locale_choices() -> list[tuple[str, str]]:
    """Each way of writing with what it looks like."""
    shown = date(2026, 12, 9)

    def example(name: str) -> str:
        return f"{money(Decimal('1250.5'), _money_of(name), name)}, {day(shown, name)}"

    return [(name, f"{Locale.parse(name).get_display_name('en')}: {example(name)}") for name in LOCALES]


def _money_of(locale: str) -> str:
    return str(get_territory_currencies(locale.partition("_")[2])[0])
