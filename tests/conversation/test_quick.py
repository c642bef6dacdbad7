"""Quick answers: filled from the commission, shown before they go, stopped when a field has nothing in it."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from importlib import import_module
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.fields import all_fields, values_of
from shopdesk.commissions.models import Commission, Piece
from shopdesk.conversation import actions, quick
from shopdesk.conversation.models import Message, QuickAnswer
from shopdesk.conversation.queries import messages_of
from shopdesk.quotes import actions as quotes
from shopdesk.shop.models import Shop
from shopdesk.visits import actions as visits
from shopdesk.visits.queries import free
from tests.conftest import MakePicture
from tests.quotes.making import send

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _none_yet(db: None) -> None:
    QuickAnswer.objects.all().delete()


@pytest.fixture
def page(commission: Commission) -> str:
    return reverse("desk:answer", args=[commission.number])


def ready_on(commission: Commission, day: date | None) -> None:
    Commission.objects.filter(pk=commission.pk).update(ready_on=day)
    commission.refresh_from_db()


def answer(text: str, title: str = "When") -> QuickAnswer:
    return QuickAnswer.objects.create(title=title, text=text)


# -- what is put in --------------------------------------------------------------------------------------


def test_every_field_says_what_it_is_and_what_is_missing(commission: Commission) -> None:
    values = values_of(commission)
    assert list(values) == list(all_fields())
    assert {"piece", "pieces", "name", "number", "ready_date", "start_date", "due", "deposit", "deposit_due",
            "shop", "shop_phone", "slot"} <= set(values)  # fmt: skip
    for name, field in all_fields().items():
        assert field.says
        assert values[name] or field.missing, name


def test_fields_are_filled_from_the_commission(
    commission: Commission, as_owner: Who, as_client: Who, django_assert_max_num_queries: Any
) -> None:
    quote = send(commission, as_owner)
    quotes.accept(quote.pk, [], "Ottoline Brask", as_client)
    commission.refresh_from_db()
    ready_on(commission, date(timezone.now().year, 12, 9))
    values = values_of(commission)
    assert values["ready_date"] == "December 9"
    assert (values["name"], values["pieces"], values["shop"]) == (
        "Ottoline Brask",
        "writing desk",
        "Tidewell Bench",
    )
    assert values["deposit"].startswith("$")
    assert Decimal(values["due"].lstrip("$").replace(",", "")) > 0
    assert values["deposit_due"]
    assert values["slot"] == ""
    with django_assert_max_num_queries(10):
        values_of(commission)


def test_the_next_visit_is_named(commission: Commission, as_client: Who, as_owner: Who) -> None:
    visits.offer_site_visit(commission, as_owner)
    visits.book(commission, "site-visit", free(timezone.now())[0].start, as_client)
    assert ":" in values_of(commission, ["slot"])["slot"]


def test_a_field_of_another_room_is_not_asked_for_without_need(
    commission: Commission, django_assert_num_queries: Any
) -> None:
    commission = Commission.objects.select_related("client").prefetch_related("pieces").get()
    with django_assert_num_queries(1):  # the shop
        assert values_of(commission, ["name"]) == {"name": "Ottoline Brask"}


# -- into the box, and out of it -------------------------------------------------------------------------


def test_choosing_one_fills_the_box_after_what_was_typed_and_sends_nothing(
    commission: Commission, desk: Browser, page: str
) -> None:
    ready_on(commission, date(2031, 12, 9))
    one = answer("Your {pieces} will be ready {ready_date}, {name}.")
    shown = desk.post(page, {"fill": "yes", "quick": one.pk, "text": "Dear Ottoline,\n"})
    assert shown.status_code == 200
    text = shown.context["form"]["text"].value()
    assert text == ("Dear Ottoline,\n\nYour writing desk will be ready December 9, 2031, Ottoline Brask.")
    assert "December 9, 2031" in shown.content.decode()
    assert messages_of(commission) == []
    assert desk.post(page, {"text": text, "seen": "0"}).status_code == 302
    assert messages_of(commission)[0].text == text


def test_what_cannot_be_filled_stays_in_braces_is_said_and_stops_the_sending(
    commission: Commission, desk: Browser, page: str
) -> None:
    one = answer("Ready {ready_date}. {ready_date}, {name}.")
    shown = desk.post(page, {"fill": "yes", "quick": one.pk, "text": ""})
    text = shown.context["form"]["text"].value()
    assert text == "Ready {ready_date}. {ready_date}, Ottoline Brask."
    assert shown.context["missing"] == ("There is no ready date yet.",)
    assert "There is no ready date yet." in shown.content.decode()
    stopped = desk.post(page, {"text": text, "seen": "0"})
    assert stopped.status_code == 422
    body = stopped.content.decode()
    assert "There is no ready date yet." in body
    assert "Ready {ready_date}. {ready_date}, Ottoline Brask." in body
    assert not Message.objects.exists()


def test_a_field_typed_by_hand_is_filled_or_stops(commission: Commission, as_owner: Who) -> None:
    with pytest.raises(Refused, match="There is no ready date yet"):
        actions.say_to_client(commission, "On { ready_date }.", as_owner)
    ready_on(commission, date(2031, 12, 9))
    assert actions.say_to_client(commission, "On { ready_date }.", as_owner).text == "On December 9, 2031."
    with pytest.raises(Refused, match=r"no field \{redy_date\}.*\{ready_date\}"):
        actions.say_to_client(commission, "On {redy_date}.", as_owner)
    with pytest.raises(Refused, match="brace"):
        actions.say_to_client(commission, "A { alone", as_owner)
    assert actions.say_to_client(commission, r"A \{brace\} and } one", as_owner).text == "A {brace} and } one"


def test_braces_in_a_value_open_no_field(commission: Commission, desk: Browser, page: str) -> None:
    Piece.objects.update(name="desk {ready_date} {x")
    one = answer(r"Your {piece}; \{as is\}.")
    text = desk.post(page, {"fill": "yes", "quick": one.pk}).context["form"]["text"].value()
    assert desk.post(page, {"text": text, "seen": "0"}).status_code == 302
    assert messages_of(commission)[0].text == "Your desk {ready_date} {x; {as is}."


def test_an_email_of_the_owners_is_not_filled(commission: Commission, as_owner: Who) -> None:
    said = actions.say_to_client(commission, "On {ready_date} {", as_owner, came_by="mail")
    assert said.text == "On {ready_date} {"


def test_pictures_chosen_before_are_kept(
    commission: Commission, desk: Browser, page: str, picture_file: MakePicture
) -> None:
    one = answer("Here it is.")
    shown = desk.post(page, {"fill": "yes", "quick": one.pk, "text": "", "photos": [picture_file()]})
    body = shown.content.decode()
    token = body.split('name="photos-kept" value="')[1].split('"')[0]
    typed = {"text": "Here it is.", "photos-kept": token, "seen": "0"}
    assert desk.post(page, typed).status_code == 302
    assert messages_of(commission)[0].shots.count() == 1


def test_choosing_none_or_one_that_is_gone_says_so(commission: Commission, desk: Browser, page: str) -> None:
    for chosen in ("", "999999", "nonsense"):
        shown = desk.post(page, {"fill": "yes", "quick": chosen, "text": "Kept words"})
        assert shown.status_code == 422
        assert "Kept words" in shown.content.decode()
        assert "Choose a quick answer first" in shown.content.decode()


def test_one_that_no_longer_reads_is_not_put_in(commission: Commission, desk: Browser, page: str) -> None:
    one = answer("Broken { by hand")
    shown = desk.post(page, {"fill": "yes", "quick": one.pk, "text": "Mine"})
    assert shown.status_code == 422
    assert shown.context["form"]["text"].value() == "Mine"


# -- the shop's own list ---------------------------------------------------------------------------------


def test_writing_changing_and_taking_away(desk: Browser) -> None:
    new = reverse("desk:quick-answer-new")
    assert desk.post(new, {"title": " Soon ", "text": "Soon, {name}."}).status_code == 302
    one = QuickAnswer.objects.get()
    assert (one.title, one.edition) == ("Soon", 1)
    at = reverse("desk:quick-answer", args=[one.pk])
    assert desk.post(at, {"title": "Soon", "text": "Very soon.", "edition": "1"}).status_code == 302
    one.refresh_from_db()
    assert (one.text, one.edition) == ("Very soon.", 2)
    assert desk.get(reverse("desk:quick-answers")).status_code == 200
    away = reverse("desk:quick-answer-away", args=[one.pk])
    desk.post(away, {"edition": "1"})
    assert QuickAnswer.objects.exists()
    desk.post(away, {"edition": "2"})
    assert not QuickAnswer.objects.exists()
    assert desk.post(away, {"edition": "2"}).status_code == 302
    assert desk.get(at).status_code == 404


def test_two_tabs_do_not_write_over_each_other(desk: Browser) -> None:
    one = answer("First")
    at = reverse("desk:quick-answer", args=[one.pk])
    assert desk.post(at, {"title": "When", "text": "From tab one", "edition": "1"}).status_code == 302
    late = desk.post(at, {"title": "When", "text": "From tab two", "edition": "1"})
    assert late.status_code == 409
    body = late.content.decode()
    assert "From tab one" in body
    assert "From tab two" in body
    one.refresh_from_db()
    assert one.text == "From tab one"
    again = {"title": "When", "text": "From tab two", "edition": late.context["form"]["edition"].value()}
    assert desk.post(at, again).status_code == 302
    one.refresh_from_db()
    assert (one.text, one.edition) == ("From tab two", 3)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("Ready {redy_date}", "{ready_date}"),
        ("Ready {wood}", "There are: {name}"),
        ("A { alone", "brace"),
        ("{Ready Date}", "small letters"),
        ("", "required"),
        ("x" * 2001, "2000"),
    ],
)
def test_what_cannot_be_kept_says_why(desk: Browser, text: str, says: str) -> None:
    answered = desk.post(reverse("desk:quick-answer-new"), {"title": "One", "text": text})
    assert answered.status_code == 422
    assert says in answered.content.decode()
    assert not QuickAnswer.objects.exists()


def test_a_name_is_there_once(as_owner: Who) -> None:
    answer("x", "Soon")
    with pytest.raises(Refused, match="of that name"):
        quick.keep("SOON", "y", as_owner)
    with pytest.raises(Refused, match="the shop's"):
        quick.keep("Later", "y", Who("client", 1))


def test_the_first_ones_can_all_be_kept_as_they_are(shop: Shop, as_owner: Who) -> None:
    answers: dict[str, str] = import_module("shopdesk.conversation.migrations.0004_begin_with").ANSWERS
    assert len(answers) >= 5
    for title, text in answers.items():
        assert quick.keep(title, text, as_owner).text == text
