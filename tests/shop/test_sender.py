"""The shop's own address, mistyped when it was set up and corrected."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.core.mail import EmailMessage

from shopdesk.base.who import Who
from shopdesk.commissions.letters import to_shop
from shopdesk.commissions.models import Commission
from shopdesk.mail.actions import again
from shopdesk.mail.models import Email
from shopdesk.quotes.actions import decline_request
from shopdesk.shop.actions import change_shop
from shopdesk.shop.queries import the_shop

pytestmark = pytest.mark.django_db
RIGHT = "bench@tidewell.example.com"


def failed(commission: Commission) -> Email:
    """One to the shop that came back."""
    email = to_shop(commission, "withdrawn", {"reason": "", "quoted": ""})
    Email.objects.filter(pk=email.pk).update(state="failed", trouble="550")
    email.refresh_from_db()
    return email


def test_what_failed_there_goes_to_the_right_one(
    commission: Commission, as_owner: Who, work: Callable[[], None], mailbox: list[EmailMessage]
) -> None:
    email = failed(commission)
    change_shop({"email": RIGHT}, as_owner)
    work()
    assert not [one for one in mailbox if RIGHT in one.to], "it waits for a press"
    again(Email.objects.get(pk=email.pk))
    work()
    (sent,) = [one for one in mailbox if RIGHT in one.to]
    assert sent.from_email == RIGHT


def test_what_waits_for_a_client_is_from_the_right_one(
    commission: Commission, as_owner: Who, work: Callable[[], None], mailbox: list[EmailMessage]
) -> None:
    work()
    mailbox.clear()
    decline_request(commission, "That is too far.", as_owner)
    change_shop({"email": RIGHT, "name": "Tidewell & Daughter"}, as_owner)
    work()
    (sent,) = mailbox
    assert (sent.to, sent.from_email) == ([commission.client.email], RIGHT)
    assert sent.extra_headers["From"] == f"Tidewell & Daughter <{RIGHT}>"


def test_another_fact_changes_no_email(commission: Commission, as_owner: Who) -> None:
    email = failed(commission)
    change_shop({"tagline": "Oil and wax", "email": the_shop().email}, as_owner)
    assert Email.objects.get(pk=email.pk).trouble == email.trouble
