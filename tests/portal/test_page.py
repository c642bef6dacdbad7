"""The client's page: what it says at every stage, and whom it lets see what."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core import mail
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.who import Who
from shopdesk.clients.actions import know_client
from shopdesk.clients.models import Client
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, add_shots, open_commission
from shopdesk.commissions.models import Commission, Shot, Stage
from shopdesk.deposits import actions as deposits
from shopdesk.deposits.models import Account
from shopdesk.mail.models import Email
from shopdesk.photos.actions import take_in
from shopdesk.portal.queries import facts_of
from shopdesk.portal.words import steps, tell
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from tests.conftest import MakePicture, enter

pytestmark = pytest.mark.django_db

SAYS = {
    Stage.REQUESTED: "We have your request.",
    Stage.QUOTED: "Your quote is here.",
    Stage.BOOKED: "Your place is booked.",
    Stage.CHECKED_IN: "Your writing desk is here and waits for the bench.",
    Stage.IN_WORK: "Your writing desk is on the bench.",
    Stage.DRYING: "Your writing desk is drying.",
    Stage.READY: "Your writing desk is ready.",
    Stage.COLLECTED: "Your writing desk is home",
    Stage.ON_HOLD: "The work is on hold.",
    Stage.DECLINED: "We could not take this one on.",
    Stage.WITHDRAWN: "You have withdrawn this request.",
    Stage.CANCELLED: "This commission has been cancelled.",
}


def put(commission: Commission, **columns: Any) -> Commission:
    Commission.objects.filter(pk=commission.pk).update(**columns)
    commission.refresh_from_db()
    return commission


@pytest.mark.parametrize("stage", SAYS)
def test_every_stage_is_said_in_a_sentence(commission: Commission, portal: Browser, stage: Stage) -> None:
    put(commission, stage=stage)
    page = portal.get(reverse("portal:commission", args=[commission.number])).content.decode()
    assert SAYS[stage] in page
    assert page.count('class="say"') == 1


def test_the_deposit_is_asked_for_with_its_day(commission: Commission, shop: Shop, as_owner: Who) -> None:
    put(commission, stage=Stage.AGREED)
    due = today_at(shop) + timedelta(days=30)
    deposits.open_account(
        commission, currency="USD", price=Decimal(680), deposit=Decimal(340), due_on=due, who=as_owner
    )
    told = tell(facts_of(shop, commission))
    assert told.say.startswith("Waiting for your deposit of $340.00, due ")
    Account.objects.update(deposit_due_on=due - timedelta(days=60))
    assert "which was due" in tell(facts_of(shop, commission)).say


def test_a_late_answer_is_owned_up_to(commission: Commission, shop: Shop) -> None:
    assert "You will have our answer by" in tell(facts_of(shop, commission)).then
    put(commission, requested_at=timezone.now() - timedelta(days=20))
    assert "late" in tell(facts_of(shop, commission)).then


def test_the_printed_steps_have_done_now_and_later(commission: Commission, shop: Shop) -> None:
    at = timezone.now()
    put(
        commission,
        stage=Stage.IN_WORK,
        quoted_at=at,
        agreed_at=at,
        deposit_in_at=at,
        booked_at=at,
        checked_in_on=date(2026, 11, 16),
        work_began_at=at,
        ready_on=date(2026, 12, 9),
    )
    printed = [(step.name, step.state) for step in steps(facts_of(shop, commission))]
    assert printed == [
        ("Request received", "done"),
        ("Quote sent", "done"),
        ("Quote accepted", "done"),
        ("Deposit", "done"),
        ("Checked in", "done"),
        ("On the bench", "now"),
        ("Drying", "later"),
        ("Ready to collect", "later"),
        ("Collected", "later"),
    ]
    assert steps(facts_of(shop, commission))[7].when == "about Dec 9"


@pytest.mark.parametrize("stage", list(Stage))
def test_the_steps_of_every_stage_have_at_most_one_now(
    commission: Commission, shop: Shop, stage: Stage
) -> None:
    put(commission, stage=stage, held_from=Stage.DRYING if stage == Stage.ON_HOLD else "")
    printed = steps(facts_of(shop, commission))
    assert sum(step.state == "now" for step in printed) <= 1
    over = stage in (Stage.COLLECTED, Stage.DECLINED, Stage.WITHDRAWN, Stage.CANCELLED)
    assert any(step.state == "now" for step in printed) is not over


def test_before_and_after_stand_side_by_side(
    commission: Commission, portal: Browser, picture_file: MakePicture
) -> None:
    page = reverse("portal:commission", args=[commission.number])
    add_shots(commission, [take_in(picture_file(), "before.jpg")], Shot.Kind.REQUEST)
    assert 'class="pair"' not in portal.get(page).content.decode()
    add_shots(commission, [take_in(picture_file(), "after.jpg")], Shot.Kind.FINAL)
    assert 'class="pair"' in portal.get(page).content.decode()


def test_pictures_and_documents_are_for_their_own_client(
    commission: Commission, portal: Browser, picture_file: MakePicture
) -> None:
    seen, kept = (take_in(picture_file(), f"{name}.jpg") for name in ("seen", "kept"))
    add_shots(commission, [seen], Shot.Kind.REQUEST)
    add_shots(commission, [kept], Shot.Kind.PAPER, for_client=False)
    other = enter(know_client(name="Teal Ambrose", email="teal@example.com", phone=""))
    address = reverse("portal:picture", args=[seen.key, "small"])
    assert portal.get(address).status_code == 200
    assert other.get(address).status_code == 404
    assert Browser().get(address).status_code == 302
    assert portal.get(reverse("portal:picture", args=[kept.key, "small"])).status_code == 404
    assert portal.get(reverse("portal:picture", args=[seen.key, "original"])).status_code == 404


def test_several_commissions_are_listed_and_one_is_opened_at_once(
    commission: Commission, portal: Browser, client_person: Client, as_client: Who
) -> None:
    assert portal.get("/my/")["Location"] == f"/my/{commission.number}/"
    open_commission(
        NewCommission(client_person, "page", Wish("A second thing"), [NewPiece("mirror")]), as_client
    )
    page = portal.get("/my/").content.decode()
    assert "writing desk" in page
    assert "mirror" in page


def test_a_fresh_link_goes_to_a_known_address_and_the_answer_tells_nobody(
    client_person: Client, work: Any
) -> None:
    known = Browser().post("/fresh-link/", {"email": "Ottoline@example.com"})
    unknown = Browser().post("/fresh-link/", {"email": "nobody@example.com"})
    assert known.status_code == unknown.status_code == 200
    words = [
        answer.content.decode().replace("Ottoline@", "X@").replace("nobody@", "X@")
        for answer in (known, unknown)
    ]
    assert words[0] == words[1]
    work()
    (sent,) = mail.outbox
    assert "ottoline@example.com" in sent.message()["To"]
    assert "/in/" in sent.body


def test_fresh_links_are_limited_without_saying_so(client_person: Client) -> None:
    for _ in range(6):
        assert Browser().post("/fresh-link/", {"email": "ottoline@example.com"}).status_code == 200
    assert Email.objects.filter(kind="fresh-link").count() == 3


def test_withdrawing_before_anything_was_agreed(commission: Commission, portal: Browser) -> None:
    address = reverse("portal:withdraw", args=[commission.number])
    assert portal.post(address, {"why": "We found another way"}).status_code == 302
    commission.refresh_from_db()
    assert commission.stage == Stage.WITHDRAWN
    put(commission, stage=Stage.AGREED)
    refused = portal.post(address, follow=True).content.decode()
    assert "agreed by now" in refused


def test_the_front_door_leads_to_the_form_or_to_ones_page(
    client_person: Client, commission: Commission
) -> None:
    assert Browser().get("/")["Location"] == "/request/"
    assert enter(client_person).get("/")["Location"] == "/my/"


def test_before_there_is_a_shop_the_front_door_leads_to_set_up(db: None) -> None:
    assert Browser().get("/")["Location"] == "/desk/set-up/"


def test_a_prepared_picture_is_kept_by_the_browser_and_a_page_is_not(
    commission: Commission, portal: Browser, picture_file: MakePicture, work: Any
) -> None:
    picture = take_in(picture_file(), "seen.jpg")
    add_shots(commission, [picture], Shot.Kind.REQUEST)
    work()
    kept = portal.get(reverse("portal:picture", args=[picture.key, "small"]))
    assert kept["Cache-Control"] == "private, max-age=31536000, immutable"
    again = portal.get(
        reverse("portal:picture", args=[picture.key, "small"]), HTTP_IF_NONE_MATCH=kept["ETag"]
    )
    assert again.status_code == 304
    assert "no-store" in portal.get(reverse("portal:commission", args=[commission.number]))["Cache-Control"]
