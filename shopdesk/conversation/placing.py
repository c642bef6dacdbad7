"""An email's words and pictures into a conversation: by the worker where it is clear whose they are, by the
owner's hand where it is not."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta

from django.db import transaction

from shopdesk.base.limits import allow
from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission, Shot
from shopdesk.commissions.stages import locked, write_line
from shopdesk.conversation.actions import say_to_client, say_to_shop
from shopdesk.conversation.belongs import Place, read_upto
from shopdesk.conversation.models import Message
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
    taken = Taken()
    trouble = "" if place.by_shop or not mail.pictures else _too_much(place.commission, mail.pictures)
    for part in mail.pictures:
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


def _too_much(commission: Commission, parts: Sequence[Part]) -> str:
    """Why no pictures are taken from this client now; empty when they are."""
    if room.is_short():
        return "There was too little room left for pictures."
    whose = f"client {commission.client_id}"
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
        raise Refused("A mail server wrote that, and no person: it has no place in a conversation.")
    if not (mail.words or taken.pictures or mail.left_out):
        raise Refused("There is nothing in it that could stand in a conversation.")
    _move(arrival, Verdict.TRAY, Verdict.PLACED)
    message = say(arrival, mail, place, taken)
    write_line(place.commission, who, "email placed", "An email was placed here by hand")
    return message


@transaction.atomic
def let_go(arrival: Arrival) -> None:
    """The owner wants nothing of it. Raises `Refused` for one that is in the tray no more."""
    _move(arrival, Verdict.TRAY, Verdict.DROPPED)


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


def _move(arrival: Arrival, before: Arrival.Verdict, after: Arrival.Verdict, **besides: str) -> None:
    rows = Arrival.objects.filter(pk=arrival.pk, state=Arrival.State.DONE, verdict=before)
    if not rows.update(verdict=after, **besides):
        now = Arrival.objects.filter(pk=arrival.pk).values_list("verdict", flat=True).first()
        raise Refused(_GONE.get(now or "", "It is not in the tray any more."))
    arrival.verdict = after


_GONE = {
    Verdict.PLACED.value: "It stands in a conversation already.",
    Verdict.DROPPED.value: "It has been let go meanwhile.",
    Verdict.TRAY.value: "It is in the tray already.",
}
