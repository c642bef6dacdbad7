"""Taking in a request: what a client types and sends, and what the owner notes for somebody on the phone, at
the door, or from an email."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Literal

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.clients.actions import know_client
from shopdesk.clients.models import Client
from shopdesk.commissions import letters
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, open_commission
from shopdesk.commissions.models import Commission
from shopdesk.commissions.shown import shown
from shopdesk.conversation import placing
from shopdesk.craft.units import show_length
from shopdesk.intake.models import MOST_PICTURES, Draft, DraftPicture
from shopdesk.intake.queries import answer_by
from shopdesk.look import formats
from shopdesk.photos.actions import clean_name, forget, take_in
from shopdesk.photos.models import Picture
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop, today_at

FORGET_AFTER = timedelta(days=60)
"""A draft that nobody has touched for so long is thrown away."""
FORGET_PICTURES_AFTER = timedelta(days=7)
"""One with pictures, which was never sent, is thrown away after so long."""

_SENT = "This request has been sent already. Load the page again to write another one."


@dataclass(frozen=True)
class Asked:
    """A request, checked: who asks (email or phone may be empty, not both), what they wish, for which
    pieces."""

    name: str
    email: str
    phone: str
    wish: Wish
    pieces: Sequence[NewPiece]


# ---- the draft -------------------------------------------------------------------------------------------


def keep(key: uuid.UUID, typed: dict[str, str]) -> None:
    """Keep what has been typed so far (`forms.kept_of`). A draft that has been sent stays as it is."""
    Draft.objects.get_or_create(key=key)
    Draft.objects.filter(key=key, commission=None).update(typed=typed, touched_at=timezone.now())


def add_picture(key: uuid.UUID, upload: UploadedFile[Any]) -> DraftPicture:
    """Take one picture into a draft. Raises `Refused` with a sentence that names the file: not a picture we
    can take, no room for another, or sent meanwhile."""
    name = upload.name or "the file"
    draft, _ = Draft.objects.get_or_create(key=key)
    if draft.commission_id is not None:
        raise Refused(_SENT)
    if _free_place(draft) is None:  # before any work is put into it; what counts is below
        raise Refused(_no_room(name))
    picture = take_in(upload, name)
    try:
        with transaction.atomic():
            draft = _locked(key)
            place = _free_place(draft)
            if draft.commission_id is not None:
                raise Refused(_SENT)
            if place is None:
                raise Refused(_no_room(name))
            Draft.objects.filter(pk=draft.pk).update(touched_at=timezone.now())
            return DraftPicture.objects.create(draft=draft, picture=picture, place=place)
    except Refused:
        forget(picture)
        raise


def take_picture_away(key: uuid.UUID, picture_key: uuid.UUID) -> None:
    """Take a picture out of a draft again. One that is not there (any more) is nothing to do."""
    with transaction.atomic():
        draft = Draft.objects.select_for_update().filter(key=key, commission=None).first()
        held = DraftPicture.objects.filter(draft=draft, picture__key=picture_key).select_related("picture")
        for one in held if draft else ():
            forget(one.picture)


def _locked(key: uuid.UUID) -> Draft:
    return Draft.objects.select_for_update().get(key=key)


def _no_room(name: str) -> str:
    return (
        f"{MOST_PICTURES} pictures are the most we can take with a request; “{clean_name(name)}” did not fit."
    )


def _free_place(draft: Draft) -> int | None:
    taken = set(DraftPicture.objects.filter(draft=draft).values_list("place", flat=True))
    return next((place for place in range(MOST_PICTURES) if place not in taken), None)


def forget_old_drafts() -> None:
    """Throw away drafts that nobody has touched for `FORGET_AFTER`, or `FORGET_PICTURES_AFTER`: the words and
    pictures of people who decided otherwise."""
    now = timezone.now()
    holding = DraftPicture.objects.filter(draft=OuterRef("pk"))
    old = Draft.objects.filter(
        Q(touched_at__lt=now - FORGET_AFTER)
        | Q(Exists(holding), touched_at__lt=now - FORGET_PICTURES_AFTER, commission=None)
    )
    for key in old.values_list("key", flat=True)[:100]:
        with transaction.atomic():
            draft = old.select_for_update().filter(key=key).first()
            if draft is None:
                continue
            for held in draft.pictures.select_related("picture"):
                forget(held.picture)
            draft.delete()


# ---- the request -----------------------------------------------------------------------------------------


@transaction.atomic
def send_request(key: uuid.UUID, asked: Asked, address: str) -> Commission:
    """The client sends their request: the draft becomes a commission with its pictures, and both sides are
    written to. `address` is the network address they came from. A draft that was sent before is not sent
    again; its commission is returned."""
    Draft.objects.get_or_create(key=key)
    draft = _locked(key)
    if draft.commission is not None:
        return draft.commission
    client = know_client(name=asked.name, email=asked.email, phone=asked.phone)
    held = list(draft.pictures.select_related("picture"))
    commission = _open(
        asked, "page", client, [one.picture for one in held], Who("client", client.pk, address)
    )
    # The pictures are the commission's now, and so are the words.
    DraftPicture.objects.filter(draft=draft).delete()
    Draft.objects.filter(pk=draft.pk).update(commission=commission, typed={}, touched_at=timezone.now())
    letters.to_shop(
        commission,
        "new-request",
        _for_the_shop(the_shop(), commission, asked, len(held)),
        enclose=shown([one.picture for one in held], f"Picture from {client.name}"),
    )
    return commission


@transaction.atomic
def note_request(asked: Asked, source: str, pictures: Sequence[Picture], who: Who) -> Commission:
    """The owner takes down a request for somebody on the phone or at the door (`source` is "phone" or
    "door"). The client is written to; without an email address the words are on the owner's list of what to
    tell."""
    client = know_client(name=asked.name, email=asked.email, phone=asked.phone, by_voice=True)
    return _open(asked, source, client, pictures, who)


@transaction.atomic
def open_from_email(
    asked: Asked, email: placing.Whole, taken: placing.Taken, pictures: Sequence[Picture], who: Who
) -> Commission:
    """The owner makes a request of an email in the tray: with its pictures (`taken`) before others, and the
    email first in the conversation. The client is written to. Raises `Refused`, and changes nothing, for an
    email that was placed or let go meanwhile."""
    placing.out_of_tray(email)
    client = know_client(name=asked.name, email=asked.email, phone=asked.phone)  # anybody can write anything
    commission = _open(asked, Commission.Source.EMAIL, client, [*taken.pictures, *pictures], who)
    placing.begin_request(email, commission, taken, who)
    return commission


def _open(asked: Asked, source: str, client: Client, pictures: Sequence[Picture], who: Who) -> Commission:
    commission = open_commission(
        NewCommission(client=client, source=source, wish=asked.wish, pieces=asked.pieces, pictures=pictures),
        who,
    )
    shop = the_shop()
    letters.to_client(
        commission,
        "request-received",
        {
            "answer_by": said_answer_by(shop),
            "lead": any(piece.lead_caution for piece in commission.pieces.all()),
            "from_page": source in (Commission.Source.PAGE, Commission.Source.EMAIL),  # their own words
        },
    )
    return commission


def said_answer_by(shop: Shop) -> str:
    """ "Thursday, December 3": by when a request that comes in now is answered."""
    today = today_at(shop)
    return formats.weekday(answer_by(shop, today), shop.locale, today)


def _for_the_shop(shop: Shop, commission: Commission, asked: Asked, pictures: int) -> dict[str, Any]:
    """What the owner's email says, as plain words."""
    wish, today = asked.wish, today_at(shop)
    facts = [("Email", asked.email), ("Phone", asked.phone)]
    facts += [("Piece", _said_piece(piece, shop)) for piece in asked.pieces]
    facts += [
        ("Colour", wish.colour_wish),
        ("Sheen", wish.sheen),
        ("Hardware", wish.hardware_wish),
        ("Where it will live", wish.place),
        ("Hoped for by", formats.day(wish.hoped_for, shop.locale, today) if wish.hoped_for else ""),
        ("Budget", wish.budget),
        ("How it travels", wish.travel),
    ]
    return {
        "wish": wish.wish,
        "pictures": pictures,
        "facts": [{"what": what, "said": " ".join(said.split())} for what, said in facts if said],
        "lead": any(piece.lead_caution for piece in commission.pieces.all()),
        "answer_by": said_answer_by(shop),
    }


def _said_piece(piece: NewPiece, shop: Shop) -> str:
    unit: Literal["in", "cm"] = "in" if shop.units == Shop.Units.INCHES else "cm"
    sizes = [
        f"{show_length(size, unit)} {way}"
        for size, way in ((piece.width_mm, "wide"), (piece.depth_mm, "deep"), (piece.height_mm, "high"))
        if size is not None
    ]
    count = f"{piece.count} × " if piece.count > 1 else ""
    said = [
        *sizes,
        piece.material,
        piece.made,
        piece.finish_now if piece.finish_now != "unknown" else "",
        piece.trouble,
    ]
    return f"{count}{piece.name}{': ' if any(said) else ''}{', '.join(part for part in said if part)}"
