"""What comes in by email: into the right conversation, once, or to the owner with the reason."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as configured
from django.db import OperationalError, transaction
from django.utils import timezone

from shopdesk.base import work as works
from shopdesk.base.who import Who
from shopdesk.clients.actions import know_client, revoke_links
from shopdesk.clients.models import Client
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, correct_client, open_commission
from shopdesk.commissions.models import Commission, JournalLine
from shopdesk.conversation import belongs as belonging
from shopdesk.conversation import placing, post
from shopdesk.conversation.actions import say_to_client
from shopdesk.conversation.models import Message
from shopdesk.mail import arrivals, tags
from shopdesk.mail.models import Arrival, Email
from shopdesk.photos.actions import tidy
from shopdesk.photos.models import Picture
from shopdesk.shop.models import User
from tests.conftest import MakePicture
from tests.mail.arriving import Arrive, Letter, came

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("inbox")]
Verdict = Arrival.Verdict


@pytest.fixture
def question(commission: Commission, as_owner: Who, work: Callable[[], None], mailbox: Any) -> Email:
    """An email of the shop's to the client that has gone out."""
    say_to_client(commission, "Shall I keep the knobs?", as_owner)
    work()
    email = Email.objects.get(thread=f"commission {commission.pk}")
    assert email.state == "done"
    return email


@pytest.fixture
def tag(commission: Commission) -> str:
    return tags.reply_address(f"commission {commission.pk}")


def said(commission: Commission) -> list[str]:
    return list(Message.objects.filter(commission=commission, came_by="mail").values_list("text", flat=True))


def to_shop(commission: Commission) -> list[Email]:
    return list(Email.objects.filter(thread=f"commission {commission.pk} shop"))


# -- where it belongs --------------------------------------------------------------------------------------


def test_by_the_sealed_mark_alone(commission: Commission, as_client: Who, tag: str, arrive: Arrive) -> None:
    arrival = arrive("Yes, keep them.", to=tag, subject="something else")
    assert (arrival.verdict, arrival.state) == (Verdict.PLACED, "done")
    message = Message.objects.get(arrival=arrival)
    assert (message.text, message.by_client, message.came_by) == ("Yes, keep them.", True, "mail")
    assert message.commission_id == commission.pk
    assert message.answered_at is None
    line = JournalLine.objects.get(verb="client wrote")
    assert (line.by, line.client_id) == ("client", commission.client_id)
    assert [email.to_address for email in to_shop(commission)] == ["hello@tidewell.example.com"]


def test_by_what_it_answers_alone(commission: Commission, question: Email, arrive: Arrive) -> None:
    arrival = arrive("Yes, keep them.", answers=question)
    assert arrival.verdict == Verdict.PLACED
    assert said(commission) == ["Yes, keep them."]


def test_the_newest_that_it_answers_counts(
    commission: Commission, client_person: Client, as_client: Who, as_owner: Who, question: Email,
    work: Callable[[], None], arrive: Arrive,
) -> None:  # fmt: skip
    other = open_commission(NewCommission(client_person, "page", Wish("x"), [NewPiece("stool")]), as_client)
    say_to_client(other, "And the stool?", as_owner)
    work()
    newer = Email.objects.get(thread=f"commission {other.pk}")
    arrive(
        "About the stool.",
        headers={"References": f"{question.message_id} {newer.message_id} <x@example.com>"},
    )
    assert (said(commission), said(other)) == ([], ["About the stool."])


def test_a_mark_says_more_than_what_it_answers(
    commission: Commission, client_person: Client, as_client: Who, question: Email, arrive: Arrive
) -> None:
    other = open_commission(NewCommission(client_person, "page", Wish("x"), [NewPiece("stool")]), as_client)
    arrive("The stool.", to=tags.reply_address(f"commission {other.pk}"), answers=question)
    assert (said(commission), said(other)) == ([], ["The stool."])


def test_never_by_its_subject(commission: Commission, question: Email, arrive: Arrive) -> None:
    arrival = arrive("Yes", subject=f"Re: {question.subject} {commission.number}")
    assert arrival.verdict == Verdict.TRAY
    assert arrival.hint == f"commission {commission.pk}"
    assert "answers none of your emails" in arrival.why
    assert said(commission) == []


def test_nobody_s_address_gives_no_hint(commission: Commission, arrive: Arrive) -> None:
    arrival = arrive("Hello", sender="Somebody <else@example.com>")
    assert (arrival.verdict, arrival.hint) == (Verdict.TRAY, "")
    assert "Nobody whom you know" in arrival.why


def test_with_two_open_commissions_there_is_no_guess(
    commission: Commission, client_person: Client, as_client: Who, arrive: Arrive
) -> None:
    open_commission(NewCommission(client_person, "page", Wish("x"), [NewPiece("stool")]), as_client)
    assert arrive("Hello").hint == ""


def test_a_forged_mark_waits_for_the_owner(commission: Commission, question: Email, arrive: Arrive) -> None:
    forged = f"hello+c{commission.pk}.aaaaaaaaaaaaaaaa@tidewell.example.com"
    arrival = arrive("Stop the work.", to=forged, answers=question)
    assert arrival.verdict == Verdict.TRAY
    assert "not one that you gave out" in arrival.why
    assert said(commission) == []


def test_a_mark_of_somebody_else_s_commission_opens_nothing(
    commission: Commission, as_client: Who, arrive: Arrive
) -> None:
    anselm = know_client(name="Anselm Roe", email="anselm@example.com", phone="")
    his = open_commission(NewCommission(anselm, "page", Wish("x"), [NewPiece("chair")]), as_client)
    arrival = arrive("Let me in.", to=tags.reply_address(f"commission {his.pk}"))
    assert arrival.verdict == Verdict.TRAY
    assert arrival.why == f"It answers {his.number}, but comes from another address than the client’s."
    assert arrival.hint == f"commission {his.pk}"
    assert not Message.objects.exists()


def test_two_marks_are_one_too_many(
    commission: Commission, client_person: Client, as_client: Who, tag: str, arrive: Arrive
) -> None:
    other = open_commission(NewCommission(client_person, "page", Wish("x"), [NewPiece("stool")]), as_client)
    arrival = arrive("Both", to=f"{tag}, {tags.reply_address(f'commission {other.pk}')}")
    assert arrival.verdict == Verdict.TRAY
    assert "more than one conversation" in arrival.why


def test_her_address_in_other_letters_is_hers(commission: Commission, tag: str, arrive: Arrive) -> None:
    assert arrive("Yes", to=tag.upper(), sender="OTTOLINE@EXAMPLE.COM").verdict == Verdict.PLACED


def test_the_address_she_was_written_to_is_hers_until_links_are_revoked(
    commission: Commission, client_person: Client, question: Email, as_owner: Who, tag: str, arrive: Arrive
) -> None:
    correct_client(
        commission, as_owner, name="Ottoline Brask", email="otto@example.com", phone="", address=""
    )
    arrival = arrive("From the old address.", to=tag)
    assert arrival.verdict == Verdict.PLACED
    client_person.refresh_from_db()
    assert client_person.email == "otto@example.com"
    revoke_links(client_person)
    assert arrive("Again from the old one.", to=tag).verdict == Verdict.TRAY
    assert arrive("From the new.", to=tag, sender="otto@example.com").verdict == Verdict.PLACED


def test_an_address_that_was_never_written_to_is_not(
    commission: Commission, as_owner: Who, tag: str, arrive: Arrive
) -> None:
    say_to_client(commission, "On its way only.", as_owner)
    correct_client(commission, as_owner, name="Ottoline", email="otto@example.com", phone="", address="")
    assert arrive("Hello", to=tag).verdict == Verdict.TRAY


def test_a_commission_that_ended_still_takes_messages(
    commission: Commission, tag: str, arrive: Arrive
) -> None:
    Commission.objects.filter(pk=commission.pk).update(stage="collected", collected_at=timezone.now())
    assert arrive("It settles in well.", to=tag).verdict == Verdict.PLACED


def test_without_a_sender_or_words_it_is_laid_aside(commission: Commission, tag: str, arrive: Arrive) -> None:
    assert arrive("Hello", to=tag, sender="").verdict == Verdict.TRAY
    empty = arrive("", to=tag)
    assert empty.verdict == Verdict.TRAY
    assert "nothing stands in it" in empty.why
    assert not Message.objects.exists()


def test_a_conversation_holds_so_much_of_what_is_quoted_and_the_file_the_whole(
    commission: Commission, tag: str, arrive: Arrive
) -> None:
    quoted = "".join(f"> {number} and more words than anybody reads\n" for number in range(4000))
    arrival = arrive(f"Yes.\n\nOn 24 Nov 2026, Tidewell <hello@example.com> wrote:\n{quoted}", to=tag)
    message = Message.objects.get(arrival=arrival)
    assert (message.text, len(message.quoted)) == ("Yes.", 100_000)
    assert b"> 3999 and more" in arrivals.raw_of(arrival)


# -- robots and loops --------------------------------------------------------------------------------------


def test_what_a_robot_answers_stays_out_and_unanswered(
    commission: Commission, question: Email, arrive: Arrive
) -> None:
    """RFC 3834, section 5: Auto-Submitted other than "no" is no person's."""
    before = Email.objects.count()
    arrival = arrive("I am away.", answers=question, headers={"Auto-Submitted": "auto-replied"})
    assert arrival.verdict == Verdict.AUTOMATIC
    assert arrival.why
    assert said(commission) == []
    assert Email.objects.count() == before


def test_our_own_come_round_is_ours(commission: Commission, question: Email, arrive: Arrive) -> None:
    assert arrive("x", headers={"Message-ID": question.message_id}).verdict == Verdict.OURS
    renamed = arrive(
        "x",
        to=question.reply_to,
        sender="hello@tidewell.example.com",
        headers={"Auto-Submitted": "auto-generated"},
    )
    assert renamed.verdict == Verdict.OURS, "a mail server gave it another Message-ID"
    assert not Message.objects.filter(came_by="mail").exists()


def test_the_twenty_first_within_an_hour_waits_and_nobody_is_written_to(
    commission: Commission, tag: str, arrive: Arrive
) -> None:
    for n in range(post.A_TIME):
        assert arrive(f"I am away ({n}).", to=tag).verdict == Verdict.PLACED
    told = len(to_shop(commission))
    over = arrive("I am away.", to=tag)
    assert over.verdict == Verdict.TRAY
    assert "within an hour" in over.why
    assert len(to_shop(commission)) == told
    assert len(said(commission)) == post.A_TIME


# -- once --------------------------------------------------------------------------------------------------


def test_the_same_email_twice_is_one_message(commission: Commission, tag: str, letter: Letter) -> None:
    made = letter("Yes", to=tag)
    assert came(made.as_bytes()).verdict == Verdict.PLACED
    made["Received"] = "from another way round"
    second = came(made.as_bytes())
    assert (second.verdict, second.why) == (Verdict.TWICE, "The same email came before.")
    assert said(commission) == ["Yes"]


def test_the_same_message_id_from_somebody_else_is_another_email(
    commission: Commission, tag: str, letter: Letter
) -> None:
    made = letter("Mine first.", to=tag, sender="mallory@example.com")
    assert came(made.as_bytes()).verdict == Verdict.TRAY
    hers = letter("Yes", to=tag, headers={"Message-ID": made["Message-ID"]})
    assert came(hers.as_bytes()).verdict == Verdict.PLACED


def claimed(arrival: Arrival) -> Arrival:
    taken = works.claim(Arrival.objects.filter(pk=arrival.pk), lease=post.LEASE)
    assert taken is not None
    return taken


def raw_picture(picture_file: MakePicture, name: str = "a.jpg", **kwargs: Any) -> tuple[str, str, bytes]:
    return (name, "image/jpeg", picture_file(name, **kwargs).read())


STEPS = ["belongs", "take_pictures", "say_to_shop", "finish"]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("dies", STEPS)
def test_a_worker_that_dies_at_any_step_leaves_it_to_the_next(
    commission: Commission, tag: str, letter: Letter, picture_file: MakePicture,
    monkeypatch: pytest.MonkeyPatch, dies: str,
) -> None:  # fmt: skip
    """Killed before the step, and killed after it: the message is there once in the end, with its picture."""

    class Killed(BaseException):
        pass

    rooms: dict[str, Any] = {"belongs": post, "finish": works}
    room = rooms.get(dies, placing)
    real = getattr(room, dies)
    arrival = arrivals.take_in(
        letter("Look.", to=tag, attached=[raw_picture(picture_file, size=(900, 700))]).as_bytes()
    )
    assert arrival is not None
    for after in (False, True):

        def killed(*args: Any, after: bool = after, **kwargs: Any) -> Any:
            if after:
                real(*args, **kwargs)
            raise Killed

        with monkeypatch.context() as patched:
            patched.setattr(room, dies, killed)
            with pytest.raises(Killed):
                post.place_all()
        assert not Message.objects.exists()
        arrival.refresh_from_db()
        assert (arrival.verdict, arrival.state) == ("", "under way")
        assert post.place_all() == 0, "its lease still runs"
        Arrival.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    assert post.place_all() == 1
    message = Message.objects.get()
    assert message.shots.count() == 1
    assert len(to_shop(commission)) == 1
    arrival.refresh_from_db()
    assert arrival.verdict == Verdict.PLACED
    tidy(timezone.now() + timedelta(minutes=1))
    assert list(Picture.objects.all()) == [message.shots.get().picture], "those of the dead went"
    files = [path for path in Path(configured.PICTURES, "originals").rglob("*") if path.is_file()]
    assert len(files) == 1


def test_a_worker_that_lost_its_lease_changes_nothing(
    commission: Commission, tag: str, letter: Letter
) -> None:
    arrival = arrivals.take_in(letter("Yes", to=tag).as_bytes())
    assert arrival is not None
    slow = claimed(arrival)
    Arrival.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    quick = claimed(arrival)
    post.place(slow)
    assert not Message.objects.exists()
    assert to_shop(commission) == []
    post.place(quick)
    post.place(slow)
    assert said(commission) == ["Yes"]
    assert len(to_shop(commission)) == 1


def test_no_email_is_two_messages_whoever_says_so(commission: Commission, tag: str, arrive: Arrive) -> None:
    arrival = arrive("Yes", to=tag)
    with pytest.raises(Exception, match=r"(?i)unique"), transaction.atomic():
        Message.objects.create(commission=commission, by_client=True, text="Yes", arrival=arrival)


def test_trouble_with_one_is_put_off_and_holds_up_no_other(
    commission: Commission, tag: str, letter: Letter, monkeypatch: pytest.MonkeyPatch
) -> None:
    poisoned = arrivals.take_in(letter("Poison", to=tag).as_bytes())
    assert poisoned is not None
    good = arrivals.take_in(letter("Good", to=tag).as_bytes())
    assert good is not None
    real = belonging.belongs

    def chokes(mail: Any, came_at: Any) -> Any:
        if "Poison" in mail.words:
            raise ValueError("it cannot be swallowed")
        return real(mail, came_at)

    monkeypatch.setattr(post, "belongs", chokes)
    for _ in range(post.MOST_TRIES + 1):
        post.place_all()
        Arrival.objects.filter(state="waiting").update(due_at=timezone.now())
    good.refresh_from_db()
    poisoned.refresh_from_db()
    assert good.verdict == Verdict.PLACED
    assert poisoned.verdict == Verdict.TRAY
    assert poisoned.why == "It could not be read. ValueError: it cannot be swallowed"
    assert said(commission) == ["Good"]


def test_a_database_that_is_away_is_not_the_email_s_fault(
    commission: Commission, tag: str, letter: Letter, monkeypatch: pytest.MonkeyPatch
) -> None:
    arrival = arrivals.take_in(letter("Yes", to=tag).as_bytes())
    assert arrival is not None

    def away(*args: Any) -> Any:
        raise OperationalError("the server went away")

    monkeypatch.setattr(post, "belongs", away)
    with pytest.raises(OperationalError):
        post.place_all()
    arrival.refresh_from_db()
    assert (arrival.state, arrival.trouble) == ("under way", "")


def test_without_its_file_the_owner_is_told(commission: Commission, tag: str, letter: Letter) -> None:
    arrival = arrivals.take_in(letter("Yes", to=tag).as_bytes())
    assert arrival is not None
    Path(configured.ARRIVALS, arrival.path).unlink()
    post.place_all()
    arrival.refresh_from_db()
    assert arrival.verdict == Verdict.TRAY
    assert "not there any more" in arrival.why


# -- what it carries ---------------------------------------------------------------------------------------


def test_pictures_alone_are_a_message(
    commission: Commission, tag: str, arrive: Arrive, picture_file: MakePicture
) -> None:
    arrival = arrive("", to=tag, attached=[raw_picture(picture_file, size=(900, 700))])
    message = Message.objects.get(arrival=arrival)
    assert message.text == ""
    assert message.shots.get().picture.original_name == "a.jpg"


def test_a_picture_that_cannot_be_taken_is_named_with_the_reason(
    commission: Commission, tag: str, arrive: Arrive, picture_file: MakePicture
) -> None:
    broken = ("broken.jpg", "image/jpeg", b"\xff\xd8\xff\xe0" + b"no picture at all" * 400)
    arrival = arrive("Look.", to=tag, attached=[broken, raw_picture(picture_file, size=(900, 700))])
    message = Message.objects.get(arrival=arrival)
    assert message.shots.count() == 1
    assert [line for line in message.left_out if "broken.jpg" in line]


def test_other_files_are_named_and_kept_out(commission: Commission, tag: str, arrive: Arrive) -> None:
    arrival = arrive(
        "The plan.", to=tag, attached=[("plan.pdf", "application/pdf", b"%PDF-1.7" + b"x" * 1200)]
    )
    message = Message.objects.get(arrival=arrival)
    assert message.shots.count() == 0
    assert len(message.left_out) == 1
    assert message.left_out[0].startswith("plan.pdf")


def test_at_most_twenty_pictures_of_one_email(
    commission: Commission, tag: str, arrive: Arrive, picture_file: MakePicture
) -> None:
    many = [raw_picture(picture_file, f"{n:02}.jpg", size=(400, 300)) for n in range(22)]
    message = Message.objects.get(arrival=arrive("Many.", to=tag, attached=many))
    assert message.shots.count() == 20
    assert [line.partition(",")[0] for line in message.left_out] == ["20.jpg", "21.jpg"]


def test_without_room_a_client_s_pictures_stay_out_and_the_owner_s_come_in(
    commission: Commission, owner: User, tag: str, arrive: Arrive, picture_file: MakePicture, settings: Any
) -> None:
    settings.PICTURES_LEAST_FREE = 1 << 62
    picture = raw_picture(picture_file, size=(900, 700))
    message = Message.objects.get(arrival=arrive("Look.", to=tag, attached=[picture]))
    assert message.shots.count() == 0
    assert message.left_out == ["a.jpg: There was too little room left for pictures."]
    marked = tags.reply_address(f"commission {commission.pk} shop")
    mine = Message.objects.get(arrival=arrive("Look.", to=marked, sender=owner.email, attached=[picture]))
    assert mine.shots.count() == 1


def test_nothing_of_a_long_email_is_lost(commission: Commission, tag: str, arrive: Arrive) -> None:
    words = "\n".join(f"Line {n} of what she had to say about the desk." for n in range(2000))
    message = Message.objects.get(arrival=arrive(words, to=tag))
    assert (
        (message.text + message.quoted)
        .replace("\n", "")
        .replace(" ", "")
        .startswith(words.replace("\n", "").replace(" ", ""))
    )
    assert len(message.text) <= 20_000


def test_of_an_email_too_large_the_beginning_and_where_the_rest_is(commission: Commission, tag: str) -> None:
    raw = f"From: ottoline@example.com\r\nTo: {tag}\r\nMessage-ID: <b@example.com>\r\n\r\nLook at these.\r\n"
    arrivals.take_in(raw.encode(), size=45 * 1024 * 1024)
    post.place_all()
    message = Message.objects.get(commission=commission)
    assert message.text == "Look at these."
    assert message.left_out == ["the rest of the email: it has 45 MB and is whole in the mailbox"]
