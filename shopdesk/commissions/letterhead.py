"""How the shop and the client stand at the head of a document: plain strings, as `documents` freezes them."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from shopdesk.clients.models import Client
from shopdesk.craft import bank
from shopdesk.documents import codes
from shopdesk.shop.models import Shop


def letterhead(shop: Shop, client: Client) -> dict[str, Any]:
    """The parts that every document begins with: `shop`, `client`, `lang` and `page_size`."""
    return {
        "shop": {
            "name": shop.name,
            "tagline": shop.tagline,
            "address_lines": shop.address_lines,
            "email": shop.email,
            "phone": shop.phone,
            "tax_number": shop.tax_number,
        },
        "client": {"name": client.name, "address_lines": client.address_lines},
        "lang": "en",  # what our own words are written in, whatever way the shop writes its figures
        "page_size": shop.paper,
    }


def bank_lines(shop: Shop) -> list[dict[str, str]]:
    """How money is transferred to the shop, as label and value; empty when it has not said."""
    if not (shop.iban or shop.bank_words.strip()):
        return []
    lines = [
        ("Account holder", shop.bank_holder or shop.name),
        ("IBAN", bank.print_iban(shop.iban) if shop.iban else ""),
        ("BIC", shop.bic),
        ("Bank", shop.bank_name),
        *(("", line.strip()) for line in shop.bank_words.splitlines()),
    ]
    return [{"label": label, "value": value} for label, value in lines if value]


def payment_code(shop: Shop, currency: str, due: Decimal, what_for: str, said: str) -> dict[str, str]:
    """The code from which a banking app reads a transfer in euro (EPC069-12): `code_ref`, a picture for a
    document, and `code_alt`, what it says. Both empty where there can be none: another currency, no IBAN, an
    account outside the area, nothing due. `said` is the sum as it is written."""
    nothing = {"code_ref": "", "code_alt": ""}
    if currency != "EUR" or not shop.iban:
        return nothing
    holder = (shop.bank_holder or shop.name)[:70]
    try:
        text = bank.payment_code_text(holder, shop.iban, due, text=what_for, bic=shop.bic)
    except ValueError:
        return nothing
    return {
        "code_ref": codes.ref_of(text.encode()),
        "code_alt": f"Payment code for banking apps: {said} to {holder}, for {what_for}",
    }
