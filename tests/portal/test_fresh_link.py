"""A link that somebody asked for, and whose address is corrected before it goes."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.core.mail import EmailMessage

from shopdesk.base.who import Who
from shopdesk.clients import actions as clients
from shopdesk.clients.actions import know_client
from shopdesk.clients.models import Client
from shopdesk.commissions.actions import correct_client
from shopdesk.commissions.models import Commission
from shopdesk.mail.models import Email
from shopdesk.portal.actions import send_fresh_link
from shopdesk.shop.models import Shop

pytestmark = pytest.mark.django_db


def asked(shop: Shop, client: Client) -> Email:
    send_fresh_link(shop, client.email)
    return Email.objects.get(kind="fresh-link")


def correct(commission: Commission, client: Client, as_owner: Who, email: str) -> None:
    correct_client(
        commission, as_owner, name=client.name, email=email, phone=client.phone, address=client.address
    )


def test_it_goes_to_whoever_is_known_there(
    shop: Shop, client_person: Client, work: Callable[[], None], mailbox: list[EmailMessage]
) -> None:
    asked(shop, client_person)
    work()
    assert [one.to for one in mailbox if "Your way in" in one.subject] == [[client_person.email]]


def test_it_goes_nowhere_when_that_was_somebody_else_s_address(
    shop: Shop,
    commission: Commission,
    client_person: Client,
    as_owner: Who,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    email = asked(shop, client_person)
    correct(commission, client_person, as_owner, "right@example.com")
    work()
    assert not [one for one in mailbox if "Your way in" in one.subject]
    email.refresh_from_db()
    assert email.not_needed_at is not None


def test_the_link_of_one_who_shares_the_mailbox_goes_nowhere_either(
    shop: Shop, client_person: Client, work: Callable[[], None], mailbox: list[EmailMessage]
) -> None:
    other = know_client(name="Ambrose Brask", email=client_person.email, phone="")
    asked(shop, client_person)
    clients.correct(other, name=other.name, email="ambrose@example.com", phone="", address="")
    work()
    assert not [one for one in mailbox if "Your way in" in one.subject]
