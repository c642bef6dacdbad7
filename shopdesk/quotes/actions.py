"""Writing a quote, sending it, and the client's answer to it."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import F
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.actions import add_shots, answered, set_facts
from shopdesk.commissions.letterhead import bank_lines
from shopdesk.commissions.letters import to_client, to_shop
from shopdesk.commissions.models import Commission, Piece, Shot, Stage
from shopdesk.commissions.stages import advance, locked, write_line
from shopdesk.deposits.actions import open_account
from shopdesk.documents.actions import order
from shopdesk.documents.models import Document
from shopdesk.look import formats
from shopdesk.mail.actions import Enclose
from shopdesk.photos.models import Picture
from shopdesk.pricebook import queries as book
from shopdesk.quotes.choices import amiss
from shopdesk.quotes.content import agreed_content, content_of, content_sha256, paragraphs
from shopdesk.quotes.differences import differences
from shopdesk.quotes.models import Acceptance, Quote, QuotePiece
from shopdesk.quotes.queries import sent_before, whole
from shopdesk.quotes.rows import copy_rows, write_rows
from shopdesk.quotes.sums import missing, tax_rule, totals_of
from shopdesk.quotes.typed import MOST_RUSH, Fault, TypedQuote, faults
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop, today_at

PAY_WITHIN = timedelta(days=7)
MOST_CHANGES_SAID = 12
QUOTABLE = (Stage.REQUESTED, Stage.QUOTED, Stage.WITHDRAWN, Stage.DECLINED)


class Older(Refused):
    """Somebody else saved the draft meanwhile. `edition` is what it is at by now."""

    def __init__(self, sentence: str, edition: int) -> None:
        super().__init__(sentence)
        self.edition = edition


class Faulty(Refused):
    """What was typed cannot be right. `faults` says what and where."""

    def __init__(self, found: list[Fault]) -> None:
        super().__init__(" ".join(dict.fromkeys(fault.sentence for fault in found)))
        self.faults = found


# ---- the draft -------------------------------------------------------------------------------------------


@transaction.atomic
def start(commission: Commission, who: Who) -> Quote:
    """Begin a draft: from the shop's own settings, or as a copy of the last revision that went out. Returns
    the draft that is there already, if one is."""
    shop = the_shop()
    now = locked(commission.pk)
    draft = Quote.objects.filter(commission=now, state=Quote.State.DRAFT).first()
    if draft is not None:
        return whole(draft.pk)
    _still_to_be_agreed(now)
    today = today_at(shop)
    last = Quote.objects.filter(commission=now).order_by("-revision").first()
    rates = book.rates()
    in_book_money = rates.currency == shop.currency
    draft = Quote.objects.create(
        commission=now,
        revision=last.revision + 1 if last else 1,
        currency=shop.currency,
        tax_name=shop.tax_name,
        tax_rate=shop.tax_rate,
        tax_basis=shop.tax_basis,
        deposit_share=last.deposit_share if last else shop.deposit_share,
        starts_on=_not_past(last.starts_on if last else None, today),
        ready_on=_not_past(last.ready_on if last else None, today),
        good_until=today + timedelta(days=shop.good_for_days),
        note=last.note if last else "",
        included=last.included if last else shop.included,
        not_included=last.not_included if last else shop.not_included,
        terms=shop.terms,
        show_lines=last.show_lines if last else shop.show_lines,
        sample_promised=last.sample_promised if last else True,
        minimum=last.minimum if last else rates.minimum_charge if in_book_money else Decimal(0),
        rush=last.rush if last else False,
        rush_share=last.rush_share if last else min(rates.rush_percent, MOST_RUSH),
        discount=last.discount if last else Decimal(0),
        discount_words=last.discount_words if last else "",
    )
    if last is None:
        for position, piece in enumerate(Piece.objects.filter(commission=now).order_by("position"), start=1):
            QuotePiece.objects.create(
                quote=draft, piece=piece, position=position, name=_piece_name(piece), words=""
            )
    else:
        copy_rows(whole(last.pk), draft)
    return whole(draft.pk)


@transaction.atomic
def save(commission: Commission, typed: TypedQuote, edition: int, who: Who) -> Quote:
    """Keep what was typed as the draft. `edition` is the one that was being edited: when the draft is newer
    than that, nothing is changed and `Older` is raised. Raises `Faulty` for what cannot be right."""
    shop = the_shop()
    now = locked(commission.pk)
    draft = _draft(now)
    if draft.edition != edition:
        raise Older(_saved_meanwhile(draft, shop), draft.edition)
    wrong = faults(typed, draft.currency, today_at(shop))
    if wrong:
        raise Faulty(wrong)
    values = {name: getattr(typed, name) for name in _HEAD}
    changed = Quote.objects.filter(pk=draft.pk, state=Quote.State.DRAFT, edition=edition).update(
        edition=F("edition") + 1, changed_at=timezone.now(), **values
    )
    assert changed, "the commission's row is locked"
    write_rows(now, draft, typed, who)
    return whole(draft.pk)


_HEAD = (
    "starts_on", "ready_on", "good_until", "deposit_share", "sample_promised", "note", "included",
    "not_included", "terms", "show_lines", "minimum", "rush", "rush_share", "discount", "discount_words",
)  # fmt: skip


@transaction.atomic
def send(commission: Commission, edition: int, who: Who) -> Quote:
    """Send the draft: its content is frozen, an earlier revision that was out is superseded, the PDF is
    ordered and the email that carries it is written. `edition` is the one that was read through. Refuses with
    all that is missing."""
    shop = the_shop()
    now = locked(commission.pk)
    draft = whole(_draft(now).pk)
    if draft.edition != edition:
        raise Older(_saved_meanwhile(draft, shop), draft.edition)
    _still_to_be_agreed(now)
    today = today_at(shop)
    lacking = missing(draft, today)
    if lacking:
        raise Refused(" ".join(lacking))
    frozen = content_of(draft, now, shop, today)
    title = f"Quote {now.number}, revision {draft.revision}"
    document = order(
        "quote",
        title=title,
        filename=f"quote-{now.number}-revision-{draft.revision}.pdf",
        content=frozen,
        dated_on=today,
    )
    replaced = Quote.objects.filter(commission=now, state=Quote.State.SENT).update(
        state=Quote.State.SUPERSEDED
    )
    Quote.objects.filter(pk=draft.pk, state=Quote.State.DRAFT).update(
        state=Quote.State.SENT, sent_at=timezone.now(), document=document, frozen=frozen
    )
    earlier = sent_before(draft)
    changes = (
        [one.said() for one in differences(earlier.frozen, frozen)] if earlier and earlier.frozen else []
    )
    total = next(row["amount"] for row in frozen["sums"] if row["kind"] == "total")
    if now.stage == Stage.QUOTED:
        write_line(
            now, who, "quote sent", f"Quote sent: revision {draft.revision}, {total}", for_client=True
        )  # fmt: skip
    else:
        advance(now, Stage.QUOTED, who, note=f"revision {draft.revision}, {total}")
    answered(now)
    to_client(
        now,
        "quote",
        {
            "revision": str(draft.revision),
            "total": total,
            "note": frozen["note"],
            "good_until": frozen["good_until"],
            "starts_on": frozen["starts_on"],
            "ready_on": frozen["ready_on"],
            "options": "yes" if frozen["options"] or frozen["choices"] else "",
            "replaces": "yes" if replaced else "",
            "changed": changes[:MOST_CHANGES_SAID]
            + (["And more, on your page."] if len(changes) > MOST_CHANGES_SAID else []),
        },
        path=reverse("portal:quote", args=[now.number]),
        enclose=_enclosed(document),
    )
    _copy_stage(now, commission)
    return whole(draft.pk)


@transaction.atomic
def decline_request(commission: Commission, words: str, who: Who) -> Commission:
    """Say no to a request, kindly, in the owner's words."""
    said = paragraphs(words)
    if not any(char.isalnum() for char in words):
        raise Refused("Write them a few words.", field="words")
    now = locked(commission.pk)
    advance(now, Stage.DECLINED, who)
    answered(now)
    to_client(now, "declined", {"words": said})
    _copy_stage(now, commission)
    return now


# ---- the answer ------------------------------------------------------------------------------------------


@transaction.atomic
def accept(
    quote_id: int,
    option_ids: Collection[int],
    name: str,
    who: Who,
    way: str = Acceptance.Way.PAGE,
    said_on: date | None = None,
    note: str = "",
    paper_picture: Picture | None = None,
) -> Acceptance:
    """The client says yes to a revision with these options; or the owner writes down a yes on paper or by
    word of mouth, said on the day `said_on`. Opens the account, and with no deposit to wait for books the
    place.

    Refuses a revision that is superseded, expired (a yes that was said in time counts, whenever it is written
    down) or answered already, options of another quote, and a name without a letter.
    """
    shop = the_shop()
    now = locked(Quote.objects.values_list("commission_id", flat=True).get(pk=quote_id))
    quote = whole(quote_id)
    today = today_at(shop)
    said_on = said_on or today
    name = " ".join(name.split())
    if who.kind == "client" and (now.client_id != who.id or way != Acceptance.Way.PAGE):
        raise Refused("That quote is not yours to answer.")
    if who.is_owner and way == Acceptance.Way.PAGE:
        raise Refused("Say whether they said yes on paper or by word of mouth.", field="way")
    _can_be_accepted(quote, now, said_on, today, shop)
    if not any(char.isalpha() for char in name):
        raise Refused("Type the name of whoever accepts.", field="name")
    if way == Acceptance.Way.PAPER and paper_picture is None:
        raise Refused("Take a picture of the signed sheet.", field="paper")
    options = {option.pk: option for option in quote.options.all()}
    chosen = [options[pk] for pk in sorted(set(option_ids)) if pk in options]
    if len(chosen) != len(set(option_ids)):
        raise Refused("One of these options is not in this quote.")
    open_still = amiss(options, set(option_ids))
    if open_still:
        raise Refused(" ".join(open_still), field="option")
    try:
        added = totals_of(quote, set(option_ids))
        totals = added.totals
    except ValueError as error:
        raise Refused(str(error)) from error

    taken = Quote.objects.filter(pk=quote.pk, state=Quote.State.SENT).update(state=Quote.State.ACCEPTED)
    assert taken, "the commission's row is locked"
    assert quote.frozen is not None, "what was sent has been frozen"
    # A revision that was still being written comes to nothing: from here on there are changes instead.
    Quote.objects.filter(commission=now, state=Quote.State.DRAFT).delete()
    paper = add_shots(now, [paper_picture] if paper_picture else [], Shot.Kind.PAPER, for_client=False)
    acceptance = Acceptance.objects.create(
        commission=now,
        quote=quote,
        total=totals.total,
        document_sha256=quote.document.sha256 if quote.document else "",
        content_sha256=content_sha256(quote.frozen),
        name=name[:120],
        way=way,
        address=who.address or "" if who.kind == "client" else "",
        note=note.strip(),
        paper=paper[0] if paper else None,
        user_id=who.id if who.is_owner else None,
        said_on=said_on,
    )
    acceptance.options.set(chosen)
    total = formats.money(totals.total, quote.currency, shop.locale)
    set_facts(now, sample_promised=quote.sample_promised, starts_on=quote.starts_on, ready_on=quote.ready_on)
    advance(
        now, Stage.AGREED, who, note=f"revision {quote.revision}, {total}, {acceptance.get_way_display()}"
    )
    due_on = today + PAY_WITHIN
    booked = open_account(
        now,
        currency=quote.currency,
        price=totals.total,
        deposit=totals.deposit,
        due_on=due_on,
        who=who,
        tax=tax_rule(quote),
        taxable=totals.taxable,
        tax_sum=totals.tax,
        agreed=agreed_content(quote, chosen, added, shop, said_on),
    )
    context: dict[str, Any] = {
        "total": total,
        "revision": str(quote.revision),
        "options": [option.text for option in chosen],
        "said_by": acceptance.name,
    }
    to_client(
        now,
        "quote-accepted",
        {
            **context,
            "deposit": formats.money(totals.deposit, quote.currency, shop.locale) if totals.deposit else "",
            "due_on": formats.day(due_on, shop.locale, today),
            "bank": [] if booked else bank_lines(shop),
            "booked": "yes" if booked else "",
            "way": "" if who.kind == "client" else acceptance.get_way_display(),
            "said_on": formats.day(said_on, shop.locale, today),
        },
        path=reverse("portal:visit", args=[now.number, "drop-off"]) if booked else "",
        enclose=_enclosed(quote.document),
    )
    if who.kind == "client":
        to_shop(now, "quote-answered", {**context, "answer": "accepted", "reason": ""})
    return acceptance


def _enclosed(document: Document | None) -> list[Enclose]:
    return [Enclose(document.filename, "application/pdf", ref=document.ref)] if document else []


@transaction.atomic
def decline(quote_id: int, reason: str, who: Who) -> Quote:
    """The client says no to what was sent, and may say why. The commission is withdrawn."""
    now = locked(Quote.objects.values_list("commission_id", flat=True).get(pk=quote_id))
    if who.kind == "client" and now.client_id != who.id:
        raise Refused("That quote is not yours to answer.")
    quote = whole(quote_id)
    _can_be_answered(quote)
    Quote.objects.filter(pk=quote.pk, state=Quote.State.SENT).update(state=Quote.State.DECLINED)
    reason = " ".join(reason.split())[:1000]
    advance(now, Stage.WITHDRAWN, who, note=reason)
    if who.kind == "client":
        to_shop(
            now,
            "quote-answered",
            {
                "answer": "declined",
                "revision": str(quote.revision),
                "reason": reason,
                "total": "",
                "options": [],
                "said_by": now.client.name,
            },
        )
    return whole(quote_id)


# ---- what these have in common ---------------------------------------------------------------------------


def _still_to_be_agreed(commission: Commission) -> None:
    if Acceptance.objects.filter(commission=commission).exists():
        raise Refused(
            "This has been agreed already. What changes after that is agreed as a change, not as a new quote."
        )
    if commission.stage not in QUOTABLE:
        raise Refused(
            f"This commission is {commission.get_stage_display().lower()}; there is nothing to quote."
        )


def _draft(commission: Commission) -> Quote:
    draft = Quote.objects.filter(commission=commission, state=Quote.State.DRAFT).first()
    if draft is None:
        last = Quote.objects.filter(commission=commission).order_by("-revision").first()
        raise Refused(
            f"Revision {last.revision} has been sent already." if last else "There is no draft yet."
        )
    return draft


def _saved_meanwhile(draft: Quote, shop: Shop) -> str:
    at = formats.clock(draft.changed_at, shop.tz, shop.locale)
    return f"Somebody, or you in another window, saved this quote at {at}, after this page was opened."


def _can_be_answered(quote: Quote) -> None:
    if quote.state == Quote.State.ACCEPTED:
        raise Refused("This quote has been accepted already.")
    if quote.state == Quote.State.SUPERSEDED:
        raise Refused("A newer revision has taken the place of this one; please look at that.")
    if quote.state != Quote.State.SENT:
        raise Refused(f"This quote cannot be answered: it is {quote.get_state_display()}.")


def _can_be_accepted(quote: Quote, commission: Commission, said_on: date, today: date, shop: Shop) -> None:
    if Acceptance.objects.filter(commission=commission).exists():
        raise Refused("This has been accepted already; you find it on the same page.")
    _can_be_answered(quote)
    if said_on > today:
        raise Refused("That day is still to come.", field="said_on")
    if quote.sent_at and said_on < quote.sent_at.astimezone(shop.tz).date():
        raise Refused("That is before the quote was sent.", field="said_on")
    if quote.good_until and said_on > quote.good_until:
        until = formats.day(quote.good_until, shop.locale, today)
        raise Refused(
            f"This price was good until {until}. Ask for it again, and it will be looked at afresh.",
            field="said_on",
        )


def _not_past(day: date | None, today: date) -> date | None:
    return day if day is not None and day >= today else None


def _piece_name(piece: Piece) -> str:
    return f"{piece.name} ({piece.count})" if piece.count > 1 else piece.name


def _copy_stage(source: Commission, to: Commission) -> None:
    for name in ("stage", "stage_since", "quoted_at", "answered_at", "ended_at"):
        setattr(to, name, getattr(source, name))
