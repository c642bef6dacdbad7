"""Lengths and measures against NIST SP 811 (Guide for the Use of the SI), appendix B.8."""

from decimal import Decimal

import pytest

from shopdesk.craft.cautions import TIP_OVER_HEIGHT_MM, TIP_OVER_VOLUME_L, TIP_OVER_WEIGHT_KG
from shopdesk.craft.units import (
    L_PER_FLUID_OUNCE,
    L_PER_GALLON,
    L_PER_PINT,
    L_PER_QUART,
    M2_PER_SQUARE_FOOT,
    M2_PER_SQUARE_INCH,
    MM_PER_INCH,
    UM_PER_MIL,
    parse_area_m2,
    parse_length_mm,
    parse_volume_l,
)


# Source: NIST SP 811, B.8: inch to centimetre 2.54 E+00 exactly, foot to metre 3.048 E-01 exactly.
@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("1 in", "25.4"),
        ("1 ft", "304.8"),
        ("1 cm", "10"),
        ("1 m", "1000"),
        ("1/64 in", "0.396875"),
        ("3' 4\"", "1016"),
    ],
)
def test_exact_factors(text: str, mm: str) -> None:
    assert parse_length_mm(text, "in") == Decimal(mm)


def test_the_inch() -> None:
    assert Decimal("25.4") == MM_PER_INCH


# Source: NIST SP 811, B.8: pound 4.535 924 E-01 kg, cubic foot 2.831 685 E-02 m³ (both printed to seven
# digits).
def test_pound_and_cubic_foot() -> None:
    assert round(TIP_OVER_WEIGHT_KG / 30, 7) == Decimal("0.4535924")
    assert round(TIP_OVER_VOLUME_L / Decimal("3.2") / 1000, 8) == Decimal("0.02831685")
    # A cubic foot is twelve inches each way; a litre a cubic decimetre.
    assert TIP_OVER_VOLUME_L / Decimal("3.2") == (12 * MM_PER_INCH / 100) ** 3
    assert TIP_OVER_HEIGHT_MM == 27 * MM_PER_INCH


# Source: NIST SP 811, B.8: square foot 9.290 304 E-02 m² and square inch 6.4516 E-04 m² exactly; gallon [US]
# 3.785 412 L, quart [US liquid] 9.463 529 E-01 L, pint 4.731 765 E-01 L, fluid ounce [US] 2.957 353 E+01 mL
# (seven digits, from memory). NIST Handbook 44, appendix C: a US gallon is 231 cubic inches exactly.
def test_areas_and_volumes() -> None:
    assert Decimal("0.09290304") == M2_PER_SQUARE_FOOT == 144 * M2_PER_SQUARE_INCH
    assert Decimal("0.00064516") == M2_PER_SQUARE_INCH == (MM_PER_INCH / 1000) ** 2
    assert Decimal("3.785411784") == L_PER_GALLON == 231 * (MM_PER_INCH / 100) ** 3
    assert L_PER_GALLON == 4 * L_PER_QUART == 8 * L_PER_PINT == 128 * L_PER_FLUID_OUNCE
    printed = [("3.785412", L_PER_GALLON), ("0.9463529", L_PER_QUART), ("0.4731765", L_PER_PINT)]
    for figure, factor in printed:
        assert factor.quantize(Decimal(figure)) == Decimal(figure)
    assert (1000 * L_PER_FLUID_OUNCE).quantize(Decimal("0.00001")) == Decimal("29.57353")


# Source: 16 CFR 500.19 (a), the factors for labels, to six digits; mil, inch and square foot marked exact.
@pytest.mark.parametrize(
    ("written", "litres"),
    [
        ("1 fl oz", "0.0295735"),
        ("1 pint", "0.473177"),
        ("1 quart", "0.946353"),
        ("1 gallon", "3.78541"),
    ],
)
def test_label_factors(written: str, litres: str) -> None:
    # To the last digit printed: the pint is printed rounded up from 473.176 473 mL.
    assert abs(parse_volume_l(written, "L") / Decimal(litres) - 1) < Decimal("0.000002")


def test_label_factors_that_are_exact() -> None:
    assert Decimal("25.4") == UM_PER_MIL
    assert parse_area_m2("1 sq ft", "m2") == Decimal("929.0304") / 10_000
    assert parse_area_m2("1 sq in", "m2") == Decimal("6.4516") / 10_000
