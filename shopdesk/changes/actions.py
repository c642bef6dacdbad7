"""Changing what was agreed: the shop proposes, and the client says yes or no. Until then what was agreed
before holds."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.changes.content import content_of, price_words
from shopdesk.changes.models import Change
from shopdesk.commissions.actions import add_shots, set_facts
from shopdesk.commissions.letterhead import bank_lines
from shopdesk.commissions.letters import to_client, to_shop
from shopdesk.commissions.models import Commission, Shot, Stage
from shopdesk.commissions.shown import shown
from shopdesk.commissions.stages import locked, write_line
from shopdesk.craft.money import exact
from shopdesk.deposits.actions import agree_change
from shopdesk.deposits.invoices import enclosed
from shopdesk.deposits.queries import standing
from shopdesk.deposits.words import Price, price_of_change
from shopdesk.documents.actions import order
from shopdesk.look import formats
from shopdesk.mail.actions import Enclose
from shopdesk.photos.models import Picture
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop, today_at

CHANGEABLE = (
    Stage.AGREED, Stage.BOOKED, Stage.CHECKED_IN, Stage.IN_WORK, Stage.DRYING, Stage.READY, Stage.ON_HOLD
)  # fmt: skip
MOST_DAYS = 365


@dataclass(frozen=True)
class NewChange:
    """What is proposed. `price` is without tax, below zero when it costs less; `days` is how many days later
    the piece is ready."""

    reason: str
    words: str
    price: Decimal
    taxable: bool = False
    days: int = 0


@transaction.atomic
def propose(commission: Commission, new: NewChange, who: Who, pictures: Sequence[Picture] = ()) -> Change:
    """Put a change before the client: it gets its number, its words are frozen, the PDF is ordered and the
    email that carries it is written. Refuses while another one waits for its answer."""
    shop = the_shop()
    if not who.is_owner:
        raise Refused("Changes are the shop's to propose; write to us about yours.")
    now = locked(commission.pk)
    _can_change(now)
    waiting = Change.objects.filter(commission=now, state=Change.State.PROPOSED).first()
    if waiting is not None:
        raise Refused(
            f"Change {waiting.number} is still waiting for its answer. "
            "Withdraw it first, or put both into one."
        )
    account = standing(now)
    if account is None:
        raise Refused("Nothing has been agreed yet that could change.")
    _says_something(new)
    try:
        net = exact(new.price, account.currency)
    except ValueError as error:
        raise Refused(str(error), field="price") from error
    price = price_of_change(account, net, new.taxable)
    last = Change.objects.filter(commission=now).aggregate(last=Max("number"))["last"] or 0
    number = last + 1
    shots = add_shots(now, pictures, Shot.Kind.PROGRESS, caption=f"Found: change {number}")
    frozen = content_of(
        now,
        shop,
        number=number,
        reason=new.reason,
        words=new.words,
        price=price,
        later=_later(now, new.days),
        days=new.days,
        shots=shots,
        account=account,
    )
    document = order(
        "change",
        title=f"Change {number} to {now.number}",
        filename=f"{now.number}-change-{number}.pdf",
        content=frozen,
        dated_on=today_at(shop),
    )
    change = Change.objects.create(
        commission=now,
        number=number,
        reason=new.reason.strip(),
        words=new.words.strip(),
        currency=account.currency,
        price=price.net,
        taxable=price.taxable,
        tax=price.tax,
        days=new.days,
        document=document,
        frozen=frozen,
    )
    change.shots.set(shots)
    said = frozen["price_words"]
    write_line(now, who, "change proposed", f"Change {number} proposed: {said}", for_client=True)
    to_client(
        now,
        "change",
        {
            "change": str(number),
            "reason": frozen["reason"],
            "words": frozen["words"],
            "price": said,
            "time": frozen["time_words"][0],
            "together": next(row["amount"] for row in frozen["sums"] if row["kind"] == "total"),
            "pictures": "yes" if shots else "",
        },
        path=reverse("portal:change", args=[now.number, number]),
        enclose=[_enclosed(change), *shown([shot.picture for shot in shots], "What we found")],
    )
    return change


@transaction.atomic
def accept(
    change_id: int,
    name: str,
    who: Who,
    way: str = Change.Way.PAGE,
    said_on: date | None = None,
    note: str = "",
    paper_picture: Picture | None = None,
) -> Change:
    """The client says yes, by name; or the owner writes down a yes given on paper or by word of mouth. What
    is due, the tax, the day it is ready and an invoice that is out follow."""
    shop = the_shop()
    now, change = _to_answer(change_id, who)
    today = today_at(shop)
    said_on = said_on or today
    name = " ".join(name.split())
    if who.kind == "client" and way != Change.Way.PAGE:
        raise Refused("That is the shop's to write down.")
    if who.is_owner and way not in (Change.Way.PAPER, Change.Way.WORD):
        raise Refused("Say whether they said yes on paper or by word of mouth.", field="way")
    _can_change(now)
    _believe(said_on, change, today, shop)
    if not any(char.isalpha() for char in name):
        raise Refused("Type the name of whoever accepts.", field="name")
    if way == Change.Way.PAPER and paper_picture is None:
        raise Refused("Take a picture of the signed sheet.", field="paper")
    paper = add_shots(now, [paper_picture] if paper_picture else [], Shot.Kind.PAPER, for_client=False)
    change = _answer(
        change,
        Change.State.ACCEPTED,
        who,
        name=name[:120],
        way=way,
        said_on=said_on,
        address=who.address or "" if who.kind == "client" else "",
        answer=note.strip()[:1000],
        paper=paper[0] if paper else None,
        content_sha256=_sha256(change.frozen),
    )
    later = _later(now, change.days)
    if change.days and later is not None:
        set_facts(now, ready_on=later)
    price = Price(change.price, change.taxable, change.tax)
    said = price_words(price, change.currency, shop)
    write_line(
        now, who, "change accepted",
        f"Change {change.number} accepted, {change.get_way_display()}: {said}", for_client=True,
    )  # fmt: skip
    words = " ".join(change.frozen["words"])
    agreed = agree_change(now, number=change.number, said=words, price=price, on=said_on, who=who)
    account = agreed.after

    def written(value: Decimal) -> str:
        return formats.money(value, account.currency, shop.locale) if value else ""

    context: dict[str, Any] = {
        "change": str(change.number),
        "price": said,
        "said_by": change.name,
        "together": formats.money(account.price, account.currency, shop.locale),
    }
    to_client(
        now,
        "change-accepted",
        {
            **context,
            "due": written(account.due),
            "owed": written(account.owed),
            "ready_on": formats.day(now.ready_on, shop.locale, today) if now.ready_on else "",
            "later": "yes" if change.days else "",
            "way": "" if who.kind == "client" else change.get_way_display(),
            "said_on": formats.day(said_on, shop.locale, today),
            "booked": "yes" if agreed.booked else "",
            "invoices": [one.number for one in agreed.renewed],
            "bank": bank_lines(shop) if account.due and agreed.renewed else [],
        },
        enclose=[_enclosed(change), *enclosed(agreed.renewed)],
    )
    if who.kind == "client":
        to_shop(
            now,
            "change-answered",
            {**context, "answer": "accepted", "reason": ""},
            path=reverse("desk:change", args=[now.number, change.number]),
        )
    return change


@transaction.atomic
def decline(change_id: int, reason: str, who: Who) -> Change:
    """The client says no, and may say why; or the owner writes it down. What was agreed before holds."""
    now, change = _to_answer(change_id, who)
    reason = " ".join(reason.split())[:1000]
    change = _answer(
        change, Change.State.DECLINED, who, said_on=today_at(the_shop()), answer=reason, name=now.client.name
    )
    why = f": {reason}" if reason else ""
    write_line(now, who, "change declined", f"Change {change.number} declined{why}", for_client=True)
    if who.kind == "client":
        to_shop(
            now,
            "change-answered",
            {
                "change": str(change.number),
                "price": change.frozen["price_words"],
                "said_by": now.client.name,
                "together": "",
                "answer": "declined",
                "reason": reason,
            },
            path=reverse("desk:change", args=[now.number, change.number]),
        )
    return change


@transaction.atomic
def withdraw(change_id: int, reason: str, who: Who) -> Change:
    """The shop takes a change back before it is answered; the client is told."""
    if not who.is_owner:
        raise Refused("That is the shop's to take back.")
    now, change = _to_answer(change_id, who)
    reason = " ".join(reason.split())[:1000]
    change = _answer(change, Change.State.WITHDRAWN, who, answer=reason)
    write_line(now, who, "change withdrawn", f"Change {change.number} withdrawn", for_client=True)
    to_client(now, "change-withdrawn", {"change": str(change.number), "reason": reason})
    return change


@transaction.atomic
def note(change_id: int, who: Who) -> None:
    """The owner has read the answer: it leaves the list of what needs them."""
    if not who.is_owner:
        raise Refused("That is the shop's to note.")
    Change.objects.filter(
        pk=change_id, noted_at=None, state__in=[Change.State.ACCEPTED, Change.State.DECLINED]
    ).update(noted_at=timezone.now())


# ---- what these have in common ---------------------------------------------------------------------------


def _to_answer(change_id: int, who: Who) -> tuple[Commission, Change]:
    """The commission, locked, and the change, which nobody else answers meanwhile."""
    now = locked(Change.objects.values_list("commission_id", flat=True).get(pk=change_id))
    if who.kind == "client" and now.client_id != who.id:
        raise Refused("That change is not yours to answer.")
    change = Change.objects.select_related("document").get(pk=change_id)
    if change.state == Change.State.WITHDRAWN:
        raise Refused("We have taken this change back. What was agreed before holds.")
    if not change.is_open:
        raise Refused(f"This change has been {change.get_state_display()} already.")
    return now, change


def _answer(change: Change, state: Change.State, who: Who, **values: Any) -> Change:
    taken = Change.objects.filter(pk=change.pk, state=Change.State.PROPOSED).update(
        state=state, answered_at=timezone.now(), user_id=who.id if who.is_owner else None, **values
    )
    assert taken, "the commission's row is locked"
    return Change.objects.select_related("document").get(pk=change.pk)


def _can_change(commission: Commission) -> None:
    if commission.stage not in CHANGEABLE:
        stage = commission.get_stage_display().lower()
        raise Refused(f"This commission is {stage}; what was agreed cannot be changed now.")


def _says_something(new: NewChange) -> None:
    if not any(char.isalnum() for char in new.reason):
        raise Refused("Say what was found, or what they wish for.", field="reason")
    if not any(char.isalnum() for char in new.words):
        raise Refused("Say what is done about it.", field="words")
    if not 0 <= new.days <= MOST_DAYS:
        raise Refused(f"A change takes from 0 to {MOST_DAYS} days longer.", field="days")
    if not new.price and not new.days:
        raise Refused("It changes neither the price nor the day; send a message instead.", field="price")


def _believe(said_on: date, change: Change, today: date, shop: Shop) -> None:
    if said_on > today:
        raise Refused("That day is still to come.", field="said_on")
    if said_on < change.proposed_at.astimezone(shop.tz).date():
        raise Refused("That is before the change was proposed.", field="said_on")


def _later(commission: Commission, days: int) -> date | None:
    return commission.ready_on + timedelta(days=days) if commission.ready_on else None


def _enclosed(change: Change) -> Enclose:
    return Enclose(change.document.filename, "application/pdf", ref=change.document.ref)


def _sha256(frozen: dict[str, Any]) -> str:
    plain = json.dumps(frozen, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(plain.encode()).hexdigest()
