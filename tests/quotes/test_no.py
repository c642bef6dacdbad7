"""A no that the owner writes down."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission, JournalLine, Stage
from shopdesk.mail.models import Email
from shopdesk.quotes import actions
from shopdesk.quotes.models import Quote
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from tests.quotes.making import send

pytestmark = pytest.mark.django_db


def say_no(
    desk: Browser, commission: Commission, on: date, words: str = "She rang: too dear for now."
) -> Any:
    address = reverse("desk:record-no", args=[commission.number])
    return desk.post(address, {"said_on": on.isoformat(), "words": words})


def test_a_no_declines_the_quote_and_withdraws_the_commission(
    commission: Commission, shop: Shop, as_owner: Who, desk: Browser, portal: Browser
) -> None:
    quote = send(commission, as_owner)
    written = Email.objects.count()
    page = desk.get(reverse("desk:commission", args=[commission.number])).content.decode()
    assert reverse("desk:record-no", args=[commission.number]) in page
    answer = say_no(desk, commission, today_at(shop))
    assert answer["Location"] == reverse("desk:commission", args=[commission.number])
    commission.refresh_from_db()
    quote.refresh_from_db()
    assert (commission.stage, quote.state) == (Stage.WITHDRAWN, Quote.State.DECLINED)
    assert commission.ended_at is not None
    line = JournalLine.objects.filter(commission=commission).latest("id")
    assert line.words.endswith("She rang: too dear for now.")
    assert not line.for_client
    assert Email.objects.count() == written
    shown = portal.get(reverse("portal:quote", args=[commission.number])).content.decode()
    assert "You have declined this quote." in shown
    assert actions.start(commission, as_owner).revision == 2  # they may come back


def test_a_request_is_taken_back_before_there_is_a_quote(
    commission: Commission, shop: Shop, desk: Browser
) -> None:
    assert say_no(desk, commission, today_at(shop)).status_code == 302
    commission.refresh_from_db()
    assert commission.stage == Stage.WITHDRAWN


@pytest.mark.parametrize(
    ("days", "words", "sentence"),
    [
        (1, "Too dear.", "still to come"),
        (-3, "Too dear.", "before the quote was sent"),
        (-30, "Too dear.", "before the quote was sent"),
        (0, " .. ", "who said no, and why"),
        (0, "x" * 1001, "under 1,000 characters"),
    ],
)
def test_a_no_that_cannot_be(
    commission: Commission, shop: Shop, as_owner: Who, desk: Browser, days: int, words: str, sentence: str
) -> None:
    Commission.objects.update(requested_at=timezone.now() - timedelta(days=10))
    send(commission, as_owner)
    answer = say_no(desk, commission, today_at(shop) + timedelta(days=days), words)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    commission.refresh_from_db()
    assert commission.stage == Stage.QUOTED


def test_before_they_asked(commission: Commission, shop: Shop, desk: Browser) -> None:
    answer = say_no(desk, commission, today_at(shop) - timedelta(days=1))
    assert "before they asked" in answer.content.decode()


def test_what_has_been_agreed_is_cancelled_and_not_refused(
    commission: Commission, shop: Shop, as_owner: Who, as_client: Who, desk: Browser
) -> None:
    quote = send(commission, as_owner)
    actions.accept(quote.pk, [], "Ottoline Brask", as_client)
    answer = say_no(desk, commission, today_at(shop))
    assert answer.status_code == 422
    assert "This commission is agreed" in answer.content.decode()
    quote.refresh_from_db()
    assert quote.state == Quote.State.ACCEPTED
