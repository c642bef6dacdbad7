"""What a quote says, as strings ready to print: frozen when it is sent, and shown by the PDF, the page and
the desk alike."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from shopdesk.commissions.letterhead import bank_lines, letterhead
from shopdesk.commissions.letters import said_pieces
from shopdesk.commissions.models import Commission, Piece, Shot
from shopdesk.conversation.models import Message
from shopdesk.craft.cautions import LEAD_WORDS_TO_CLIENT
from shopdesk.craft.pricing import Totals
from shopdesk.craft.units import show_length
from shopdesk.deposits.words import Agreed, AgreedRow
from shopdesk.look import formats
from shopdesk.photos.models import Picture
from shopdesk.quotes.choices import begun, by_id, choices_of, settled
from shopdesk.quotes.models import Line, Option, Quote, QuotePiece
from shopdesk.quotes.sums import Added, sums_of, totals_of, typed_line
from shopdesk.quotes.typed import choice_key
from shopdesk.shop.models import Shop

SAMPLE_PROMISE = (
    "you approve a sample, under its final topcoat and in its sheen, before the first coat of colour. "
    "Screens show colours wrongly; the sample decides."
)
ALLOWANCE_NOTE = (
    "An allowance is a sum set aside for what cannot be known yet. It is settled by what it comes to: what "
    "is left of it is taken off, and before more is spent you are asked."
)
HOW_TO_ACCEPT = (
    "On your page (the link came with this quote) you can tick what you would like as well, see the total, "
    "and accept by typing your name. Or tick and sign here, and bring or send us this sheet."
)


def content_of(quote: Quote, commission: Commission, shop: Shop, today: date) -> dict[str, Any]:
    """Everything a quote says on the day it goes out (`documents/quote.html`). `quote` is whole
    (`queries`)."""
    options = by_id(quote.options.all())
    chosen, open_still = settled(options, begun(options))
    added = totals_of(quote, chosen)
    totals = added.totals
    pictures = _pictures(commission)
    pieces = list(quote.pieces.all())

    def said(day: date | None) -> str:
        return formats.day(day, shop.locale) if day else ""

    return {
        **letterhead(shop, commission.client),
        "number": commission.number,
        "revision": str(quote.revision),
        "title": f"A price for your {said_pieces([piece.piece.name for piece in pieces])}",
        "sent_on": said(today),
        "good_until": said(quote.good_until),
        "starts_on": said(quote.starts_on),
        "ready_on": said(quote.ready_on),
        "currency_code": quote.currency,
        "note": paragraphs(quote.note),
        "pieces": [_piece(piece, quote, shop, totals, pictures) for piece in pieces],
        "options": [
            _option(option, quote, shop) for option in options.values() if not choice_key(option.choice)
        ],
        "choices": [
            {"name": choice.name, "options": [_option(options[key], quote, shop) for key in choice.ways]}
            for choice in choices_of(options)
        ],
        "options_note": "tax is added where it applies" if _taxed_options(quote) else "",
        "sums": sums_of(added, quote, shop.locale, open_still, with_choices=bool(choices_of(options))),
        "allowance_note": ALLOWANCE_NOTE if _sets_aside(quote) else "",
        "included": items(quote.included),
        "not_included": items(quote.not_included),
        "notes": paragraphs(quote.terms),
        "lead_caution": LEAD_WORDS_TO_CLIENT if any(piece.piece.lead_caution for piece in pieces) else None,
        "sample_promise": SAMPLE_PROMISE if quote.sample_promised else None,
        "deposit_words": deposit_words(totals, quote, shop),
        "how_to_accept": HOW_TO_ACCEPT,
        "bank": bank_lines(shop),
    }


def agreed_content(quote: Quote, chosen: Sequence[Option], added: Added, shop: Shop, said_on: date) -> Agreed:
    """What was accepted, for the account that it opens: invoices repeat it. Prices are without tax, and add
    up to the subtotal."""
    frozen = quote.frozen or {}
    sizes = {piece["name"]: piece["size"] for piece in frozen.get("pieces", [])}

    def row(name: str, price: Decimal, size: str = "", words: str = "") -> AgreedRow:
        written = formats.amount(price, quote.currency, shop.locale)
        return AgreedRow(name=name, size=size, words=paragraphs(words), price=written)

    pieces = []
    for piece in quote.pieces.all():
        name = piece.name[:1].upper() + piece.name[1:]
        pieces.append(row(name, added.totals.pieces[str(piece.pk)], sizes.get(name, ""), piece.words))
    besides = [
        ("Up to our smallest charge", added.topped_up),
        (f"Done sooner, {formats.number(added.terms.rush_share, shop.locale)} %", added.rush),
        (added.terms.discount_words or "Discount", -added.discount),
    ]
    options = [row(option.text, option.price) for option in chosen]
    options += [row(name, price) for name, price in besides if price]
    on = formats.day(said_on, shop.locale)
    said = f"Quote {quote.commission.number}, revision {quote.revision}, accepted {on}"
    return Agreed(said=said, pieces=pieces, options=options)


def _option(option: Option, quote: Quote, shop: Shop) -> dict[str, str]:
    return {
        "id": str(option.pk),
        "text": option.text,
        "price": formats.amount(option.price, quote.currency, shop.locale),
        "taxable": "yes" if option.taxable else "",
        "allowance": "yes" if option.allowance else "",
        "begun": "yes" if option.preselected else "",
    }


def deposit_words(totals: Totals, quote: Quote, shop: Shop) -> str:
    if not totals.deposit:
        return "We ask for no deposit: your yes books your place, and the price is due at hand-over."
    first = formats.money(totals.deposit, quote.currency, shop.locale)
    return (
        f"The deposit of {first} is part of the price, not on top of it. It is due within seven days of "
        "your yes, and books your place."
    )


def content_sha256(frozen: dict[str, Any]) -> str:
    """The hash of what was sent, over its JSON with sorted keys and no spaces."""
    plain = json.dumps(frozen, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(plain.encode()).hexdigest()


def paragraphs(text: str) -> list[str]:
    """Each line of what was typed is a paragraph of its own."""
    return [line.strip() for line in text.splitlines() if line.strip()]


items = paragraphs


def size_words(piece: Piece, units: str) -> str:
    """`55 1/8 × 23 5/8 × 30 in` (width, depth, height), or as much of it as is known."""
    unit = "cm" if units == "cm" else "in"
    known = [
        (show_length(size, "cm" if unit == "cm" else "in"), word)
        for size, word in ((piece.width_mm, "wide"), (piece.depth_mm, "deep"), (piece.height_mm, "high"))
        if size is not None
    ]
    if len(known) == 3:
        return f"{' × '.join(size.removesuffix(f' {unit}') for size, _ in known)} {unit}"
    return ", ".join(f"{size} {word}" for size, word in known)


def _piece(
    piece: QuotePiece, quote: Quote, shop: Shop, totals: Totals, pictures: dict[int | None, Shot]
) -> dict[str, Any]:
    shot = pictures.get(piece.piece_id) or pictures.get(None)
    if shot is not None:
        pictures.pop(shot.piece_id)
    lines = list(piece.lines.all())
    return {
        "name": piece.name[:1].upper() + piece.name[1:],
        "size": size_words(piece.piece, shop.units),
        "words": paragraphs(piece.words),
        "price": formats.amount(totals.pieces[str(piece.pk)], quote.currency, shop.locale),
        "picture_ref": f"pictures:{shot.picture_id}:medium" if shot else None,
        "picture_alt": f"{piece.name}, as it is now" if shot else "",
        "lines": [_line(line, quote, shop) for line in lines] if quote.show_lines else [],
        "allowances": []
        if quote.show_lines
        else [_line(line, quote, shop) for line in lines if line.allowance],
    }


def _line(line: Line, quote: Quote, shop: Shop) -> dict[str, Any]:
    typed = typed_line(line)
    return {
        "text": line.text,
        "quantity": formats.number(line.quantity, shop.locale) if line.unit or line.quantity != 1 else "",
        "unit": line.unit,
        "amount": formats.amount(typed.amount(quote.currency), quote.currency, shop.locale),
        "allowance": "yes" if line.allowance else "",
        "by_number": [
            f"from {formats.number(least, shop.locale)}: each "
            f"{formats.amount(price, quote.currency, shop.locale)}"
            for least, price in typed.by_number
        ],
    }


def _pictures(commission: Commission) -> dict[int | None, Shot]:
    """The first picture of each piece as it is now; under None the first that belongs to no piece. With none
    among those of the request, the first that the client sent with a message. A picture that could not be
    prepared, or that is not for the client, is left out."""
    shots = Shot.objects.filter(commission=commission, for_client=True).select_related("picture")
    shots = shots.exclude(picture__state=Picture.State.FAILED).order_by("id")
    first: dict[int | None, Shot] = {}
    for shot in shots.filter(kind=Shot.Kind.REQUEST):
        first.setdefault(shot.piece_id, shot)
    if not first:
        theirs = Message.objects.filter(commission=commission, by_client=True).values("shots")
        sent = shots.filter(pk__in=theirs).first()
        return {None: sent} if sent else {}
    return first


def _taxed_options(quote: Quote) -> bool:
    return bool(quote.tax_rate) and any(option.taxable for option in quote.options.all())


def _sets_aside(quote: Quote) -> bool:
    lines = (line for piece in quote.pieces.all() for line in piece.lines.all())
    return any(line.allowance for line in lines) or any(option.allowance for option in quote.options.all())
