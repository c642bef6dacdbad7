"""Agreeing on a colour: the shop proposes a sample, the client approves it by name or asks for another."""

from __future__ import annotations

import re
from dataclasses import dataclass

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.colours.models import Sample
from shopdesk.commissions.actions import add_shots, agree_colour
from shopdesk.commissions.letters import to_client, to_shop
from shopdesk.commissions.models import Commission, Piece, Shot
from shopdesk.commissions.shown import shown
from shopdesk.commissions.stages import ENDS, locked, write_line
from shopdesk.photos.models import Picture

_HEX = re.compile(r"#[0-9a-f]{6}")


@dataclass(frozen=True)
class NewSample:
    """What the board shows. `screen_colour` is "#rrggbb" or empty, and only for the screen."""

    name: str
    maker_code: str = ""
    sheen: str = ""
    product: str = ""
    screen_colour: str = ""
    note: str = ""


@transaction.atomic
def propose(piece: Piece, new: NewSample, who: Who, picture: Picture | None = None) -> Sample:
    """Show the client a sample for a piece: the next round. Refuses while an earlier one waits for its
    answer."""
    commission = locked(piece.commission_id)
    if commission.stage in ENDS:
        raise Refused("This commission has ended.")
    if not new.name.strip():
        raise Refused("Give the colour a name that both of you will know it by.", field="name")
    colour = new.screen_colour.strip().lower()
    if colour and not _HEX.fullmatch(colour):
        raise Refused("A colour for the screen is written #rrggbb, such as #2f4a3c.", field="screen_colour")
    shots = add_shots(
        commission, [picture] if picture else [], Shot.Kind.SAMPLE, piece=piece, caption=new.name
    )
    last = Sample.objects.filter(piece=piece).aggregate(last=Max("round"))["last"] or 0
    try:
        with transaction.atomic():
            sample = Sample.objects.create(
                piece=piece,
                round=last + 1,
                shot=shots[0] if shots else None,
                **{**new.__dict__, "screen_colour": colour},
            )
    except IntegrityError as error:
        raise Refused(f"The last sample for the {piece.name} is still waiting for its answer.") from error
    agree_colour(piece, None)
    write_line(
        commission,
        who,
        "sample proposed",
        f"Sample {sample.round} for the {piece.name}: {sample.name}",
        for_client=True,
    )
    to_client(
        commission,
        "sample",
        {"piece": piece.name, "colour": sample.name, "round": str(sample.round), "note": sample.note},
        path=reverse("portal:commission", args=[commission.number]),
        enclose=shown([picture] if picture else [], f"Sample {sample.round}: {sample.name}"),
    )
    return sample


@transaction.atomic
def approve(sample_id: int, name: str, who: Who, *, in_shop: bool = False) -> Sample:
    """The client says yes, by name; or the owner writes down a yes given in the shop."""
    sample = _answer(sample_id, Sample.State.APPROVED, name, "", who, in_shop)
    commission = sample.piece.commission
    agree_colour(sample.piece, timezone.now())
    words = f"Sample {sample.round} for the {sample.piece.name} approved: {sample.name}"
    write_line(commission, who, "sample approved", words, for_client=True)
    _tell_shop(commission, sample, who, "approved")
    return sample


@transaction.atomic
def ask_again(sample_id: int, name: str, answer: str, who: Who, *, in_shop: bool = False) -> Sample:
    """The client would like another one, and says what is not right yet."""
    if not answer.strip():
        raise Refused(
            "Say in a few words what is not right yet: too dark, too warm, too shiny.", field="answer"
        )
    sample = _answer(sample_id, Sample.State.AGAIN, name, answer.strip()[:1000], who, in_shop)
    commission = sample.piece.commission
    words = f"Another sample wanted for the {sample.piece.name} after {sample.name}"
    write_line(commission, who, "sample again", words, for_client=True)
    _tell_shop(commission, sample, who, "not right yet")
    return sample


def _answer(sample_id: int, state: str, name: str, answer: str, who: Who, in_shop: bool) -> Sample:
    name = name.strip()
    if not any(letter.isalpha() for letter in name):
        raise Refused("Type the name of whoever decides.", field="name")
    # Two pieces answered at once: the commission's colour is judged by one after the other.
    locked(Sample.objects.values_list("piece__commission_id", flat=True).get(pk=sample_id))
    taken = Sample.objects.filter(pk=sample_id, state=Sample.State.PROPOSED).update(
        state=state,
        answered_at=timezone.now(),
        answered_by=name[:120],
        answered_in_shop=in_shop,
        answer=answer,
        user_id=who.id if who.is_owner else None,
    )
    sample = Sample.objects.select_related("piece__commission__client").get(pk=sample_id)
    if not taken:
        raise Refused(f"This sample has been answered already: {sample.get_state_display()}.")
    if sample.piece.commission.stage in ENDS:
        raise Refused("This commission has ended.")
    return sample


def _tell_shop(commission: Commission, sample: Sample, who: Who, verdict: str) -> None:
    if not who.is_owner:
        to_shop(
            commission,
            "sample-answered",
            {"piece": sample.piece.name, "colour": sample.name, "verdict": verdict, "answer": sample.answer},
        )
