"""What needs me now: in order, each with one press, and nothing twice."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.models import Heartbeat, Work
from shopdesk.base.sweep import sweep
from shopdesk.base.who import Who
from shopdesk.clients.actions import know_client
from shopdesk.clients.models import Client
from shopdesk.colours import actions as colours
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, add_piece, add_shots, open_commission
from shopdesk.commissions.models import Commission, Shot, Stage
from shopdesk.conversation import actions as conversation
from shopdesk.deposits import actions as deposits
from shopdesk.desk.needs import MOST, front_page
from shopdesk.documents.models import Document
from shopdesk.photos.actions import take_in
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop, today_at
from shopdesk.visits import actions as visits
from shopdesk.visits.models import Visit
from shopdesk.visits.queries import free
from tests.conftest import MakePicture

pytestmark = pytest.mark.django_db


def put(commission: Commission, **columns: Any) -> Commission:
    Commission.objects.filter(pk=commission.pk).update(**columns)
    commission.refresh_from_db()
    return commission


def another(name: str, piece: str = "bench", **client: str) -> Commission:
    person = know_client(
        name=name, email=client.get("email", f"{name.split()[0].lower()}@example.com"), phone=""
    )
    return open_commission(
        NewCommission(person, "page", Wish("Its old look"), [NewPiece(piece)]), Who("client", person.pk)
    )


def says(shop: Shop) -> list[str]:
    return [f"{need.commission.client.name} {need.says}" for need in front_page(shop, timezone.now()).needs]


def test_an_empty_desk_says_so(desk: Browser) -> None:
    page = desk.get("/desk/").content.decode()
    assert "Nothing waits for you" in page
    assert "No piece is in the shop" in page


def test_people_who_wait_come_first_and_the_longest_waiting_before_the_rest(
    shop: Shop, commission: Commission, as_owner: Who
) -> None:
    second = another("Teal Ambrose")
    third = another("Ivo Marsh")
    conversation.say_to_shop(third, "Is it ready to be looked at?", Who("client", third.client_id))
    put(
        commission,
        requested_at=timezone.now() - timedelta(days=2),
        stage_since=timezone.now() - timedelta(days=2),
    )
    assert says(shop) == [
        "Ivo Marsh writes: “Is it ready to be looked at?”",
        "Ottoline Brask asks about writing desk.",
        "Teal Ambrose asks about bench.",
        "Ivo Marsh asks about bench.",
    ]
    assert second.pk


def test_every_need_has_a_press_that_leads_somewhere(
    shop: Shop, commission: Commission, desk: Browser, as_owner: Who, as_client: Who
) -> None:
    conversation.say_to_shop(commission, "One thing more", as_client)
    sampled = put(another("Teal Ambrose"), stage=Stage.IN_WORK, sample_promised=True)
    sample = colours.propose(sampled.pieces.get(), colours.NewSample("Grey"), as_owner)
    colours.ask_again(sample.pk, "Teal", "Too blue", Who("client", sampled.client_id))
    coat = put(
        another("Ivo Marsh"), stage=Stage.DRYING, sample_promised=True, colour_agreed_at=timezone.now()
    )
    owing = put(another("Wren Adair"), stage=Stage.AGREED)
    deposits.open_account(
        owing,
        currency="USD",
        price=Decimal(100),
        deposit=Decimal(50),
        due_on=today_at(the_shop()) - timedelta(days=2),
        who=as_owner,
    )
    needs = front_page(shop, timezone.now()).needs
    assert {need.commission.pk for need in needs} == {commission.pk, sampled.pk, coat.pk, owing.pk}
    for need in needs:
        assert desk.get(need.address.partition("#")[0]).status_code == 200, need
    page = desk.get("/desk/").content.decode()
    for need in needs:
        assert need.press in page


def test_a_long_list_is_cut_and_counted(shop: Shop, desk: Browser) -> None:
    for n in range(MOST + 1):
        another(f"Client {n}", email=f"client{n}@example.com")
    today = front_page(shop, timezone.now())
    assert (len(today.needs), today.more) == (MOST, 1)
    assert "And 1 more" in desk.get("/desk/").content.decode()


def test_the_lead_caution_stands_in_the_line(shop: Shop, commission: Commission) -> None:
    (need,) = front_page(shop, timezone.now()).needs
    assert "May hold lead" in need.detail


def test_the_worker_is_said_to_be_silent_until_it_speaks(desk: Browser, shop: Shop) -> None:
    assert "The worker has not started" in desk.get("/desk/").content.decode()
    sweep()
    assert "worker has not started" not in desk.get("/desk/").content.decode()
    Heartbeat.objects.update(seen_at=timezone.now() - timedelta(minutes=10))
    assert "The worker is silent" in desk.get("/desk/").content.decode()


def test_what_failed_is_shown_and_can_be_tried_again(desk: Browser, shop: Shop) -> None:
    document = Document.objects.create(
        template="quote", title="Quote 26-001", filename="q.pdf", content={}, dated_on=today_at(the_shop()),
        state=Work.State.FAILED, trouble="The template is broken.",
    )  # fmt: skip
    assert "The template is broken." in desk.get("/desk/").content.decode()
    desk.post(reverse("desk:work-again", args=["document", document.pk]))
    document.refresh_from_db()
    assert (document.state, document.trouble) == ("waiting", "")
    assert desk.post(reverse("desk:work-again", args=["session", 1])).status_code == 404


def test_commissions_are_found_by_name_piece_number_and_stage(desk: Browser, commission: Commission) -> None:
    other = put(another("Teal Ambrose", "rocking chair"), stage=Stage.READY)

    def found(**query: str) -> set[str]:
        answer = desk.get("/desk/c/", query)
        return {row.number for row, _ in answer.context["rows"]}

    both = {commission.number, other.number}
    assert found() == both
    assert found(q="ottoline") == {commission.number}
    assert found(q="ROCKING") == {other.number}
    assert found(q=other.number) == {other.number}
    assert found(q="teal chair") == {other.number}
    assert found(q="teal desk") == set()
    assert found(stage="ready") == {other.number}
    assert found(stage="no such stage") == both
    assert found(page="999") == both
    assert "Nothing found" in desk.get("/desk/c/", {"q": "zzz"}).content.decode()
    assert desk.get("/desk/c/", {"q": "%_'\"<script>"}).status_code == 200


def test_the_page_of_a_commission_shows_what_is_for_the_owner_alone(
    desk: Browser, portal: Browser, commission: Commission, as_owner: Who, picture_file: MakePicture
) -> None:
    add_shots(commission, [take_in(picture_file(), "paper.jpg")], Shot.Kind.PAPER, for_client=False)
    conversation.say_to_shop(commission, "When?", Who("client", commission.client_id))
    conversation.answered_elsewhere(commission, "Told her on the phone that we are late", as_owner)
    words = "Told her on the phone"
    assert words in desk.get(reverse("desk:commission", args=[commission.number])).content.decode()
    assert words not in portal.get(reverse("portal:commission", args=[commission.number])).content.decode()


def test_the_link_can_be_shown_copied_and_revoked(
    desk: Browser, commission: Commission, client_person: Client
) -> None:
    page = reverse("desk:link", args=[commission.number])
    shown = desk.get(page)
    address = shown.context["address"]
    assert "<svg" in shown.content.decode()
    assert address in shown.content.decode().replace("&amp;", "&")
    path = address.removeprefix("http://localhost:8000")
    assert Browser().get(path)["Location"] == f"/my/{commission.number}/"
    desk.post(reverse("desk:link-revoke", args=[commission.number]))
    assert Browser().get(path)["Location"].startswith("/fresh-link/")
    assert desk.get(page).context["address"] != address


def test_the_docket_prints_what_the_bench_needs(desk: Browser, commission: Commission) -> None:
    page = desk.get(reverse("desk:docket", args=[commission.number])).content.decode()
    for words in (commission.number, "Ottoline Brask", "walnut", "test before sanding", "respirator"):
        assert words in page


def test_a_number_that_is_not_there_is_404(desk: Browser, shop: Shop) -> None:
    assert desk.get("/desk/c/26-999/").status_code == 404


def test_statements_do_not_grow(
    desk: Browser, shop: Shop, django_assert_num_queries: Callable[..., Any], commission: Commission
) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def count() -> int:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            desk.get("/desk/")
        return len(seen)

    one = count()
    for n in range(8):
        another(f"Client {n}", email=f"client{n}@example.com")
    assert count() == one


def test_what_the_shop_asked_waits_for_the_client(shop: Shop, commission: Commission, as_owner: Who) -> None:
    conversation.say_to_client(commission, "How high is it?", as_owner)
    today = front_page(shop, timezone.now())
    assert today.needs == []
    assert today.waiting_for_clients == [(commission, "has what you asked to answer")]
    reply = Who("client", commission.client_id)
    conversation.say_to_shop(commission, "76 cm", reply)
    conversation.answered_elsewhere(commission, "Thanked her by phone", as_owner)
    today = front_page(shop, timezone.now())
    assert [(need.says, need.press) for need in today.needs] == [
        ("asks about writing desk.", "Go on with the quote")
    ]
    assert today.waiting_for_clients == []


def test_a_promised_sample_that_was_never_shown_is_asked_for(
    shop: Shop, commission: Commission, as_owner: Who
) -> None:
    put(commission, stage=Stage.CHECKED_IN, sample_promised=True)
    chair = add_piece(commission, NewPiece("armchair"), 2, 2026)
    assert says(shop) == ["Ottoline Brask was promised a sample for the writing desk and armchair."]
    colours.propose(commission.pieces.get(position=1), colours.NewSample("Grey"), as_owner)
    assert says(shop) == ["Ottoline Brask was promised a sample for the armchair."]
    colours.propose(chair, colours.NewSample("Grey"), as_owner)
    assert says(shop) == []
    put(commission, stage=Stage.BOOKED)
    put(another("Teal Ambrose"), stage=Stage.CHECKED_IN, sample_promised=False)
    assert says(shop) == []


def test_who_has_not_chosen_a_time_after_three_days(
    shop: Shop, commission: Commission, as_owner: Who, desk: Browser
) -> None:
    now = timezone.now()
    fetches = another("Teal Ambrose")
    for days, shown in ((2, False), (4, True)):
        since = now - timedelta(days=days)
        put(commission, stage=Stage.READY, stage_since=since)
        brings = put(fetches, stage=Stage.BOOKED, stage_since=since)
        today = front_page(shop, now)
        assert [need.says for need in today.needs] == ["has not chosen a time to fetch it."] * shown
        assert [one.pk for one, _ in today.waiting_for_clients] == [brings.pk] * shown
    for one, kind in ((commission, Visit.Kind.PICKUP), (fetches, Visit.Kind.DROP_OFF)):
        slot = next(slot for slot in free(now) if slot.start > now + timedelta(days=4))
        visits.book(one, kind, slot.start, as_owner)
    today = front_page(shop, timezone.now())
    assert (today.needs, today.waiting_for_clients) == ([], [])


def agreed_at_100(commission: Commission, who: Who) -> Commission:
    put(commission, stage=Stage.AGREED)
    deposits.open_account(
        commission,
        currency="USD",
        price=Decimal(100),
        deposit=Decimal(50),
        due_on=today_at(the_shop()),
        who=who,
    )
    return commission


def test_a_deposit_that_is_open_again_is_asked_for(
    shop: Shop, commission: Commission, as_owner: Who, portal: Browser
) -> None:
    agreed_at_100(commission, as_owner)
    paid = deposits.record_payment(commission, Decimal(50), today_at(the_shop()), "cash", "", as_owner)
    page = reverse("portal:commission", args=[commission.number])
    assert says(shop) == []
    assert "open again" not in portal.get(page).content.decode()
    deposits.reverse(paid, "Another client's", as_owner)
    assert says(shop) == ["Ottoline Brask owes $50.00 of the deposit again."]
    assert "$50.00 of the deposit is open again." in portal.get(page).content.decode()


def test_what_went_home_unpaid_is_asked_for_until_it_is_paid(
    shop: Shop, commission: Commission, as_owner: Who
) -> None:
    agreed_at_100(commission, as_owner)
    deposits.record_payment(commission, Decimal(50), today_at(the_shop()), "cash", "", as_owner)
    put(commission, stage=Stage.COLLECTED, collected_at=timezone.now())
    today = front_page(shop, timezone.now())
    assert [need.says for need in today.needs] == ["has the piece, and still owes $50.00."]
    assert today.in_shop == []
    deposits.record_payment(commission, Decimal(50), today_at(the_shop()), "cash", "", as_owner)
    assert says(shop) == []
