"""The page with the free times, on both sides."""

from __future__ import annotations

from datetime import time, timedelta

import pytest
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.who import Who
from shopdesk.clients.actions import know_client
from shopdesk.commissions.models import Commission, Stage
from shopdesk.shop.models import OpeningWindow, Shop
from shopdesk.visits.actions import book
from shopdesk.visits.models import Visit
from shopdesk.visits.queries import free
from tests.conftest import enter
from tests.visits.conftest import some_slots, stand_at

pytestmark = pytest.mark.django_db


def at(side: str, commission: Commission, kind: str = "pickup", page: str = "visit") -> str:
    return reverse(f"{side}:{page}", args=[commission.number, kind])


def test_the_client_sees_days_and_times_and_books_one(portal: Browser, ready: Commission) -> None:
    page = portal.get(at("portal", ready))
    assert page.status_code == 200
    text = page.content.decode()
    assert "When will you fetch it?" in text
    start = page.context["days"][1][1][2].start
    assert f'value="{start.isoformat()}"' in text
    answer = portal.post(at("portal", ready), {"start": start.isoformat()})
    assert answer.status_code == 302
    assert answer["Location"] == reverse("portal:commission", args=[ready.number])
    assert Visit.objects.get().starts_at == start
    again = portal.get(at("portal", ready)).content.decode()
    assert "We expect you on" in again
    assert "Cancel this time" in again
    assert f'value="{start.isoformat()}" checked' in again


def test_the_same_press_twice_is_one_booking(portal: Browser, ready: Commission) -> None:
    form = {"start": some_slots()[0].start.isoformat(), "submission": "0d9bfa52-33a4-4dbb-8f40-9e1c5f1a2b3c"}
    assert [portal.post(at("portal", ready), form).status_code for _ in range(2)] == [302, 302]
    assert Visit.objects.get().sequence == 0


def test_a_time_that_has_gone_is_said_and_what_is_free_is_shown(
    portal: Browser, ready: Commission, shop: Shop
) -> None:
    slot = some_slots()[0]
    other = know_client(name="Ferris Oduya", email="ferris@example.com", phone="")
    from shopdesk.commissions.actions import NewCommission, Wish, open_commission

    theirs = stand_at(
        open_commission(
            NewCommission(client=other, source="page", wish=Wish("Blue")), Who("client", other.pk)
        ),
        Stage.READY,
    )
    book(theirs, "pickup", slot.start, Who("client", other.pk))
    answer = portal.post(at("portal", ready), {"start": slot.start.isoformat()})
    assert answer.status_code == 409
    text = answer.content.decode()
    assert "That time has just gone. These are free." in text
    assert slot.start.isoformat() not in text
    assert some_slots()[0].start.isoformat() in text


@pytest.mark.parametrize(
    "start",
    [
        "",
        "tomorrow",
        "2026-12-09",
        "2026-12-09T10:00",
        "0001-01-01T00:00+00:00",
        "9999-12-31T23:59-12:00",
        "9" * 50,
    ],
)
def test_nonsense_for_a_time_is_said(portal: Browser, ready: Commission, start: str) -> None:
    answer = portal.post(at("portal", ready), {"start": start})
    assert answer.status_code == 422
    assert not Visit.objects.exists()


def test_no_free_time_says_so(portal: Browser, desk: Browser, ready: Commission) -> None:
    OpeningWindow.objects.all().delete()
    text = portal.get(at("portal", ready)).content.decode()
    assert "free times in the next six weeks" in text
    assert reverse("portal:ask", args=[ready.number]) in text
    assert "Open another day" in desk.get(at("desk", ready)).content.decode()


def test_later_days_are_a_page_on(portal: Browser, ready: Commission) -> None:
    first = portal.get(at("portal", ready))
    later = first.context["later"]
    assert len(first.context["days"]) == 5
    second = portal.get(at("portal", ready) + f"?from={later:%Y-%m-%d}")
    assert second.context["days"][0][0] == later
    assert second.context["earlier"]
    for odd in ("?from=soon", "?from=9999-12-31", "?from=0001-01-01"):
        assert portal.get(at("portal", ready) + odd).context["days"] == first.context["days"]


def test_too_early_in_the_life_of_a_commission(
    portal: Browser, desk: Browser, commission: Commission
) -> None:
    for side, browser in (("portal", portal), ("desk", desk)):
        for kind, words in (
            ("drop-off", "once the place in the queue is booked"),
            ("pickup", "once it is ready"),
        ):
            page = browser.get(at(side, commission, kind))
            assert page.status_code == 200
            assert words in page.content.decode()
            assert page.context["days"] == []
            assert (
                browser.post(
                    at(side, commission, kind), {"start": some_slots()[0].start.isoformat()}
                ).status_code
                == 409
            )
    assert not Visit.objects.exists()


def test_a_kind_that_is_none_and_a_commission_of_another_are_not_there(
    portal: Browser, desk: Browser, ready: Commission
) -> None:
    stranger = enter(know_client(name="Ferris Oduya", email="ferris@example.com", phone=""))
    start = {"start": some_slots()[0].start.isoformat()}
    book(ready, "pickup", some_slots()[1].start, Who("client", ready.client_id))
    for page, method in (("visit", "get"), ("visit", "post"), ("visit-cancel", "post"), ("visit-ics", "get")):
        assert getattr(stranger, method)(at("portal", ready, page=page), start).status_code == 404
        assert getattr(portal, method)(at("portal", ready, "viewing", page), start).status_code == 404
        anybody = getattr(Browser(), method)(at("portal", ready, page=page), start)
        assert anybody["Location"] == reverse("portal:fresh-link")
    assert desk.get(at("desk", ready, "viewing")).status_code == 404
    assert desk.post(at("desk", ready, "viewing", "visit-cancel")).status_code == 404
    assert Visit.objects.get().sequence == 0


def test_getting_a_page_changes_nothing(
    portal: Browser, desk: Browser, ready: Commission, as_client: Who
) -> None:
    book(ready, "pickup", some_slots()[0].start, as_client)
    assert portal.get(at("portal", ready, page="visit-cancel")).status_code == 405
    assert desk.get(at("desk", ready, page="visit-cancel")).status_code == 405
    assert Visit.objects.get().state == "booked"


def test_the_client_cancels(portal: Browser, ready: Commission, as_client: Who) -> None:
    book(ready, "pickup", some_slots()[0].start, as_client)
    answer = portal.post(at("portal", ready, page="visit-cancel"), follow=True)
    assert "That time is free again." in answer.content.decode()
    assert Visit.objects.get().state == "cancelled"
    again = portal.post(at("portal", ready, page="visit-cancel"), follow=True)
    assert "no time booked to cancel" in again.content.decode()


def test_close_to_the_visit_the_client_is_told_to_call(
    portal: Browser, desk: Browser, ready: Commission, as_owner: Who
) -> None:
    visit = book(ready, "pickup", some_slots()[0].start, as_owner)
    start = timezone.now() + timedelta(hours=3)
    Visit.objects.update(starts_at=start, ends_at=start + timedelta(minutes=30))
    text = portal.get(at("portal", ready)).content.decode()
    assert "too close to the visit" in text
    assert "555-0118" in text
    assert "Cancel this time" not in text
    assert portal.get(at("portal", ready)).context["days"] == []
    answer = portal.post(at("portal", ready, page="visit-cancel"), follow=True)
    assert "too close to the visit" in answer.content.decode()
    assert "Cancel this time" in desk.get(at("desk", ready)).content.decode()
    desk.post(at("desk", ready, page="visit-cancel"))
    visit.refresh_from_db()
    assert visit.state == "cancelled"


def test_the_owner_books_within_the_notice(desk: Browser, ready: Commission) -> None:
    for weekday in (5, 6):
        OpeningWindow.objects.create(weekday=weekday, opens=time(9), closes=time(17))
    mine = {slot.start for slot in free(timezone.now(), for_owner=True)}
    theirs = {slot.start for slot in free(timezone.now())}
    assert theirs < mine
    soonest = min(mine)
    answer = desk.post(at("desk", ready), {"start": soonest.isoformat()})
    assert answer["Location"] == reverse("desk:commission", args=[ready.number])
    assert Visit.objects.get().starts_at == soonest


def test_the_file_for_the_calendar(portal: Browser, ready: Commission, as_client: Who) -> None:
    assert portal.get(at("portal", ready, page="visit-ics")).status_code == 404
    visit = book(ready, "pickup", some_slots()[0].start, as_client)
    answer = portal.get(at("portal", ready, page="visit-ics"))
    assert answer["Content-Type"].startswith("text/calendar")
    assert answer["Content-Disposition"] == 'attachment; filename="pickup.ics"'
    text = answer.content.decode()
    assert f"DTSTART:{visit.starts_at:%Y%m%dT%H%M%SZ}" in text
    assert "METHOD:PUBLISH" in text
    assert "ATTENDEE" not in text
