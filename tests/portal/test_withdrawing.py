"""A client takes their request back: the owner hears of it, and the pages say so."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.core.mail import EmailMessage
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission, Stage
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop
from tests.quotes.making import send

pytestmark = pytest.mark.django_db


def test_the_owner_is_written_to_with_the_reason(
    commission: Commission,
    shop: Shop,
    portal: Browser,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    address = reverse("portal:withdraw", args=[commission.number])
    portal.post(address, {"why": "We found\r\nanother way, https://elsewhere.example.com"})
    work()
    (sent,) = [one for one in mailbox if one.to == [shop.email]]
    assert sent.subject == f"{commission.number}: Ottoline Brask has withdrawn the request"
    assert "takes the request for the writing desk back." in sent.body
    assert "“We found another way, https://elsewhere.example.com”" in sent.body
    assert "/desk/" in sent.body
    assert "still open" not in sent.body


def test_with_a_quote_out_both_pages_of_it_say_so(
    commission: Commission, as_owner: Who, portal: Browser, desk: Browser
) -> None:
    send(commission, as_owner)
    portal.post(reverse("portal:withdraw", args=[commission.number]))
    email = Email.objects.get(kind="withdrawn")
    assert (email.context["quoted"], email.context["reason"]) == ("yes", "")
    shown = portal.get(reverse("portal:quote", args=[commission.number])).content.decode()
    assert "You have withdrawn this request." in shown
    assert "Accept this quote" not in shown
    read = desk.get(reverse("desk:quote-revision", args=[commission.number, 1])).content.decode()
    assert "Ottoline Brask has withdrawn." in read
    assert "They said yes" not in read


def test_what_is_agreed_is_not_withdrawn_and_nobody_is_written_to(
    commission: Commission, portal: Browser
) -> None:
    Commission.objects.update(stage=Stage.AGREED)
    portal.post(reverse("portal:withdraw", args=[commission.number]))
    assert not Email.objects.filter(kind="withdrawn").exists()
