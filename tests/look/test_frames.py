"""The frames around pages, documents and emails: what is said when something is missing, long or hostile."""

from __future__ import annotations

import io
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.contrib.messages import constants
from django.contrib.messages.storage.base import Message
from django.template.loader import render_to_string
from django.test import RequestFactory
from lxml import html
from pypdf import PdfReader
from weasyprint import HTML

import shopdesk.look
from shopdesk.look import fonts

ERRORS = ["400.html", "403.html", "403_csrf.html", "404.html", "429.html", "500.html"]
STATIC = Path(shopdesk.look.__file__).parent / "static"

SHOP = {
    "name": "Tidewell Bench",
    "tagline": "Furniture refinished to commission",
    "address_lines": ["8 Slip Lane", "Port Marrin"],
    "email": "hello@tidewell.example.com",
    "phone": "555-0118",
    "tax_number": "",
}
QUOTE: dict[str, Any] = {
    "shop": SHOP,
    "client": {"name": "Ottoline Brask", "address_lines": ["3 Gull Steps"]},
    "number": "26-014",
    "revision": 2,
    "title": "A price for your writing desk",
    "sent_on": "5 November 2026",
    "good_until": "19 November",
    "starts_on": "18 November",
    "ready_on": "9 December",
    "currency_code": "USD",
    "pieces": [
        {
            "name": "Writing desk, walnut",
            "size": "140 × 70 × 76 cm",
            "words": ["Clean, scuff, seal.", "Three coats of clear matt."],
            "price": "520.00",
            "picture_ref": None,
            "picture_alt": "",
            "lines": [{"text": "Enamel", "quantity": "1.5", "unit": "litres", "amount": "64.00"}],
        }
    ],
    "options": [{"text": "New brass knobs", "price": "72.50", "taxable": True}],
    "sums": [
        {"label": "Together", "amount": "520.00", "kind": "sum"},
        {"label": "Total", "amount": "$520.00", "kind": "total"},
        {"label": "Deposit, part of the total", "amount": "260.00", "kind": "after"},
    ],
    "included": ["Refitting the hardware"],
    "not_included": ["Upholstery"],
    "notes": ["If we find hidden damage we stop and ask."],
    "lead_caution": "we test before we sand.",
    "sample_promise": "you approve a painted sample first.",
    "deposit_words": "",
    "how_to_accept": "On your page, or sign here.",
    "page_size": "Letter",
    "lang": "en",
}
RECEIPT: dict[str, Any] = {
    "shop": SHOP,
    "client": QUOTE["client"],
    "number": "R-2026-0007",
    "commission_number": "26-014",
    "received_on": "7 November 2026",
    "how": "by bank transfer",
    "amount": "$260.00",
    "purpose": "The deposit for your writing desk.",
    "sums": [{"label": "Still due", "amount": "$260.00", "kind": "total"}],
    "page_size": "A4",
    "lang": "en",
}


def shown(template: str, context: dict[str, Any]) -> html.HtmlElement:
    return html.document_fromstring(render_to_string(template, context))


@pytest.mark.parametrize("template", ERRORS)
def test_a_page_about_an_error_needs_nothing(template: str) -> None:
    """Django shows these with no context at all when things are at their worst."""
    page = shown(template, {})
    assert page.get("lang") == "en"
    assert page.findtext(".//title")
    assert len(page.xpath("//h1")) == 1
    assert page.xpath("//main[@id='main']")
    assert page.xpath("//*[@style] | //style | //script[not(@src)]") == []


def test_what_a_page_links_to_is_there() -> None:
    page = shown("base.html", {})
    linked = [str(value) for value in page.xpath("//link/@href | //script/@src") if "shopdesk/" in value]
    assert len(linked) == 4
    assert [value for value in linked if not (STATIC / value.removeprefix("/static/")).is_file()] == []
    sheet = (STATIC / "shopdesk" / "paper.css").read_text()
    assert [face.file for face in fonts.FACES if f'url("../fonts/{face.file}")' not in sheet] == []


def test_messages_are_announced_as_what_they_are() -> None:
    said = [Message(constants.SUCCESS, "It is in the book."), Message(constants.ERROR, "<b>No</b>")]
    page = shown("base.html", {"messages": said})
    assert [(line.get("role"), line.get("class"), line.text) for line in page.xpath("//main/p")] == [
        ("status", "kept", "It is in the book."),
        ("alert", "wrong", "<b>No</b>"),
    ]


def test_the_clients_page_says_whose_it_is() -> None:
    page = shown("portal/base.html", {"shop": SHOP, "client": {"name": "Ottoline <i>Brask</i>"}})
    assert "for Ottoline <i>Brask</i>" in page.find(".//header").text_content()
    assert page.xpath("//footer//a/@href") == ["tel:555-0118", "mailto:hello@tidewell.example.com"]
    bare = shown("portal/base.html", {"shop": None})
    assert bare.xpath("//footer") == []


def test_the_desk_marks_where_one_is() -> None:
    someone = SimpleNamespace(is_authenticated=True, name="Runa Castellan")
    context = {"shop": SHOP, "user": someone, "nav": "commissions", "request": RequestFactory().get("/")}
    page = shown("desk/base.html", context)
    assert [link.text for link in page.xpath("//nav//a[@aria-current='page']")] == ["Commissions"]
    assert [link.text for link in page.xpath("//nav//a")] == ["Today", "Commissions", "Emails", "Shop"]
    stranger = shown("desk/base.html", {"shop": SHOP, "user": SimpleNamespace(is_authenticated=False)})
    assert stranger.xpath("//nav | //form") == []


@pytest.mark.parametrize(("template", "content"), [("quote.html", QUOTE), ("receipt.html", RECEIPT)])
def test_a_document_is_built_for_those_who_listen(template: str, content: dict[str, Any]) -> None:
    page = shown(f"documents/{template}", content)
    assert page.get("lang") == "en"
    assert SHOP["name"] in page.findtext(".//title")
    assert len(page.xpath("//h1")) == 1
    assert page.xpath("//th[not(@scope)] | //img[not(@alt)] | //h3") == []
    assert page.xpath("//tr[not(th)]") == []


def test_what_people_wrote_stays_words_in_a_document() -> None:
    hostile = '<script>x</script>"; } @page { size: A9 }'
    content = {
        **QUOTE,
        "client": {"name": hostile, "address_lines": [hostile]},
        "title": hostile,
        "page_size": hostile,
        "notes": [hostile],
    }
    page = shown("documents/quote.html", content)
    assert page.xpath("//script") == []
    assert hostile not in page.xpath("//style")[0].text
    assert "size: Letter" in page.xpath("//style")[0].text
    assert page.findtext(".//h1") == hostile


@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_an_ordinary_quote_is_one_or_two_sheets(paper: str, points: tuple[int, int]) -> None:
    chairs = {
        **QUOTE["pieces"][0],
        "name": "Two chairs",
        "words": ["Clean, scuff, seal, prime, three coats of green. "] * 2,
    }
    content = {**QUOTE, "page_size": paper, "pieces": [*QUOTE["pieces"], chairs]}
    pdf = _pdf("documents/quote.html", content)
    assert len(pdf.pages) <= 2
    assert (round(pdf.pages[0].mediabox.width), round(pdf.pages[0].mediabox.height)) == points
    words = " ".join(page.extract_text() for page in pdf.pages)
    for said in (
        "Writing desk, walnut",
        "520.00",
        "New brass knobs",
        "1 of ",
        "Quote 26-014, revision 2",
        "Signature",
    ):
        assert said in words


def test_a_very_long_quote_loses_nothing() -> None:
    lines = [{"text": f"Line {n}", "quantity": "1", "unit": "hour", "amount": f"{n}.00"} for n in range(200)]
    piece = {**QUOTE["pieces"][0], "name": "Ж" * 120, "words": [f"Paragraph {n}. " * 40 for n in range(30)]}
    content = {**QUOTE, "pieces": [{**piece, "lines": lines}] * 2, "notes": ["Terms without end. " * 400]}
    pdf = _pdf("documents/quote.html", content)
    words = " ".join(page.extract_text() for page in pdf.pages)
    assert [n for n in range(200) if words.count(f"Line {n},") != 2] == []
    assert words.count("Terms without end.") == 400
    assert [n for n in range(30) if words.count(f"Paragraph {n}.") != 80] == []


def _pdf(template: str, content: dict[str, Any]) -> PdfReader:
    source = render_to_string(template, {**content, "font_faces": fonts.document_faces()})
    return PdfReader(io.BytesIO(HTML(string=source).write_pdf(pdf_variant="pdf/ua-1")))
