"""The desk's page, what goes out, and what the client sees."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal as D
from typing import Any

import pytest
from django.core.mail import EmailMessage
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.ballpark import actions
from shopdesk.ballpark.models import Ballpark
from shopdesk.ballpark.queries import ballpark_of, past_jobs
from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.clients.models import Client
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, open_commission
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.queries import journal_of
from shopdesk.deposits.models import Account
from shopdesk.mail.models import Email
from shopdesk.mail.words import words as words_of
from shopdesk.pricebook.models import Schedule, ScheduleStep, ShopRates, StepRate
from tests.quotes.making import send as send_quote

pytestmark = pytest.mark.django_db


@pytest.fixture
def price_book(shop: Any) -> Schedule:
    """Twenty minutes a square metre and two hours a piece, at $61 an hour; nothing under $150."""
    ShopRates.objects.create(
        id=1, currency="USD", wanted_hourly=D(61), floor_hourly=D(43), minimum_charge=D(150)
    )
    schedule = Schedule.objects.create(name="Oil on bare wood", words="Sanded and oiled.")
    rate = StepRate.objects.create(name="Sand", minutes_per_m2=D(20), minutes_per_piece=D(120))
    ScheduleStep.objects.create(schedule=schedule, position=1, rate=rate)
    return schedule


def page(commission: Commission) -> str:
    return reverse("desk:ballpark", args=[commission.number])


def typed(commission: Commission, **other: str) -> dict[str, str]:
    piece = commission.pieces.get()
    return {
        f"piece-{piece.pk}-kind": "table",
        f"piece-{piece.pk}-size": "middle",
        f"piece-{piece.pk}-schedule": "",
        "low": "450",
        "high": "600",
        "words": "",
        **other,
    }


def test_the_range_is_there_when_the_page_opens(
    desk: Browser, commission: Commission, price_book: Schedule
) -> None:
    """A desk 140 cm wide is a middle table: 120 minutes and 20 a square metre: of 1.53 and
    2.86 m², so 151 and 177 minutes at $61 an hour."""
    answer = desk.get(page(commission))
    assert answer.status_code == 200
    found = answer.context["found"]
    assert (found.low, found.high) == (D(150), D(180))
    text = answer.content.decode()
    assert "About $150–180, subject to seeing it." in text
    assert "at $61.00 an hour" in text
    assert "Rounded outwards" in text
    assert not Ballpark.objects.exists()


def test_another_choice_is_another_range(desk: Browser, commission: Commission, price_book: Schedule) -> None:
    piece = commission.pieces.get()
    chosen = typed(
        commission,
        work="yes",
        **{f"piece-{piece.pk}-size": "large", f"piece-{piece.pk}-schedule": str(price_book.pk)},
    )
    answer = desk.post(page(commission), {**chosen, "words": "Kept."})
    assert answer.status_code == 200
    assert answer.context["found"].high > D(200)
    text = answer.content.decode()
    assert "Kept." in text
    assert not Ballpark.objects.exists()


def test_the_owner_changes_both_ends_and_sees_the_words_first(
    desk: Browser, commission: Commission, price_book: Schedule
) -> None:
    answer = desk.post(page(commission), typed(commission, look="yes", low="475", high="700"))
    assert "About $475–700, subject to seeing it." in answer.content.decode()
    assert not Ballpark.objects.exists()


def test_it_goes_out_once_and_says_no_more_than_the_range(
    desk: Browser,
    portal: Browser,
    commission: Commission,
    price_book: Schedule,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    work()
    mailbox.clear()
    piece = commission.pieces.get()
    said = typed(
        commission,
        words="The veneer decides.",
        submission="0f9e2d7c-4b46-4f0c-9d0b-1f2f2f8a7c11",
        **{f"piece-{piece.pk}-schedule": str(price_book.pk)},
    )
    for _ in range(2):
        answer = desk.post(page(commission), said)
        assert answer["Location"] == reverse("desk:commission", args=[commission.number])
    sent = Ballpark.objects.get()
    assert (sent.low, sent.high, sent.span) == (D(450), D(600), "about $450–600")
    assert sent.how[-1] == "Put in by hand: about $450–600."
    commission.refresh_from_db()
    assert commission.stage == Stage.REQUESTED
    assert commission.answered_at is not None
    line = journal_of(commission, for_client=True)[-1]
    assert (line.verb, line.words) == ("ballpark sent", "A first idea of the price: about $450–600")
    work()
    (mail,) = mailbox
    assert mail.to == ["ottoline@example.com"]
    assert "About $450–600, subject to seeing it." in str(mail.body)
    assert "The veneer decides." in str(mail.body)
    assert "binds neither of us" in str(mail.body)
    text = portal.get(reverse("portal:commission", args=[commission.number])).content.decode()
    assert "About $450–600, subject to seeing it. It binds neither of us." in text
    assert reverse("portal:visit", args=[commission.number, "site-visit"]) in text
    for secret in ("61", "an hour", "hour", "rates", "Oil on bare wood", "$43"):
        assert secret not in str(mail.body).split("http")[0]
        if secret not in ("61", "hour"):
            assert secret not in text
    email = Email.objects.get(kind="ballpark")
    assert not any("hour" in str(value) for value in email.context.values())
    assert "an hour" not in words_of(email).html


def test_on_the_tell_list_without_an_email(commission: Commission, as_owner: Who) -> None:
    Client.objects.update(email="")
    commission.client.refresh_from_db()
    actions.send(commission, D(450), D(600), "", as_owner)
    assert Email.objects.get(kind="ballpark").way == "tell"


def test_the_newest_counts_and_a_quote_takes_its_place(
    commission: Commission, as_owner: Who, portal: Browser, desk: Browser
) -> None:
    actions.send(commission, D(450), D(600), "", as_owner)
    actions.send(commission, D(500), D(650), "", as_owner)
    theirs = reverse("portal:commission", args=[commission.number])
    newest = ballpark_of(commission)
    assert newest is not None
    assert newest.low == D(500)
    text = portal.get(theirs).content.decode()
    assert "$500–650" in text
    assert "About $450–600, subject" not in text
    send_quote(commission, as_owner)
    assert "subject to seeing it" not in portal.get(theirs).content.decode()
    with pytest.raises(Refused, match="comes before the quote"):
        actions.send(commission, D(1), D(2), "", as_owner)
    assert "comes before the quote" in desk.get(page(commission)).content.decode()
    assert Ballpark.objects.count() == 2


@pytest.mark.parametrize(
    ("low", "high", "field"),
    [
        ("", "600", "low"),
        ("450", "", "high"),
        ("0", "600", "low"),
        ("600", "450", "high"),
        ("149.99", "600", "low"),
        ("nonsense", "600", "low"),
        ("450", "1e9", "high"),
        ("450.123", "600", "low"),
        ("-5", "600", "low"),
        ("450", "999999999999999", "high"),
    ],
)
def test_a_range_that_is_none_is_said_at_its_field(
    desk: Browser, commission: Commission, price_book: Schedule, low: str, high: str, field: str
) -> None:
    answer = desk.post(page(commission), typed(commission, low=low, high=high, words="Kept."))
    assert answer.status_code == 422
    assert field in answer.context["form"].errors
    assert "Kept." in answer.content.decode()
    assert not Ballpark.objects.exists()
    assert not Email.objects.filter(kind="ballpark").exists()


def test_choices_that_are_none(desk: Browser, commission: Commission, price_book: Schedule) -> None:
    piece = commission.pieces.get()
    for name, value in (("kind", "boat"), ("size", "huge"), ("schedule", "999"), ("schedule", "x")):
        for press in ({}, {"work": "yes"}, {"look": "yes"}):
            asked = typed(commission, **{f"piece-{piece.pk}-{name}": value}, **press)
            assert desk.post(page(commission), asked).status_code == 422
    assert not Ballpark.objects.exists()


def test_an_empty_price_book_leaves_it_to_the_owner(desk: Browser, commission: Commission) -> None:
    text = desk.get(page(commission)).content.decode()
    assert "Put in both ends yourself" in text
    answer = desk.post(page(commission), typed(commission))
    assert answer.status_code == 302
    assert Ballpark.objects.get().how[0].startswith("Neither your rates")


def test_a_row_of_the_book_that_was_retired_meanwhile(
    desk: Browser, commission: Commission, price_book: Schedule
) -> None:
    from django.utils import timezone

    piece = commission.pieces.get()
    chosen = typed(commission, **{f"piece-{piece.pk}-schedule": str(price_book.pk)})
    Schedule.objects.update(retired_at=timezone.now())
    assert desk.post(page(commission), chosen).status_code == 422
    assert not Ballpark.objects.exists()


def test_for_the_owner_only(portal: Browser, commission: Commission, as_client: Who) -> None:
    assert portal.get(page(commission)).status_code == 302
    assert Browser().post(page(commission), typed(commission)).status_code == 302
    with pytest.raises(Refused):
        actions.send(commission, D(450), D(600), "", as_client)
    assert not Ballpark.objects.exists()


def job(person: Client, who: Who, price: int, *pieces: NewPiece, stage: Stage = Stage.AGREED) -> None:
    made = open_commission(
        NewCommission(client=person, source="phone", wish=Wish("As it was."), pieces=pieces), who
    )
    Commission.objects.filter(pk=made.pk).update(stage=stage)
    Account.objects.create(
        commission=made, currency="USD", price=D(price), deposit=D(0), deposit_due_on="2026-01-05"
    )


def test_what_pieces_came_to_before(
    client_person: Client, as_owner: Who, django_assert_num_queries: Any
) -> None:
    def a(name: str, count: int = 1, width: int | None = None) -> NewPiece:
        return NewPiece(name, count=count, width_mm=D(width) if width else None)

    job(client_person, as_owner, 900, a("chairs", 6))
    job(client_person, as_owner, 700, a("oak table", width=1400))
    job(client_person, as_owner, 500, a("table"), a("chair"))  # cannot be told apart
    job(client_person, as_owner, 300, a("pulpit"))  # nothing like it is known
    job(client_person, as_owner, 100, a("table"), stage=Stage.CANCELLED)
    job(client_person, as_owner, 800, a("table", width=600), a("table", width=2000))  # nor these two sizes
    with django_assert_num_queries(2):
        found = past_jobs("USD")
    assert sorted((one.kind, one.size, one.each) for one in found) == [
        ("chair", None, D(150)),
        ("table", "middle", D(700)),
    ]
    assert past_jobs("EUR") == []


def test_past_jobs_stand_in_for_an_empty_price_book(
    desk: Browser, commission: Commission, client_person: Client, as_owner: Who
) -> None:
    for price in (400, 500, 600):
        job(client_person, as_owner, price, NewPiece("table"))
    found = desk.get(page(commission)).context["found"]
    assert (found.low, found.high) == (D(450), D(550))
