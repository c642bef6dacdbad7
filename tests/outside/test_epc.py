"""The payment code on an invoice, read back by readers that know nothing of this program: the PDF is drawn
by PDFium, and the code in it decoded by ZXing-C++.

EPC069-12, "Quick response code: guidelines to enable data capture for the initiation of a SEPA credit
transfer" (European Payments Council), version 2.1: its table of data elements, from memory and as published
examples have it. ISO/IEC 18004: the code itself. The IBAN is the example that the SWIFT IBAN registry
publishes for Germany (ISO 13616).
"""

from __future__ import annotations

import re
from decimal import Decimal

import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from shopdesk.commissions.letterhead import payment_code
from shopdesk.documents import codes
from shopdesk.shop.models import Shop
from tests.outside.papers import INVOICE, rendered

IBAN = "DE89370400440532013000"


def shop(**other: str) -> Shop:
    values = {
        "name": "Tidewell Bench",
        "iban": IBAN,
        "bic": "COBADEFFXXX",
        "currency": "EUR",
        "bank_holder": "",
    }
    return Shop(**{**values, **other})  # never saved


def read(page: Image.Image) -> list[zxingcpp.Barcode]:
    return list(zxingcpp.read_barcodes(page, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)))


def printed(code: dict[str, str], dpi: int) -> Image.Image:
    """The last page of an invoice with that code, as a printer of that fineness would set it."""
    data = rendered({**INVOICE, **code}, "invoice")
    pages = pypdfium2.PdfDocument(data)
    picture: Image.Image = pages[len(pages) - 1].render(scale=dpi / 72, grayscale=True).to_pil()
    return picture


@pytest.mark.parametrize("dpi", [150, 300])
@pytest.mark.parametrize(
    ("holder", "due", "what_for"),
    [
        ("Runa Castellan", "1190.00", "Invoice I-2026-0001"),
        ("Ζωή & Søn, Möbelwerkstätte", "0.01", "Rechnung für “Κομό” № 7"),
        ("W" * 70, "999999999.99", "x" * 140),
    ],
)
def test_the_code_on_the_paper_says_the_transfer(dpi: int, holder: str, due: str, what_for: str) -> None:
    code = payment_code(shop(bank_holder=holder), "EUR", Decimal(due), what_for, "€1,190.00")
    found = read(printed(code, dpi))
    assert len(found) == 1
    lines = found[0].bytes.decode("utf-8").split("\n")
    assert lines == [
        "BCD",  # service tag
        "002",  # version
        "1",  # character set: UTF-8
        "SCT",  # identification: SEPA credit transfer
        "COBADEFFXXX",  # BIC of the beneficiary's bank
        holder,  # name of the beneficiary, at most 70 characters
        IBAN,  # account number of the beneficiary, only IBAN
        f"EUR{due}",  # amount
        "",  # purpose
        "",  # remittance information, structured
        what_for,  # remittance information, unstructured, at most 140
    ]
    assert found[0].ec_level == "M", "error correction level M"
    assert len(found[0].bytes) <= 331


def test_the_longest_fits_into_what_the_guidelines_allow() -> None:
    """At most version 13, which is 69 modules wide (ISO/IEC 18004: 17 + 4 × version), and four of white
    around it."""
    code = payment_code(shop(bank_holder="W" * 70), "EUR", Decimal("999999999.99"), "x" * 140, "")
    drawn = codes.fetch(code["code_ref"].partition(":")[2])
    assert drawn.mime == "image/svg+xml"
    width = re.search(rb'<svg [^>]*width="(\d+)"', drawn.data)
    assert width is not None
    assert int(width[1]) <= 4 + 69 + 4


@pytest.mark.parametrize(
    ("other", "currency", "due"),
    [
        ({}, "USD", "10"),
        ({"iban": ""}, "EUR", "10"),
        ({}, "EUR", "0"),
        ({"iban": "AE070331234567890123456"}, "EUR", "10"),
        ({"iban": "GB29NWBK60161331926819", "bic": ""}, "EUR", "10"),
    ],
)
def test_no_code_where_no_transfer_can_be_read(other: dict[str, str], currency: str, due: str) -> None:
    """Another currency; no account; nothing due; outside the area; outside the EEA without a BIC."""
    assert payment_code(shop(**other), currency, Decimal(due), "Invoice", "") == {
        "code_ref": "",
        "code_alt": "",
    }
