"""What the owner sees of costs, hours and margin never reaches the client: not in the page, the PDF and its
metadata, nor the email."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from django.core.mail import EmailMessage
from django.test import Client as Browser
from django.urls import reverse
from pypdf import PdfReader

from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission
from shopdesk.pricebook.models import Schedule, ShopRates
from shopdesk.quotes import actions
from shopdesk.quotes.models import Estimate, Quote
from shopdesk.quotes.queries import draft_of
from shopdesk.shop.models import Shop
from tests.quotes.test_estimates import draft, measured, schedule  # noqa: F401
from tests.quotes.test_pages import at, sheet

pytestmark = pytest.mark.django_db


def test_nothing_of_it_goes_out(
    desk: Browser,
    portal: Browser,
    commission: Commission,
    draft: Quote,  # noqa: F811
    shop: Shop,
    schedule: Schedule,  # noqa: F811
    as_owner: Who,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
    settings: Any,
) -> None:
    # figures that nothing else on a page could happen to be
    ShopRates.objects.update(wanted_hourly=Decimal("67.89"), floor_hourly=Decimal("43.21"))
    url = at("desk:quote", commission)
    own = measured(schedule, **{"est-0-put-cost": "77.13"})
    typed = sheet(commission, draft.edition, shop, **own)
    live = desk.post(at("desk:quote-sums", commission), typed).content.decode()
    desk.post(url, typed)
    secret = set(re.findall(r"\d[\d,]*\.\d\d", re.sub(r"<[^>]+>", " ", _glance(live))))
    secret |= {"67.89", "43.21", "77.13"}
    kept = draft_of(commission)
    assert kept is not None
    quote = actions.send(commission, kept.edition, as_owner)
    work()
    quote.refresh_from_db()
    assert quote.document is not None
    path = Path(settings.DOCUMENTS) / quote.document.path
    with pikepdf.open(path) as opened:
        metadata = str(opened.open_metadata()) + str(opened.docinfo)
    pdf = "".join(page.extract_text() for page in PdfReader(path).pages)
    page = portal.get(reverse("portal:quote", args=[commission.number])).content.decode()
    mine = portal.get(reverse("portal:commission", args=[commission.number])).content.decode()
    letters = "".join(
        [letter.body + str(part[0]) for letter in mailbox for part in getattr(letter, "alternatives", [])]
    )
    assert "A price for your" in mailbox[0].subject
    said = {row["amount"].lstrip("$") for row in (quote.frozen or {})["sums"]}
    said |= {piece["price"] for piece in (quote.frozen or {})["pieces"]}
    secret -= said  # the price itself is theirs to know
    assert len(secret) >= 8
    words = (schedule.name.lower(), "margin", "an hour", "at the bench", "materials cost", "put in", "runa")
    for where, text in {
        "page": page, "their page": mine, "PDF": pdf, "metadata": metadata, "email": letters,
        "content": str(quote.frozen),
    }.items():  # fmt: skip
        assert [figure for figure in secret if figure in text] == [], where
        plain = re.sub(r"<style.*?</style>|<[^>]+>", " ", text, flags=re.S).lower()
        assert [word for word in words if word in plain] == [], where
    assert Estimate.objects.count() == 1


def _glance(live: str) -> str:
    return live[live.index('id="glance"') :]
