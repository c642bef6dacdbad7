"""What the shop's own people write by email: to the client where it answers what they were told, and is meant
for the client."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import transaction
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.who import Who
from shopdesk.commissions import letters
from shopdesk.commissions.models import Commission
from shopdesk.conversation import post
from shopdesk.conversation.actions import saw, say_to_shop
from shopdesk.conversation.models import Message
from shopdesk.mail import tags
from shopdesk.mail.models import Arrival, Email
from shopdesk.shop.models import User
from tests.mail.arriving import Arrive, Letter, came
from tests.mail.letters import picture

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("inbox")]
Verdict = Arrival.Verdict


MARKS = {True: "hello+{tag}@tidewell.example.com", False: ""}


def to_shop(commission: Commission) -> list[Email]:
    return list(Email.objects.filter(thread=f"commission {commission.pk} shop"))


@pytest.fixture
def told(commission: Commission, as_client: Who, work: Callable[[], None], mailbox: Any) -> Email:
    """The email that told the shop what the client wrote."""
    say_to_shop(commission, "When?", as_client)
    work()
    (email,) = to_shop(commission)
    assert email.state == "done"
    return email


def not_sent(commission: Commission, arrival: Arrival) -> bool:
    """Whether it waits for the owner, who may press "It is mine", and nothing of it is on its way."""
    assert (arrival.verdict, arrival.hint) == (Verdict.TRAY, f"commission {commission.pk} shop")
    ours = Message.objects.filter(commission=commission, by_client=False)
    return not ours.exists() and not Email.objects.filter(thread=f"commission {commission.pk}").exists()


def test_the_owner_answers_by_email(
    commission: Commission,
    as_client: Who,
    owner: User,
    work: Callable[[], None],
    mailbox: Any,
    arrive: Arrive,
) -> None:
    first = say_to_shop(commission, "When?", as_client)
    work()
    told = to_shop(commission)[0]
    later = say_to_shop(commission, "And how much?", as_client)
    arrival = arrive("On Friday.", to=told.reply_to, sender=owner.email, answers=told)
    assert arrival.verdict == Verdict.PLACED
    message = Message.objects.get(arrival=arrival)
    assert (message.by_client, message.user_id, message.text) == (False, owner.pk, "On Friday.")
    first.refresh_from_db()
    later.refresh_from_db()
    assert first.answered_at is not None
    assert later.answered_at is None, "nobody had read it when that was written"
    work()
    assert any("On Friday." in str(mail.body) for mail in mailbox if mail.to == ["ottoline@example.com"])


def test_the_shop_s_own_address_is_the_owner_s(
    commission: Commission,
    as_client: Who,
    owner: User,
    work: Callable[[], None],
    mailbox: Any,
    arrive: Arrive,
) -> None:
    first = say_to_shop(commission, "When?", as_client)
    work()
    marked = tags.reply_address(f"commission {commission.pk} shop")
    assert arrive("Friday.", to=marked, sender="hello@tidewell.example.com").verdict == Verdict.PLACED
    assert Message.objects.get(came_by="mail").user_id == owner.pk
    first.refresh_from_db()
    assert first.answered_at is not None, "the email that had gone out by then told it"


@pytest.mark.parametrize(
    "sender", ["ottoline@example.com", "stranger@example.com", "gone@tidewell.example.com"]
)
def test_nobody_else_speaks_for_the_shop(
    commission: Commission, owner: User, arrive: Arrive, sender: str
) -> None:
    gone = User.objects.create_user("gone@tidewell.example.com", "Gone Helper", None)
    User.objects.filter(pk=gone.pk).update(is_active=False)
    arrival = arrive("Friday.", to=tags.reply_address(f"commission {commission.pk} shop"), sender=sender)
    assert arrival.verdict == Verdict.TRAY
    assert "not yours" in arrival.why
    assert not Message.objects.exists()


_SUPPLIER = (
    "---------- Forwarded message ---------\nFrom: Supplier <s@example.com>\n"
    "Date: Tue, 24 Nov 2026 at 10:00\nSubject: Brass\nTo: <hello@tidewell.example.com>\n\nThey cost you 12."
)


@pytest.mark.parametrize(
    "nothing",
    [
        "On Tue, 24 Nov 2026 at 10:00, Tidewell <hello@tidewell.example.com> wrote:\n> When?\n> Look here",
        _SUPPLIER,
    ],
)
def test_what_the_owner_only_quotes_or_passes_on_goes_to_no_client(
    commission: Commission, owner: User, arrive: Arrive, nothing: str
) -> None:
    to = tags.reply_address(f"commission {commission.pk} shop")
    arrival = arrive(nothing, to=to, sender=owner.email)
    assert (arrival.verdict, arrival.hint) == (Verdict.TRAY, f"commission {commission.pk} shop")
    assert "nothing of your own" in arrival.why
    assert not Message.objects.exists()
    assert not Email.objects.filter(thread=f"commission {commission.pk}").exists()


def test_what_the_owner_s_email_quotes_stays_at_the_desk(
    commission: Commission, owner: User, arrive: Arrive, portal: Browser, desk: Browser
) -> None:
    to = tags.reply_address(f"commission {commission.pk} shop")
    arrive(f"On Friday.\n\n{_SUPPLIER}", to=to, sender=owner.email)
    arrive(f"Good.\n\n{_SUPPLIER.replace('12', '13')}", to=tags.reply_address(f"commission {commission.pk}"))
    theirs = [
        portal.get(reverse(f"portal:{page}", args=[commission.number])) for page in ("commission", "ask")
    ]
    for page in theirs:
        text = page.content.decode()
        assert "On Friday." in text
        assert "cost you 13" in text, "they wrote that themselves"
        assert "cost you 12" not in text
    assert "cost you 12" in desk.get(reverse("desk:answer", args=[commission.number])).content.decode()


@pytest.mark.parametrize("marks", [True, False])
@pytest.mark.parametrize(
    ("to", "copies"),
    [
        ("Jim <jim@veneers.example>", ""),
        ("Jim <jim@veneers.example>", "hello@tidewell.example.com"),
        ("hello@tidewell.example.com", "jim@veneers.example"),
    ],
)
def test_what_the_owner_passes_on_to_somebody_else_goes_to_no_client(
    commission: Commission, owner: User, told: Email, arrive: Arrive, settings: Any, to: str, copies: str,
    marks: bool,
) -> None:  # fmt: skip
    """A forward names the email that it passes on, as an answer does; the shop's mailbox has its copy."""
    settings.INBOX_ADDRESS = MARKS[marks]
    copied = {"Cc": copies} if copies else {}
    arrival = arrive("I quoted her 400.", to=to, sender=owner.email, answers=told, headers=copied)
    assert not_sent(commission, arrival)
    assert "somebody else" in arrival.why


def test_without_marks_an_answer_to_the_shop_s_own_address_is_one(
    commission: Commission, owner: User, told: Email, arrive: Arrive, settings: Any
) -> None:
    settings.INBOX_ADDRESS = ""
    arrival = arrive("On Friday.", to="hello@tidewell.example.com", sender=owner.email, answers=told)
    assert arrival.verdict == Verdict.PLACED
    assert Message.objects.get(arrival=arrival).by_client is False


def test_without_marks_it_does_not_matter_what_the_mailbox_is_called(
    commission: Commission, owner: User, told: Email, arrive: Arrive, settings: Any
) -> None:
    settings.INBOX_ADDRESS = ""
    names = {"Delivered-To": "box-17@mail.example.com", "X-Original-To": "box-17@mail.example.com"}
    home = "hello@tidewell.example.com"
    assert arrive("On Friday.", to=home, sender=owner.email, answers=told, headers=names).verdict == "placed"
    for to in (f"{home}, jim at the veneers", "undisclosed-recipients:;"):
        other = arrive("I quoted her 400.", to=to, sender=owner.email, answers=told, headers=names)
        assert other.verdict == Verdict.TRAY, "whom else it was for cannot be told"


@pytest.mark.parametrize("words", ["See the plan.", ""])
def test_what_cannot_go_on_from_here_is_said_and_nothing_goes_without_it(
    commission: Commission, owner: User, told: Email, arrive: Arrive, desk: Browser, words: str
) -> None:
    plan = [("plan.pdf", "application/pdf", b"%PDF-1.7")]
    arrival = arrive(words, to=told.reply_to, sender=owner.email, answers=told, attached=plan)
    assert not_sent(commission, arrival)
    assert "plan.pdf" in arrival.why
    where = reverse("desk:arrival-place", args=[arrival.pk])
    said = desk.post(where, {"commission": commission.number, "as": "shop"}, follow=True).content.decode()
    sent = Email.objects.filter(thread=f"commission {commission.pk}")
    if words:  # the owner lets the words go alone
        assert sent.get().context["items"][0]["text"] == words
    else:
        assert "no words in it that could go" in said
        assert not sent.exists()


def test_a_picture_that_is_none_keeps_the_whole_back(
    commission: Commission, owner: User, told: Email, arrive: Arrive
) -> None:
    broken = [("front.jpg", "image/jpeg", b"\xff\xd8\xff" + b"x" * 20_000)]
    arrival = arrive("Like this?", to=told.reply_to, sender=owner.email, answers=told, attached=broken)
    assert not_sent(commission, arrival)
    assert "front.jpg" in arrival.why


def test_the_mark_of_a_shop_in_its_signature_is_nothing_that_would_have_to_go_on(
    commission: Commission, owner: User, told: Email, letter: Letter
) -> None:
    made = letter("On Friday.\n\n-- \nRuna", to=told.reply_to, sender=owner.email, answers=told)
    made.add_alternative('<p>On Friday.</p><p>-- <br>Runa <img src="cid:mark"></p>', subtype="html")
    made.make_mixed()
    made.add_attachment(picture(200, 80), "image", "jpeg", filename="mark.jpg", cid="<mark>")
    arrival = came(made.as_bytes())
    assert arrival.verdict == Verdict.PLACED
    assert Message.objects.get(arrival=arrival).text == "On Friday."


def test_a_signature_is_nothing_that_would_have_to_go_on(
    commission: Commission, owner: User, told: Email, arrive: Arrive
) -> None:
    signed = [("smime.p7s", "application/pkcs7-signature", b"0x"), ("runa.vcf", "text/vcard", b"BEGIN:VCARD")]
    arrival = arrive("On Friday.", to=told.reply_to, sender=owner.email, answers=told, attached=signed)
    assert arrival.verdict == Verdict.PLACED


@pytest.mark.parametrize(
    "words", ["", "On Tue, 24 Nov 2026, Tidewell <hello@tidewell.example.com> wrote:\n> When?"]
)
def test_a_card_alone_is_no_answer(
    commission: Commission, owner: User, told: Email, arrive: Arrive, words: str
) -> None:
    card = [("runa.vcf", "text/vcard", b"BEGIN:VCARD")]
    arrival = arrive(words, to=told.reply_to, sender=owner.email, answers=told, attached=card)
    assert not_sent(commission, arrival)
    assert "nothing of your own" in arrival.why


def test_what_comes_too_often_may_still_be_sent_as_the_owner_s(
    commission: Commission, owner: User, told: Email, arrive: Arrive, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(post, "A_TIME", 0)
    assert not_sent(commission, arrive("Friday.", to=told.reply_to, sender=owner.email, answers=told))


def test_what_had_not_gone_out_is_not_answered(
    commission: Commission, as_client: Who, owner: User, told: Email, work: Callable[[], None], arrive: Arrive
) -> None:
    """Her second message gathers, while another email to the shop is quicker: that is the one they answer."""
    second = say_to_shop(commission, "Wait with the stain!", as_client)
    with transaction.atomic():
        letters.to_shop(commission, "withdrawn", {"reason": "", "quoted": ""})
    work()
    quicker = to_shop(commission)[-1]
    assert (quicker.kind, quicker.state) == ("withdrawn", "done")
    assert second.email is not None
    assert (second.email.state, second.email.pk < quicker.pk) == ("waiting", True)
    arrive("Thanks.", to=quicker.reply_to, sender=owner.email, answers=quicker)
    second.refresh_from_db()
    assert (second.answered_at, second.seen_at) == (None, None)
    assert Message.objects.get(text="When?").answered_at is not None


@pytest.mark.parametrize("seen", [False, True])
def test_an_answer_to_the_second_is_none_to_a_first_that_nobody_got(
    commission: Commission, as_client: Who, owner: User, told: Email, work: Callable[[], None],
    arrive: Arrive, settings: Any, seen: bool,
) -> None:  # fmt: skip
    settings.MAIL_GATHER_SECONDS = 0
    lost = say_to_shop(commission, "Wait with the stain!", as_client)
    assert lost.email is not None
    Email.objects.filter(pk=lost.email.pk).update(state="failed", gather="", done_at=timezone.now())
    third = say_to_shop(commission, "And the knobs?", as_client)
    work()
    assert third.email is not None
    assert third.email_id != lost.email_id
    if seen:
        saw([lost.pk])
    arrive("Keep them.", to=third.email.reply_to, sender=owner.email, answers=third.email)
    lost.refresh_from_db()
    third.refresh_from_db()
    assert (lost.answered_at is not None, lost.seen_at is not None) == (seen, seen)
    assert (third.answered_at is not None) == seen, "what is answered is answered in order"


def test_by_the_mark_alone_all_counts_that_had_gone_out(
    commission: Commission, as_client: Who, owner: User, told: Email, work: Callable[[], None], arrive: Arrive
) -> None:
    second = say_to_shop(commission, "Wait with the stain!", as_client)
    with transaction.atomic():
        letters.to_shop(commission, "withdrawn", {"reason": "", "quoted": ""})
    work()
    assert second.email is not None
    Email.objects.filter(pk=second.email.pk).update(due_at=timezone.now())
    work()
    arrive("I wait.", to=told.reply_to, sender=owner.email)
    second.refresh_from_db()
    assert second.answered_at is not None
