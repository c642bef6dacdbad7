"""Words that the owner passes on by telephone or in the shop: nothing is enclosed in them, and there is no
email to answer."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.mail import EmailMessage

from shopdesk.base.who import Who
from shopdesk.clients.models import Client
from shopdesk.commissions.models import Commission
from shopdesk.mail.catalogue import about
from shopdesk.mail.models import Email
from shopdesk.mail.words import words
from shopdesk.quotes import actions
from tests.quotes.making import send

pytestmark = pytest.mark.django_db

PAGE = "shopdesk-link:client/1/my/26-001/"
TO_THE_SHOP = {
    "new-request", "client-message", "sample-answered", "visit-changed", "change-answered", "quote-answered",
    "withdrawn",
}  # fmt: skip
ASKED_BY_EMAIL = {"fresh-link"}
KINDS = sorted(
    path.stem
    for path in (Path(settings.BASE_DIR) / "templates/emails").glob("*.md")
    if path.stem not in TO_THE_SHOP | ASKED_BY_EMAIL
)
ONLY_IN_AN_EMAIL = re.compile(r"enclos|this email|\bwrite to us\b|\battached\b", re.IGNORECASE)


def said(kind: str, way: str, turns: set[str]) -> str:
    """A kind's words with everything that they and their parts ask for, but for the names in `turns`."""
    asked = [*about(kind).fields, *re.findall(r"\{[{%].*?[%}]\}", " ".join(about(kind).parts.values()))]
    names = set(re.findall(r"[a-z_]+", " ".join(asked))) - turns
    context: dict[str, Any] = dict.fromkeys(names - {"enclosed", "by_email"}, "something")
    context |= {"page": PAGE, "reach": "Call us on 555-0118."}
    for name in names & {"options", "changed", "note", "words", "reason", "invoices"}:
        context[name] = ["something"]
    context |= {"bank": [{"label": "Bank", "value": "Hafenbank"}], "items": [{"text": "x", "pictures": "2"}]}
    context |= {"what": "received"} if kind == "receipt" else {}
    context = {name: value for name, value in context.items() if name not in turns}
    return words(Email(kind=kind, way=way, context=context, from_name="Tidewell Bench")).text


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("turns", [set(), {"credit", "booked", "bank", "way"}, {"invoice", "due"}])
def test_nothing_told_speaks_of_an_email(kind: str, turns: set[str]) -> None:
    found = ONLY_IN_AN_EMAIL.search(said(kind, "tell", turns))
    assert found is None, found


@pytest.mark.parametrize(
    "kind", ["quote", "receipt", "quote-accepted", "change", "change-accepted", "invoice", "ready"]
)
def test_an_email_says_what_is_enclosed_in_it(kind: str) -> None:
    assert "enclosed" in said(kind, "email", set())


@pytest.mark.django_db
def test_the_one_who_accepts_gets_the_quote_itself(
    commission: Commission,
    as_owner: Who,
    as_client: Who,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    quote = send(commission, as_owner)
    actions.accept(quote.pk, [], "Ottoline Brask", as_client)
    work()
    agreed = next(email for email in mailbox if email.subject.startswith("Agreed"))
    (enclosure,) = Email.objects.get(kind="quote-accepted").enclosures.all()
    assert quote.document is not None
    assert (enclosure.ref, enclosure.ready) == (quote.document.ref, True)
    assert [one for one in agreed.message().walk() if one.get_content_type() == "application/pdf"]
    assert "The quote is enclosed as it was sent." in str(agreed.body)


@pytest.mark.django_db
def test_without_an_email_the_quote_is_on_the_page(commission: Commission, as_owner: Who) -> None:
    Client.objects.update(email="")
    commission.refresh_from_db()
    send(commission, as_owner)
    told = words(Email.objects.get(kind="quote", way="tell")).text
    assert "The quote is on your page, to print as well." in told
