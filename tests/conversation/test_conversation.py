"""What was said: both ways, and nothing left unanswered unseen."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.core.mail import EmailMessage
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.clients.actions import know_client
from shopdesk.clients.models import Client
from shopdesk.commissions.actions import NewPiece
from shopdesk.commissions.models import Commission, JournalLine
from shopdesk.conversation import actions
from shopdesk.conversation.queries import messages_of, unanswered
from shopdesk.mail.queries import to_tell
from tests.conftest import MakePicture

pytestmark = pytest.mark.django_db


def test_a_question_and_its_answer(
    commission: Commission,
    as_client: Who,
    as_owner: Who,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    actions.say_to_shop(commission, "Is the veneer safe?", as_client)
    assert [message.text for message in unanswered()] == ["Is the veneer safe?"]
    actions.say_to_client(commission, "It is.", as_owner)
    assert unanswered() == []
    assert [message.text for message in messages_of(commission)] == ["Is the veneer safe?", "It is."]
    work()
    to_shop = next(mail for mail in mailbox if "writes about" in mail.subject)
    assert "Is the veneer safe?" in to_shop.body
    to_client = next(mail for mail in mailbox if mail.body.startswith("It is."))
    assert "/in/" in to_client.body
    commission.refresh_from_db()
    assert commission.answered_at is not None


def test_the_longest_waiting_comes_first_and_once(
    commission: Commission, as_client: Who, client_person: Client
) -> None:
    for words in ("First", "Second"):
        actions.say_to_shop(commission, words, as_client)
    assert [message.text for message in unanswered()] == ["First"]


def test_answered_by_phone_with_a_note(commission: Commission, as_client: Who, as_owner: Who) -> None:
    with pytest.raises(Refused, match="Nothing is waiting"):
        actions.answered_elsewhere(commission, "Told her", as_owner)
    actions.say_to_shop(commission, "When?", as_client)
    with pytest.raises(Refused, match="what was said"):
        actions.answered_elsewhere(commission, " ", as_owner)
    actions.answered_elsewhere(commission, "Told her Friday", as_owner)
    assert unanswered() == []
    line = JournalLine.objects.get(verb="answered elsewhere")
    assert "Told her Friday" in line.words
    assert not line.for_client


def test_a_client_without_email_is_told_by_the_owner(commission: Commission, as_owner: Who) -> None:
    Client.objects.update(email="")
    commission.refresh_from_db()
    actions.say_to_client(commission, "Shall we keep the old knobs?", as_owner)
    assert [email.kind for email in to_tell()] == ["question"]


def test_html_in_a_message_is_shown_as_text(commission: Commission, as_client: Who, desk: Browser) -> None:
    actions.say_to_shop(commission, "<script>alert(1)</script> see https://example.com/a", as_client)
    page = desk.get(reverse("desk:commission", args=[commission.number])).content.decode()
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page
    assert 'href="https://example.com/a"' in page


def test_a_message_too_long_is_kept_in_the_form(commission: Commission, portal: Browser) -> None:
    page = reverse("portal:ask", args=[commission.number])
    long = "a line of words\n" * 400
    answer = portal.post(page, {"text": long})
    assert answer.status_code == 422
    assert "a line of words" in answer.content.decode()
    assert portal.post(page, {"text": "   "}).status_code == 422
    assert messages_of(commission) == []


def test_pictures_come_with_a_message(
    commission: Commission, portal: Browser, picture_file: MakePicture
) -> None:
    page = reverse("portal:ask", args=[commission.number])
    assert portal.post(page, {"text": "", "photos": [picture_file()]}).status_code == 302
    (message,) = messages_of(commission)
    assert message.shots.get().kind == "message"


def test_the_same_press_twice_is_one_message(commission: Commission, portal: Browser) -> None:
    page = reverse("portal:ask", args=[commission.number])
    typed = {"text": "Once", "submission": "0b0f2b0e-98a4-4b1b-9d3c-1f9f3d2f7a11"}
    assert [portal.post(page, typed).status_code for _ in range(2)] == [302, 302]
    assert len(messages_of(commission)) == 1


def test_what_came_while_the_owner_was_writing_is_not_ticked_off(
    commission: Commission, as_client: Who, desk: Browser
) -> None:
    actions.say_to_shop(commission, "First", as_client)
    page = reverse("desk:answer", args=[commission.number])
    seen = desk.get(page).context["seen"]
    actions.say_to_shop(commission, "Second: please do not sand it", as_client)
    assert desk.post(page, {"text": "To your first", "seen": seen}).status_code == 302
    assert [message.text for message in unanswered()] == ["Second: please do not sand it"]


def test_the_client_reads_from_the_oldest_to_the_newest_and_writes_at_the_end(
    commission: Commission, as_client: Who, as_owner: Who, portal: Browser, picture_file: MakePicture
) -> None:
    page = reverse("portal:ask", args=[commission.number])
    portal.post(page, {"text": "With a picture", "photos": [picture_file()]})
    for number in range(40):
        actions.say_to_client(commission, f"Said {number}.", as_owner)
    short = portal.get(page).content.decode()
    assert "11 earlier ones" in short
    assert "Said 9." not in short
    assert short.index("Said 10.") < short.index("Said 39.") < short.index('name="text"')
    whole = portal.get(page + "?all").content.decode()
    picture = messages_of(commission)[0].shots.get().picture
    assert reverse("portal:picture", args=[picture.key, "large"]) in whole
    assert whole.index("With a picture") < whole.index("Said 0.")
    mine = portal.get(reverse("portal:commission", args=[commission.number])).content.decode()
    assert "All 41 messages" in mine
    assert "Said 29." not in mine
    assert "Said 39." in mine


def test_tricks_with_direction_and_hidden_letters_stay_within_their_line(
    client_person: Client, commission: Commission, as_client: Who, desk: Browser, portal: Browser
) -> None:
    Client.objects.update(name="\u202eOttoline\u202c \u05d0\u05d1\u200b")  # as one that was kept before
    actions.say_to_shop(commission, "gn\u202ep.exe \u200bend https://ex\u200bample.com/", as_client)
    for browser, name in ((desk, "desk:answer"), (desk, "desk:commission"), (portal, "portal:ask")):
        body = browser.get(reverse(name, args=[commission.number])).content.decode()
        assert "gnp.exe end" in body
        assert "<bdi>Ottoline \u05d0\u05d1</bdi>" in body
        assert 'class="words" dir="auto"' in body
        assert 'href="https://example.com/" rel="nofollow noopener noreferrer"' in body
    for page in ("/desk/", "/desk/said/", "/desk/c/"):
        body = desk.get(page).content.decode()
        assert "<bdi>Ottoline \u05d0\u05d1</bdi>" in body
        assert "\u202e" not in body.split("<main", 1)[-1].replace("\u202eOttoline\u202c", "")


def test_a_name_is_kept_without_what_turns_or_hides(commission: Commission) -> None:
    kept = know_client(name="\u202eTeal\u200b\r\nAmbrose ", email="t@example.com", phone="")
    assert kept.name == "Teal Ambrose"
    assert know_client(name="Teal Ambrose", email="t@example.com", phone="").pk == kept.pk
    assert NewPiece("\u202echest\n").name == "chest"
