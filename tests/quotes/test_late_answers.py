"""What comes after the answer, or after the day until which the price was good."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.stages import advance
from shopdesk.quotes import actions
from shopdesk.quotes.models import Quote
from shopdesk.quotes.queries import draft_of
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from tests.quotes.making import send, typed

pytestmark = pytest.mark.django_db


def test_a_draft_comes_to_nothing_once_the_earlier_revision_is_accepted(
    commission: Commission, as_owner: Who, as_client: Who, desk: Browser
) -> None:
    quote = send(commission, as_owner)
    draft = actions.start(commission, as_owner)
    actions.save(commission, typed(commission, note="Half written"), draft.edition, as_owner)
    actions.accept(quote.pk, [], "Ottoline Brask", as_client)
    assert draft_of(commission) is None
    shown = desk.get(reverse("desk:commission", args=[commission.number])).content.decode()
    assert "being written" not in shown
    with pytest.raises(Refused, match="agreed already"):
        actions.start(commission, as_owner)


def test_to_a_price_that_has_run_out_one_can_still_say_no(
    commission: Commission, as_owner: Who, portal: Browser, shop: Shop
) -> None:
    quote = send(commission, as_owner)
    Quote.objects.update(good_until=today_at(shop) - timedelta(days=1))
    page = portal.get(reverse("portal:quote", args=[commission.number])).content.decode()
    address = reverse("portal:decline-quote", args=[commission.number, quote.revision])
    assert address in page
    assert "Accept this quote" not in page
    portal.post(address, {"submission": str(uuid.uuid4()), "reason": "We have bought a new one."})
    commission.refresh_from_db()
    quote.refresh_from_db()
    assert (commission.stage, quote.state) == (Stage.WITHDRAWN, "declined")
    page = portal.get(reverse("portal:quote", args=[commission.number])).content.decode()
    assert address not in page


def test_a_step_that_came_too_late_is_said_kindly_to_a_client(commission: Commission, as_client: Who) -> None:
    advance(commission, Stage.WITHDRAWN, as_client)
    with pytest.raises(Refused, match=r"withdrawn by now\. Please look"):
        advance(commission, Stage.WITHDRAWN, as_client)
