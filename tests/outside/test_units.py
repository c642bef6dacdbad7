"""Lengths and measures against NIST SP 811 (Guide for the Use of the SI), appendix B.8."""

from decimal import Decimal

import pytest

from shopdesk.craft.cautions import TIP_OVER_HEIGHT_MM, TIP_OVER_VOLUME_L, TIP_OVER_WEIGHT_KG
from shopdesk.craft.units import MM_PER_INCH, parse_length_mm


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
