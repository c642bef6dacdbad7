"""Money: what is due is opened once, what moves is written down once, and a mistake is reversed, never
edited."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.urls import reverse as address
from django.utils import timezone

from shopdesk.base.numbers import next_number
from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.actions import set_facts
from shopdesk.commissions.letters import to_client
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.reminders import say_anew
from shopdesk.commissions.stages import ENDS, advance, locked, write_line
from shopdesk.craft.money import exact
from shopdesk.craft.pricing import TaxRule
from shopdesk.deposits import invoices, papers, words
from shopdesk.deposits.models import Account, AgreedChange, Entry, Invoice, Receipt
from shopdesk.deposits.queries import Standing, standing
from shopdesk.documents.actions import order
from shopdesk.documents.models import Document
from shopdesk.look import formats
from shopdesk.mail.actions import Enclose
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop, today_at

ZERO = Decimal(0)
OLDEST = timedelta(days=366)
"""A payment dated longer than this before the request is a slip of the pen."""


@transaction.atomic
def open_account(
    commission: Commission,
    *,
    currency: str,
    price: Decimal,
    deposit: Decimal,
    due_on: date,
    who: Who,
    tax: TaxRule | None = None,
    taxable: Decimal = ZERO,
    tax_sum: Decimal = ZERO,
    agreed: words.Agreed | None = None,
) -> bool:
    """What was agreed becomes due. With no deposit to wait for, the place is booked at once; returns whether
    it is. `taxable` is how much of the price the tax was taken on and `tax_sum` the tax, by the rule `tax`;
    `agreed` is what invoices repeat."""
    Account.objects.create(
        commission=commission,
        currency=currency,
        price=price,
        deposit=deposit,
        deposit_due_on=due_on,
        tax_name=tax.name if tax else "",
        tax_rate=tax.rate if tax else ZERO,
        tax_basis=tax.basis if tax else "invoice",
        taxable=taxable,
        tax=tax_sum,
        agreed={**agreed} if agreed else {},
    )
    return _keep_facts(commission, _standing(commission), who)


@dataclass(frozen=True)
class Agreed:
    """What a change did: where the account stands after it, whether it booked the place just now, and the
    invoices that went out anew because of it."""

    after: Standing
    booked: bool
    renewed: list[Invoice]


@transaction.atomic
def agree_change(
    commission: Commission, *, number: int, said: str, price: words.Price, on: date, who: Who
) -> Agreed:
    """What was agreed after the acceptance counts from now on: due, tax and invoice follow. The caller writes
    the journal and the email. An invoice that is out already is taken back, and a new one follows."""
    shop = the_shop()
    now = locked(commission.pk)
    before = _standing(now)
    words.check_change(before, price)
    AgreedChange.objects.create(
        account=before.account,
        number=number,
        words=said[:300],
        net=price.net,
        taxable=price.taxable,
        tax=price.tax,
        agreed_on=on,
    )
    after = _standing(now)
    renewed = invoices.renew(now, after, shop, who, f"Change {number} was agreed")
    booked = _keep_facts(now, after, who)
    _copy_facts(now, commission)
    return Agreed(after, booked, renewed)


@transaction.atomic
def record_payment(commission: Commission, amount: Decimal, on: date, how: str, note: str, who: Who) -> Entry:
    """Money that came in, on the day `on`. Makes the receipt and writes to the client; when the deposit is
    complete the place is booked, and the same email says so. Refuses more than is due, nothing, and days to
    come."""
    shop = the_shop()
    now = locked(commission.pk)
    before = _standing(now)
    amount = _sum(amount, before.currency)
    if before.due <= 0:
        raise Refused("Nothing is due any more.", field="amount")
    if amount > before.due:
        raise Refused(f"No more than {_money(before.due, before, shop)} is due.", field="amount")
    _believe(on, now, shop)
    entry = _write(now, Entry.Kind.RECEIVED, amount, on, who, how=how, note=note)
    after = _standing(now)
    today = today_at(shop)
    number = f"R-{today:%Y}-{next_number(f'receipt {today:%Y}'):04d}"
    purpose = words.purpose_of(before, amount)
    document = order(
        "receipt",
        title=f"Receipt {number}",
        filename=f"receipt-{number}.pdf",
        content=papers.receipt_content(
            now, shop, number=number, entry=entry, purpose=purpose, after=after, today=today
        ),
        dated_on=today,
    )
    Receipt.objects.create(entry=entry, number=number, document=document)
    said = _money(amount, after, shop)
    line = f"{said} received, {words.how_words(how)}, receipt {number}"
    vat = invoices.for_payment(now, entry, before, shop, who)
    if vat is not None:
        line += f", VAT invoice {vat.number}"
    write_line(now, who, "payment received", line, for_client=True)
    booked = _keep_facts(now, after, who)
    _write_to_client(
        now,
        after,
        shop,
        {"what": "received", "amount": said, "receipt": number, "purpose": purpose[0].lower() + purpose[1:]},
        booked=booked,
        documents=[document, *([vat.document] if vat else [])],
    )
    _copy_facts(now, commission)
    return entry


@transaction.atomic
def reverse(entry: Entry, note: str, who: Who) -> Entry:
    """Take back an entry that was a mistake, with an opposite one, once. `note` says what the mistake was.
    What is no longer due because of the entry goes with it, and of a cancelled commission nothing becomes
    due again."""
    shop = the_shop()
    now = locked(Account.objects.values_list("commission_id", flat=True).get(pk=entry.account_id))
    wrong = Entry.objects.select_related("receipt", "reversal", "invoice").get(pk=entry.pk)
    note = note.strip()
    if wrong.kind == Entry.Kind.REVERSED:
        raise Refused("A reversal is not reversed: write the payment down again.")
    if wrong.kind == Entry.Kind.WAIVED:
        raise Refused("That is no payment. It goes with what was given back, or with the cancelling.")
    if wrong.taken_back:
        raise Refused("That entry has been reversed already.")
    if not note:
        raise Refused("Say in a few words what the mistake was.", field="note")
    before = _standing(now)
    opposite = _write(
        now, Entry.Kind.REVERSED, -wrong.amount, today_at(shop), who, how=wrong.how, note=note, reverses=wrong
    )  # fmt: skip
    after = _standing(now)
    if after.held < 0:
        raise Refused("More of it has been given back than would be left; reverse what was given back first.")
    after = _even_out(now, wrong, before, after, note, who)
    if after.owed > before.owed:
        raise Refused("More would be paid than the price comes to; look at the other entries first.")
    receipt, vat = wrong.receipt_or_none, wrong.invoice_or_none
    made: list[Invoice] = []
    if vat is not None:
        why = "The payment was written down by mistake"
        made = [invoices.take_back(now, vat, after, shop, who, why)]
        made += invoices.renew(now, after, shop, who, f"{why}, and invoice {vat.number} with it")
    said = _money(abs(wrong.amount), after, shop)
    what = f"{said} {wrong.get_kind_display()} on {formats.day(wrong.on, shop.locale)}"
    if receipt:
        what += f", receipt {receipt.number},"
    write_line(
        now, who, "entry reversed", f"{what} was written down by mistake and counts no more", for_client=True
    )
    was_in = now.deposit_in_at is not None
    _keep_facts(now, after, who)
    if (
        was_in
        and not after.deposit_in
        and not after.let_off
        and now.stage not in (Stage.AGREED, Stage.ON_HOLD)
    ):
        write_line(now, who, "deposit open again", "The deposit is open again; the place stays booked")
    if receipt:
        _write_to_client(
            now,
            after,
            shop,
            {"what": "taken back", "amount": said, "receipt": receipt.number, "purpose": ""},
            documents=[one.document for one in made],
        )
    return opposite


@transaction.atomic
def refund(
    commission: Commission,
    amount: Decimal,
    on: date,
    how: str,
    note: str,
    who: Who,
    *,
    owed_again: bool = False,
) -> Entry:
    """Money that went back to the client: no more than is held. What they had paid too much comes first; by
    the rest of it the price is less, unless it is `owed_again` (they will pay it another way)."""
    shop = the_shop()
    now = locked(commission.pk)
    before = _standing(now)
    amount = _sum(amount, before.currency)
    if amount > before.held:
        raise Refused(
            f"The shop holds {_money(before.held, before, shop)}; no more can be given back.", field="amount"
        )
    _believe(on, now, shop)
    if not note.strip():
        raise Refused("Say in a few words why it goes back.", field="note")
    if owed_again and now.stage == Stage.CANCELLED:
        raise Refused("It is cancelled, so nothing becomes due again.", field="owed_again")
    entry = _write(now, Entry.Kind.REFUNDED, -amount, on, who, how=how, note=note)
    waived = amount - before.owed
    if not owed_again and waived > 0:
        _write(now, Entry.Kind.WAIVED, waived, on, who, note="Given back, and no longer due")
    after = _standing(now)
    said = _money(amount, after, shop)
    again = "; it is due again" if owed_again else ""
    write_line(
        now, who, "money given back", f"{said} given back, {words.how_words(how)}{again}", for_client=True
    )  # fmt: skip
    _keep_facts(now, after, who)
    _write_to_client(now, after, shop, {"what": "given back", "amount": said, "receipt": "", "purpose": ""})
    _copy_facts(now, commission)
    return entry


@transaction.atomic
def book_if_paid(commission: Commission, who: Who) -> bool:
    """Book the place when the deposit came in while the work was on hold, and say so to the client. Returns
    whether it was booked just now."""
    now = locked(commission.pk)
    after = standing(now)
    booked = after is not None and _keep_facts(now, after, who)
    if booked:
        to_client(now, "booked", _dates(now, the_shop()), path=_drop_off(now))
    _copy_facts(now, commission)
    return booked


@transaction.atomic
def let_off(commission: Commission, reason: str, who: Who) -> Commission:
    """Book the place without the deposit, for a reason that the journal keeps."""
    if not who.is_owner:
        raise Refused("That is the shop's to decide.")
    if not reason.strip():
        raise Refused("Say in a few words why the deposit is let off.", field="reason")
    now = locked(commission.pk)
    if now.stage != Stage.AGREED:
        raise Refused("A deposit is let off between the acceptance and the booking.")
    set_facts(now, deposit_let_off=True)
    advance(now, Stage.BOOKED, who, past=reason.strip()[:300])
    to_client(now, "booked", _dates(now, the_shop()), path=_drop_off(now))
    _copy_facts(now, commission)
    return now


@transaction.atomic
def settle_cancelled(
    commission: Commission, give_back: Decimal, who: Who, *, how: str = "", on: date | None = None
) -> str:
    """What happens to the money when a commission is cancelled: of what is held, `give_back` is returned and
    the rest kept. Nothing is due after it. Returns what was done, in a sentence for the journal and the
    email; the caller moves the stage."""
    shop = the_shop()
    now = locked(commission.pk)
    before = standing(now)
    if before is None:
        return "Nothing had been paid."
    on = on or today_at(shop)
    if give_back:
        give_back = _sum(give_back, before.currency)
    if give_back > before.held:
        raise Refused(
            f"The shop holds {_money(before.held, before, shop)}; no more can be given back.", field="amount"
        )
    if give_back:
        _believe(on, now, shop)
        _write(now, Entry.Kind.REFUNDED, -give_back, on, who, how=how, note="Cancelled")
    rest_due = before.due - before.owed + give_back
    if rest_due > 0:
        _write(now, Entry.Kind.WAIVED, rest_due, on, who, note="Cancelled")
    if now.settled_at is None:
        set_facts(now, settled_at=timezone.now())
    if not before.held:
        words_ = "Nothing had been paid, and nothing is due."
    elif not give_back:
        words_ = f"{_money(before.held, before, shop)} is kept by the shop; nothing more is due."
    else:
        back = f"{_money(give_back, before, shop)} is given back, {words.how_words(how)}"
        rest = before.held - give_back
        kept = f"; {_money(rest, before, shop)} is kept by the shop" if rest else ""
        words_ = f"{back}{kept}. Nothing more is due."
    write_line(now, who, "account closed", words_, for_client=True)
    _copy_facts(now, commission)
    return words_


def _standing(commission: Commission) -> Standing:
    found = standing(commission)
    if found is None:
        raise Refused("Nothing has been agreed yet: record the acceptance first.")
    return found


def _sum(amount: Decimal, currency: str) -> Decimal:
    """A sum that moves: above zero, in whole coins."""
    try:
        amount = exact(amount, currency)
    except ValueError as error:
        raise Refused(str(error), field="amount") from error
    if amount <= 0:
        raise Refused("An amount is more than zero.", field="amount")
    return amount


def _believe(on: date, commission: Commission, shop: Shop) -> None:
    if on > today_at(shop):
        raise Refused("That day is still to come.", field="on")
    if on < commission.requested_at.astimezone(shop.tz).date() - OLDEST:
        raise Refused("That is long before this commission began; please check the year.", field="on")


def _write(
    commission: Commission,
    kind: Entry.Kind,
    amount: Decimal,
    on: date,
    who: Who,
    *,
    how: str = "",
    note: str = "",
    reverses: Entry | None = None,
) -> Entry:
    if kind in (Entry.Kind.RECEIVED, Entry.Kind.REFUNDED) and how not in Entry.How.values:
        raise Refused("Say how the money moved.", field="how")
    return Entry.objects.create(
        account=Account.objects.get(commission=commission),
        kind=kind,
        amount=amount,
        on=on,
        how=how,
        note=note.strip()[:300],
        reverses=reverses,
        user_id=who.id if who.is_owner else None,
    )


def _even_out(
    commission: Commission, wrong: Entry, before: Standing, after: Standing, note: str, who: Who
) -> Standing:
    """After a reversal: take back what was written as no longer due beside a refund that was none, and write
    off what has become due of a cancelled commission. Returns how it stands then."""
    today, cancelled = today_at(the_shop()), commission.stage == Stage.CANCELLED
    standing_off = [one for one in after.entries if one.kind == Entry.Kind.WAIVED and not one.taken_back]
    beside = next((one for one in after.entries if one.pk > wrong.pk), None)
    for one in reversed(standing_off):
        goes_with_it = one == beside and wrong.kind == Entry.Kind.REFUNDED
        if not goes_with_it and not (cancelled and after.owed > before.owed):
            continue
        _write(commission, Entry.Kind.REVERSED, -one.amount, today, who, note=note, reverses=one)
        after = _standing(commission)
    if cancelled and after.due > 0:
        _write(commission, Entry.Kind.WAIVED, after.due, today, who, note="Cancelled")
        after = _standing(commission)
    return after


def _keep_facts(commission: Commission, after: Standing, who: Who) -> bool:
    """Bring the facts that stages wait for into line with the account, and book the place when the deposit is
    there; reminders that wait name the new sum. Returns whether it was booked just now. A stage that has
    moved on is not moved back."""
    facts: dict[str, datetime | None] = {}
    if after.deposit_in != (commission.deposit_in_at is not None):
        facts["deposit_in_at"] = timezone.now() if after.deposit_in else None
    if (after.due <= 0) != (commission.settled_at is not None):
        facts["settled_at"] = timezone.now() if after.due <= 0 else None
    if facts:
        set_facts(commission, **facts)
    say_anew(commission)
    if after.deposit_in and commission.stage == Stage.AGREED:
        advance(commission, Stage.BOOKED, who)
        return True
    return False


def _copy_facts(source: Commission, to: Commission) -> None:
    """What the caller holds shows what is now true."""
    for name in ("stage", "stage_since", "booked_at", "deposit_in_at", "deposit_let_off", "settled_at"):
        setattr(to, name, getattr(source, name))


def _write_to_client(
    commission: Commission,
    after: Standing,
    shop: Shop,
    said: dict[str, str],
    *,
    booked: bool = False,
    documents: Sequence[Document] = (),
) -> None:
    context: dict[str, Any] = {
        **said,
        "due": _money(after.due, after, shop) if after.due else "",
        "deposit_open": _money(after.deposit_open, after, shop) if after.deposit_open else "",
        "booked": "yes" if booked else "",
        "at_hand_over": "" if commission.stage in ENDS else "yes",
        "place_booked": "yes" if commission.booked_at else "",
        **_dates(commission, shop),
    }
    to_client(
        commission,
        "receipt",
        context,
        path=_drop_off(commission) if booked else "",
        enclose=[Enclose(one.filename, "application/pdf", ref=one.ref) for one in documents],
    )


def _dates(commission: Commission, shop: Shop) -> dict[str, str]:
    today = today_at(shop)
    return {
        "starts_on": formats.day(commission.starts_on, shop.locale, today) if commission.starts_on else "",
        "ready_on": formats.day(commission.ready_on, shop.locale, today) if commission.ready_on else "",
    }


def _drop_off(commission: Commission) -> str:
    return address("portal:visit", args=[commission.number, "drop-off"])


def _money(value: Decimal, account: Standing, shop: Shop) -> str:
    return formats.money(value, account.currency, shop.locale)
