"""Lengths, areas and volumes as people write them, kept in mm, m² and litres.

The factors are exact [NIST SP 811, B.8]: an inch is 25.4 mm, a foot twelve of them, a US gallon 231 in³.
"""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from typing import Literal

from shopdesk.craft.rounding import EXACT, demand_decimal, half_up

MM_PER_INCH = Decimal("25.4")
UM_PER_MIL = Decimal("25.4")
"""A mil is a thousandth of an inch."""
M2_PER_SQUARE_FOOT = Decimal("0.09290304")
M2_PER_SQUARE_INCH = Decimal("0.00064516")
L_PER_GALLON = Decimal("3.785411784")
L_PER_QUART = Decimal("0.946352946")
L_PER_PINT = Decimal("0.473176473")
L_PER_FLUID_OUNCE = Decimal("0.0295735295625")
LONGEST_MM = Decimal(10_000)
FINEST_MM = Decimal("0.000001")
"""A 64th of an inch is 0.396875 mm, so six decimals hold every fraction on a tape measure exactly."""

LARGEST_M2 = Decimal(1_000)
LARGEST_L = Decimal(1_000)

System = Literal["metric", "us"]
"""What a shop measures in: m² and litres, or square feet, US gallons, quarts and fluid ounces."""


@dataclass(frozen=True)
class Figure:
    """A figure and how it came about, in words and numbers that the desk can show beside it.

    `value` is exact; the numbers in `because` are the same ones, shown to three digits or so.
    """

    value: Decimal
    because: str


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
_INCH, _FOOT, _CENTIMETRE, _METRE = _MM["in"], _MM["ft"], _MM["cm"], _MM["m"]

_M2: dict[str, Fraction] = {
    unit: Fraction(size)
    for size, units in (
        (Decimal(1), "m2|sq m|sqm|square metre|square metres|square meter|square meters"),
        (Decimal("0.0001"), "cm2|sq cm|square centimetres|square centimeters"),
        (M2_PER_SQUARE_FOOT, "ft2|sq ft|sqft|sf|square foot|square feet"),
        (M2_PER_SQUARE_INCH, "in2|sq in|sqin|square inch|square inches"),
    )
    for unit in units.split("|")
}
_L: dict[str, Fraction] = {
    unit: Fraction(size)
    for size, units in (
        (Decimal(1), "l|litre|litres|liter|liters"),
        (Decimal("0.01"), "cl|centilitre|centilitres|centiliter|centiliters"),
        (Decimal("0.001"), "ml|millilitre|millilitres|milliliter|milliliters|cc"),
        (L_PER_GALLON, "gal|gals|gallon|gallons|us gal|us gallon|us gallons"),
        (L_PER_QUART, "qt|qts|quart|quarts"),
        (L_PER_PINT, "pt|pts|pint|pints"),
        (L_PER_FLUID_OUNCE, "fl oz|floz|fluid oz|fluid ounce|fluid ounces"),
    )
    for unit in units.split("|")
}
# Nobody writes thousandths of these, or of a millimetre: three digits behind a mark group the number.
_NO_THOUSANDTHS = frozenset({_M2["cm2"], _M2["in2"], _L["ml"], _L["fl oz"]})

_MARKS = str.maketrans(
    {"“": '"', "”": '"', "„": '"', "″": '"', "‘": "'", "’": "'", "′": "'", "´": "'", "`": "'"}
)
_MARKS |= str.maketrans({"⁄": "/", "∕": "/", "−": "-", "–": "-", "—": "-"})
_ABOUT = re.compile(r"^(?:about|approximately|approx\.?|around|roughly|circa|ca\.?|c\.|~|≈)\s*")
_AMOUNT = r"""\s*(?:
        (?P<whole>[0-9]+)(?:\s*-\s*|\s+)(?P<mixed>[0-9]+\s*/\s*[0-9]+)   # 34 1/2, 34-1/2
      | (?P<fraction>[0-9]+\s*/\s*[0-9]+)
      | (?P<number>[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)
    )\s*"""
_PART = re.compile(_AMOUNT + r"""(?P<unit>[a-z]+|"|')?\.?""", re.VERBOSE | re.ASCII)
# A unit of area or volume may be two words, with points after them: sq. ft.
_MEASURE = re.compile(
    _AMOUNT + r"(?P<unit>[a-z]+\.?(?:\s*[a-z]+\.?)?(?:\^?2(?![0-9]))?)?", re.VERBOSE | re.ASCII
)


def parse_length_mm(text: str, default_unit: Literal["in", "cm"]) -> Decimal:
    """The length that somebody wrote, in millimetres, exact for decimals and for halves down to 64ths.

    Understood: `34 1/2`, `34-1/2`, `34½`, `34.5"`, `87,6 cm`, `876mm`, `1.2 m`, `1 m 20`, `3' 4"`, `3 ft 4
    1/2 in`, with any of the quotes and primes that telephones put in, and with "about" before it. A number
    without a unit is in `default_unit`; after feet it is inches, after metres centimetres. A point and a
    comma both stand before decimals, except in millimetres with three digits behind (`1,200 mm`), which
    nobody means as decimals; in centimetres such a number is refused.

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
        number = part.group("number") or ""
        if unit == _CENTIMETRE and re.fullmatch(r"[1-9][0-9]{0,2}[.,][0-9]{3}", number):
            # Nobody measures thousandths of a centimetre: they may have meant millimetres.
            whole = re.sub("[.,]", "", number)
            raise ValueError(f"“{number}” can be read in two ways; write {whole} mm, or centimetres as 87.6.")
        amount = _amount(part, nonsense, grouped=unit == _MM["mm"])
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
    mm = _decimal(length, FINEST_MM)
    if not mm:
        raise ValueError("That is too small to be a size; please check it and its unit.")
    return mm


def parse_area_m2(text: str, default_unit: Literal["m2", "ft2"]) -> Decimal:
    """The area that somebody wrote, in m², exact for decimals and for halves down to 64ths.

    Understood: `2.84 m²`, `2,84 m2`, `30 1/2 sq. ft.`, `30 ft^2`, `400 square inches`, and two lengths
    (`45 x 72 cm`, `18" × 30"`, where a unit behind the second counts for both). A number alone is in
    `default_unit`.

    Raises `ValueError` with a sentence for the person: nonsense, zero, below zero, more than 1,000 m².
    """
    example = "2.84 m², 30 sq ft or 45 x 72 cm"
    plain = _plain(re.sub(r"\s*²", "2", text))
    sides = re.split(r"\s*[x×*]\s*", plain)
    if len(sides) == 2:
        second_unit = re.search(r"[a-z]+|[\"']", sides[1])
        if second_unit and not re.search(r"[a-z\"']", sides[0]):
            sides[0] += second_unit.group()
        length_unit: Literal["in", "cm"] = "cm" if default_unit == "m2" else "in"
        one, other = (parse_length_mm(side, length_unit) for side in sides)
        size = Fraction(one) * Fraction(other) / 10**6
    elif len(sides) > 2:
        raise ValueError(f"An area has two sides; write it like {example}.")
    else:
        size = _measured(plain, _M2, default_unit, "an area", example)
    return _within(size, LARGEST_M2, "an area", "1,000 m²")


def parse_volume_l(text: str, default_unit: Literal["L", "mL", "gal", "qt", "fl oz"]) -> Decimal:
    """The volume that somebody wrote, in litres, exact for decimals and for halves down to 64ths.

    Understood: `0,75 L`, `750ml`, `75 cl`, `1/2 gal`, `2½ gallons`, `1 qt`, `8 fl. oz.`, `1 qt 8 fl oz`.
    Gallons, quarts, pints and fluid ounces are US ones. A number alone is in `default_unit`; a bare `oz` is
    refused, for it may be a weight.

    Raises `ValueError` with a sentence for the person: nonsense, zero, below zero, more than 1,000 L.
    """
    plain = _plain(text)
    if re.search(r"(?<![a-z])(?<!fl )(?<!fl\. )(?<!fluid )(?:oz|ounces?)\b", plain):
        raise ValueError("An ounce may be a weight; write fl oz for a volume.")
    volume = _measured(plain, _L, default_unit.lower(), "a volume", "750 mL, 1 qt or 0.5 gal")
    return _within(volume, LARGEST_L, "a volume", "1,000 litres")


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


def show_area(m2: Decimal, system: System = "metric") -> str:
    """`m2` as a person reads it, to three digits or to whole units: `2.84 m²` or `30.6 ft²`."""
    if system == "us":
        return f"{show_figure(EXACT.divide(m2, M2_PER_SQUARE_FOOT))} ft²"
    return f"{show_figure(m2)} m²"


def show_volume(litres: Decimal, system: System = "metric") -> str:
    """`litres` as a person reads it: `1.47 L`, `250 mL` below a litre; in US units `1.55 qt`, `8.5 fl oz`.

    US: gallons from one gallon up, quarts from one quart up, fluid ounces below.
    """
    if system == "us":
        for size, unit in ((L_PER_GALLON, "gal"), (L_PER_QUART, "qt")):
            if litres >= size:
                return f"{show_figure(EXACT.divide(litres, size))} {unit}"
        return f"{show_figure(EXACT.divide(litres, L_PER_FLUID_OUNCE))} fl oz"
    if 0 < litres < 1:
        return f"{show_figure(litres.scaleb(3, EXACT))} mL"
    return f"{show_figure(litres)} L"


def show_figure(value: Decimal) -> str:
    """`value` to three digits, whole digits always kept, without zeros at the end: 8.9, 0.65, 1234."""
    size = demand_decimal(value, "A figure").adjusted() if value else 0
    written = f"{half_up(value, max(0, 2 - size)):f}"
    return written.rstrip("0").rstrip(".") if "." in written else written


def _measured(plain: str, units: Mapping[str, Fraction], default: str, what: str, example: str) -> Fraction:
    """The sum of the parts of `plain`, each with one of `units`, the larger before the smaller."""
    nonsense = ValueError(f"We cannot read that as {what}; write it like {example}.")
    if not plain:
        raise ValueError(f"Please write {what}, such as {example}.")
    if len(plain) > 40:
        raise nonsense
    if plain.startswith("-"):
        raise ValueError(f"Such a figure cannot be below zero; write {what} like {example}.")
    result = Fraction(0)
    before: Fraction | None = None
    position = 0
    while position < len(plain):
        part = _MEASURE.match(plain, position)
        if part is None:
            raise nonsense
        written = part.group("unit")
        if written is None and (before is not None or part.end() < len(plain)):
            raise nonsense
        unit = units.get(re.sub(r"[.^]|\s+(?=2)", "", written) if written else default)
        if unit is None:
            raise nonsense
        if before is not None and unit >= before:
            raise nonsense
        if unit in (_M2["ft2"], _L["gal"], _L["qt"]) and re.fullmatch(
            r"[1-9][0-9]?[0-9]?,[0-9]{3}", part.group("number") or ""
        ):
            raise ValueError(f"“{part.group('number')}” can be read in two ways; write it without a comma.")
        result += _amount(part, nonsense, grouped=unit in _NO_THOUSANDTHS) * unit
        before, position = unit, part.end()
    return result


def _within(size: Fraction, most: Decimal, what: str, most_in_words: str) -> Decimal:
    if size == 0:
        raise ValueError(f"Zero cannot be right for {what}; leave the box empty if you do not know it.")
    if size > Fraction(most):
        raise ValueError(f"That is more than {most_in_words}; please check the figure and its unit.")
    exact = _decimal(size, Decimal("1E-20"))
    if not exact:
        raise ValueError(f"That is too small for {what}; please check the figure and its unit.")
    return exact


def _decimal(fraction: Fraction, finest: Decimal) -> Decimal:
    """As a `Decimal` with no zeros at the end, rounded at `finest` when it does not end before."""
    exact = EXACT.divide(Decimal(fraction.numerator), Decimal(fraction.denominator))
    exact = exact.quantize(finest, ROUND_HALF_UP, EXACT)
    return exact.quantize(Decimal(1)) if exact == exact.to_integral_value() else exact.normalize(EXACT)


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


def _amount(part: re.Match[str], nonsense: ValueError, *, grouped: bool) -> Fraction:
    """The number of a part; `grouped` says that three digits behind a mark group thousands."""
    broken = part.group("mixed") or part.group("fraction")
    if broken:
        above, below = (int(figure) for figure in broken.split("/"))
        if below == 0 or (part.group("mixed") and above >= below):
            raise nonsense
        return int(part.group("whole") or 0) + Fraction(above, below)
    number = part.group("number").replace(",", ".")
    if grouped and re.fullmatch(r"[1-9][0-9]?\.[0-9]{3}", number):
        number = number.replace(".", "")
    return Fraction(Decimal(number))
