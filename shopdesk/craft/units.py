"""Lengths as people write them, kept in millimetres. 1 inch is 25.4 mm exactly [NIST SP 811, B.8]."""

import re
import unicodedata
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from typing import Literal

from shopdesk.craft.rounding import EXACT, demand_decimal

MM_PER_INCH = Decimal("25.4")
LONGEST_MM = Decimal(10_000)
FINEST_MM = Decimal("0.000001")
"""A 64th of an inch is 0.396875 mm, so six decimals hold every fraction on a tape measure exactly."""

_MM: dict[str, Fraction] = {
    unit: size
    for size, units in (
        (Fraction(254, 10), 'in inch inches "'),
        (Fraction(3048, 10), "ft foot feet '"),
        (Fraction(1), "mm millimetre millimetres millimeter millimeters"),
        (Fraction(10), "cm centimetre centimetres centimeter centimeters"),
        (Fraction(1000), "m metre metres meter meters"),
    )
    for unit in units.split()
}
_INCH, _FOOT, _MILLIMETRE, _CENTIMETRE, _METRE = _MM["in"], _MM["ft"], _MM["mm"], _MM["cm"], _MM["m"]

_MARKS = str.maketrans(
    {"“": '"', "”": '"', "„": '"', "″": '"', "‘": "'", "’": "'", "′": "'", "´": "'", "`": "'"}
)
_MARKS |= str.maketrans({"⁄": "/", "∕": "/", "−": "-", "–": "-", "—": "-"})
_ABOUT = re.compile(r"^(?:about|approximately|approx\.?|around|roughly|circa|ca\.?|c\.|~|≈)\s*")
_PART = re.compile(
    r"""\s*(?:
        (?P<whole>[0-9]+)(?:\s*-\s*|\s+)(?P<mixed>[0-9]+\s*/\s*[0-9]+)   # 34 1/2, 34-1/2
      | (?P<fraction>[0-9]+\s*/\s*[0-9]+)
      | (?P<number>[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)
    )\s*(?P<unit>[a-z]+|"|')?\.?""",
    re.VERBOSE | re.ASCII,
)


def parse_length_mm(text: str, default_unit: Literal["in", "cm"]) -> Decimal:
    """The length that somebody wrote, in millimetres, exact for decimals and for halves down to 64ths.

    Understood: `34 1/2`, `34-1/2`, `34½`, `34.5"`, `87,6 cm`, `876mm`, `1.2 m`, `1 m 20`, `3' 4"`, `3 ft 4
    1/2 in`, with any of the quotes and primes that telephones put in, and with "about" before it. A number
    without a unit is in `default_unit`; after feet it is inches, after metres centimetres. A point and a
    comma both stand before decimals, except in millimetres with three digits behind (`1,200 mm`), which
    nobody means as decimals.

    Raises `ValueError` with a sentence for the person: nonsense, zero, below zero, longer than 10 m.
    """
    nonsense = ValueError('We cannot read that size; write it like 34 1/2, 34.5" or 87.6 cm.')
    plain = _plain(text)
    if not plain:
        raise ValueError('Please write a size, such as 34 1/2, 34.5" or 87.6 cm.')
    if len(plain) > 40:
        raise nonsense
    if plain.startswith("-"):
        raise ValueError("A size cannot be below zero.")
    if re.search(r"[0-9\"'a-z]\s*[x×*]\s*[0-9]", plain):
        raise ValueError("Please write one size in each box.")

    length = Fraction(0)
    before: Fraction | None = None  # the unit of the part before this one
    position = 0
    while position < len(plain):
        part = _PART.match(plain, position)
        if part is None:
            raise nonsense
        unit = _unit(part, before, default_unit, nonsense)
        amount = _amount(part, unit, nonsense)
        if before is not None:
            # Only feet and inches, or metres and centimetres, are written one after the other.
            if (before, unit) not in ((_FOOT, _INCH), (_METRE, _CENTIMETRE)):
                raise nonsense
            if amount * unit >= before:
                small, large = ("inches", "a foot") if unit == _INCH else ("centimetres", "a metre")
                raise ValueError(f"There are too many {small} there; they make {large} or more.")
        length += amount * unit
        before, position = unit, part.end()
    if length == 0:
        raise ValueError("A size of zero cannot be right; leave the box empty if you do not know it.")
    if length > Fraction(LONGEST_MM):
        raise ValueError("That is longer than 10 metres; please check the size and its unit.")
    mm = EXACT.divide(Decimal(length.numerator), Decimal(length.denominator)).quantize(
        FINEST_MM, ROUND_HALF_UP, EXACT
    )
    if not mm:
        raise ValueError("That is too small to be a size; please check it and its unit.")
    return mm.normalize(EXACT).quantize(Decimal(1)) if mm == mm.to_integral_value() else mm.normalize(EXACT)


def show_length(mm: Decimal, unit: Literal["in", "cm"]) -> str:
    """`mm` as a person reads it: inches to the nearest eighth (`34 1/2 in`) or tenths of a cm (`87.6 cm`).

    Halfway goes up. Raises `ValueError` below zero.
    """
    if demand_decimal(mm, "A length") < 0:
        raise ValueError("A size cannot be below zero.")
    if unit == "cm":
        return f"{mm.scaleb(-1, EXACT).quantize(Decimal('0.1'), ROUND_HALF_UP, EXACT)} cm"
    eighths = int(
        (EXACT.divide(EXACT.multiply(mm, Decimal(8)), MM_PER_INCH)).to_integral_value(ROUND_HALF_UP, EXACT)
    )
    if not eighths:
        return "under 1/8 in" if mm else "0 in"
    whole, rest = divmod(eighths, 8)
    fraction = Fraction(rest, 8)
    words = [str(whole)] if whole else []
    if fraction:
        words.append(f"{fraction.numerator}/{fraction.denominator}")
    return " ".join([*words, "in"])


def _plain(text: str) -> str:
    """Lower case, straight quotes, ½ as 1/2, one kind of space, nothing before the figures."""
    marked = text.translate(_MARKS).replace("''", '"').lower()
    spelt = ""
    for sign in marked:
        fraction = unicodedata.normalize("NFKC", sign) if unicodedata.category(sign) == "No" else ""
        spelt += f" {fraction.replace('⁄', '/')} " if "⁄" in fraction else sign
    return _ABOUT.sub("", " ".join(spelt.split()))


def _unit(
    part: re.Match[str], before: Fraction | None, default: Literal["in", "cm"], nonsense: ValueError
) -> Fraction:
    written = part.group("unit")
    if written is not None:
        size = _MM.get(written)
        if size is None:
            raise nonsense
        return size
    if before == _FOOT:
        return _INCH
    if before == _METRE:
        return _CENTIMETRE
    if before is not None:
        raise nonsense
    return _MM[default]


def _amount(part: re.Match[str], unit: Fraction, nonsense: ValueError) -> Fraction:
    broken = part.group("mixed") or part.group("fraction")
    if broken:
        above, below = (int(figure) for figure in broken.split("/"))
        if below == 0 or (part.group("mixed") and above >= below):
            raise nonsense
        return int(part.group("whole") or 0) + Fraction(above, below)
    number = part.group("number").replace(",", ".")
    if unit == _MILLIMETRE and re.fullmatch(r"[1-9][0-9]?\.[0-9]{3}", number):
        number = number.replace(".", "")
    return Fraction(Decimal(number))
