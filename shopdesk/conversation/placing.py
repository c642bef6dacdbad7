"""An email's words and pictures into a conversation: by the worker where it is clear whose they are, by the
owner's hand where it is not."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from shopdesk.base.limits import allow
from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission, Shot
from shopdesk.commissions.stages import locked, write_line
from shopdesk.conversation.actions import begin_with, say_to_client, say_to_shop
from shopdesk.conversation.belongs import Place, read_upto
from shopdesk.conversation.models import Message
from shopdesk.mail.arrivals import said_in
from shopdesk.mail.heard import Heard, Part
from shopdesk.mail.models import Arrival
from shopdesk.photos import room
from shopdesk.photos.actions import take_in
from shopdesk.photos.models import Picture

_DAY = timedelta(days=1)
_A_DAY = 100
"""Pictures of one client, from their page and by email."""
Verdict = Arrival.Verdict


@dataclass
class Taken:
    """The pictures of an email that were taken in, and those that were not, each with its reason."""

    pictures: list[Picture] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)


def take_pictures(mail: Heard, place: Place) -> Taken:
    """Take in an email's pictures as any that are uploaded. Outside a transaction: what is not used in the
    end, nothing refers to, and `photos.actions.tidy` takes it away."""
    if place.by_shop:
        return _taken(mail.pictures)
    return _taken(mail.pictures, f"client {place.commission.client_id}")


def _taken(parts: Sequence[Part], whose: str = "") -> Taken:
    """What can be taken in of these; within what `whose` may send in a day, where that counts."""
    taken = Taken()
    trouble = _too_much(whose, parts) if whose and parts else ""
    for part in parts:
        if trouble:
            taken.refused.append(f"{_name(part)}: {trouble}")
            continue
        try:
            taken.pictures.append(take_in(io.BytesIO(part.data), _name(part)))
        except Refused as no:
            taken.refused.append(no.sentence)
    return taken


def _name(part: Part) -> str:
    return part.name or "picture"


def _too_much(whose: str, parts: Sequence[Part]) -> str:
    """Why no pictures are taken from this client now; empty when they are."""
    if room.is_short():
        return "There was too little room left for pictures."
    sizes = [len(part.data) for part in parts]
    if not allow(f"pictures of {whose}", most=_A_DAY, span=_DAY, count=len(parts)) or not room.allow_pictures(
        whose, sizes
    ):
        return "That was more in pictures than is taken from one client in a day."
    return ""


def say(arrival: Arrival, mail: Heard, place: Place, taken: Taken) -> Message:
    """Let an email stand in its conversation, in the transaction that marks it placed."""
    left_out = [*mail.left_out, *taken.refused]
    if place.by_shop:
        return say_to_client(
            place.commission,
            mail.words,
            place.who,
            taken.pictures,
            upto=place.upto,
            came_by=Message.CameBy.MAIL,
            arrival=arrival,
            quoted=mail.quoted,
            left_out=left_out,
        )
    return say_to_shop(
        place.commission,
        mail.words,
        place.who,
        taken.pictures,
        came_by=Message.CameBy.MAIL,
        arrival=arrival,
        quoted=mail.quoted,
        left_out=left_out,
    )


# -- the tray: what the owner does ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Whole:
    """All that is known of one arrival: what it says (`None` when its file cannot be read)."""

    arrival: Arrival
    mail: Heard | None

    @property
    def can_be_placed(self) -> bool:
        return not self.why_not

    @property
    def why_not(self) -> str:
        """Why it can be put into no conversation, in a sentence; empty when it can."""
        mail = self.mail
        if mail is None:
            return _NOT_THERE
        if mail.bounce is not None or mail.automatic:
            return _NO_PERSON
        if self.arrival.verdict != Verdict.TRAY:
            return _GONE.get(self.arrival.verdict, _ELSEWHERE)
        return "" if mail.words or mail.pictures or mail.left_out else _NOTHING


def whole(arrival: Arrival) -> Whole:
    try:
        return Whole(arrival, said_in(arrival))
    except OSError:
        return Whole(arrival, None)


def stands_as(arrival: Arrival) -> Message | None:
    """The message that an email is by now, with its commission and client."""
    return Message.objects.filter(arrival=arrival).select_related("commission__client").first()


def by_hand(
    commission: Commission, who: Who, arrival: Arrival, mail: Heard, *, as_shop: bool = False
) -> Place:
    """The place that the owner says: the client's words in the commission, or their own to the client."""
    if as_shop:
        return Place(commission, who, by_shop=True, upto=read_upto(commission, mail, arrival.made_at))
    return Place(commission, Who("client", commission.client_id))


@transaction.atomic
def place_by_hand(arrival: Arrival, mail: Heard, place: Place, taken: Taken, who: Who) -> Message:
    """Put an email from the tray where the owner says it belongs. Who the client is stays as it was. Raises
    `Refused` for one that is in the tray no more, and for one that no person wrote."""
    if mail.bounce is not None or mail.automatic:
        raise Refused(_NO_PERSON)
    if not (mail.words or taken.pictures or mail.left_out):
        raise Refused(_NOTHING)
    if place.by_shop and not (mail.words or taken.pictures):
        raise Refused("There are no words in it that could go to the client.")
    _move(arrival, Verdict.TRAY, Verdict.PLACED)
    message = say(arrival, mail, place, taken)
    write_line(place.commission, who, "email placed", "An email was placed here by hand")
    return message


def take_request_pictures(one: Whole) -> Taken:
    """The pictures of an email that a request is opened from, as `take_pictures`: within what its address
    may send in a day, since whose they are is only known then. None of one that is decided already."""
    if one.mail is None or not one.can_be_placed:
        return Taken()
    return _taken(one.mail.pictures, f"sender {one.mail.from_address}")


def out_of_tray(one: Whole) -> None:
    """A request is opened from this email: it is in the tray no more. In the transaction that opens it, and
    before anything else: of two at once the second is refused here. Raises `Refused` for one that was placed
    or let go meanwhile, and for one that no person wrote."""
    if one.why_not:
        raise Refused(one.why_not)
    _move(one.arrival, Verdict.TRAY, Verdict.PLACED)


@transaction.atomic
def begin_request(one: Whole, commission: Commission, taken: Taken, who: Who) -> None:
    """Let the email stand first in the conversation of the request that was opened from it. The pictures
    stand with the request already; `take_out` leaves them and the request as they are."""
    assert one.mail is not None  # `out_of_tray` refuses it
    left_out = [*one.mail.left_out, *taken.refused]
    begin_with(commission, one.mail.words, arrival=one.arrival, quoted=one.mail.quoted, left_out=left_out)
    write_line(commission, who, "email placed", "The request was opened from an email")


@transaction.atomic
def let_go(arrival: Arrival) -> None:
    """The owner wants nothing of it; from now on it is kept for so long. Raises `Refused` for one that is in
    the tray no more."""
    _move(arrival, Verdict.TRAY, Verdict.DROPPED, done_at=timezone.now())


@transaction.atomic
def bring_back(arrival: Arrival) -> None:
    """Into the tray again. Raises `Refused` for one that was not let go."""
    _move(arrival, Verdict.DROPPED, Verdict.TRAY)


@transaction.atomic
def take_out(arrival: Arrival, who: Who) -> None:
    """An email that stands in the wrong conversation as a client's words: out of it, with its pictures, and
    into the tray again, whoever placed it. Raises `Refused` for one that stands in none any more, and for the
    shop's own words, which went to the client."""
    message = Message.objects.filter(arrival=arrival).select_related("commission").first()
    if message is not None and not message.by_client:
        raise Refused("Those are your own words, and the client has them: they stay.")
    where = message.commission.number if message else "its conversation"
    _move(arrival, Verdict.PLACED, Verdict.TRAY, why=f"You took it out of {where}.")
    if message is None:
        return
    locked(message.commission_id)
    shots = list(message.shots.values_list("pk", flat=True))
    message.delete()
    Shot.objects.filter(pk__in=shots).delete()
    write_line(message.commission, who, "email taken out", "An email was taken out of the conversation again")


def _move(arrival: Arrival, before: Arrival.Verdict, after: Arrival.Verdict, **besides: Any) -> None:
    rows = Arrival.objects.filter(pk=arrival.pk, state=Arrival.State.DONE, verdict=before)
    if not rows.update(verdict=after, **besides):
        now = Arrival.objects.filter(pk=arrival.pk).values_list("verdict", flat=True).first()
        raise Refused(_GONE.get(now or "", _ELSEWHERE))
    arrival.verdict = after


_ELSEWHERE = "It is not in the tray any more."
_NO_PERSON = "A mail server wrote that, and no person: it has no place in a conversation."
_NOT_THERE = "The email itself is not there any more."
_NOTHING = "There is nothing in it that could stand in a conversation."
_GONE = {
    Verdict.PLACED.value: "It stands in a conversation already.",
    Verdict.DROPPED.value: "It has been let go meanwhile.",
    Verdict.TRAY.value: "It is in the tray already.",
}
