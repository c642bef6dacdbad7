"""Money: a currency's decimals, sums split to the last cent, amounts as people type them. Never a float."""

import re
import unicodedata
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from shopdesk.craft.rounding import EXACT, demand_decimal, half_up


def _codes(listed: str) -> frozenset[str]:
    return frozenset(listed.split())


# ISO 4217, list one as published on 1 January 2026 (the day Bulgaria's BGN left it for the euro): the money
# people pay with. Precious metals, bond market units, SDR and other units of account, test and "no currency"
# codes are left out.
CURRENCIES: frozenset[str] = _codes(
    """
    AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BHD BIF BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF
    CLP CNY COP CRC CUP CVE CZK DJF DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GNF GTQ GYD HKD
    HNL HTG HUF IDR ILS INR IQD IRR ISK JMD JOD JPY KES KGS KHR KMF KPW KRW KWD KYD KZT LAK LBP LKR LRD LSL
    LYD MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD OMR PAB PEN PGK PHP
    PKR PLN PYG QAR RON RSD RUB RWF SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT
    TND TOP TRY TTD TWD TZS UAH UGX USD UYU UZS VED VES VND VUV WST XAF XCD XCG XOF XPF YER ZAR ZMW ZWG
    """
)
# The same list's fund codes and units of account that are tied to one country's money: known here, offered to
# nobody.
FUNDS: frozenset[str] = _codes("BOV CHE CHW CLF COU MXV USN UYI UYW")

# Everything in the list that does not have two decimals.
_NOT_TWO: dict[str, int] = {
    **dict.fromkeys(_codes("BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF"), 0),
    **dict.fromkeys(_codes("BHD IQD JOD KWD LYD OMR TND"), 3),
    **dict.fromkeys(_codes("CLF UYW"), 4),
}

LARGEST = Decimal(99_999_999_999)
"""More than any piece costs in any money; eleven digits before the point, and at most four behind it."""

_DOLLARS = (
    "USD CAD AUD NZD SGD HKD TWD BBD BMD BND BSD BZD FJD GYD JMD KYD LRD NAD SBD SRD TTD XCD "
    "MXN ARS CLP COP CUP DOP UYU NIO TOP WST SVC CVE"
)
# Signs and short words that people write beside a sum, and the money each may mean.
_SIGNS: dict[str, frozenset[str]] = {
    sign: _codes(codes)
    for sign, codes in {
        "$": _DOLLARS,
        "us$": "USD",
        "c$": "CAD NIO",
        "a$": "AUD",
        "nz$": "NZD",
        "r$": "BRL",
        "€": "EUR",
        "euro": "EUR",
        "£": "GBP EGP FKP GIP LBP SDG SHP SSP SYP",
        "¥": "JPY CNY",
        "₹": "INR",
        "rs": "INR PKR LKR NPR MUR SCR",
        "₩": "KRW KPW",
        "₪": "ILS",
        "₫": "VND",
        "₺": "TRY",
        "₴": "UAH",
        "₽": "RUB",
        "₱": "PHP",
        "฿": "THB",
        "₦": "NGN",
        "₸": "KZT",
        "₾": "GEL",
        "zł": "PLN",
        "kč": "CZK",
        "ft": "HUF",
        "lei": "RON MDL",
        "kr": "SEK NOK DKK ISK",
        "fr": "CHF",
        "r": "ZAR",
    }.items()
}

_SPACES = re.compile(r"[\s\u00a0\u2007\u2009\u202f]+")
_NUMBER = re.compile(r"[0-9][0-9.,' ]*|[.,][0-9]+", re.ASCII)


def minor_units(currency: str) -> int:
    """How many decimals the currency has: 2 for USD, 0 for JPY, 3 for KWD (ISO 4217).

    Raises `ValueError` for anything that is not the code of a money in use, in capitals.
    """
    if currency not in CURRENCIES and currency not in FUNDS:
        raise ValueError(f"“{_short(currency)}” is not a currency code in use, such as USD or EUR.")
    return _NOT_TWO.get(currency, 2)


def quantize(amount: Decimal, currency: str) -> Decimal:
    """`amount` with exactly the currency's decimals, halves away from zero: for computed sums.

    A sum that somebody typed goes through `exact` instead.
    """
    return half_up(amount, minor_units(currency))


def exact(amount: Decimal, currency: str) -> Decimal:
    """`amount` written with exactly the currency's decimals, its value unchanged.

    Raises `ValueError` when it has a part smaller than the currency's smallest coin: nobody's figure is
    rounded unasked.
    """
    minor = minor_units(currency)
    written = half_up(amount, minor)
    if written != amount:
        if minor == 0:
            raise ValueError(f"{currency} has no decimals; write a whole number.")
        raise ValueError(f"{currency} has {minor} decimals; this amount has more.")
    return written


def split(total: Decimal, parts: Sequence[Decimal], currency: str) -> list[Decimal]:
    """`total` shared out by the weights `parts`, to the currency's last unit, adding up to `total` exactly.

    Largest remainder: everybody first gets their share rounded down, then the units left over go one each to
    the largest cut-off remainders, the earlier first where two are equal. A negative total (a reduction)
    mirrors a positive.
    Raises `ValueError` when there is no weight to share by, a weight is negative, or `total` is not in whole
    units.
    """
    minor = minor_units(currency)
    units = int(exact(demand_decimal(total, "A total"), currency).scaleb(minor, EXACT))
    weights = [Fraction(demand_decimal(part, "A weight")) for part in parts]
    whole = sum(weights, Fraction(0))
    if any(weight < 0 for weight in weights) or whole <= 0:
        raise ValueError(
            "A sum can only be shared by weights that are not negative, at least one of them above zero."
        )
    sign = -1 if units < 0 else 1
    shares = [abs(units) * weight / whole for weight in weights]
    given = [int(share) for share in shares]
    by_remainder = sorted(range(len(shares)), key=lambda i: (given[i] - shares[i], i))
    for i in by_remainder[: abs(units) - sum(given)]:
        given[i] += 1
    return [Decimal(sign * count).scaleb(-minor, EXACT) for count in given]


def parse_amount(
    text: str, currency: str, decimal_hint: str | None = None, *, allow_negative: bool = False
) -> Decimal:
    """The amount that somebody typed, with exactly the currency's decimals.

    Understood: `1250`, `1,250.50`, `1.250,50`, `1 250`, `1'250.50`, `$340`, `340 EUR`, `€ 12,5`, `340.-`,
    `.50`. How a point or a comma is read:
    - where both occur, the last one is the decimal mark, and the other groups digits;
    - one that occurs more than once groups digits;
    - a single one with exactly three digits behind it could be either: it is what `decimal_hint` ("." or ",",
    the
      shop's own decimal mark) says. Without a hint it groups digits, unless a zero leads ("0.250") or the
      currency has three decimals, where the person is asked to write it another way;
    - any other single one is the decimal mark. Spaces and apostrophes only ever group digits. A minus sign is
    refused unless `allow_negative` (a cheaper option).

    Raises `ValueError` with a sentence for the person: nonsense, another money's sign, more decimals than the
    currency has, more than `LARGEST`, or a form of number nobody writes on a bill (`1e3`, `NaN`).
    """
    if decimal_hint not in (None, ".", ","):
        raise ValueError("A decimal mark is a point or a comma.")
    minor = minor_units(currency)
    plain = unicodedata.normalize("NFC", _SPACES.sub(" ", text)).replace("’", "'").replace("−", "-").strip()
    if not plain:
        raise ValueError("Please write an amount, such as 1250.50.")
    nonsense = ValueError(f"“{_short(plain)}” is not an amount we can read; write it as 1250.50.")
    if len(plain) > 60:
        raise nonsense
    plain = re.sub(r"(?<=[0-9])[.,] ?[-–—]{1,2}(?=$| )", "", plain)
    negative, digits = _without_signs(plain, currency, nonsense)
    amount = Decimal(plain_digits(digits, minor, decimal_hint, nonsense))
    if negative and amount and not allow_negative:
        raise ValueError("Please write an amount without a minus sign.")
    if amount > LARGEST:
        raise ValueError("That is more money than this shop can count; please check the amount.")
    decimals = -int(amount.as_tuple().exponent)
    if decimals > minor:
        few = "no decimals" if minor == 0 else f"at most {minor} decimals"
        raise ValueError(f"“{_short(plain)}” has too many decimals; an amount in {currency} has {few}.")
    written = half_up(amount, minor)
    return EXACT.minus(written) if negative else written


def _short(text: str) -> str:
    """What somebody typed, cut to a length that fits into a sentence."""
    return text if len(text) <= 30 else text[:29] + "…"


def _without_signs(plain: str, currency: str, nonsense: ValueError) -> tuple[bool, str]:
    """Is there a minus before it, and the digits with their marks, freed of the money's sign or code."""
    number = _NUMBER.search(plain)
    if number is None:
        raise nonsense
    before, after = plain[: number.start()], plain[number.end() :]
    negative = before.count("-") == 1
    words = [side.replace(" ", "").lower() for side in (before.replace("-", "", 1), after)]
    for word in filter(None, words):
        word = word.removesuffix(".")
        meant = frozenset({word.upper()}) if word.upper() in CURRENCIES else _SIGNS.get(word)
        if meant is None:
            raise nonsense
        if currency not in meant:
            raise ValueError(f"This shop counts in {currency}; please write the amount in {currency}.")
    return negative, number.group().strip()


def plain_digits(digits: str, minor: int, hint: str | None, nonsense: ValueError) -> str:
    """Digits with at most one point, from digits with any of the marks people use. The rules:
    `parse_amount`; raises `nonsense` where they are broken."""
    mark = _decimal_mark(digits, minor, hint)
    whole, point, behind = digits.rpartition(mark) if mark else (digits, "", "")
    if (behind and not behind.isdigit()) or not (whole or behind):
        raise nonsense
    groupers = set(whole) - set("0123456789")
    if len(groupers) > 1:
        raise nonsense
    if groupers:
        first, *others = whole.split(groupers.pop())
        # The last group has three digits; the ones before it three, or two as in 1,25,000.
        right_sizes = len(others[-1]) == 3 and all(len(group) in (2, 3) for group in others)
        if not (1 <= len(first) <= 3 and right_sizes and first != "0"):
            raise nonsense
        whole = first + "".join(others)
    return f"{whole or '0'}.{behind}" if point and behind else whole


def _decimal_mark(digits: str, minor: int, hint: str | None) -> str:
    """Which of the marks in `digits` stands before the decimals; "" when none does."""
    points, commas = digits.count("."), digits.count(",")
    if points and commas:
        return "." if digits.rindex(".") > digits.rindex(",") else ","
    if points + commas != 1:
        return ""
    mark = "." if points else ","
    before, _, behind = digits.partition(mark)
    could_group = (
        len(behind) == 3 and before.isdigit() and 1 <= len(before) <= 3 and not before.startswith("0")
    )
    if not could_group:
        return mark
    if hint is not None:
        return mark if mark == hint else ""
    if minor == 3:
        raise ValueError(
            f"“{digits}” can be read in two ways; write it without a mark between the thousands."
        )
    return ""
