"""The owner makes a request of an email that waits in the tray."""

from __future__ import annotations

import re
import uuid
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as configured
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.clients.actions import know_client
from shopdesk.clients.models import Client
from shopdesk.commissions.actions import NewPiece, Wish
from shopdesk.commissions.models import Commission, JournalLine, Shot
from shopdesk.conversation import placing
from shopdesk.conversation.models import Message
from shopdesk.intake import actions
from shopdesk.intake.actions import Asked
from shopdesk.mail.models import Arrival, Email
from shopdesk.photos import room
from shopdesk.photos.models import Picture
from tests.conftest import MakePicture
from tests.desk.walking import page, press
from tests.mail.arriving import Arrive, came, dsn

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("inbox")]
Verdict = Arrival.Verdict
WORDS = "Could you do a bench?\n\nIt is oak, and has stood outside."
KEPT = {"name": "Ismay Thorne", "email": "ismay@example.com", "piece": "bench", "wish": "Oil the oak bench."}
"""What the owner makes of it."""


@pytest.fixture
def asked(shop: object, arrive: Arrive, picture_file: MakePicture) -> Arrival:
    """A stranger's email with two pictures and a plan."""
    files = [
        (name, "image/jpeg", picture_file(name, (900, 700)).read()) for name in ("left.jpg", "right.jpg")
    ]
    arrival = arrive(
        WORDS,
        sender="Ismay Thorne <ismay@example.com>",
        subject="A bench of oak",
        attached=[*files, ("plan.pdf", "application/pdf", b"%PDF-1.7" + b"x" * 2000)],
    )
    assert arrival.verdict == Verdict.TRAY
    return arrival


def send(desk: Browser, arrival: Arrival, /, **more: Any) -> Any:
    """Press "Keep it" on the form that the email began."""
    return desk.post(reverse("desk:request-from-email", args=[arrival.pk]), {**KEPT, **more})


def shown(answer: Any) -> str:
    return str(answer.content.decode())


# -- the form ----------------------------------------------------------------------------------------------


def test_the_form_is_begun_with_what_the_email_says(asked: Arrival, desk: Browser) -> None:
    link = re.search(r'href="([^"]*)">It is a new request', page(desk, "arrival", asked.pk))
    assert link is not None
    form = shown(desk.get(link[1]))
    assert 'value="Ismay Thorne"' in form
    assert 'value="ismay@example.com"' in form
    assert f">\n{WORDS}</textarea>" in form
    assert re.search(
        rf'made from the email <a href="{reverse("desk:arrival", args=[asked.pk])}"><bdi>A bench', form
    )
    assert "Is taken in" in form
    assert "Stays in it" in form
    for name in ("left.jpg", "right.jpg", "plan.pdf"):
        assert name in form, name
    assert "on the phone" not in form
    assert not Picture.objects.exists(), "nothing is taken in before it is sent"
    assert page(desk, "tray").count("A bench of oak") == 1


def test_words_beyond_the_field_are_cut_and_said_to_be(shop: object, arrive: Arrive, desk: Browser) -> None:
    long = "\n".join(f"{number}. The slat is loose." for number in range(1000))
    arrival = arrive(long, sender="Ismay Thorne <ismay@example.com>")
    form = page(desk, "request-from-email", arrival.pk)
    typed = re.search(r'<textarea name="wish"[^>]*>\n(.*?)</textarea>', form, re.DOTALL)
    assert typed is not None
    assert 4900 < len(typed[1]) <= 5000
    assert "goes on after these 5,000 characters" in form
    browsers_send = typed[1].replace("\n", "\r\n")
    assert send(desk, arrival, wish=browsers_send).status_code == 302
    assert Commission.objects.get().wish == typed[1]
    message = Message.objects.get()
    assert f"{message.text}{message.quoted}".count("The slat is loose.") == 1000


def test_markup_is_text(shop: object, arrive: Arrive, desk: Browser) -> None:
    arrival = arrive(
        "</textarea><script>alert(1)</script>",
        sender='"<b>Bold</b> Name" <stranger@example.com>',
        subject="<script>alert(2)</script>",
    )
    main = page(desk, "request-from-email", arrival.pk).partition("<main")[2]
    assert "<script>alert" not in main
    assert "<b>Bold" not in main
    assert "&lt;/textarea&gt;&lt;script&gt;alert(1)" in main


# -- sent --------------------------------------------------------------------------------------------------


def test_request_pictures_and_email_stand_together(asked: Arrival, desk: Browser) -> None:
    answer = send(desk, asked)
    commission = Commission.objects.get()
    assert answer["Location"] == f"/desk/c/{commission.number}/"
    assert (commission.source, commission.wish) == ("email", "Oil the oak bench.")
    assert (commission.client.name, commission.client.email) == ("Ismay Thorne", "ismay@example.com")
    shots = list(commission.shots.select_related("picture", "piece"))
    assert [shot.picture.original_name for shot in shots] == ["left.jpg", "right.jpg"]
    assert {(shot.kind, shot.piece) for shot in shots} == {(Shot.Kind.REQUEST, commission.pieces.get())}
    message = Message.objects.get()
    assert (message.text, message.by_client, message.came_by) == (WORDS, True, "mail")
    assert message.arrival_id == asked.pk
    assert [name.partition(",")[0] for name in message.left_out] == ["plan.pdf"]
    asked.refresh_from_db()
    assert asked.verdict == Verdict.PLACED
    line = JournalLine.objects.get(verb="email placed")
    assert (line.by, line.for_client) == ("owner", False)

    there = shown(desk.get(answer["Location"]))
    assert f"The email stands in {commission.number} now." in there
    assert f'<a href="{reverse("desk:arrival", args=[asked.pk])}">by email</a>' in there
    assert "<dt>Came by</dt><dd>an email," in there
    assert "A bench of oak" not in page(desk, "tray")
    about = page(desk, "arrival", asked.pk)
    assert "It stands in" in about
    assert f"{commission.number}, <bdi>Ismay Thorne" in about


def test_nobody_is_told_what_they_did_themselves(asked: Arrival, desk: Browser) -> None:
    send(desk, asked)
    email = Email.objects.get()
    assert (email.kind, email.to_address) == ("request-received", "ismay@example.com")
    assert email.context["from_page"], "it is their own request, and nothing that we wrote down for them"
    message = Message.objects.get()
    assert message.answered_at is not None
    assert message.seen_at is not None
    here = page(desk, "commission", Commission.objects.get().number)
    assert "waits for your word" not in here, "what waits is the request"
    assert "Ismay Thorne" in page(desk, "today")


def test_the_owner_s_own_pictures_come_after(
    asked: Arrival, desk: Browser, picture_file: MakePicture
) -> None:
    send(desk, asked, pictures=[picture_file("mine.jpg")])
    names = [shot.picture.original_name for shot in Shot.objects.select_related("picture")]
    assert names == ["left.jpg", "right.jpg", "mine.jpg"]


def test_taken_out_again_the_request_stays(asked: Arrival, desk: Browser) -> None:
    send(desk, asked)
    number = Commission.objects.get().number
    assert "A request that was made from it stays" in page(desk, "arrival", asked.pk)
    assert f"You took it out of {number}." in press(desk, "arrival-take-out", asked.pk)
    assert not Message.objects.exists()
    assert Shot.objects.count() == 2
    assert "A bench of oak" in page(desk, "tray")
    press(desk, "arrival-place", asked.pk, commission=number)
    assert Message.objects.get().shots.count() == 2


def test_whoever_is_known_by_name_and_number_gets_no_stranger_s_address(
    asked: Arrival, desk: Browser
) -> None:
    """Anybody can write that they are somebody, and which number they have."""
    known = know_client(name="Ismay Thorne", email="", phone="555-0144")
    send(desk, asked, phone="555-0144")
    known.refresh_from_db()
    assert known.email == ""
    assert Commission.objects.get().client_id != known.pk


def test_a_number_in_an_email_does_not_become_that_of_somebody_known(asked: Arrival, desk: Browser) -> None:
    known = know_client(name="Ismay Thorne", email="ismay@example.com", phone="")
    landed = shown(desk.get(send(desk, asked, phone="555-0144")["Location"]))
    assert Commission.objects.get().client_id == known.pk
    assert Client.objects.get(pk=known.pk).phone == ""
    assert "their phone number stays as it was" in landed


# -- pictures that are not taken -----------------------------------------------------------------------------


def test_a_picture_that_cannot_be_taken_is_named(
    shop: object, arrive: Arrive, desk: Browser, picture_file: MakePicture
) -> None:
    whole = picture_file("broken.jpg", (900, 700)).read()
    files = [
        ("broken.jpg", "image/jpeg", whole[: len(whole) // 2]),
        ("good.jpg", "image/jpeg", picture_file("good.jpg", (900, 700)).read()),
    ]
    arrival = arrive(WORDS, sender="Ismay Thorne <ismay@example.com>", attached=files)
    landed = shown(desk.get(send(desk, arrival)["Location"]))
    assert "Not taken in, and still in the email: “broken.jpg” is damaged" in landed
    assert [shot.picture.original_name for shot in Shot.objects.all()] == ["good.jpg"]
    assert any("broken.jpg" in name for name in Message.objects.get().left_out)


def test_without_room_the_request_stands_without_pictures(
    asked: Arrival, desk: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, "is_short", lambda: True)
    send(desk, asked)
    assert Commission.objects.count() == 1
    assert not Picture.objects.exists()
    assert "left.jpg: There was too little room left for pictures." in Message.objects.get().left_out


def test_no_address_sends_more_than_is_taken_in_a_day(
    asked: Arrival, desk: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(placing, "_A_DAY", 1)
    send(desk, asked)
    assert Commission.objects.count() == 1
    assert not Picture.objects.exists()
    assert any("more in pictures than is taken" in name for name in Message.objects.get().left_out)


# -- once ----------------------------------------------------------------------------------------------------


def test_two_presses_are_one_commission(asked: Arrival, desk: Browser) -> None:
    key = str(uuid.uuid4())
    first, second = (send(desk, asked, submission=key) for _ in range(2))
    assert first["Location"] == second["Location"]
    assert (Commission.objects.count(), Message.objects.count(), Picture.objects.count()) == (1, 1, 2)


def test_a_second_tab_is_told_and_keeps_what_was_typed(asked: Arrival, desk: Browser) -> None:
    send(desk, asked)
    answer = send(desk, asked, wish="Typed in the other tab.", phone="555-0144")
    said = shown(answer)
    assert answer.status_code == 409
    assert "It stands in a conversation already." in said
    assert f"{Commission.objects.get().number}, <bdi>Ismay Thorne" in said
    assert "Typed in the other tab." in said
    assert 'value="555-0144"' in said
    assert (Commission.objects.count(), Picture.objects.count()) == (1, 2)
    assert Email.objects.count() == 1


def test_of_two_at_once_the_second_changes_nothing(asked: Arrival, as_owner: Who) -> None:
    """Both have looked while it was in the tray."""
    one, other = (placing.whole(Arrival.objects.get(pk=asked.pk)) for _ in range(2))
    wanted = Asked("Ismay Thorne", "ismay@example.com", "", Wish("Oil it."), [NewPiece("bench")])
    first, second = (placing.take_request_pictures(whole) for whole in (one, other))
    made = actions.open_from_email(wanted, one, first, [], as_owner)
    with pytest.raises(Refused, match="stands in a conversation already"):
        actions.open_from_email(wanted, other, second, [], as_owner)
    assert Commission.objects.get() == made
    assert Shot.objects.count() == 2
    assert (Message.objects.count(), Email.objects.count()) == (1, 1)


def test_let_go_meanwhile_and_brought_back_it_can_be_sent(asked: Arrival, desk: Browser) -> None:
    press(desk, "arrival-let-go", asked.pk)
    refused = send(desk, asked)
    assert refused.status_code == 409
    assert "It has been let go meanwhile." in shown(refused)
    assert "Oil the oak bench." in shown(refused)
    assert "Bring it back on its page" in shown(refused)
    assert not Commission.objects.exists()
    assert not Picture.objects.exists()
    press(desk, "arrival-back", asked.pk)
    assert send(desk, asked).status_code == 302


def test_what_is_decided_is_not_begun(asked: Arrival, desk: Browser) -> None:
    press(desk, "arrival-let-go", asked.pk)
    address = reverse("desk:request-from-email", args=[asked.pk])
    answer = desk.get(address)
    assert answer["Location"] == reverse("desk:arrival", args=[asked.pk])
    assert "It has been let go meanwhile." in shown(desk.get(answer["Location"]))
    assert desk.get(reverse("desk:request-from-email", args=[asked.pk + 99])).status_code == 404


def test_without_its_file_nothing_is_made_of_it(asked: Arrival, desk: Browser) -> None:
    Path(configured.ARRIVALS, asked.path).unlink()
    assert "It is a new request" not in page(desk, "arrival", asked.pk)
    refused = send(desk, asked)
    assert refused.status_code == 409
    assert "The email itself is not there any more." in shown(refused)
    asked.refresh_from_db()
    assert asked.verdict == Verdict.TRAY


def test_no_robot_s_email_is_a_request(commission: Commission, desk: Browser, as_owner: Who) -> None:
    press(desk, "answer", commission.number, text="Shall I?", how="write")
    arrival = came(dsn(Email.objects.get(kind="question"), message_id="<unknown@example.com>"))
    assert arrival.verdict == Verdict.TRAY
    assert "It is a new request" not in page(desk, "arrival", arrival.pk)
    refused = send(desk, arrival)
    assert refused.status_code == 409
    assert "A mail server wrote that" in shown(refused)
    assert Commission.objects.get() == commission


def test_what_is_wrong_is_said_and_nothing_is_decided(asked: Arrival, desk: Browser) -> None:
    bad = SimpleUploadedFile("door.jpg", b"no picture at all", content_type="image/jpeg")
    answer = send(desk, asked, wish="", pictures=[bad])
    said = shown(answer)
    assert answer.status_code == 422
    assert "Write down what they want" in said
    assert "door.jpg" in said
    assert "right.jpg" in said
    assert not Picture.objects.exists()
    asked.refresh_from_db()
    assert asked.verdict == Verdict.TRAY


def test_only_for_the_owner(asked: Arrival) -> None:
    answer = send(Browser(), asked)
    assert answer.status_code == 302
    assert "sign-in" in answer["Location"]
    assert not Commission.objects.exists()
