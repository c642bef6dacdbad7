"""No sentence says what is not so: no tax where none was charged, no deposit where none was asked for."""

from __future__ import annotations

import uuid
from decimal import Decimal

import pytest
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.who import Who
from shopdesk.changes.content import content_of as content_of_change
from shopdesk.clients.models import Client
from shopdesk.commissions.letterhead import letterhead
from shopdesk.commissions.models import Commission
from shopdesk.deposits.queries import standing
from shopdesk.deposits.words import price_of_change, sums_of
from shopdesk.quotes import actions
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from tests.quotes.making import send

pytestmark = pytest.mark.django_db


def page(browser: Browser, name: str, commission: Commission) -> str:
    return browser.get(reverse(name, args=[commission.number])).content.decode()


@pytest.mark.parametrize(("rate", "said"), [("6.25", True), ("0", False)])
def test_tax_is_said_to_be_included_where_there_is_some(
    commission: Commission, as_owner: Who, as_client: Who, portal: Browser, shop: Shop, rate: str, said: bool
) -> None:
    Shop.objects.update(tax_rate=Decimal(rate))
    shop.refresh_from_db()
    quote = send(commission, as_owner)
    words = "tax included"
    assert (words in page(portal, "portal:quote", commission)) is said
    actions.accept(quote.pk, [], "Ottoline Brask", as_client)
    account = standing(commission)
    assert account is not None
    assert (words in page(portal, "portal:commission", commission)) is said
    assert (words in sums_of(account, shop)[0]["label"]) is said
    change = content_of_change(
        commission, shop, number=1, reason="Worm.", words="Cut it out.", later=None, days=0, shots=[],
        price=price_of_change(account, Decimal(20), False), account=account,
    )  # fmt: skip
    assert any(words in row["label"] for row in change["sums"]) is said


@pytest.mark.parametrize(("share", "step"), [("50", "Deposit, $342.90"), ("0", "Place booked")])
def test_a_step_names_a_deposit_that_was_asked_for(
    commission: Commission, as_owner: Who, as_client: Who, portal: Browser, share: str, step: str
) -> None:
    quote = send(commission, as_owner, deposit_share=Decimal(share))
    actions.accept(quote.pk, [], "Ottoline Brask", as_client)
    shown = page(portal, "portal:commission", commission)
    assert step in shown
    assert ("Deposit, $" in shown) is (share != "0")


@pytest.mark.parametrize(
    ("share", "next_"), [("50", "The deposit is due now."), ("0", "the place is booked")]
)
def test_a_yes_that_is_written_down_says_what_comes_next(
    commission: Commission, as_owner: Who, desk: Browser, shop: Shop, share: str, next_: str
) -> None:
    send(commission, as_owner, deposit_share=Decimal(share))
    answer = desk.post(
        reverse("desk:record-acceptance", args=[commission.number]),
        {
            "submission": str(uuid.uuid4()), "name": "Ottoline Brask", "way": "word",
            "said_on": str(today_at(shop)),
        },
        follow=True,
    )  # fmt: skip
    assert next_ in answer.content.decode()


@pytest.mark.parametrize("email", ["ottoline@example.com", ""])
def test_a_copy_is_promised_to_those_who_can_get_one(
    commission: Commission, as_owner: Who, client_person: Client, portal: Browser, email: str
) -> None:
    quote = send(commission, as_owner)
    Client.objects.update(email=email)
    answer = portal.post(
        reverse("portal:accept", args=[commission.number, quote.revision]),
        {"submission": str(uuid.uuid4()), "name": "Ottoline Brask", "terms": "on", "shown": "685.80"},
        follow=True,
    )
    shown = answer.content.decode()
    assert "It is agreed." in shown
    assert ("A copy is on its way to you." in shown) is bool(email)


def test_a_link_of_ours_is_said_to_work(client: Browser, shop: Shop) -> None:
    answer = client.get("/no-such-page/")
    assert answer.status_code == 404
    assert "stop working" not in answer.content.decode()


@pytest.mark.parametrize("locale", ["de_DE", "en_US", "fr-CA"])
def test_a_document_is_in_the_language_of_its_words(shop: Shop, client_person: Client, locale: str) -> None:
    shop.locale = locale
    assert letterhead(shop, client_person)["lang"] == "en"
