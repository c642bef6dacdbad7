"""The shop comes to the client and looks."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any, cast

import pytest
from django.core.mail import EmailMessage
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.clients.actions import note_address
from shopdesk.clients.models import Client
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.queries import journal_of
from shopdesk.commissions.reminders import write_due
from shopdesk.desk.needs import front_page
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop
from shopdesk.visits.actions import book, cancel, look_after, offer_site_visit
from shopdesk.visits.models import Offer, Visit
from shopdesk.visits.queries import free
from tests.visits.conftest import Clock, some_slots, stand_at

pytestmark = pytest.mark.django_db
SITE = Visit.Kind.SITE


def at(side: str, commission: Commission, page: str = "visit") -> str:
    return reverse(f"{side}:{page}", args=[commission.number, "site-visit"])


@pytest.mark.parametrize("stage", list(Stage))
def test_only_from_requested_and_quoted(commission: Commission, as_client: Who, stage: Stage) -> None:
    stand_at(commission, stage)
    start = some_slots()[0].start
    if stage in (Stage.REQUESTED, Stage.QUOTED):
        assert book(commission, SITE, start, as_client).kind == "site-visit"
    else:
        with pytest.raises(Refused):
            book(commission, SITE, start, as_client)
        assert not Visit.objects.exists()


def test_it_takes_the_shops_time_like_every_other_visit(
    commission: Commission, as_client: Who, as_owner: Who
) -> None:
    slot = some_slots()[0]
    book(commission, SITE, slot.start, as_client)
    assert slot not in free(timezone.now())
    line = journal_of(commission, for_client=True)[-1]
    assert (line.verb, line.words.split(":")[0]) == ("site visit booked", "Site visit booked")


def test_the_calendar_and_the_emails_say_the_clients_address(
    commission: Commission, as_client: Who, work: Callable[[], None], mailbox: list[EmailMessage]
) -> None:
    first, second, *_ = some_slots()
    book(commission, SITE, first.start, as_client)
    book(commission, SITE, second.start, as_client)
    cancel(Visit.objects.get(), as_client)
    work()
    theirs = [mail for mail in mailbox if mail.to == ["ottoline@example.com"] and "ite visit" in mail.subject]
    bodies = [str(mail.body) for mail in theirs]
    assert len(bodies) == 3
    assert "We come to look at your writing desk on" in bodies[0]
    assert "3 Gull Steps" in bodies[0]
    assert "We no longer come on" in bodies[1]
    assert "we do not come" in bodies[2]
    assert not any("expect you" in body or "8 Slip Lane" in body for body in bodies)
    files = [
        Calendar.from_ical(cast(bytes, part.get_payload(decode=True)))
        for mail in theirs
        for part in mail.message().walk()
        if part.get_content_type() == "text/calendar"
    ]
    assert [str(event["location"]) for file in files for event in file.walk("VEVENT")] == ["3 Gull Steps"] * 3
    ours = [str(mail.body) for mail in mailbox if mail.to == ["hello@tidewell.example.com"]]
    assert any(
        "expects you for a look at the writing desk" in body and "3 Gull Steps" in body for body in ours
    )


@pytest.fixture
def nowhere(commission: Commission) -> Commission:
    """Of a client whose address is not known."""
    Client.objects.update(address="")
    commission.client.refresh_from_db()
    return commission


def test_the_address_is_asked_for_when_it_is_missing(portal: Browser, nowhere: Commission) -> None:
    page = portal.get(at("portal", nowhere)).content.decode()
    assert "When may we come and look?" in page
    assert 'name="address"' in page
    start = some_slots()[0].start.isoformat()
    answer = portal.post(at("portal", nowhere), {"start": start, "address": " \n "})
    assert answer.status_code == 422
    assert "Write the address" in answer.content.decode()
    assert not Visit.objects.exists()
    answer = portal.post(at("portal", nowhere), {"start": start, "address": "14 Rope Walk\r\n Port Marrin "})
    assert answer.status_code == 302
    assert Client.objects.get().address == "14 Rope Walk\nPort Marrin"
    after = portal.get(at("portal", nowhere)).content.decode()
    assert "14 Rope Walk, Port Marrin" in after
    assert 'name="address"' not in after
    ics = portal.get(at("portal", nowhere, "visit-ics"))
    (event,) = Calendar.from_ical(ics.content).walk("VEVENT")
    assert str(event["location"]) == "14 Rope Walk, Port Marrin"


def test_an_address_that_is_known_is_not_asked_for_and_not_written_over(
    portal: Browser, commission: Commission
) -> None:
    page = portal.get(at("portal", commission)).content.decode()
    assert "3 Gull Steps" in page
    assert 'name="address"' not in page
    portal.post(
        at("portal", commission), {"start": some_slots()[0].start.isoformat(), "address": "Elsewhere"}
    )
    assert Visit.objects.count() == 1
    assert Client.objects.get().address == "3 Gull Steps"


def test_what_is_refused_keeps_no_address(nowhere: Commission, as_client: Who) -> None:
    with pytest.raises(Refused, match="address"):
        book(nowhere, SITE, some_slots()[0].start, as_client)
    with pytest.raises(Refused, match="These are free"):
        book(nowhere, SITE, some_slots()[0].start + timedelta(minutes=5), as_client, address="14 Rope Walk")
    assert Client.objects.get().address == ""


def test_of_two_addresses_at_once_the_first_stays(client_person: Client) -> None:
    Client.objects.update(address="")
    same = Client.objects.get()
    note_address(client_person, "14 Rope Walk")
    note_address(same, "Elsewhere")
    assert same.address == "14 Rope Walk"


def test_other_visits_ask_for_no_address(portal: Browser, nowhere: Commission) -> None:
    stand_at(nowhere, Stage.READY)
    page = portal.get(reverse("portal:visit", args=[nowhere.number, "pickup"])).content.decode()
    assert 'name="address"' not in page
    assert "8 Slip Lane, Port Marrin" in page


def test_the_owner_books_one_and_asks_for_the_address(desk: Browser, nowhere: Commission) -> None:
    page = desk.get(at("desk", nowhere)).content.decode()
    assert 'name="address"' in page
    answer = desk.post(
        at("desk", nowhere), {"start": some_slots()[0].start.isoformat(), "address": "14 Rope Walk"}
    )
    assert answer["Location"] == reverse("desk:commission", args=[nowhere.number])
    assert Visit.objects.get().kind == "site-visit"
    assert "Move or cancel the site visit" in desk.get(answer["Location"]).content.decode()


# -- the offer ---------------------------------------------------------------------------------------------


def test_the_owner_offers_and_the_client_is_asked(
    desk: Browser,
    portal: Browser,
    commission: Commission,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    theirs = reverse("portal:commission", args=[commission.number])
    assert "May we come and look?" not in portal.get(theirs).content.decode()
    work()
    mailbox.clear()
    for _ in range(2):
        answer = desk.post(at_offer(commission))
        assert answer.status_code == 302
    work()
    (mail,) = mailbox
    assert "come and look" in str(mail.subject)
    assert f"%2Fmy%2F{commission.number}%2Fvisit%2Fsite-visit%2F" in str(mail.body)
    text = portal.get(theirs).content.decode()
    assert "May we come and look?" in text
    assert at("portal", commission) in text
    commission.refresh_from_db()
    assert commission.answered_at is not None
    portal.post(at("portal", commission), {"start": some_slots()[0].start.isoformat()})
    text = portal.get(theirs).content.decode()
    assert "May we come and look?" not in text
    assert "We come to you on" in text


def at_offer(commission: Commission) -> str:
    return reverse("desk:visit-offer", args=[commission.number])


def test_no_offer_for_what_is_agreed_or_booked(commission: Commission, as_owner: Who, as_client: Who) -> None:
    book(commission, SITE, some_slots()[0].start, as_client)
    with pytest.raises(Refused, match="booked already"):
        offer_site_visit(commission, as_owner)
    stand_at(commission, Stage.AGREED)
    with pytest.raises(Refused, match="price is agreed"):
        offer_site_visit(commission, as_owner)
    assert not Offer.objects.exists()


def test_getting_the_offer_changes_nothing(desk: Browser, commission: Commission) -> None:
    assert desk.get(at_offer(commission)).status_code == 405
    assert Browser().post(at_offer(commission)).status_code == 302
    assert not Offer.objects.exists()


# -- what a worker does ------------------------------------------------------------------------------------


def nine_the_day_before(visit: Visit, shop: Shop) -> datetime:
    local = visit.starts_at.astimezone(shop.tz)
    return (local - timedelta(days=1)).replace(hour=9, minute=0).astimezone(UTC)


@pytest.mark.parametrize(
    ("stage", "count"), [(Stage.REQUESTED, 1), (Stage.QUOTED, 1), (Stage.BOOKED, 1), (Stage.ON_HOLD, 0)]
)
def test_the_reminder_says_who_comes(
    commission: Commission, as_client: Who, shop: Shop, clock: Clock, stage: Stage, count: int
) -> None:
    visit = book(commission, SITE, some_slots()[0].start, as_client)
    stand_at(commission, stage)
    clock(nine_the_day_before(visit, shop))
    write_due()
    write_due()
    reminders = Email.objects.filter(kind="visit-reminder")
    assert reminders.count() == count
    if count:
        context = reminders.get().context
        assert (context["address"], context["shop_comes"]) == ("3 Gull Steps", "yes")


def test_it_is_done_when_its_day_is_over_or_the_piece_is_here(
    commission: Commission, as_client: Who, clock: Clock
) -> None:
    visit = book(commission, SITE, some_slots()[0].start, as_client)
    clock(visit.ends_at + timedelta(days=1))
    look_after()
    visit.refresh_from_db()
    assert visit.state == "done"


def test_a_request_that_ends_gives_the_time_back(commission: Commission, as_client: Who) -> None:
    slot = some_slots()[0]
    visit = book(commission, SITE, slot.start, as_client)
    stand_at(commission, Stage.WITHDRAWN)
    look_after()
    visit.refresh_from_db()
    assert visit.state == "cancelled"
    assert slot in free(timezone.now())


def test_the_desk_sees_where_to_go_today(
    commission: Commission, as_owner: Who, shop: Shop, clock: Clock, desk: Browser
) -> None:
    visit = book(commission, SITE, some_slots()[0].start, as_owner)
    now = clock(visit.starts_at - timedelta(hours=2))
    (need,) = [need for need in front_page(shop, now).needs if "expects you at" in need.says]
    assert "3 Gull Steps" in need.detail
    text = desk.get(reverse("desk:today")).content.decode()
    assert "expects you at" in text
    assert "site visit" in text


def test_pages_for_it_say_who_comes(
    portal: Browser, desk: Browser, commission: Commission, as_client: Who
) -> None:
    before = portal.get(at("portal", commission)).content.decode()
    assert "We come to you to look at your writing desk" in before
    assert "8 Slip Lane" not in before
    book(commission, SITE, some_slots()[0].start, as_client)
    assert "We come to you on" in portal.get(at("portal", commission)).content.decode()
    assert "3 Gull Steps" in desk.get(at("desk", commission)).content.decode()
    stand_at(commission, Stage.AGREED)
    page: Any = portal.get(at("portal", commission))
    assert "price is agreed" in page.content.decode()
    assert page.context["days"] == []
    assert "Cancel this time" in page.content.decode()
