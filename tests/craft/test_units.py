from decimal import Decimal
from typing import Any, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopdesk.craft.units import LONGEST_MM, parse_length_mm, show_length

Unit = Literal["in", "cm"]
A_FLOAT: Any = 1.0


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [
        ("34 1/2", "in", "876.3"),
        ("34-1/2", "in", "876.3"),
        ("34½", "in", "876.3"),
        ("34 ½ in.", "cm", "876.3"),
        ('34.5"', "cm", "876.3"),
        ("34,5”", "cm", "876.3"),
        ("34.5″", "cm", "876.3"),
        ("34.5''", "cm", "876.3"),
        ("1⁄2 in", "cm", "12.7"),
        ("½", "in", "12.7"),
        (".5 inches", "cm", "12.7"),
        ("3' 4\"", "cm", "1016"),
        ("3’4”", "cm", "1016"),
        ("3′ 4½″", "cm", "1028.7"),
        ("3 ft 4 1/2 in", "cm", "1028.7"),
        ("3 FEET", "cm", "914.4"),
        ("3' 4", "cm", "1016"),
        ("3ft. 4", "cm", "1016"),
        ("34", "in", "863.6"),
        ("87,6", "cm", "876"),
        ("87,6 cm", "in", "876"),
        ("87.6cm", "in", "876"),
        ("876mm", "in", "876"),
        ("1,200 mm", "in", "1200"),
        ("1.200 mm", "in", "1200"),
        ("10,5 mm", "in", "10.5"),
        ("1.2 m", "in", "1200"),
        ("1,205 m", "in", "1205"),
        ("1 m 20", "in", "1200"),
        ("1m20cm", "in", "1200"),
        ("about 34 in", "cm", "863.6"),
        ("ca. 87 cm", "in", "870"),
        ("~ 87", "cm", "870"),
        ("10 m", "in", "10000"),
        ("17/64 in", "in", "6.746875"),
        ("⅓ in", "in", "8.466667"),
        ("  34\u00a01/2\n", "in", "876.3"),
    ],
)
def test_what_people_write(text: str, unit: Unit, mm: str) -> None:
    assert str(parse_length_mm(text, unit)) == mm


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "write a size"),
        ("about", "write a size"),
        ("big", "cannot read"),
        ("NaN", "cannot read"),
        ("1e3", "cannot read"),
        ("34 parsecs", "cannot read"),
        ("1/0", "cannot read"),
        ("34 3/2", "cannot read"),
        ("34 1/2 1/2", "cannot read"),
        ("12 12", "cannot read"),
        ("5 cm 3", "cannot read"),
        ("4 in 3 ft", "cannot read"),
        ("3 ft 20 cm", "cannot read"),
        ("²", "cannot read"),
        ("1.2.3", "cannot read"),
        ("🪑", "cannot read"),
        ("9" * 5000, "cannot read"),
        ("34 x 20", "one size in each box"),
        ('34" × 20" × 12"', "one size in each box"),
        ("0", "zero"),
        ("0 ft 0 in", "zero"),
        ("-3", "below zero"),
        ("−3 in", "below zero"),
        ("10.001 m", "10 metres"),
        ("999999999999999999 in", "10 metres"),
        ("3 ft 14 in", "too many inches"),
        ("1 m 120 cm", "too many centimetres"),
        ("0.00000001 mm", "too small"),
    ],
)
def test_what_is_refused(text: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        parse_length_mm(text, "in")


@pytest.mark.parametrize(
    ("mm", "unit", "shown"),
    [
        ("876.3", "in", "34 1/2 in"),
        ("876.3", "cm", "87.6 cm"),
        ("870", "cm", "87.0 cm"),
        ("3.175", "in", "1/8 in"),
        ("25.4", "in", "1 in"),
        ("24", "in", "1 in"),
        ("1.5875", "in", "1/8 in"),
        ("1.5874", "in", "under 1/8 in"),
        ("0", "in", "0 in"),
        ("0.5", "cm", "0.1 cm"),
    ],
)
def test_how_a_length_is_shown(mm: str, unit: Unit, shown: str) -> None:
    assert show_length(Decimal(mm), unit) == shown


def test_no_length_is_negative_or_a_float() -> None:
    with pytest.raises(ValueError, match="below zero"):
        show_length(Decimal(-1), "cm")
    with pytest.raises(TypeError, match="Decimal"):
        show_length(A_FLOAT, "cm")


@given(st.integers(1, 390 * 8))
def test_eighths_are_read_back_exactly(eighths: int) -> None:
    mm = Decimal(eighths) * Decimal("3.175")
    assert parse_length_mm(show_length(mm, "in"), "cm") == mm


@given(st.integers(1, 10_000))
def test_millimetres_are_read_back_exactly(mm: int) -> None:
    assert parse_length_mm(show_length(Decimal(mm), "cm"), "in") == mm


@given(
    st.text(alphabet="0123456789 ./,-'\"½inftcm", max_size=20) | st.text(max_size=50),
    st.sampled_from(["in", "cm"]),
)
def test_any_text_is_a_length_or_a_sentence(text: str, unit: Unit) -> None:
    refusal, mm = "", LONGEST_MM
    try:
        mm = parse_length_mm(text, unit)
    except ValueError as error:
        refusal = str(error)
    assert refusal == "" or refusal.endswith(".")
    assert 0 < mm <= LONGEST_MM
