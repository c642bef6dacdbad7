"""Materials and steps as CSV files [RFC 4180], there and back."""

from __future__ import annotations

import csv
import io
from decimal import Decimal

import pytest

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.pricebook import actions, queries, sheets
from shopdesk.pricebook.models import Can, Material, Sheet, StepRate
from shopdesk.pricebook.typed import MaterialFacts, StepRateFacts, can_of
from shopdesk.shop.models import Shop

pytestmark = pytest.mark.django_db


def materials(text: str, shop: Shop) -> sheets.Reading[MaterialFacts]:
    return sheets.read_materials(text, shop, Material.objects.prefetch_related("cans"))


def told(reading: sheets.Reading[MaterialFacts]) -> list[tuple[int, str]]:
    return [(fault.line, fault.sentence) for fault in reading.faults]


@pytest.fixture
def german(shop: Shop) -> Shop:
    shop.locale, shop.currency, shop.units = "de_DE", "EUR", "cm"
    shop.save()
    return shop


@pytest.mark.parametrize("locale", ["en_US", "de_DE", "fr_CH", "ar_EG"])
def test_what_is_written_is_read_back_as_it_was(locale: str, book: None, shop: Shop) -> None:
    shop.locale = locale
    out = sheets.write_materials(queries.materials(), shop)
    reading = materials(sheets.text_of(out), shop)
    assert reading.faults == []
    assert len(reading.changes) == 13
    assert [change.facts.name for change in reading.changes if change.matters] == []
    steps = sheets.read_step_rates(
        sheets.text_of(sheets.write_step_rates(queries.step_rates(), shop)), shop, StepRate.objects.all()
    )
    assert steps.faults == []
    assert [change.facts.name for change in steps.changes if change.matters] == []


def test_it_is_written_as_rfc_4180_says(book: None, shop: Shop) -> None:
    out = sheets.write_materials(queries.materials(), shop)
    assert out.startswith(b"\xef\xbb\xbfname,kind,purpose,")
    assert out.count(b"\r\n") == out.count(b"\n")
    rows = list(csv.reader(io.StringIO(out.decode("utf-8-sig"), newline=""), strict=True))
    assert {len(row) for row in rows} == {len(rows[0])}


def test_a_shop_with_a_decimal_comma_writes_semicolons(book: None, german: Shop) -> None:
    text = sheets.write_materials(queries.materials(), german).decode("utf-8-sig")
    assert text.startswith("name;kind;purpose;")
    assert ";1,01;" in text


FORMULAS = ["=1+1", "+cmd|' /C calc'!A0", "-2", "@SUM(A1)", "'tis", "'=1", "''"]


@pytest.mark.parametrize("words", FORMULAS)
def test_no_cell_is_a_formula_and_it_comes_back_as_it_was(words: str, as_owner: Who, shop: Shop) -> None:
    actions.keep_material(MaterialFacts("Oil", "oil", words, spread_m2_per_l=Decimal(1)), as_owner)
    text = sheets.text_of(sheets.write_materials(queries.materials(), shop))
    rows = list(csv.reader(io.StringIO(text, newline="")))
    assert not any(cell.startswith(("=", "+", "-", "@")) for row in rows for cell in row)
    (change,) = materials(text, shop).changes
    assert change.facts.purpose == words


@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("separator", [",", ";"])
@pytest.mark.parametrize("ending", ["\r\n", "\n"])
def test_either_separator_and_ending_with_and_without_a_mark(
    separator: str, ending: str, mark: str, shop: Shop
) -> None:
    lines = [["Name", "KIND", "can", "Price"], ["Oil", "oil", "1 qt", "58.50"], ["Oil", "", "1 gal", "190"]]
    data = (mark + ending.join(separator.join(line) for line in lines)).encode()
    reading = materials(sheets.text_of(data), shop)
    assert reading.faults == []
    (change,) = reading.changes
    assert change.new
    assert change.facts.cans == [can_of("1 qt", Decimal("58.50")), can_of("1 gal", Decimal(190))]


def test_a_decimal_comma_is_read_by_the_shops_locale(german: Shop) -> None:
    text = "name;volume solids %;dry film µm;can;price\nLack;36,5;32;2,5 L;1.234,50\n"
    (change,) = materials(text, german).changes
    assert change.facts.volume_solids_percent == Decimal("36.5")
    assert change.facts.cans == [can_of("2,5 L", Decimal("1234.50"))]


def test_a_cell_with_line_breaks_and_quotes_counts_its_lines(shop: Shop) -> None:
    text = 'name,cautions,coats\nOil,"Rags burn.\nSpread ""them"" out.",1\nWax,,many\n'
    assert told(materials(text, shop)) == [(4, "coats: Write a number, such as 2 or 2.5.")]
    (oil, _) = materials(text.replace("many", "2"), shop).changes
    assert oil.facts.cautions == 'Rags burn.\nSpread "them" out.'


def test_everything_that_is_wrong_is_told_by_line(shop: Shop) -> None:
    text = "\n".join(
        [
            "name,kind,volume solids %,dry film µm,coats,can,price",
            "Lacquer,clear coat,120,0,1,1 qt,30",
            ",oil,,,1,,",
            "Oil,oil,,,400,1 oz,30",
            "Oil,wax,,,,1 gal,-3",
            "Wax,jelly,,,1,,12",
            "",
            "Stain,stain,,,1.5,1 qt,",
        ]
    )
    reading = materials(text, shop)
    assert reading.changes == []
    assert [line for line, _ in told(reading)] == [2, 2, 3, 4, 4, 5, 5, 6, 6, 8, 8]
    sentences = dict.fromkeys(sentence for _, sentence in told(reading))
    assert "It has no name." in sentences
    assert "coats: Between 1 and 30 coats." in sentences
    assert "kind: line 4 says “oil” for it." in sentences
    assert "can: Please write an amount without a minus sign." in sentences
    assert not Material.objects.exists()


@pytest.mark.parametrize(
    ("text", "line", "sentence"),
    [
        ("name,colour\nOil,red\n", 1, "We do not know the column “colour”."),
        ("kind,coats\noil,1\n", 1, "There is no column “name”."),
        ("name,name\nOil,Oil\n", 1, "A column is there twice."),
        ("name,can\nOil,1 qt\n", 1, "The columns “can” and “price” go together."),
        ("name,coats\nOil\n", 2, "It has 1 cells where the first line has 2."),
        ('name,coats\n"Oil"x,1\n', 2, "The quotes on this line do not pair up"),
        ('name,coats\n"Oil,1\n', 2, "The quotes on this line do not pair up"),
        ("name,coats\n", 1, "There is nothing under the first line."),
        ("name\n" + "Oil\n" * 5000, 5001, "At most 5,000 lines"),
    ],
)
def test_a_file_that_cannot_be_read_says_where(text: str, line: int, sentence: str, shop: Shop) -> None:
    fault = materials(text, shop).faults[-1]
    assert fault.line == line
    assert fault.sentence.startswith(sentence)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "empty"),
        (b"\xef\xbb\xbf \r\n", "empty"),
        ("name\nÖl".encode("latin-1"), "UTF-8"),
        ("name\nOil".encode("utf-16"), "UTF-8"),
        (b"name\n\0", "not a CSV"),
        (b"n" * (5 * 1024 * 1024 + 1), "5 MB"),
    ],
)
def test_bytes_that_are_no_such_file(data: bytes, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        sheets.text_of(data)


def test_a_column_that_is_not_there_leaves_what_is_known(book: None, shop: Shop) -> None:
    (change,) = materials("name,coats\nhardwax OIL,3\n", shop).changes
    assert not change.new
    assert change.changed == ("name", "coats")
    assert change.facts.spread_m2_per_l == Decimal(22)
    assert [can.label for can in change.facts.cans] == ["1 qt", "1 gal"]


def take(kind: str, text: str, shop: Shop, who: Who) -> int:
    return actions.take_in(Sheet.objects.create(kind=kind, text=text), shop, who)


def test_a_file_is_taken_in_once_with_known_rows_written_anew(book: None, as_owner: Who, shop: Shop) -> None:
    waiting = Sheet.objects.create(
        kind="materials", text="name,can,price\nHardwax oil,1 qt,61\nSoap,750 mL,9\n"
    )
    assert actions.take_in(waiting, shop, as_owner) == 2
    assert Material.objects.count() == 14
    assert Can.objects.get(material__name="Hardwax oil").price == 61
    with pytest.raises(Refused):
        actions.take_in(Sheet(pk=waiting.pk, kind="materials", text=waiting.text), shop, as_owner)


def test_nothing_is_half_taken_in(book: None, as_owner: Who, shop: Shop) -> None:
    with pytest.raises(Refused, match="Line 3"):
        take("materials", "name,coats\nSoap,1\nHardwax oil,400\n", shop, as_owner)
    assert not Material.objects.filter(name="Soap").exists()
    assert Sheet.objects.count() == 1
    with pytest.raises(Refused, match="Line 3"):
        take("steps", "name,minutes per m²\nPolish,5\nSand,-5\n", shop, as_owner)
    assert not StepRate.objects.filter(name="Polish").exists()


def test_steps_are_taken_in(book: None, as_owner: Who, shop: Shop) -> None:
    text = (
        "name,kind,minutes per m2,each coat,outlay per piece\n"
        "sand,preparation,12.5,no,\n"
        "Polish,finish,30,yes,4.20\n"
    )
    assert take("steps", text, shop, as_owner) == 2
    assert StepRate.objects.get(name="sand").minutes_per_m2 == Decimal("12.5")
    assert StepRate.objects.get(name="sand").minutes_per_drawer == 2
    polish = StepRate.objects.get(name="Polish")
    assert (polish.per_coat, polish.outlay_per_piece) == (True, Decimal("4.20"))


def test_a_step_twice_in_a_file_is_told(shop: Shop) -> None:
    text = "name,minutes once\nSand,1\nsand,2\n"
    reading: sheets.Reading[StepRateFacts] = sheets.read_step_rates(text, shop, [])
    assert [(fault.line, fault.sentence) for fault in reading.faults] == [
        (3, "This step is on line 2 already.")
    ]
