"""What each kind of paper is made of, for the checks of the PDFs, and how it is set."""

from __future__ import annotations

import io
from datetime import date
from typing import Any

from PIL import Image

from shopdesk.base.blobs import Blob
from shopdesk.documents import codes, render
from shopdesk.documents.models import Document

STRIPPED = "Stripped to the walnut, drawers eased."
PIECES = [
    ("Writing desk", "55 1/8 × 23 5/8 × 30 in", [STRIPPED, "Oiled and waxed."], "320.00"),
    ("Chair with a caned seat", "", ["Cleaned, loose joints glued."], "80.00"),
]

BANK = [
    {"label": "Account holder", "value": "Tidewell Bench"},
    {"label": "IBAN", "value": "DE89 3704 0044 0532 0130 00"},
]

QUOTE: dict[str, Any] = {
    "shop": {
        "name": "Tidewell Bench",
        "tagline": "Furniture refinished to commission",
        "address_lines": ["8 Slip Lane", "Port Marrin"],
        "email": "hello@tidewell.example.com",
        "phone": "555-0118",
        "tax_number": "",
    },
    "client": {"name": "Ottoline Brask", "address_lines": ["3 Gull Steps"]},
    "lang": "en",
    "page_size": "A4",
    "number": "26-001",
    "revision": "2",
    "title": "A price for your writing desk and chair",
    "sent_on": "14 March",
    "good_until": "13 April",
    "starts_on": "4 May",
    "ready_on": "22 May",
    "currency_code": "USD",
    "pieces": [
        {
            "name": name,
            "size": size,
            "words": words,
            "price": price,
            "picture_ref": f"pictures:{number}:medium",
            "picture_alt": f"{name}, as it is now",
            "lines": [{"text": "Wax", "quantity": "2", "unit": "tins", "amount": "24.00"}]
            if number == 1
            else [],
        }
        for number, (name, size, words, price) in enumerate(PIECES, start=1)
    ],
    "options": [{"id": "1", "text": "A clear-coated top", "price": "60.00", "taxable": "yes"}],
    "options_note": "tax is added to it",
    "sums": [
        {"kind": "line", "label": "Together", "amount": "$400.00"},
        {"kind": "line", "label": "Sales tax, 6.25 %", "amount": "$25.00"},
        {"kind": "total", "label": "Total", "amount": "$425.00"},
    ],
    "included": ["Taking off and refitting the hardware"],
    "not_included": ["Upholstery", "Collection"],
    "notes": ["The deposit books the place in the queue."],
    "lead_caution": "may hold lead; we test before sanding.",
    "sample_promise": "you approve a sample first.",
    "deposit_words": "The deposit of $212.50 is part of the price.",
    "how_to_accept": "Accept on your page, or sign here.",
    "bank": BANK,
    # What a quote may be frozen with, but only the desk sees.
    "cost_of_materials": "31.07 for the owner only",
}


HEAD = {name: QUOTE[name] for name in ("shop", "client", "lang", "page_size")}
CHANGE: dict[str, Any] = {
    **HEAD,
    "number": "26-001",
    "change": "1",
    "title": "A change to your writing desk",
    "sent_on": "2 May 2026",
    "said": "Quote 26-001, revision 2, accepted 20 March 2026",
    "currency_code": "USD",
    "reason": ["Under the old paint the left rail is eaten by worm."],
    "words": ["A new rail in ash, let in and glued."],
    "price": "120.00",
    "price_words": "$127.50 more, tax included",
    "pictures": [
        {"ref": f"pictures:{number}:medium", "alt": f"What we found, picture {number}"}
        for number in (1, 2, 3)
    ],
    "sums": [
        {"kind": "sum", "label": "Without tax", "amount": "120.00"},
        {"kind": "sum", "label": "Sales tax, 6.25 %", "amount": "7.50"},
        {"kind": "sum", "label": "This change, tax included", "amount": "+127.50"},
        {"kind": "sum", "label": "Agreed until now, tax included", "amount": "425.00"},
        {"kind": "total", "label": "Together", "amount": "$552.50"},
    ],
    "time_words": ["It takes 4 days longer: ready about 26 May 2026 instead of 22 May 2026."],
    "how_to_accept": "On your page you can accept it. Or tick and sign here.",
}

INVOICE: dict[str, Any] = {
    **HEAD,
    "heading": "Invoice I-2026-0002",
    "name": "Invoice",
    "number": "I-2026-0002",
    "commission_number": "26-001",
    "issued_on": "26 May 2026",
    "done_on": "26 May 2026",
    "currency_code": "EUR",
    "about": ["Quote 26-001, revision 2, accepted 20 March 2026."],
    "head": "What was agreed and done",
    "rows": [
        {"name": name, "size": size, "words": words, "price": price} for name, size, words, price in PIECES
    ],
    "sums": [
        {"kind": "sum", "label": "Together, without tax", "amount": "400.00"},
        {"kind": "sum", "label": "VAT, 19 %", "amount": "76.00"},
        {"kind": "total", "label": "Total", "amount": "€476.00"},
        {
            "kind": "after",
            "label": "Received 21 March 2026, bank transfer, receipt R-2026-0001",
            "amount": "−238.00",
        },
        {"kind": "total", "label": "Due now", "amount": "€238.00"},
    ],
    "vat": [
        {"label": "All that was agreed", "net": "400.00", "tax": "76.00", "gross": "476.00"},
        {"label": "Less invoice I-2026-0001", "net": "−200.00", "tax": "−38.00", "gross": "−238.00"},
        {"label": "In this invoice", "net": "200.00", "tax": "38.00", "gross": "238.00"},
    ],
    "bank": BANK,
    "bank_head": "By bank transfer",
    "reference": "Please name invoice I-2026-0002.",
    "code_ref": codes.ref_of(b"BCD\n002\n1\nSCT\n\nTidewell Bench\nDE89370400440532013000\nEUR238.00"),
    "code_alt": "Payment code for banking apps: €238.00 to Tidewell Bench",
}

RECEIPT: dict[str, Any] = {
    **HEAD,
    "number": "R-2026-0001",
    "commission_number": "26-001",
    "received_on": "21 March 2026",
    "written_on": "21 March 2026",
    "how": "bank transfer",
    "amount": "€238.00",
    "purpose": "The deposit.",
    "sums": [
        {"kind": "sum", "label": "Price agreed, tax included", "amount": "€476.00"},
        {"kind": "sum", "label": "Received so far", "amount": "−€238.00"},
        {"kind": "total", "label": "Still due", "amount": "€238.00"},
    ],
    "bank": BANK,
    "bank_head": "For the rest, by bank transfer",
}

TITLES = {"quote": "Quote", "change": "Change", "invoice": "Invoice", "receipt": "Receipt"}
PAPERS: dict[str, tuple[str, dict[str, Any]]] = {
    "quote": ("quote", QUOTE),
    # One whose table goes over several pages.
    "long quote": (
        "quote",
        {
            **QUOTE,
            "pieces": [{**QUOTE["pieces"][n % 2], "name": f"Piece {n}"} for n in range(24)],
            "notes": ["A sentence of the terms. " * 40] * 4,
        },
    ),
    "change": ("change", CHANGE),
    "invoice": ("invoice", INVOICE),
    "long invoice": (
        "invoice",
        {**INVOICE, "rows": [{**INVOICE["rows"][n % 2], "name": f"Piece {n}"} for n in range(40)]},
    ),
    "receipt": ("receipt", RECEIPT),
}
"""Every kind of paper, by what it is called here: its template and its content."""


def rendered(content: dict[str, Any], template: str = "quote") -> bytes:
    """The PDF of a document with that content; where it shows a photograph, one of nothing in particular."""
    document = Document(
        template=template, title=TITLES[template], content=content, dated_on=date(2026, 3, 14)
    )
    html = render.html_of(document)
    pictures = {
        ref: codes.fetch(ref.removeprefix("code:")) if ref.startswith("code:") else _photograph(n)
        for n, ref in enumerate(render.pictures_in(html))
    }
    pdf = render.pdf_bytes(
        html, identifier=render.identifier_of(document), dated_on=document.dated_on, pictures=pictures
    )
    return pdf.data


def _photograph(seed: int) -> Blob:
    """Something with as much detail as a photograph of wood."""
    buffer = io.BytesIO()
    grain = Image.effect_noise((300, 1200), 40 + seed).resize((1200, 900)).convert("RGB")
    grain.save(buffer, "WEBP", quality=82)
    return Blob(buffer.getvalue(), "image/webp")
