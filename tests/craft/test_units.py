from collections.abc import Callable
from decimal import Decimal
from typing import Any, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopdesk.craft.units import (
    LARGEST_L,
    LARGEST_M2,
    LONGEST_MM,
    parse_area_m2,
    parse_length_mm,
    parse_volume_l,
    show_area,
    show_figure,
    show_length,
    show_volume,
)

Unit = Literal["in", "cm"]
VolumeUnit = Literal["L", "mL", "gal", "qt", "fl oz"]
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


@pytest.mark.parametrize(
    ("text", "unit", "m2"),
    [
        ("2.84 m²", "ft2", "2.84"),
        ("2,84 m2", "ft2", "2.84"),
        ("1.250 m ²", "ft2", "1.25"),
        ("1,250 m2", "ft2", "1.25"),
        ("½ square metre", "ft2", "0.5"),
        ("1,200 cm²", "ft2", "0.12"),
        ("30", "ft2", "2.7870912"),
        ("30", "m2", "30"),
        ("30 sq. ft.", "m2", "2.7870912"),
        ("30 ft^2", "m2", "2.7870912"),
        ("30 1/2 sqft", "m2", "2.83354272"),
        ("400 Square Inches", "m2", "0.258064"),
        ("45 x 72 cm", "ft2", "0.324"),
        ("45 cm × 0.72 m", "ft2", "0.324"),
        ("45 × 72", "m2", "0.324"),
        ("10 x 10", "ft2", "0.064516"),
        ('18" × 2 ft', "m2", "0.27870912"),
    ],
)
def test_areas_that_people_write(text: str, unit: Literal["m2", "ft2"], m2: str) -> None:
    assert str(parse_area_m2(text, unit)) == m2


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "write an area"),
        ("large", "cannot read"),
        ("3 gal", "cannot read"),
        ("3 m 2", "cannot read"),
        ("1e3 m2", "cannot read"),
        ("2 m2 3", "cannot read"),
        ("2 ft2 3 m2", "cannot read"),
        ("9" * 500, "cannot read"),
        ("1 x 2 x 3 cm", "two sides"),
        ("0 x 3 cm", "zero"),
        ("0 m2", "Zero"),
        ("-1 m2", "below zero"),
        ("1,200 sq ft", "two ways"),
        ("1001 m2", "more than 1,000 m²"),
        ("0.0000000000000000000000001 m2", "too small"),
    ],
)
def test_areas_that_are_refused(text: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        parse_area_m2(text, "m2")


@pytest.mark.parametrize(
    ("text", "unit", "litres"),
    [
        ("0,75 L", "gal", "0.75"),
        ("1.250 l", "gal", "1.25"),
        ("750ml", "gal", "0.75"),
        ("1,250 mL", "gal", "1.25"),
        ("75 cl", "gal", "0.75"),
        ("2", "gal", "7.570823568"),
        ("2", "mL", "0.002"),
        ("2", "fl oz", "0.059147059125"),
        ("1/2 gal", "L", "1.892705892"),
        ("2½ gallons", "L", "9.46352946"),
        ("1 pint", "L", "0.473176473"),
        ("8 fl. oz.", "L", "0.2365882365"),
        ("1 qt 8 fl oz", "L", "1.1829411825"),
        ("1gal 2qt.", "L", "5.678117676"),
        ("1/64 fl oz", "L", "0.0004620863994140625"),
    ],
)
def test_volumes_that_people_write(text: str, unit: VolumeUnit, litres: str) -> None:
    assert str(parse_volume_l(text, unit)) == litres


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (" ", "write a volume"),
        ("some", "cannot read"),
        ("8 fl oz 1 qt", "cannot read"),
        ("1 L 200", "cannot read"),
        ("3 m2", "cannot read"),
        ("8 oz", "may be a weight"),
        ("8 ounces", "may be a weight"),
        ("1,250 gal", "two ways"),
        ("0", "Zero"),
        ("-1 qt", "below zero"),
        ("265 gal", "more than 1,000 litres"),
    ],
)
def test_volumes_that_are_refused(text: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        parse_volume_l(text, "L")


def test_how_areas_and_volumes_are_shown() -> None:
    assert [show_area(Decimal("2.84")), show_area(Decimal("2.84"), "us")] == ["2.84 m²", "30.6 ft²"]
    litres = [Decimal(value) for value in ("0", "0.25", "1.4728", "3.785411784", "1234.5")]
    assert [show_volume(value) for value in litres] == ["0 L", "250 mL", "1.47 L", "3.79 L", "1235 L"]
    assert [show_volume(value, "us") for value in litres] == [
        "0 fl oz",
        "8.45 fl oz",
        "1.56 qt",
        "1 gal",
        "326 gal",
    ]
    figures = ("1234.56", "99.96", "0.0012345", "1E+3", "8.90", "-0.6543")
    assert [show_figure(Decimal(value)) for value in figures] == [
        "1235",
        "100",
        "0.00123",
        "1000",
        "8.9",
        "-0.654",
    ]
    with pytest.raises(TypeError, match="Decimal"):
        show_figure(A_FLOAT)


@given(st.integers(1, 99_999))
def test_shown_areas_and_volumes_are_read_back(thousandths: int) -> None:
    value = Decimal(thousandths).scaleb(-3)
    # Three digits are shown: what is read back is at most half a unit of the third away.
    off = Decimal(5).scaleb(min(0, value.adjusted() - 2) - 1) * Decimal("1.0001")
    assert abs(parse_area_m2(show_area(value), "ft2") - value) <= off
    assert abs(parse_volume_l(show_volume(value), "gal") - value) <= max(off, Decimal("0.0005"))
    assert abs(parse_area_m2(show_area(value, "us"), "m2") / value - 1) < Decimal("0.006")
    assert abs(parse_volume_l(show_volume(value, "us"), "L") / value - 1) < Decimal("0.006")


@given(st.text(alphabet="0123456789 ./,x×-²½ftcmqgalozs", max_size=20) | st.text(max_size=50))
def test_any_text_is_an_area_and_a_volume_or_a_sentence(text: str) -> None:
    readers: list[tuple[Callable[[], Decimal], Decimal]] = [
        (lambda: parse_area_m2(text, "ft2"), LARGEST_M2),
        (lambda: parse_volume_l(text, "qt"), LARGEST_L),
    ]
    for reader, most in readers:
        refusal, value = "", most
        try:
            value = reader()
        except ValueError as error:
            refusal = str(error)
        assert refusal == "" or refusal.endswith(".")
        assert 0 < value <= most


@pytest.mark.parametrize("typed", ["1.200", "1,200", "1.200 cm", "87,600 cm", "about 1.200"])
def test_thousandths_of_a_centimetre_are_asked_about(typed: str) -> None:
    with pytest.raises(ValueError, match="two ways"):
        parse_length_mm(typed, "cm")


def test_three_decimals_where_they_can_be_meant() -> None:
    assert parse_length_mm("1.200 m", "cm") == 1200
    assert parse_length_mm("1,200 mm", "cm") == 1200
    assert parse_length_mm("0.125", "cm") == Decimal("1.25")
    assert parse_length_mm("34.125", "in") == Decimal("866.775")
