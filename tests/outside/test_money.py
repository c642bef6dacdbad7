"""Money against what is published: section 324's wording, ISO 4217's minor units as CLDR carries them."""

import csv
from decimal import Decimal
from pathlib import Path

import pytest
from babel.core import get_global

from shopdesk.craft.money import CURRENCIES, FUNDS, minor_units
from shopdesk.craft.pricing import DepositRule, Line, PieceLines, TaxRule, totals
from shopdesk.craft.rounding import ssuta_324

REFERENCE = Path(__file__).resolve().parents[2] / "shared" / "reference"


def rows(name: str) -> list[dict[str, str]]:
    lines = (REFERENCE / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


# Source: Streamlined Sales and Use Tax Agreement, section 324 (A); the table gives the wording.
@pytest.mark.parametrize(
    "row", rows("ssuta_324_cents.csv"), ids=lambda row: f"{row['amount']}@{row['rate_percent']}"
)
def test_tax_worked_by_hand(row: dict[str, str]) -> None:
    product = Decimal(row["amount"]) * Decimal(row["rate_percent"]) / 100
    assert product == Decimal(row["product"])
    third = int(row["carried"][-1])
    cents_cut_off = Decimal(row["carried"][:-1])
    assert Decimal(row["tax"]) == cents_cut_off + (
        Decimal("0.01") if third > 4 else 0
    )  # the table keeps the wording
    assert ssuta_324(product) == Decimal(row["tax"])


# Source: the same section, 324 (A)(1): what lies behind the third decimal decides nothing.
def test_only_the_third_decimal_decides() -> None:
    for third in range(10):
        for behind in ("", "0", "9", "49999", "99999999999999999999"):
            expected = Decimal("1.24") if third > 4 else Decimal("1.23")
            assert ssuta_324(Decimal(f"1.23{third}{behind}")) == expected


# Source: the same section, 324 (B): on an item or an invoice basis, as the seller elects. Worked by hand:
# 0.99 at 6.25 % = 0.061875, carried 0.061, rounded 0.06, three times 0.18; 2.97 at 6.25 % = 0.185625, 0.185,
# 0.19. 1.00 at 6.5 % = 0.065, rounded 0.07, three times 0.21; 3.00 at 6.5 % = 0.195, 0.20.
@pytest.mark.parametrize(
    ("price", "rate", "by_item", "by_invoice"),
    [("0.99", "6.25", "0.18", "0.19"), ("1.00", "6.5", "0.21", "0.20")],
)
def test_item_and_invoice_basis(price: str, rate: str, by_item: str, by_invoice: str) -> None:
    line = Line(Decimal(1), Decimal(price), taxable=True)
    pieces = [PieceLines("chair", (line, line)), PieceLines("stool", (line,))]
    item = totals(pieces, [], TaxRule(Decimal(rate), "item"), DepositRule(), "USD")
    invoice = totals(pieces, [], TaxRule(Decimal(rate), "invoice"), DepositRule(), "USD")
    assert (item.tax, invoice.tax) == (Decimal(by_item), Decimal(by_invoice))


# Source: ISO 4217 list one, 1 January 2026, against Unicode CLDR's currency_fractions as Babel carries it.
def test_minor_units_against_cldr() -> None:
    fractions = get_global("currency_fractions")
    default = fractions["DEFAULT"][0]
    differing = {
        (code, minor_units(code), fractions.get(code, (default,))[0])
        for code in CURRENCIES | FUNDS
        if minor_units(code) != fractions.get(code, (default,))[0]
    }
    assert differing == {
        (row["currency"], int(row["iso"]), int(row["cldr"])) for row in rows("iso4217_cldr.csv")
    }


# Source: Unicode CLDR's territory currencies (tender today, no end date), as Babel carries them.
def test_every_money_in_use_is_listed() -> None:
    in_use = {
        code
        for entries in get_global("territory_currencies").values()
        for code, _since, until, is_tender in entries
        if until is None and is_tender
    }
    assert len(in_use) > 140
    # BGN left ISO's list when Bulgaria took the euro on 1 January 2026; this CLDR still counts it as in use.
    assert in_use - CURRENCIES <= {"BGN"}
    # ISO lists Venezuela's second code for the same bolívar, and the colón that El Salvador never withdrew.
    assert CURRENCIES - in_use == {"VED", "SVC"}
