"""The owner's tray: what came in and has no clear place."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as configured
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.clients.actions import know_client
from shopdesk.clients.models import Client
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, open_commission
from shopdesk.commissions.models import Commission, JournalLine
from shopdesk.conversation import placing
from shopdesk.conversation.actions import say_to_client, say_to_shop
from shopdesk.conversation.models import Message
from shopdesk.mail import arrivals, tags
from shopdesk.mail.heard import heard
from shopdesk.mail.models import Arrival, DeadAddress, Email
from shopdesk.photos.actions import unreferred
from shopdesk.photos.models import Picture
from tests.conftest import MakePicture
from tests.desk.walking import page, press
from tests.mail.arriving import Arrive, Letter, came, dsn

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("inbox")]
Verdict = Arrival.Verdict
STRANGER = "Ottoline Brask <otto.private@example.com>"


@pytest.fixture
def trayed(commission: Commission, arrive: Arrive) -> Arrival:
    """Her answer, from an address that nobody knows as hers."""
    arrival = arrive("Keep the knobs.", to=tags.reply_address(f"commission {commission.pk}"), sender=STRANGER)
    assert arrival.verdict == Verdict.TRAY
    return arrival


# -- the list ----------------------------------------------------------------------------------------------


def test_an_empty_tray_says_so(desk: Browser) -> None:
    assert "Nothing waits to be placed." in page(desk, "tray")
    assert "Nothing has been laid aside" in page(desk, "tray", query="?aside")
    assert "wait to be placed" not in page(desk, "today")


def test_the_longest_waiting_stands_first_and_the_front_page_counts(
    commission: Commission, arrive: Arrive, desk: Browser
) -> None:
    for words in ("First of all", "Second of all"):
        arrive(words, sender="Anselm Roe <anselm@example.com>", subject=f"About {words.lower()}")
    said = page(desk, "tray")
    assert said.index("First of all") < said.index("Second of all")
    assert "Anselm Roe" in said
    assert "Nobody whom you know has the address" in said
    for name in ("today", "emails"):
        assert re.search(r'<a href="/desk/emails/in/">2 emails [^<]*wait to be placed</a>', page(desk, name))


def test_a_guess_is_named_as_one(commission: Commission, trayed: Arrival, desk: Browser) -> None:
    said = page(desk, "tray")
    assert "It may be for" in said
    assert f"Ottoline Brask</bdi>, {commission.number}" in said


def test_five_hundred_are_pages_in_a_fixed_number_of_statements(
    commission: Commission, desk: Browser, django_assert_max_num_queries: Any
) -> None:
    Arrival.objects.bulk_create(
        Arrival(
            path="", bytes=1, sha256="", state="done", verdict=Verdict.TRAY, subject=f"Number {n}.",
            from_address="anselm@example.com", hint=f"commission {commission.pk}" if n % 2 else "",
        )
        for n in range(500)
    )  # fmt: skip
    desk.get(reverse("desk:tray"))
    with django_assert_max_num_queries(8):
        first = page(desk, "tray")
    assert "1 of 17" in first
    assert "Number 0." in first
    assert "Number 499." in page(desk, "tray", query="?page=17")
    assert "17 of 17" in page(desk, "tray", query="?page=999")


# -- one email ---------------------------------------------------------------------------------------------


def test_the_whole_text_what_is_cut_and_what_it_carries(
    commission: Commission, arrive: Arrive, desk: Browser, picture_file: MakePicture
) -> None:
    picture = picture_file("front.jpg", (900, 700)).read()
    arrival = arrive(
        "Here it is.\n\nOn Tue, 24 Nov 2026 at 10:00, Tidewell Bench wrote:\n> Shall I keep the knobs?\n",
        sender=STRANGER,
        attached=[
            ("front.jpg", "image/jpeg", picture),
            ("plan.pdf", "application/pdf", b"%PDF-1.7" + b"x" * 2000),
        ],
    )
    said = page(desk, "arrival", arrival.pk)
    for words in ("Here it is.", "What it quotes", "Shall I keep the knobs?", "front.jpg", "plan.pdf"):
        assert words in said, words


def test_markup_and_script_are_text(
    arrive: Arrive, desk: Browser, letter: Letter, commission: Commission
) -> None:
    arrival = arrive(
        "<script>alert(1)</script><img src=x onerror=alert(2)>",
        sender='"<b>Bold</b> Name" <stranger@example.com>',
        subject="<script>alert(3)</script>",
    )
    for said in (page(desk, "arrival", arrival.pk), page(desk, "tray")):
        main = said.partition("<main")[2]
        assert "<script>alert" not in main
        assert "<img src=x" not in main
        assert "<b>Bold" not in main
        assert "&lt;script&gt;alert(3)" in main
    html = letter("Plain").as_bytes().replace(b"text/plain", b"text/html").replace(
        b"Plain", b"<h1 onclick='x()'>Big</h1><script>steal()</script><p>Small</p>"
    )  # fmt: skip
    said = page(desk, "arrival", came(html).pk)
    assert "<h1 onclick" not in said
    assert "steal()" not in said.partition("<main")[2]
    assert "Small" in said


def test_marks_that_turn_or_hide_are_gone(arrive: Arrive, desk: Browser, commission: Commission) -> None:
    arrival = arrive(
        "one \u202etwo\u202c three",
        sender='"Otto\u202eline\u200b Brask" <stranger@example.com>',
        subject="a\u202eb\u200bc",
    )
    for said in (page(desk, "arrival", arrival.pk), page(desk, "tray")):
        assert not re.search("[\u202a-\u202e\u2066-\u2069\u200b]", said)


def test_no_header_gets_in_through_a_name_or_a_subject(
    commission: Commission,
    letter: Letter,
    work: Callable[[], None],
    mailoutbox: list[Any],
) -> None:
    """RFC 2047 lets encoded words hold line breaks; RFC 5322, 2.2, no header of ours."""
    evil = b"=?utf-8?q?Otto=0D=0ABcc=3A_everyone=40example.com?="
    made = letter("Yes", to=tags.reply_address(f"commission {commission.pk}"), subject="OF IT").as_bytes()
    arrival = came(made.replace(b"From: Ottoline Brask", b"From: " + evil).replace(b"OF IT", evil))
    assert arrival.verdict == Verdict.PLACED
    assert "everyone" in arrival.from_name
    assert "everyone" in arrival.subject
    assert not re.search(r"[\r\n]", arrival.from_name + arrival.subject)
    work()
    assert mailoutbox
    for mail in mailoutbox:
        assert "everyone@example.com" not in mail.recipients()
        assert mail.message()["Bcc"] is None


def test_the_email_as_it_came_is_only_to_be_saved(trayed: Arrival, desk: Browser) -> None:
    answer = desk.get(reverse("desk:arrival-raw", args=[trayed.pk]))
    assert answer.content == arrivals.raw_of(trayed)
    assert answer["Content-Type"] == "application/octet-stream"
    assert answer["Content-Disposition"] == f'attachment; filename="email-{trayed.pk}.eml"'
    assert answer["X-Content-Type-Options"] == "nosniff"


def test_without_its_file_what_is_known_still_stands(trayed: Arrival, desk: Browser) -> None:
    Path(configured.ARRIVALS, trayed.path).unlink()
    said = page(desk, "arrival", trayed.pk)
    assert "its file is not there" in said
    assert "Keep the knobs." in said
    assert "Place it" not in said
    assert desk.get(reverse("desk:arrival-raw", args=[trayed.pk])).status_code == 404
    assert "Let it go" in said


# -- placing -----------------------------------------------------------------------------------------------


def test_placed_by_hand_it_is_hers_and_she_stays_who_she_was(
    commission: Commission, client_person: Client, trayed: Arrival, desk: Browser
) -> None:
    said = page(desk, "arrival", trayed.pk)
    assert said.count(f'value="{commission.number}"') == 1
    landed = press(desk, "arrival-place", trayed.pk, commission=commission.number)
    assert f"It stands in {commission.number} now." in landed
    message = Message.objects.get(arrival=trayed)
    assert (message.text, message.by_client, message.came_by) == ("Keep the knobs.", True, "mail")
    trayed.refresh_from_db()
    assert trayed.verdict == Verdict.PLACED
    client_person.refresh_from_db()
    assert client_person.email == "ottoline@example.com"
    line = JournalLine.objects.get(verb="email placed")
    assert line.by == "owner"
    assert not line.for_client
    assert "It stands in" in page(desk, "arrival", trayed.pk)
    assert Email.objects.filter(to_address="otto.private@example.com").count() == 0


def test_with_its_pictures(
    commission: Commission, arrive: Arrive, desk: Browser, picture_file: MakePicture
) -> None:
    data = picture_file("front.jpg", (900, 700)).read()
    arrival = arrive("Look.", sender=STRANGER, attached=[("front.jpg", "image/jpeg", data)])
    press(desk, "arrival-place", arrival.pk, commission=commission.number)
    assert Message.objects.get().shots.get().picture.original_name == "front.jpg"


def test_two_presses_are_one_message(commission: Commission, trayed: Arrival, desk: Browser) -> None:
    key = "6f6f2bb8-8e3b-4f0b-9a0e-7d1c43f0a001"
    for _ in range(2):
        landed = press(desk, "arrival-place", trayed.pk, commission=commission.number, submission=key)
        assert "Keep the knobs." in landed
    assert Message.objects.count() == 1
    again = press(desk, "arrival-place", trayed.pk, commission=commission.number)
    assert "It stands in a conversation already." in again
    assert "has been let go" not in press(desk, "arrival-let-go", trayed.pk)
    assert Message.objects.count() == 1


def test_of_two_who_decide_at_once_one_is_told(
    commission: Commission, trayed: Arrival, as_owner: Who
) -> None:
    mail = heard(arrivals.raw_of(trayed))
    stale = Arrival.objects.get(pk=trayed.pk)
    placing.let_go(trayed)
    where = placing.by_hand(commission, as_owner, stale, mail)
    with pytest.raises(Refused, match="let go meanwhile"):
        placing.place_by_hand(stale, mail, where, placing.Taken(), as_owner)
    assert not Message.objects.exists()
    placing.bring_back(trayed)
    with pytest.raises(Refused, match="in the tray already"):
        placing.bring_back(trayed)


def test_what_was_placed_wrongly_is_taken_out_and_placed_again(
    commission: Commission, as_owner: Who, arrive: Arrive, desk: Browser, picture_file: MakePicture
) -> None:
    anselm = know_client(name="Anselm Roe", email="anselm@example.com", phone="")
    his = open_commission(NewCommission(anselm, "page", Wish("x"), [NewPiece("rocking chair")]), as_owner)
    say_to_shop(commission, "What I wrote myself.", Who("client", commission.client_id))
    data = picture_file("front.jpg", (900, 700)).read()
    arrival = arrive("It rocks.", sender=STRANGER, attached=[("front.jpg", "image/jpeg", data)])
    press(desk, "arrival-place", arrival.pk, commission=commission.number)
    wrong = Message.objects.get(arrival=arrival)
    picture = wrong.shots.get().picture

    key = "6f6f2bb8-8e3b-4f0b-9a0e-7d1c43f0a002"
    for _ in range(2):  # a press that comes twice
        landed = press(desk, "arrival-take-out", arrival.pk, submission=key)
    assert "in the tray again" in landed
    assert f"You took it out of {commission.number}." in landed
    assert [message.text for message in Message.objects.all()] == ["What I wrote myself."]
    assert not commission.shots.exists()
    assert unreferred(Picture.objects.filter(pk=picture.pk)).exists()
    assert "It rocks." not in page(desk, "commission", commission.number)
    assert JournalLine.objects.get(verb="email taken out").by == "owner"
    assert "in the tray already" in press(desk, "arrival-take-out", arrival.pk)

    press(desk, "arrival-place", arrival.pk, commission=his.number)
    right = Message.objects.get(arrival=arrival)
    assert (right.commission_id, right.text) == (his.pk, "It rocks.")
    assert right.shots.get().picture.original_name == "front.jpg"


def test_what_came_in_by_itself_can_be_taken_out_too(
    commission: Commission, arrive: Arrive, desk: Browser
) -> None:
    tag = tags.reply_address(f"commission {commission.pk}")
    arrival = arrive("Not I wrote this.", to=tag, sender="Ottoline <ottoline@example.com>")
    assert Message.objects.get().arrival_id == arrival.pk
    assert "Take it out of there" in page(desk, "arrival", arrival.pk)
    press(desk, "arrival-take-out", arrival.pk)
    assert not Message.objects.exists()
    assert "Not I wrote this." in page(desk, "tray")


def test_the_shop_s_own_words_are_not_taken_back(
    commission: Commission, arrive: Arrive, desk: Browser
) -> None:
    tag = tags.reply_address(f"commission {commission.pk} shop")
    arrival = arrive("On Friday.", to=tag, sender="Runa <runa.at.home@example.com>")
    press(desk, "arrival-place", arrival.pk, commission=commission.number, **{"as": "shop"})
    assert "Take it out of there" not in page(desk, "arrival", arrival.pk)
    assert "the client has them" in press(desk, "arrival-take-out", arrival.pk)
    assert Message.objects.get().text == "On Friday."


def test_any_commission_can_be_looked_for(
    commission: Commission, as_owner: Who, arrive: Arrive, desk: Browser
) -> None:
    anselm = know_client(name="Anselm Roe", email="anselm@example.com", phone="")
    his = open_commission(NewCommission(anselm, "page", Wish("x"), [NewPiece("rocking chair")]), as_owner)
    arrival = arrive("Hello", sender="Nobody <nobody@example.com>")
    assert his.number not in page(desk, "arrival", arrival.pk)
    assert his.number in page(desk, "arrival", arrival.pk, query="?q=rocking")
    assert "No commission has" in page(desk, "arrival", arrival.pk, query="?q=wardrobe")
    assert "no commission with that number" in press(desk, "arrival-place", arrival.pk, commission="26-999")
    assert "no commission with that number" in press(desk, "arrival-place", arrival.pk, commission="../../x")
    press(desk, "arrival-place", arrival.pk, commission=his.number)
    assert Message.objects.get().commission_id == his.pk


def test_what_is_the_owner_s_own_can_go_to_the_client(
    commission: Commission, as_owner: Who, arrive: Arrive, desk: Browser
) -> None:
    tag = tags.reply_address(f"commission {commission.pk} shop")
    arrival = arrive("On Friday.", to=tag, sender="Runa <runa.at.home@example.com>")
    assert "It is mine: send it to Ottoline Brask" in page(desk, "arrival", arrival.pk)
    press(desk, "arrival-place", arrival.pk, commission=commission.number, **{"as": "shop"})
    message = Message.objects.get()
    assert (message.by_client, message.user_id) == (False, as_owner.id)
    assert Email.objects.get(kind="question").to_address == "ottoline@example.com"


def test_let_go_and_brought_back(trayed: Arrival, desk: Browser) -> None:
    assert "Let go." in press(desk, "arrival-let-go", trayed.pk)
    assert "Keep the knobs." not in page(desk, "tray")
    assert "You let it go." in page(desk, "tray", query="?aside")
    assert "Bring it back" in page(desk, "arrival", trayed.pk)
    press(desk, "arrival-back", trayed.pk)
    assert "Keep the knobs." in page(desk, "tray")


def test_no_robot_s_words_are_placed_by_hand(
    commission: Commission, client_person: Client, as_owner: Who, desk: Browser
) -> None:
    say_to_client(commission, "Shall I?", as_owner)
    email = Email.objects.get()
    arrival = came(dsn(email, message_id="<unknown@example.com>"))
    assert arrival.verdict == Verdict.TRAY, "it is about a client's address, and names no email of ours"
    assert "did not arrive, but not which" in arrival.why
    said = page(desk, "arrival", arrival.pk)
    assert "Place it" not in said
    assert "Nothing to place" in said
    assert "no person" in press(desk, "arrival-place", arrival.pk, commission=commission.number)
    assert not Message.objects.filter(arrival__isnull=False).exists()
    assert not DeadAddress.objects.exists()


def test_placing_takes_in_nothing_once_it_is_decided(
    commission: Commission, arrive: Arrive, desk: Browser, picture_file: MakePicture
) -> None:
    data = picture_file("front.jpg", (900, 700)).read()
    arrival = arrive("Look.", sender=STRANGER, attached=[("front.jpg", "image/jpeg", data)])
    press(desk, "arrival-let-go", arrival.pk)
    press(desk, "arrival-place", arrival.pk, commission=commission.number)
    assert not Picture.objects.exists()
    assert not Message.objects.exists()
