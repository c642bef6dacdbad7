"""The last days of a quote: one reminder before, and a draft for the owner after."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.mail import EmailMessage
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from shopdesk.base import sweep
from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.clients.models import Client
from shopdesk.commissions import reminders as due_reminders
from shopdesk.commissions.letters import to_client
from shopdesk.commissions.models import Commission, Reminded, Stage
from shopdesk.commissions.queries import journal_of
from shopdesk.commissions.reminders import write_due
from shopdesk.commissions.stages import locked
from shopdesk.commissions.tasks import run_reminders
from shopdesk.conversation.models import Message
from shopdesk.desk.needs import Need, front_page
from shopdesk.mail.models import Email
from shopdesk.portal.actions import withdraw
from shopdesk.quotes import actions, expiry
from shopdesk.quotes.models import Quote
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from tests.quotes.making import send

pytestmark = pytest.mark.django_db
Clock = Callable[[datetime], datetime]


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """`clock(moment)` makes it that moment for everything that asks `timezone.now()`."""

    def set_to(moment: datetime) -> datetime:
        monkeypatch.setattr(timezone, "now", lambda: moment)
        return moment

    return set_to


@pytest.fixture
def quote(commission: Commission, as_owner: Who) -> Quote:
    """Sent today, good for fourteen days."""
    return send(commission, as_owner)


def on_the_wall(shop: Shop, day: date, at: time) -> datetime:
    return datetime.combine(day, at, shop.tz).astimezone(UTC)


def last_day(quote: Quote) -> date:
    assert quote.good_until is not None
    return quote.good_until


def nine(shop: Shop, quote: Quote, days_before: int) -> datetime:
    return on_the_wall(shop, last_day(quote) - timedelta(days=days_before), time(9))


def reminders() -> int:
    return Email.objects.filter(kind="quote-expiring").count()


# -- before ------------------------------------------------------------------------------------------------


def test_one_reminder_from_nine_three_days_before(quote: Quote, shop: Shop, clock: Clock) -> None:
    due = nine(shop, quote, 3)
    for moment in (timezone.now(), due - timedelta(days=1), due - timedelta(seconds=1)):
        clock(moment)
        write_due()
        assert reminders() == 0
    for moment in (due, due + timedelta(minutes=5), due + timedelta(days=1), due + timedelta(days=3)):
        clock(moment)
        write_due()
        assert reminders() == 1
    reminded = Reminded.objects.get()
    assert (reminded.at, reminded.occasion) == (due, f"{quote.pk} before")
    line = journal_of(quote.commission, for_client=True)[-1]
    assert (line.by, line.verb) == ("shop", "reminded")


def test_what_it_says(
    quote: Quote,
    shop: Shop,
    clock: Clock,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    work()
    mailbox.clear()
    clock(nine(shop, quote, 3))
    work()
    (mail,) = mailbox
    assert mail.to == ["ottoline@example.com"]
    until = f"{last_day(quote):%B} {last_day(quote).day}"
    assert until in str(mail.subject)
    assert "$685.80" in str(mail.body)
    assert "writing desk" in str(mail.body)
    assert f"%2Fmy%2F{quote.commission.number}%2Fquote%2F" in str(mail.body)


def test_a_worker_that_slept_through_the_day_still_reminds_on_the_last_one_and_not_after(
    quote: Quote, shop: Shop, clock: Clock
) -> None:
    clock(nine(shop, quote, -1))
    assert write_due() == 0
    clock(nine(shop, quote, 0))
    write_due()
    assert reminders() == 1


@pytest.mark.parametrize(("days", "count"), [(0, 0), (1, 0), (5, 1), (13, 1)])
def test_how_long_before_is_the_shops_to_say(
    quote: Quote, shop: Shop, clock: Clock, days: int, count: int
) -> None:
    Shop.objects.update(remind_days=days)
    clock(nine(shop, quote, 5))
    write_due()
    assert reminders() == count
    if days == 0:
        clock(nine(shop, quote, 0))
        write_due()
        assert reminders() == 0


@pytest.mark.parametrize(("good_for", "count"), [(3, 0), (2, 0), (4, 1)])
def test_a_quote_that_was_short_from_the_start_has_said_so_itself(
    commission: Commission, as_owner: Who, shop: Shop, clock: Clock, good_for: int, count: int
) -> None:
    quote = send(commission, as_owner, good_until=today_at(shop) + timedelta(days=good_for))
    for days in (3, 2, 1, 0):
        if days < good_for:
            clock(nine(shop, quote, days))
            write_due()
    assert reminders() == count


def answer_yes(quote: Quote, owner: Who, client: Who) -> None:
    actions.accept(quote.pk, set(), "Ottoline Brask", client)


def answer_no(quote: Quote, owner: Who, client: Who) -> None:
    actions.decline(quote.pk, "", client)


def answer_withdrawn(quote: Quote, owner: Who, client: Who) -> None:
    withdraw(quote.commission, client)


def revised(quote: Quote, owner: Who, client: Who) -> None:
    send(quote.commission, owner, good_until=last_day(quote) + timedelta(days=30))


def being_revised(quote: Quote, owner: Who, client: Who) -> None:
    actions.start(quote.commission, owner)


ANSWERS = [answer_yes, answer_no, answer_withdrawn, revised, being_revised]


@pytest.mark.parametrize("answer", ANSWERS)
def test_none_for_what_was_answered_a_second_before(
    quote: Quote, shop: Shop, clock: Clock, as_owner: Who, as_client: Who, answer: Any
) -> None:
    due = nine(shop, quote, 3)
    clock(due - timedelta(seconds=1))
    answer(quote, as_owner, as_client)
    clock(due)
    write_due()
    assert reminders() == 0


@pytest.mark.parametrize("answer", ANSWERS)
def test_none_for_an_answer_between_looking_and_writing(
    quote: Quote, shop: Shop, clock: Clock, as_owner: Who, as_client: Who, monkeypatch: Any, answer: Any
) -> None:
    """The worker has the quote on its list; the answer is committed before it gets the commission's lock."""
    real = locked

    def the_answer_was_first(commission_id: int) -> Commission:
        monkeypatch.setattr("shopdesk.commissions.reminders.locked", real)
        answer(quote, as_owner, as_client)
        return real(commission_id)

    monkeypatch.setattr("shopdesk.commissions.reminders.locked", the_answer_was_first)
    clock(nine(shop, quote, 3))
    assert write_due() == 0
    assert reminders() == 0


def test_two_workers_write_one_reminder(quote: Quote, shop: Shop, clock: Clock, monkeypatch: Any) -> None:
    """The second comes while the first is writing: it finds the row that the first has made."""
    clock(nine(shop, quote, 3))
    real, counts = to_client, []

    def second_worker_is_here_now(*args: Any, **kwargs: Any) -> Any:
        monkeypatch.setattr(due_reminders, "to_client", real)
        counts.append(write_due())
        return real(*args, **kwargs)

    monkeypatch.setattr(due_reminders, "to_client", second_worker_is_here_now)
    counts.append(write_due())
    assert counts == [0, 1]
    assert reminders() == 1


def test_the_first_worker_may_be_done_before_the_second_locks(
    quote: Quote, shop: Shop, clock: Clock, monkeypatch: Any
) -> None:
    clock(nine(shop, quote, 3))
    real, counts = locked, []

    def the_other_was_first(commission_id: int) -> Commission:
        monkeypatch.setattr("shopdesk.commissions.reminders.locked", real)
        counts.append(write_due())
        return real(commission_id)

    monkeypatch.setattr("shopdesk.commissions.reminders.locked", the_other_was_first)
    counts.append(write_due())
    assert counts == [1, 0]
    assert reminders() == 1


def test_a_reminder_that_fails_half_way_is_written_at_the_next_sweep(
    quote: Quote, shop: Shop, clock: Clock, monkeypatch: Any
) -> None:
    clock(nine(shop, quote, 3))

    def fails(*args: Any, **kwargs: Any) -> Any:
        raise OSError("the disk is full")

    with monkeypatch.context() as broken:
        broken.setattr(due_reminders, "write_line", fails)
        assert write_due() == 0
    assert reminders() == 0
    assert not Reminded.objects.exists()
    assert write_due() == 1
    assert reminders() == 1


def test_a_client_without_email_is_put_on_the_list_of_what_to_tell(
    quote: Quote, shop: Shop, clock: Clock, client_person: Client
) -> None:
    Client.objects.update(email="")
    clock(nine(shop, quote, 3))
    assert write_due() == 1
    assert Email.objects.get(kind="quote-expiring").way == "tell"


def test_the_day_is_the_shops_wherever_the_worker_stands(
    commission: Commission, as_owner: Who, shop: Shop, clock: Clock
) -> None:
    Shop.objects.update(zone="Pacific/Auckland")
    shop.refresh_from_db()
    quote = send(commission, as_owner, good_until=today_at(shop) + timedelta(days=14))
    due = datetime.combine(last_day(quote) - timedelta(days=3), time(9), ZoneInfo("Pacific/Auckland"))
    clock((due - timedelta(seconds=1)).astimezone(UTC))
    assert write_due() == 0
    clock(due.astimezone(UTC))
    assert write_due() == 1


def test_the_sweep_and_the_beat_run_it(quote: Quote, shop: Shop, clock: Clock, settings: Any) -> None:
    assert sweep.runners()[run_reminders.name] is write_due
    assert [entry["task"] for entry in settings.CELERY_BEAT_SCHEDULE.values()].count(run_reminders.name) == 1
    clock(nine(shop, quote, 3))
    run_reminders()
    assert reminders() == 1


def test_without_a_shop_there_is_nothing_to_do(db: None) -> None:
    write_due()
    assert reminders() == 0


# -- after -------------------------------------------------------------------------------------------------


@pytest.fixture
def run_out(quote: Quote, shop: Shop, clock: Clock) -> Quote:
    """Good until yesterday; the clock stands at ten."""
    clock(on_the_wall(shop, last_day(quote) + timedelta(days=1), time(10)))
    return quote


def needs(shop: Shop) -> list[Need]:
    return [need for need in front_page(shop, timezone.now()).needs if "run out" in need.says]


def test_the_desk_has_the_words_ready_and_sends_nothing(
    run_out: Quote, shop: Shop, desk: Browser, work: Callable[[], None], mailbox: list[EmailMessage]
) -> None:
    work()
    mailbox.clear()
    (need,) = needs(shop)
    assert "Are you still interested?" in need.detail
    page = desk.get(need.address)
    assert page.status_code == 200
    assert "Are you still interested?" in page.content.decode()
    assert need.address in desk.get(reverse("desk:today")).content.decode()
    assert (
        need.address
        in desk.get(reverse("desk:commission", args=[run_out.commission.number])).content.decode()
    )
    for _ in range(3):
        work()
    assert not mailbox
    assert not Message.objects.exists()
    assert needs(shop)


def test_on_its_last_day_a_quote_has_not_run_out(quote: Quote, shop: Shop, clock: Clock) -> None:
    clock(on_the_wall(shop, last_day(quote), time(23, 59)))
    assert not needs(shop)


def test_the_owners_press_sends_the_owners_words_once(
    run_out: Quote, shop: Shop, desk: Browser, work: Callable[[], None], mailbox: list[EmailMessage]
) -> None:
    work()
    mailbox.clear()
    page = reverse("desk:still-interested", args=[run_out.commission.number])
    said = {"text": "Shall we keep your desk in mind?", "submission": "6b1c7a52-6a0f-4f67-9b5e-0d4d5c9a1b11"}
    for _ in range(2):
        answer = desk.post(page, said)
        assert answer.status_code == 302
    message = Message.objects.get()
    assert (message.text, message.by_client) == (said["text"], False)
    assert not needs(shop)
    assert "run out" in dict_of(shop)[run_out.commission.number]
    work()
    (mail,) = mailbox
    assert said["text"] in str(mail.body)
    late = desk.post(page, {"text": "And again?"})
    assert late.status_code == 409
    assert "And again?" in late.content.decode(), "what was typed is not lost"
    assert Message.objects.count() == 1


def dict_of(shop: Shop) -> dict[str, str]:
    return {one.number: words for one, words in front_page(shop, timezone.now()).waiting_for_clients}


def test_without_words_nothing_goes(run_out: Quote, desk: Browser) -> None:
    answer = desk.post(reverse("desk:still-interested", args=[run_out.commission.number]), {"text": "  "})
    assert answer.status_code == 422
    assert "Write a few words first." in answer.content.decode()
    run_out.refresh_from_db()
    assert run_out.followed_up_at is None


def test_it_can_be_let_rest(run_out: Quote, shop: Shop, desk: Browser) -> None:
    answer = desk.post(reverse("desk:let-rest", args=[run_out.commission.number]))
    assert answer["Location"] == reverse("desk:today")
    assert not needs(shop)
    assert not Message.objects.exists()
    assert not any(line.verb == "quote let rest" for line in journal_of(run_out.commission, for_client=True))
    assert journal_of(run_out.commission)[-1].verb == "quote let rest"


@pytest.mark.parametrize("answer", [answer_no, answer_withdrawn, revised])
def test_nobody_is_asked_who_has_answered_meanwhile(
    run_out: Quote, shop: Shop, as_owner: Who, as_client: Who, answer: Any
) -> None:
    answer(run_out, as_owner, as_client)
    with pytest.raises(Refused, match="no quote here"):
        expiry.ask_again(run_out.commission, "Still interested?", as_owner)
    with pytest.raises(Refused, match="no quote here"):
        expiry.let_rest(run_out.commission, as_owner)
    assert not Message.objects.exists()
    assert not needs(shop)


def test_while_it_is_good_there_is_nothing_to_follow_up(quote: Quote, desk: Browser, as_owner: Who) -> None:
    page = desk.get(reverse("desk:still-interested", args=[quote.commission.number]))
    assert page.status_code == 200
    assert "There is no quote here" in page.content.decode()
    with pytest.raises(Refused):
        expiry.ask_again(quote.commission, "Still interested?", as_owner)


def test_what_has_run_out_can_be_revised_and_runs_anew(
    run_out: Quote, shop: Shop, as_owner: Who, clock: Clock
) -> None:
    expiry.ask_again(run_out.commission, "Still interested?", as_owner)
    again = send(run_out.commission, as_owner, good_until=today_at(shop) + timedelta(days=14))
    clock(nine(shop, again, 3))
    write_due()
    assert reminders() == 1
    clock(on_the_wall(shop, last_day(again) + timedelta(days=1), time(10)))
    assert needs(shop)
    Commission.objects.update(stage=Stage.WITHDRAWN)
    assert not needs(shop)
