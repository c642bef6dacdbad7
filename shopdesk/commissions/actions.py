"""What all steps of a commission share: opening it, its pictures, and the facts that stages wait for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from shopdesk.base.numbers import next_number
from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.clients import actions as clients
from shopdesk.clients.models import Client
from shopdesk.commissions.models import Commission, Letter, Piece, Shot
from shopdesk.commissions.stages import ENDS, locked, write_line
from shopdesk.craft import cautions
from shopdesk.look.said import one_line
from shopdesk.mail.actions import Person, readdress
from shopdesk.mail.models import Email
from shopdesk.photos.models import Picture
from shopdesk.shop.queries import the_shop, today_at


@dataclass(frozen=True)
class NewPiece:
    """A piece as somebody described it; sizes in millimetres."""

    name: str
    count: int = 1
    width_mm: Decimal | None = None
    depth_mm: Decimal | None = None
    height_mm: Decimal | None = None
    material: str = ""
    made: str = ""
    finish_now: str = "unknown"
    trouble: str = ""
    hardware: str = ""

    def __post_init__(self) -> None:
        """A name stands within other people's sentences: nothing in it may turn or hide."""
        object.__setattr__(self, "name", one_line(self.name))


@dataclass(frozen=True)
class Wish:
    """What the client wants, in their words."""

    wish: str
    colour_wish: str = ""
    sheen: str = ""
    hardware_wish: str = ""
    place: str = ""
    hoped_for: date | None = None
    budget: str = ""
    travel: str = ""


@dataclass(frozen=True)
class NewCommission:
    client: Client
    source: str
    wish: Wish
    pieces: Sequence[NewPiece] = field(default_factory=tuple)
    pictures: Sequence[Picture] = field(default_factory=tuple)


@transaction.atomic
def open_commission(new: NewCommission, who: Who) -> Commission:
    """Take in a request: the commission with its number, its pieces (at least one is made) and its pictures
    in order."""
    today = today_at(the_shop())
    number = f"{today:%y}-{next_number(f'commission {today:%Y}'):03d}"
    commission = Commission.objects.create(
        number=number, client=new.client, source=new.source, **new.wish.__dict__
    )
    pieces = [
        add_piece(commission, piece, position, today.year)
        for position, piece in enumerate(new.pieces or [NewPiece("the piece")], start=1)
    ]
    add_shots(commission, new.pictures, Shot.Kind.REQUEST, piece=pieces[0] if len(pieces) == 1 else None)
    write_line(commission, who, "request received", "Request received", for_client=True)
    return commission


def add_piece(commission: Commission, piece: NewPiece, position: int, this_year: int) -> Piece:
    return Piece.objects.create(
        commission=commission,
        position=position,
        lead_caution=cautions.lead_risk(piece.finish_now, cautions.made_year(piece.made, this_year)),
        **piece.__dict__,
    )


def add_shots(
    commission: Commission,
    pictures: Iterable[Picture],
    kind: Shot.Kind,
    *,
    piece: Piece | None = None,
    caption: str = "",
    for_client: bool = True,
) -> list[Shot]:
    """Give pictures their place in a commission. A final picture is the fact that Ready waits for."""
    shots = [
        Shot.objects.create(
            commission=commission,
            piece=piece,
            picture=picture,
            kind=kind,
            caption=caption,
            for_client=for_client,
        )
        for picture in pictures
    ]
    if shots and kind == Shot.Kind.FINAL:
        set_facts(commission, final_shot_at=timezone.now())
    return shots


@transaction.atomic
def add_pictures(
    commission: Commission,
    pictures: Sequence[Picture],
    who: Who,
    *,
    piece: Piece | None = None,
    for_client: bool = True,
) -> list[Shot]:
    """Pictures of how a piece is now that came later: they stand with those of the request, and a quote
    shows the first. Nobody is written to."""
    if not pictures:
        raise Refused("Choose a picture.", field="pictures")
    now = locked(commission.pk)
    if piece is None:
        pieces = list(Piece.objects.filter(commission=now)[:2])
        piece = pieces[0] if len(pieces) == 1 else None
    elif piece.commission_id != now.pk:
        raise Refused("That piece belongs to another commission.")
    shots = add_shots(now, pictures, Shot.Kind.REQUEST, piece=piece, for_client=for_client)
    said = "A picture" if len(shots) == 1 else f"{len(shots)} pictures"
    write_line(now, who, "pictures added", f"{said} added")
    return shots


FACTS = frozenset(
    {
        "answered_at",
        "deposit_in_at",
        "deposit_let_off",
        "checked_in_on",
        "sample_promised",
        "colour_agreed_at",
        "first_coat_at",
        "final_shot_at",
        "settled_at",
        "starts_on",
        "ready_on",
    }
)


def set_facts(commission: Commission, **facts: datetime | date | bool | None) -> None:
    """Write facts of the commission: the dated columns that stages wait for. In the transaction of the step
    that knows them."""
    unknown = facts.keys() - FACTS
    if unknown:
        raise TypeError(f"Not a fact of a commission: {', '.join(sorted(unknown))}")
    Commission.objects.filter(pk=commission.pk).update(**facts)
    for name, value in facts.items():
        setattr(commission, name, value)
    if facts.get("sample_promised") and commission.colour_agreed_at is not None:
        _keep_colour(commission)


def answered(commission: Commission) -> None:
    """Note that the shop has answered the request, the first time it does."""
    if commission.answered_at is None:
        set_facts(commission, answered_at=timezone.now())


def agree_colour(piece: Piece, at: datetime | None) -> None:
    """Write when a piece's colour was agreed (`None`: a new sample is out, so it is open again). The
    commission's colour is agreed once every piece has its own, where a sample is promised, and otherwise
    once no piece that was shown a sample waits for one; `colours` calls this for each piece that it shows
    one of."""
    Piece.objects.filter(pk=piece.pk).update(colour_agreed_at=at, colour_open=at is None)
    piece.colour_agreed_at, piece.colour_open = at, at is None
    _keep_colour(Commission.objects.get(pk=piece.commission_id))


def _keep_colour(commission: Commission) -> None:
    """Bring the fact that the first coat waits for into line with the pieces."""
    pieces = list(Piece.objects.filter(commission=commission).values_list("colour_agreed_at", "colour_open"))
    agreed = [at for at, _ in pieces if at is not None]
    waiting = any(is_open or (commission.sample_promised and at is None) for at, is_open in pieces)
    set_facts(commission, colour_agreed_at=None if waiting or not agreed else max(agreed))


# ---- putting right ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Corrected:
    """What a correction changed, in words ("email", "size"), and how many emails that had not gone out have
    another address now."""

    changed: Sequence[str]
    readdressed: int = 0


@transaction.atomic
def correct_client(
    commission: Commission, who: Who, *, name: str, email: str, phone: str, address: str
) -> Corrected:
    """Put right who the client of a commission is, in all their commissions. Emails that have not gone out
    go to the new address. The journals say what was corrected, and name nobody."""
    # All of theirs, so that nobody who read the old address writes an email when these have been looked for.
    all_of_theirs = Commission.objects.filter(client=commission.client_id).order_by("pk")
    list(all_of_theirs.select_for_update().values_list("pk"))
    now = locked(commission.pk)
    client = now.client
    changed = clients.correct(client, name=name, email=email, phone=phone, address=address)
    commission.client = client
    if not changed:
        return Corrected(())
    letters = Letter.objects.filter(commission__client=client, to_client=True)
    theirs = Email.objects.filter(pk__in=letters.values("email"))
    moved = readdress(theirs, Person(client.name, client.email), client.phone)
    also = Commission.objects.filter(client=client).exclude(pk=now.pk).exclude(stage__in=ENDS).order_by("pk")
    for one in (now, *also):
        write_line(one, who, "client corrected", f"The client’s {_listed(changed)} corrected")
    return Corrected(changed, moved)


_PIECE_WORDS = {
    "name": "name",
    "count": "number",
    "width_mm": "size",
    "depth_mm": "size",
    "height_mm": "size",
    "material": "material",
    "made": "age",
    "finish_now": "finish",
    "trouble": "condition",
    "hardware": "hardware",
}


@transaction.atomic
def correct_piece(piece: Piece, typed: NewPiece, who: Who) -> Corrected:
    """Put right what is known of a piece; whether it may hold lead follows. What was quoted or agreed keeps
    its own words. `piece` holds what is kept by now."""
    now = locked(piece.commission_id)
    kept = Piece.objects.get(pk=piece.pk)
    values = {name: value for name, value in typed.__dict__.items() if getattr(kept, name) != value}
    if values:
        before = kept.lead_caution
        made = cautions.made_year(typed.made, today_at(the_shop()).year)
        lead = cautions.lead_risk(typed.finish_now, made)
        Piece.objects.filter(pk=piece.pk).update(lead_caution=lead, **values)
        changed = list(dict.fromkeys(_PIECE_WORDS[name] for name in values))
        said = f"The piece’s {_listed(changed)} corrected"
        if lead != before:
            said += ": it may hold lead" if lead else ": no lead caution any more"
        write_line(now, who, "piece corrected", said)
    else:
        changed = []
    piece.refresh_from_db()
    return Corrected(changed)


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
