"""The conversation at the desk: who waits, what is new, notes and calls, people without email."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.clients.actions import know_client
from shopdesk.clients.models import Client
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, open_commission
from shopdesk.commissions.models import Commission, JournalLine
from shopdesk.conversation import actions
from shopdesk.conversation.models import Message, Note
from shopdesk.conversation.queries import how_many_wait, messages_of, timeline, unanswered
from shopdesk.mail.models import Email

pytestmark = pytest.mark.django_db

LIST = "/desk/said/"


def asked_by(name: str, *, email: str = "", piece: str = "stool") -> tuple[Commission, Who]:
    client = know_client(name=name, email=email, phone="555-0164")
    who = Who("client", client.pk)
    new = NewCommission(client=client, source="phone", wish=Wish("A wish"), pieces=[NewPiece(piece)])
    return open_commission(new, who), who


@pytest.fixture
def page(commission: Commission) -> str:
    return reverse("desk:answer", args=[commission.number])


# -- who waits for my word -------------------------------------------------------------------------------


def test_who_waits_longest_stands_first_then_the_unread_then_the_newest(as_owner: Who, desk: Browser) -> None:
    names = ["Early", "Late", "Unread", "Older", "Newer"]
    talks = {name: asked_by(name) for name in names}
    for name in ("Late", "Early", "Unread", "Older", "Newer"):
        actions.say_to_shop(talks[name][0], f"From {name}", talks[name][1])
    now = timezone.now()
    Message.objects.filter(commission=talks["Early"][0]).update(at=now - timedelta(days=3))
    for name in ("Unread", "Older", "Newer"):
        actions.say_to_client(talks[name][0], "Answered", as_owner)
    Message.objects.filter(commission=talks["Unread"][0]).update(seen_at=None)
    shown = desk.get(LIST)
    listed = [talk.commission.client.name for talk, _ in shown.context["rows"]]
    assert listed == ["Early", "Late", "Unread", "Newer", "Older"]
    body = shown.content.decode()
    assert body.index("They wait for you") < body.index("Not read yet") < body.index("The rest, newest")
    assert how_many_wait() == 2
    assert "2 conversations wait for you, of 5 in all" in body


def test_the_list_is_empty_long_searched_and_costs_the_same(desk: Browser, as_owner: Who) -> None:
    assert "Nothing has been said yet" in desk.get(LIST).content.decode()

    def statements() -> int:
        with CaptureQueriesContext(connection) as seen:
            assert desk.get(LIST).status_code == 200
        return len(seen)

    def speak(number: int) -> None:
        commission, who = asked_by(f"Person{number}x", piece=f"chest{number}x")
        actions.say_to_shop(commission, f"The word is heron{number}", who)

    speak(0)
    few = statements()
    for number in range(1, 30):
        speak(number)
    assert statements() == few
    assert "1 of 2" in desk.get(LIST).content.decode()
    assert len(desk.get(LIST, {"page": "2"}).context["rows"]) == 5
    for words in ("person17x", "CHEST17x", "heron17"):
        assert [t.commission.client.name for t, _ in desk.get(LIST, {"q": words}).context["rows"]] == [
            "Person17x"
        ]
    actions.note(Commission.objects.all()[0], "wants mahogany", as_owner)
    assert len(desk.get(LIST, {"q": "mahogany"}).context["rows"]) == 1
    nothing = desk.get(LIST, {"q": "zzz<", "page": "nonsense"})
    assert "Nothing found" in nothing.content.decode()
    assert "zzz&lt;" in nothing.content.decode()


def test_the_list_alone_marks_nothing_as_read(commission: Commission, as_client: Who, desk: Browser) -> None:
    actions.say_to_shop(commission, "Read me", as_client)
    desk.get(LIST)
    desk.get("/desk/")
    assert Message.objects.get().seen_at is None


# -- reading -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["answer", "commission"])
def test_reading_at_the_desk_marks_what_stood_there_once(
    commission: Commission, as_client: Who, desk: Browser, portal: Browser, name: str
) -> None:
    actions.say_to_shop(commission, "Read me", as_client)
    portal.get(reverse("portal:ask", args=[commission.number]))
    assert Message.objects.get().seen_at is None  # their own page is not the desk
    at = reverse(f"desk:{name}", args=[commission.number])
    assert "New</b>" in desk.get(at).content.decode()
    first = Message.objects.get().seen_at
    assert first is not None
    assert "New</b>" not in desk.get(at).content.decode()
    assert Message.objects.get().seen_at == first
    assert [message.text for message in unanswered()] == ["Read me"]  # read is not answered


def test_only_what_stood_on_the_page_counts_as_read(
    commission: Commission, as_client: Who, as_owner: Who, desk: Browser, page: str
) -> None:
    for number in range(40):
        actions.say_to_shop(commission, f"Message {number}", as_client)
    Message.objects.update(answered_at=timezone.now())
    shown = desk.get(page)
    assert shown.context["said"].before == 10
    assert "10 earlier ones" in shown.content.decode()
    assert Message.objects.filter(seen_at=None).count() == 10
    assert desk.get(page + "?all").context["said"].before == 0
    assert not Message.objects.filter(seen_at=None).exists()


def test_what_waits_is_shown_however_much_came_after(
    commission: Commission, as_client: Who, as_owner: Who
) -> None:
    actions.say_to_shop(commission, "The first waits", as_client)
    first = Message.objects.get()
    for number in range(20):
        actions.say_to_client(commission, f"Said {number}", as_owner, upto=first.pk - 1)
    cut = timeline(commission, 5)
    assert cut.entries[0].message == first
    actions.say_to_client(commission, "At last", as_owner)
    assert len(timeline(commission, 5).entries) == 5
    assert timeline(commission, 5).before == 17


def test_a_long_conversation_costs_as_much_as_a_short_one(
    commission: Commission, as_client: Who, as_owner: Who, django_assert_num_queries: Any
) -> None:
    actions.say_to_shop(commission, "One", as_client)
    actions.note(commission, "Mine", as_owner)
    for _ in range(2):
        with django_assert_num_queries(3):
            timeline(commission)
        for number in range(20):
            actions.say_to_client(commission, f"Said {number}", as_owner)


# -- answering ---------------------------------------------------------------------------------------------


def test_what_came_before_the_first_page_was_opened_is_not_ticked_off(
    commission: Commission, as_client: Who, desk: Browser, page: str
) -> None:
    seen = desk.get(page).context["seen"]
    actions.say_to_shop(commission, "It came meanwhile", as_client)
    answered = desk.post(page, {"text": "Hello", "seen": seen}, follow=True)
    assert [message.text for message in unanswered()] == ["It came meanwhile"]
    assert "wrote while you were writing" in answered.content.decode()


def test_a_thank_you_needs_no_answer(
    commission: Commission, as_client: Who, desk: Browser, page: str
) -> None:
    at = reverse("desk:nothing-to-answer", args=[commission.number])
    desk.post(at)
    assert not JournalLine.objects.filter(verb="nothing to answer").exists()
    actions.say_to_shop(commission, "Thank you", as_client)
    seen = desk.get(page).context["seen"]
    actions.say_to_shop(commission, "One more question", as_client)
    assert desk.post(at, {"seen": seen}).status_code == 302
    assert [message.text for message in unanswered()] == ["One more question"]
    assert not JournalLine.objects.get(verb="nothing to answer").for_client
    commission.refresh_from_db()
    assert commission.answered_at is None  # nobody has answered the request by that
    assert not Email.objects.filter(kind="question").exists()


def test_answered_by_phone_stands_in_the_conversation_and_keeps_what_was_typed(
    commission: Commission, as_client: Who, desk: Browser, page: str
) -> None:
    actions.say_to_shop(commission, "When?", as_client)
    at = reverse("desk:answered-elsewhere", args=[commission.number])
    assert desk.post(at, {"note": ""}).status_code == 422
    too_long = desk.post(at, {"note": "y" * 501})
    assert too_long.status_code == 422
    assert "y" * 501 in too_long.content.decode()
    assert desk.post(at, {"note": "Told her Friday"}).status_code == 302
    assert unanswered() == []
    assert (Note.objects.get().text, Note.objects.get().call) == ("Told her Friday", True)


def test_the_same_press_twice_is_one_answer(commission: Commission, desk: Browser, page: str) -> None:
    typed = {"text": "Once", "seen": "0", "submission": "0b0f2b0e-98a4-4b1b-9d3c-1f9f3d2f7a11"}
    assert [desk.post(page, typed).status_code for _ in range(2)] == [302, 302]
    assert len(messages_of(commission)) == 1
    note = reverse("desk:note", args=[commission.number])
    typed = {"note": "Once", "submission": typed["submission"]}
    assert [desk.post(note, typed).status_code for _ in range(2)] == [302, 302]
    assert Note.objects.count() == 1


def test_who_when_and_by_what_way(
    commission: Commission, as_client: Who, as_owner: Who, desk: Browser, portal: Browser, page: str
) -> None:
    actions.say_to_shop(commission, "From the page", as_client)
    actions.say_to_shop(
        commission,
        "From a mail program",
        as_client,
        came_by="mail",
        quoted="> what you wrote <b>",
        left_out=["plan.pdf, 1.2 MB"],
    )
    actions.say_to_client(commission, "From the bench", as_owner)
    at_desk = desk.get(page).content.decode()
    on_page = portal.get(reverse("portal:ask", args=[commission.number])).content.decode()
    for body in (at_desk, on_page):
        assert body.index("From the page") < body.index("From a mail program") < body.index("From the bench")
        assert ", by email" in body
        assert "What the email quoted" in body
        assert "&gt; what you wrote &lt;b&gt;" in body
        assert "plan.pdf, 1.2 MB" in body
    assert "Runa Castellan" in at_desk
    assert "Runa" not in on_page
    assert "on its way" in at_desk
    assert "on its way" not in on_page


def test_a_long_email_is_kept_whole(commission: Commission, as_client: Who) -> None:
    text = "word " * 10_000
    message = actions.say_to_shop(commission, text, as_client, came_by="mail", quoted="> before")
    assert len(message.text) == actions.LONGEST_BY_MAIL
    assert message.text + message.quoted == text.strip() + "\n\n> before"
    bare = actions.say_to_shop(commission, "", as_client, came_by="mail", left_out=["a.zip, 1 KB"])
    assert bare.text == ""


# -- notes and calls ---------------------------------------------------------------------------------------


def test_a_note_and_a_call_stand_among_the_messages(
    commission: Commission, as_client: Who, as_owner: Who, desk: Browser, page: str
) -> None:
    actions.say_to_shop(commission, "First", as_client)
    at = reverse("desk:note", args=[commission.number])
    assert desk.post(at, {"note": "Rang, will bring\nthe key on Friday", "call": "yes"}).status_code == 302
    assert desk.post(at, {"note": "Haggles.\nA little."}).status_code == 302
    actions.say_to_client(commission, "Last", as_owner)
    entries = timeline(commission).entries
    assert [(entry.message or entry.note).text for entry in entries] == [  # type: ignore[union-attr]
        "First", "Rang, will bring the key on Friday", "Haggles.\nA little.", "Last",
    ]  # fmt: skip
    assert unanswered() == []
    body = desk.get(page).content.decode()
    assert body.count("Only you see this") == 3  # on each, and over the form
    empty = desk.post(at, {"note": " "})
    assert empty.status_code == 422
    long = desk.post(at, {"note": "z" * 2001})
    assert "z" * 2001 in long.content.decode()
    assert Note.objects.count() == 2
    first = Note.objects.order_by("pk")[0]
    away = reverse("desk:note-away", args=[commission.number, first.pk])
    other, _ = asked_by("Teal Ambrose")
    desk.post(reverse("desk:note-away", args=[other.number, first.pk]))
    assert Note.objects.count() == 2
    desk.post(away)
    assert list(Note.objects.values_list("text", flat=True)) == ["Haggles.\nA little."]


def test_a_note_is_the_shops_alone(commission: Commission, as_client: Who) -> None:
    with pytest.raises(Refused):
        actions.note(commission, "Mine", as_client)


# -- clients without email ---------------------------------------------------------------------------------


def test_somebody_without_email_is_told_by_phone_and_it_shows(
    as_owner: Who, desk: Browser, work: Callable[[], None]
) -> None:
    commission, _ = asked_by("Anselm Roe")
    page, at = (reverse(f"desk:{name}", args=[commission.number]) for name in ("answer", "commission"))
    body = desk.get(page).content.decode()
    assert 'href="tel:555-0164"' in body
    assert "has no email address" in body
    Email.objects.all().delete()
    assert desk.post(page, {"text": "Shall we strip all six?", "seen": "0"}).status_code == 302
    work()
    email = Email.objects.get(kind="question")
    assert "to tell them" in desk.get(page).content.decode()
    told = desk.get(at).content.decode()
    assert "Tell them yourself" in told
    assert "Shall we strip all six?" in told
    answer = desk.post(reverse("desk:tell-done", args=[email.pk]), {"back": at})
    assert (answer.status_code, answer["Location"]) == (302, at)
    assert "Tell them yourself" not in desk.get(at).content.decode()
    assert ">told " in desk.get(page).content.decode().replace("\n", "")
    elsewhere = desk.post(
        reverse("desk:tell-done", args=[email.pk]), {"back": "https://evil.example/desk/c/"}
    )
    assert elsewhere["Location"].startswith("/desk/")


def test_how_a_message_went_shows_beside_it(
    commission: Commission, as_owner: Who, desk: Browser, page: str
) -> None:
    actions.say_to_client(commission, "Hello", as_owner)
    for values, says in (
        ({}, "on its way"),
        ({"state": "done", "done_at": timezone.now()}, "emailed"),
        ({"came_back_at": timezone.now()}, "came back"),
        ({"state": "failed", "came_back_at": None}, "did not go out"),
    ):
        Email.objects.filter(kind="question").update(**values)
        assert says in desk.get(page).content.decode()


# -- several in ten minutes --------------------------------------------------------------------------------


def test_the_first_goes_at_once_and_the_next_come_together(
    commission: Commission, as_client: Who, as_owner: Who, client_person: Client
) -> None:
    for number in range(4):
        actions.say_to_client(commission, f"To them {number}", as_owner)
        actions.say_to_shop(commission, f"To us {number}", as_client)
    for kind, word in (("question", "To them"), ("client-message", "To us")):
        # Nothing has been handed over yet, so that all of them are still in the first.
        (email,) = Email.objects.filter(kind=kind)
        assert [item["text"] for item in email.context["items"]] == [f"{word} {n}" for n in range(4)]
        assert email.due_at <= timezone.now()
        assert {message.email_id for message in Message.objects.filter(text__startswith=word)} == {email.pk}


def test_after_the_first_has_gone_the_next_wait_together(
    commission: Commission, as_owner: Who, work: Callable[[], None], mailbox: list[Any]
) -> None:
    actions.say_to_client(commission, "First thing", as_owner)
    work()
    assert [mail for mail in mailbox if "First thing" in mail.body]
    for words in ("Second thing", "Third thing"):
        actions.say_to_client(commission, words, as_owner)
    work()
    second = Email.objects.get(kind="question", state="waiting")
    assert not [mail for mail in mailbox if "Second thing" in mail.body]
    assert timedelta(minutes=8) < second.due_at - timezone.now() <= timedelta(minutes=10)
    Email.objects.filter(pk=second.pk).update(due_at=timezone.now())
    work()
    (together,) = [mail for mail in mailbox if "Second thing" in mail.body]
    assert "Third thing" in together.body
    assert "First thing" not in together.body.split("Third thing")[0]
