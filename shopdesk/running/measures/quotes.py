"""A quote of sixty lines: how long its figures take while somebody types, and its PDF ÷ bare WeasyPrint."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.http import HttpRequest
from django.test import RequestFactory
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.who import Who
from shopdesk.clients.actions import know_client
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, add_shots, open_commission
from shopdesk.commissions.models import Commission, Shot
from shopdesk.commissions.queries import at_desk
from shopdesk.photos.actions import prepare_all, take_in
from shopdesk.pricebook import actions as pricebook
from shopdesk.pricebook import queries as book
from shopdesk.quotes import actions, desk
from shopdesk.quotes.queries import draft_of
from shopdesk.quotes.sheet import QuoteSheet
from shopdesk.quotes.sheet_rows import LINE, OPTION
from shopdesk.quotes.typed import TypedEstimate, TypedLine, TypedOption, TypedPiece, TypedQuote
from shopdesk.running.measures import papers
from shopdesk.running.measures.pictures import phone_photo
from shopdesk.running.measures.timing import Ratio, Spent, spent
from shopdesk.shop.models import User
from shopdesk.shop.queries import the_shop, today_at

GOAL = 0.020
LINES = 60
WIDTH = "est-0-size-width_mm"
_PIECES: tuple[tuple[str, str, dict[str, str]], ...] = (
    (
        "chest of drawers",
        "case",
        {"width_mm": "90 cm", "depth_mm": "45 cm", "height_mm": "110 cm", "drawers": "5"},
    ),
    ("kitchen table", "table", {"length_mm": "160 cm", "width_mm": "80 cm", "height_mm": "75 cm"}),
    (
        "armchair",
        "chair",
        {
            "seat_width_mm": "50 cm",
            "seat_depth_mm": "45 cm",
            "seat_height_mm": "44 cm",
            "back_height_mm": "55 cm",
            "spindles": "6",
        },
    ),
    ("hall bench", "bench", {"length_mm": "120 cm", "depth_mm": "40 cm", "height_mm": "45 cm"}),
    (
        "sideboard",
        "case",
        {"width_mm": "180 cm", "depth_mm": "50 cm", "height_mm": "85 cm", "doors": "3", "inside": "on"},
    ),
)
_LINES = (
    ("preparation", "Take off the hardware and label it", "0.75", "h"),
    ("preparation", "Degrease, and strip what does not hold", "4.5", "h"),
    ("preparation", "Sand through the grits", "3.25", "h"),
    ("repair", "Lay the lifted veneer", "2", "h"),
    ("repair", "Let in a patch at the corner", "1.5", "h"),
    ("repair", "Glue the joints again", "2.25", "h"),
    ("finish", "Stain to the sample", "1.25", "h"),
    ("finish", "Three coats, sanded between", "5", "h"),
    ("finish", "Rub down and wax", "1.75", "h"),
    ("other", "Fit the hardware", "1", "h"),
)


def sixty_lines(owner: User) -> Commission:
    """A new commission of five pieces, each with a picture, and its draft: each piece measured, with a
    schedule of the price book and twelve lines; options to tick and to choose between; tax, rush, discount.
    """
    who = Who("owner", owner.pk, "127.0.0.1")
    if not book.has_begun():
        pricebook.begin(who)
    client = know_client(name="Marguerite Sorley", email="", phone="555-0177", address="11 Lamp Court")
    pieces = [
        NewPiece(name, width_mm=Decimal(900), depth_mm=Decimal(450), material="oak", finish_now="varnished")
        for name, _, _ in _PIECES
    ]
    commission = open_commission(
        NewCommission(client, "page", Wish("All five, as one set."), pieces), Who("client", client.pk)
    )
    for piece in commission.pieces.all():
        photo = take_in(io.BytesIO(phone_photo((1600, 1200))), f"{piece.name}.jpg")
        add_shots(commission, [photo], Shot.Kind.REQUEST, piece=piece)
    prepare_all()
    draft = actions.start(commission, who)
    today = today_at(the_shop())
    typed = TypedQuote(
        [_piece(place, row.piece_id) for place, row in enumerate(draft.pieces.all())],
        [
            TypedOption("New brass locks", Decimal(120), True),
            TypedOption("Glass for the top", Decimal(180), True, allowance=True),
            TypedOption("Waxed, as it was", Decimal(0), choice="The top", preselected=True),
            TypedOption("Two-part clear coat", Decimal(240), choice="The top"),
        ],
        today + timedelta(days=14),
        today + timedelta(days=60),
        today + timedelta(days=14),
        note="Thank you for the pictures.",
        included="Taking off and refitting the hardware",
        not_included="Upholstery\nCollection",
        terms=the_shop().terms,
        show_lines=True,
        minimum=draft.minimum,
        rush=True,
        rush_share=Decimal(15),
        discount=Decimal(75),
        discount_words="For the whole set",
    )
    assert sum(len(piece.lines) for piece in typed.pieces) == LINES
    actions.save(commission, typed, draft.edition, who)
    return commission


def _piece(place: int, piece_id: int) -> TypedPiece:
    name, shape, sizes = _PIECES[place]
    schedules = book.schedules()
    hourly = Decimal(64)
    lines = [
        TypedLine(kind, text, hourly, Decimal(hours), unit, taxable=place % 2 == 0)
        for kind, text, hours, unit in _LINES
    ]
    by_number = ((Decimal(4), Decimal("17.50")), (Decimal(8), Decimal(16)))
    lines += [
        TypedLine("materials", "Brass pulls", Decimal(19), Decimal(6), "pc", True, by_number=by_number),
        TypedLine("materials", "Abrasives, stain, shellac, wax", Decimal("86.40"), taxable=True),
    ]
    estimate = TypedEstimate(
        shape,
        sizes,
        count=4 if shape == "chair" else 1,
        later=place > 2,
        schedule=dict(book.snapshot(schedules[place % len(schedules)])),
        puts={"area-top": Decimal("1.25")} if place == 1 else {},
    )
    return TypedPiece(name, "Strip, repair, stain and finish.\nNew felt under.", lines, piece_id, estimate)


def recalculation(commission: Commission, owner: User, *, rounds: int = 100) -> Spent:
    """What the owner's browser asks for at each pause in typing: the view from the posted form to the
    finished fragment, with its statements; without connection, session and middleware (which has read the
    form by then). Processor time, so that it is the app's own and not what else the machine does."""
    shop = the_shop()
    address = reverse("desk:quote-sums", args=[commission.number])
    fields = dict.fromkeys(posted(commission))
    requests: list[HttpRequest] = []

    def typed() -> None:
        """One field is another than the last time, as when somebody types: the size of a piece."""
        width = f"{900 + len(widths)} mm"
        widths.append(width)
        body = urlencode([(name, width if name == WIDTH else value) for name, value in fields])
        request = RequestFactory().post(address, body, content_type="application/x-www-form-urlencoded")
        assert request.POST, "the middleware against forged requests has read it before a view does"
        request.user = owner
        request.shop = shop  # type: ignore[attr-defined]  # as the middleware does
        requests[:] = [request]

    def answer() -> None:
        answers[:] = [desk.quote_sums(requests[0], number=commission.number)]

    widths: list[str] = []
    answers: list[Any] = []
    with timezone.override(shop.tz):
        measured = spent("60 lines, recalculated", answer, goal=GOAL, rounds=rounds, between=typed)
    page = answers[0].content.decode()
    if answers[0].status_code != 200 or page.count("<li") < len(_PIECES) or "v-4-price" not in page:
        raise AssertionError("Not the figures of the whole quote.")
    return measured


def paper(commission: Commission, owner: User, *, rounds: int = 10) -> Ratio:
    """The quote is sent, and its PDF measured. It shows its lines, and a picture of each piece."""
    draft = draft_of(commission)
    assert draft is not None
    actions.send(commission, draft.edition, Who("owner", owner.pk, "127.0.0.1"))
    return papers.measure(commission, what="the PDF of 60 lines", rounds=rounds)


def posted(commission: Commission) -> Iterator[tuple[str, str]]:
    """The draft's page as a browser posts it: name and value of each field."""
    commission = at_desk(commission.number)
    draft = draft_of(commission)
    assert draft is not None
    sheet = QuoteSheet(the_shop(), draft, commission)
    yield from _fields(sheet.head)
    for row in sheet.pieces:
        yield "pieces", row.key
        yield from _fields(row.form)
        yield f"est-{row.key}-was", row.estimate.shape
        yield f"est-{row.key}-of", str(row.estimate.raw.get("schedule") or "")
        yield from _fields(row.estimate.form)
        for line in row.lines:
            yield "lines", line.key
            yield from _fields(line.form, *LINE)
    for option in sheet.options:
        yield "options", option.key
        yield from _fields(option.form, *OPTION)


def _fields(form: forms.Form, *names: str) -> Iterator[tuple[str, str]]:
    for name in names or form.fields:
        field = form[name]
        value = field.field.prepare_value(field.value())
        if isinstance(field.field, forms.BooleanField):
            if value:
                yield field.html_name, "on"
        else:
            yield field.html_name, "" if value is None else str(value)
