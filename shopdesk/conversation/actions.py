"""Saying something, and having answered."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.actions import add_shots, answered
from shopdesk.commissions.letters import to_client, to_shop
from shopdesk.commissions.models import Commission, Shot
from shopdesk.commissions.stages import locked, write_line
from shopdesk.conversation.models import Message
from shopdesk.mail.models import Arrival
from shopdesk.photos.models import Picture

LONGEST = 5000


def _words(text: str, pictures: Sequence[Picture], came_by: str, left_out: Sequence[str]) -> str:
    text = text.strip()
    if came_by == Message.CameBy.MAIL:
        return (
            text  # it is here already: an email that is long, or holds a plan and no word, is kept as it is
        )
    if not text and not pictures:
        raise Refused("Write a few words first.", field="text")
    if len(text) > LONGEST:
        raise Refused(f"That is {len(text):,} characters; {LONGEST:,} fit in one message.", field="text")
    return text


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
    """The client writes, on their page or by email (`arrival`; `quoted` and `left_out` are what came with it).
    The owner is told by email, and the desk keeps it until it is answered."""
    text = _words(text, pictures, came_by, left_out)
    message = Message.objects.create(
        commission=commission,
        by_client=True,
        text=text,
        came_by=came_by,
        arrival=arrival,
        quoted=quoted,
        left_out=list(left_out),
    )
    message.shots.set(add_shots(commission, pictures, Shot.Kind.MESSAGE))
    write_line(commission, who, "client wrote", "Message sent")
    to_shop(commission, "client-message", {"text": text or "(pictures)"})
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
    """The shop writes, at the desk or by email: a question or an answer. What the client had written counts as answered, up to the
    message with the id `upto`, the newest that the owner saw while writing (without one: all of it)."""
    text = _words(text, pictures, came_by, left_out)
    message = Message.objects.create(
        commission=commission,
        by_client=False,
        user_id=who.id,
        text=text,
        came_by=came_by,
        arrival=arrival,
        quoted=quoted,
        left_out=list(left_out),
    )
    message.shots.set(add_shots(commission, pictures, Shot.Kind.MESSAGE))
    _answered(commission, upto)
    answered(commission)
    write_line(commission, who, "shop wrote", "Message sent", for_client=True)
    to_client(commission, "question", {"text": text or "Pictures for you, on your page."})
    return message


@transaction.atomic
def answered_elsewhere(commission: Commission, note: str, who: Who, *, upto: int | None = None) -> None:
    """The client was answered by phone or at the door, as to what they had written up to the message `upto`;
    the journal keeps the note."""
    locked(commission.pk)
    note = note.strip()
    if not note:
        raise Refused("Note in a few words what was said.", field="note")
    if not _answered(commission, upto):
        raise Refused("Nothing is waiting for an answer here.")
    answered(commission)
    write_line(commission, who, "answered elsewhere", f"Answered by phone or in person: {note[:500]}")


def _answered(commission: Commission, upto: int | None) -> int:
    waiting = Message.objects.filter(commission=commission, by_client=True, answered_at=None)
    if upto is not None:
        waiting = waiting.filter(pk__lte=upto)
    return waiting.update(answered_at=timezone.now())
