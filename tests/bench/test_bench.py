"""The piece in the shop: every move, what it needs, and what becomes of the money."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.mail import EmailMessage
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.bench import actions
from shopdesk.commissions.actions import add_shots
from shopdesk.commissions.models import Commission, JournalLine, Shot, Stage
from shopdesk.deposits import actions as deposits
from shopdesk.deposits.queries import standing
from shopdesk.mail.models import Email
from shopdesk.photos.actions import take_in
from shopdesk.shop.queries import the_shop, today_at
from tests.conftest import MakePicture

pytestmark = pytest.mark.django_db


@pytest.fixture
def booked(commission: Commission, as_owner: Who) -> Commission:
    """Agreed at $400, with the deposit of $200 in."""
    Commission.objects.filter(pk=commission.pk).update(stage=Stage.AGREED)
    today = today_at(the_shop())
    deposits.open_account(
        commission, currency="USD", price=Decimal(400), deposit=Decimal(200), due_on=today, who=as_owner
    )
    deposits.record_payment(commission, Decimal(200), today, "cash", "", as_owner)
    commission.refresh_from_db()
    assert commission.stage == Stage.BOOKED
    return commission


def through_to_ready(commission: Commission, who: Who, picture: MakePicture) -> None:
    actions.check_in(commission, today_at(the_shop()), who)
    actions.begin_work(commission, who)
    actions.set_to_dry(commission, who)
    add_shots(commission, [take_in(picture(), "after.jpg")], Shot.Kind.FINAL)
    actions.make_ready(commission, who)


def test_the_way_through_the_shop(
    booked: Commission,
    as_owner: Who,
    picture_file: MakePicture,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    through_to_ready(booked, as_owner, picture_file)
    with pytest.raises(Refused, match="balance has not been paid"):
        actions.hand_over(booked, as_owner)
    deposits.record_payment(booked, Decimal(200), today_at(the_shop()), "card", "", as_owner)
    actions.hand_over(booked, as_owner, note="Looked over together")
    booked.refresh_from_db()
    assert booked.stage == Stage.COLLECTED
    for column in ("checked_in_on", "work_began_at", "ready_at", "settled_at", "collected_at"):
        assert getattr(booked, column) is not None, column
    verbs = list(JournalLine.objects.filter(commission=booked).values_list("verb", flat=True))
    assert [verb for verb in verbs if verb in Stage.values] == [
        "booked", "checked in", "in work", "drying", "ready", "collected",
    ]  # fmt: skip
    work()
    subjects = " | ".join(str(mail.subject) for mail in mailbox)
    for words in ("Safely here", "Ready", "Thank you"):
        assert words in subjects


def test_a_day_to_come_and_a_day_before_the_request_are_refused(booked: Commission, as_owner: Who) -> None:
    today = today_at(the_shop())
    for day, words in (
        (today + timedelta(days=1), "not come yet"),
        (today - timedelta(days=40), "before the client"),
    ):
        with pytest.raises(Refused, match=words):
            actions.check_in(booked, day, as_owner)
    booked.refresh_from_db()
    assert (booked.stage, booked.checked_in_on) == (Stage.BOOKED, None)


def test_going_home_unpaid_needs_a_reason(
    booked: Commission, as_owner: Who, picture_file: MakePicture
) -> None:
    through_to_ready(booked, as_owner, picture_file)
    actions.hand_over(booked, as_owner, past="Pays on Friday, a regular")
    assert JournalLine.objects.get(verb="collected").reason == "Pays on Friday, a regular"


def test_found_something_at_the_last_moment(
    booked: Commission, as_owner: Who, picture_file: MakePicture
) -> None:
    through_to_ready(booked, as_owner, picture_file)
    actions.begin_work(booked, as_owner, note="A run in the varnish")
    booked.refresh_from_db()
    assert (booked.stage, booked.ready_at) == (Stage.IN_WORK, None)


def test_on_hold_and_back(booked: Commission, as_owner: Who) -> None:
    with pytest.raises(Refused, match="why it waits"):
        actions.hold(booked, "  ", as_owner)
    actions.hold(booked, "the client is away", as_owner)
    actions.take_up_again(booked, as_owner)
    booked.refresh_from_db()
    assert booked.stage == Stage.BOOKED


@pytest.mark.parametrize(("back", "kept"), [("0", "200"), ("200", "0"), ("50.50", "149.50")])
def test_cancelling_says_what_becomes_of_the_deposit(
    booked: Commission, as_owner: Who, back: str, kept: str
) -> None:
    actions.cancel(booked, "The client moves abroad", as_owner, give_back=Decimal(back), how="transfer")
    booked.refresh_from_db()
    assert booked.stage == Stage.CANCELLED
    money = standing(booked)
    assert money is not None
    assert (money.refunded, money.held, money.due) == (Decimal(back), Decimal(kept), Decimal(0))


def test_no_more_is_given_back_than_came_in_and_nothing_has_changed(
    booked: Commission, as_owner: Who
) -> None:
    with pytest.raises(Refused):
        actions.cancel(booked, "A slip of the pen", as_owner, give_back=Decimal("200.01"), how="cash")
    booked.refresh_from_db()
    assert booked.stage == Stage.BOOKED
    assert not JournalLine.objects.filter(verb="cancelled").exists()


def test_cancelling_on_the_page(booked: Commission, desk: Browser) -> None:
    page = reverse("desk:cancel", args=[booked.number])
    assert "$200.00" in desk.get(page).content.decode()
    today = today_at(the_shop()).isoformat()
    typed = {"reason": "Changed their mind", "how": "cash", "on": today}
    wrong = desk.post(page, {**typed, "give_back": "lots"})
    assert wrong.status_code == 422
    assert "Changed their mind" in wrong.content.decode()
    too_much = desk.post(page, {**typed, "give_back": "999"})
    assert too_much.status_code == 422
    assert desk.post(page, {**typed, "give_back": "200"}).status_code == 302
    booked.refresh_from_db()
    assert booked.stage == Stage.CANCELLED


def test_the_presses_of_the_page(booked: Commission, desk: Browser) -> None:
    today = today_at(the_shop()).isoformat()
    assert desk.post(reverse("desk:check-in", args=[booked.number]), {"on": today}).status_code == 302
    for verb, stage in (("begin-work", Stage.IN_WORK), ("set-to-dry", Stage.DRYING)):
        desk.post(reverse("desk:move", args=[booked.number, verb]))
        booked.refresh_from_db()
        assert booked.stage == stage
    refused = desk.post(reverse("desk:move", args=[booked.number, "ready"]), follow=True)
    assert "picture of the finished piece" in refused.content.decode()
    assert desk.post(reverse("desk:move", args=[booked.number, "fly"])).status_code == 404


def held_and_paid(commission: Commission, who: Who) -> None:
    """Agreed, put on hold, and then the deposit comes in all the same."""
    Commission.objects.filter(pk=commission.pk).update(stage=Stage.AGREED)
    commission.refresh_from_db()
    today = today_at(the_shop())
    deposits.open_account(
        commission, currency="USD", price=Decimal(400), deposit=Decimal(200), due_on=today, who=who
    )
    actions.hold(commission, "the client is away", who, tell=False)
    deposits.record_payment(commission, Decimal(200), today, "cash", "", who)
    assert commission.stage == Stage.ON_HOLD


def test_a_deposit_paid_while_on_hold_books_the_place_when_it_goes_on(
    commission: Commission, as_owner: Who
) -> None:
    held_and_paid(commission, as_owner)
    actions.take_up_again(commission, as_owner)
    assert commission.stage == Stage.BOOKED
    commission.refresh_from_db()
    assert (commission.stage, commission.booked_at is None) == (Stage.BOOKED, False)
    assert Email.objects.filter(kind="booked").count() == 1


def test_taken_up_without_the_deposit_it_is_agreed_again(commission: Commission, as_owner: Who) -> None:
    Commission.objects.filter(pk=commission.pk).update(stage=Stage.ON_HOLD, held_from=Stage.AGREED)
    today = today_at(the_shop())
    deposits.open_account(
        commission, currency="USD", price=Decimal(400), deposit=Decimal(200), due_on=today, who=as_owner
    )
    actions.take_up_again(commission, as_owner)
    commission.refresh_from_db()
    assert commission.stage == Stage.AGREED
    assert not Email.objects.filter(kind="booked").exists()
    with pytest.raises(Refused, match="not in yet"):
        actions.book_place(commission, as_owner)


def test_a_place_that_was_left_unbooked_is_booked_by_a_press(
    commission: Commission, as_owner: Who, desk: Browser
) -> None:
    held_and_paid(commission, as_owner)
    Commission.objects.filter(pk=commission.pk).update(stage=Stage.AGREED, held_from="")
    today = desk.get("/desk/").content.decode()
    assert "has paid the deposit" in today
    assert "$0.00" not in today
    page = desk.get(reverse("desk:commission", args=[commission.number])).content.decode()
    assert "Book the place" in page
    assert "Record the deposit" not in page
    desk.post(reverse("desk:move", args=[commission.number, "book-place"]))
    commission.refresh_from_db()
    assert commission.stage == Stage.BOOKED
