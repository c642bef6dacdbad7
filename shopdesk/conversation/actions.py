"""Saying something, having answered, and what the owner writes down for themselves."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from django.db import transaction
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.actions import add_shots, answered
from shopdesk.commissions.letters import to_client, to_shop
from shopdesk.commissions.models import Commission, Shot
from shopdesk.commissions.shown import shown
from shopdesk.commissions.stages import locked, write_line
from shopdesk.conversation import quick
from shopdesk.conversation.models import Message, Note
from shopdesk.mail.models import Arrival
from shopdesk.photos.models import Picture

LONGEST = 5000
LONGEST_BY_MAIL = 20_000
"""What is longer goes on among what is folded away."""
LONGEST_QUOTED = 100_000
"""Of what an email quotes, in the conversation: its file has the whole. A page reads every message."""
LONGEST_NOTE = 2000


@transaction.atomic
def say_to_shop(
    commission: Commission,
    text: str,
    who: Who,
    pictures: Sequence[Picture] = (),
    *,
    came_by: str = "page",
    arrival: Arrival | None = None,
    quoted: str = "",
    left_out: Sequence[str] = (),
) -> Message:
    """The client writes, on their page or by email (`arrival`; `quoted` and `left_out` are what came with
    it). The owner is told by email, and the desk keeps it until it is answered."""
    message = _written(commission, None, text, pictures, came_by, arrival, quoted, left_out)
    write_line(commission, who, "client wrote", "Message sent")
    message.email = to_shop(
        commission,
        "client-message",
        {"items": [_item(message, "(pictures)", len(pictures))]},
        enclose=shown(pictures, f"Picture from {commission.client.name}"),
        path=reverse("desk:answer", args=[commission.number]),
        gather=f"message {commission.pk} shop",
        first_at_once=True,
    )
    message.save(update_fields=["email"])
    return message


@transaction.atomic
def begin_with(
    commission: Commission, text: str, *, arrival: Arrival, quoted: str, left_out: Sequence[str]
) -> Message:
    """The email that a request was opened from is the first word of its conversation. Nobody is told, and it
    waits for nothing: the owner has just read it, and what asks for an answer is the request, with which its
    pictures stand."""
    message = _written(commission, None, text, (), Message.CameBy.MAIL, arrival, quoted, left_out)
    message.seen_at = message.answered_at = message.at
    message.save(update_fields=["seen_at", "answered_at"])
    return message


@transaction.atomic
def say_to_client(
    commission: Commission,
    text: str,
    who: Who,
    pictures: Sequence[Picture] = (),
    *,
    upto: int | None = None,
    came_by: str = "desk",
    arrival: Arrival | None = None,
    quoted: str = "",
    left_out: Sequence[str] = (),
) -> Message:
    """The shop writes, at the desk or by email: a question or an answer. What the client had written counts
    as answered, up to the message with the id `upto`, the newest that the owner saw while writing (without
    one: all of it). What is written at the desk may have blanks (`quick`): they are filled, or it does not
    go."""
    if came_by == Message.CameBy.DESK:
        text = quick.filled(text, commission)
    message = _written(commission, who, text, pictures, came_by, arrival, quoted, left_out)
    _answered(commission, upto)
    answered(commission)
    write_line(commission, who, "shop wrote", "Message sent", for_client=True)
    message.email = to_client(
        commission,
        "question",
        {"items": [_item(message, "Pictures for you, on your page.", len(pictures))]},
        enclose=shown(pictures, "Picture with this message"),
        path=reverse("portal:ask", args=[commission.number]),
        gather=f"message {commission.pk} client",
        first_at_once=True,
    )
    message.save(update_fields=["email"])
    return message


def _written(
    commission: Commission,
    for_shop: Who | None,
    text: str,
    pictures: Sequence[Picture],
    came_by: str,
    arrival: Arrival | None,
    quoted: str,
    left_out: Sequence[str],
) -> Message:
    """The row of a message: the client's, or that of whoever writes for the shop."""
    text = text.strip()
    if came_by == Message.CameBy.MAIL:  # it is here already, and is kept however long or bare it is
        text, more = text[:LONGEST_BY_MAIL], text[LONGEST_BY_MAIL:]
        quoted = (f"{more}\n\n{quoted}" if more else quoted)[:LONGEST_QUOTED]
    elif not text and not pictures:
        raise Refused("Write a few words first.", field="text")
    elif len(text) > LONGEST:
        raise Refused(f"That is {len(text):,} characters; {LONGEST:,} fit in one message.", field="text")
    locked(commission.pk)  # one after the other, so that whoever saw the newest has seen all before it
    message = Message.objects.create(
        commission=commission,
        by_client=for_shop is None,
        user_id=for_shop.id if for_shop else None,
        text=text,
        came_by=came_by,
        arrival=arrival,
        quoted=quoted,
        left_out=list(left_out),
    )
    message.shots.set(add_shots(commission, pictures, Shot.Kind.MESSAGE))
    return message


def _item(message: Message, without_words: str, pictures: int) -> dict[str, str | int]:
    """A message as it stands in an email beside others that gathered."""
    wordless = without_words if pictures else "(no words)"
    return {"text": message.text or wordless, "pictures": pictures}


@transaction.atomic
def answered_elsewhere(commission: Commission, note: str, who: Who, *, upto: int | None = None) -> None:
    """The client was answered by phone or at the door, as to what they had written up to the message `upto`;
    the note stands in the conversation at the desk, and in the journal."""
    locked(commission.pk)
    note = note.strip()
    if not note:
        raise Refused("Note in a few words what was said.", field="note")
    if not _answered(commission, upto):
        raise Refused("Nothing is waiting for an answer here.")
    answered(commission)
    Note.objects.create(commission=commission, user_id=who.id, text=note[:LONGEST_NOTE], call=True)
    write_line(commission, who, "answered elsewhere", f"Answered by phone or in person: {note[:500]}")


@transaction.atomic
def nothing_to_answer(commission: Commission, who: Who, *, upto: int | None = None) -> None:
    """What the client wrote, up to the message `upto`, asks for no answer: a thank-you."""
    locked(commission.pk)
    if not _answered(commission, upto):
        raise Refused("Nothing is waiting for an answer here.")
    write_line(commission, who, "nothing to answer", "Read; it asked for no answer")


def _answered(commission: Commission, upto: int | None) -> int:
    """What was answered has been seen."""
    waiting = Message.objects.filter(commission=commission, by_client=True, answered_at=None)
    if upto is not None:
        waiting = waiting.filter(pk__lte=upto)
    now = timezone.now()
    return waiting.update(answered_at=now, seen_at=Coalesce("seen_at", now))


def saw(message_ids: Collection[int]) -> int:
    """The owner has had these messages in front of them; returns for how many that is new."""
    unseen = Message.objects.filter(pk__in=list(message_ids), by_client=True, seen_at=None)
    return unseen.update(seen_at=timezone.now())


@transaction.atomic
def note(commission: Commission, text: str, who: Who, call: bool = False) -> Note:
    """Something that the owner writes down for themselves, or a call in one line. No client ever sees it."""
    text = " ".join(text.split()) if call else text.strip()
    if not who.is_owner:
        raise Refused("Notes are the shop's.")
    if not text:
        raise Refused("Write a few words first.", field="note")
    if len(text) > LONGEST_NOTE:
        raise Refused(f"That is {len(text):,} characters; {LONGEST_NOTE:,} fit in a note.", field="note")
    return Note.objects.create(commission=commission, user_id=who.id, text=text, call=call)


@transaction.atomic
def strike_note(commission: Commission, note_id: int, who: Who) -> None:
    """Take a note away again, a slip of the pen. Raises `Refused` when it is gone already."""
    if not who.is_owner or not Note.objects.filter(commission=commission, pk=note_id).delete()[0]:
        raise Refused("That note is gone already.")
