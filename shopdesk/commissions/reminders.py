"""Reminders: what a good shop writes by itself and forgets to, some days after something or before it.

Every kind of reminder is registered by the room that knows what it is about (its `reminders.py`):

    reminders.register(Kind("sample-waiting", stages=…, rows=…, steps=…, said=…))

A kind says which rows there may be to remind of, the day that they count from, and on which days after it
(or before it) a reminder falls due. The rest is the same for all and stands here: when in the day, that none
goes twice, none for what is done already, none where it is switched off, and that a worker who was away
writes late but never when its moment has passed.

1. `write_due` runs with every sweep. From the shop's morning on it finds, in one statement a kind, what is
   due.
2. For each it locks the commission, looks again, and writes the row `Reminded` and the email together.
3. Right before the email is handed over, `needed` looks once more (`shopdesk.mail.still`).

Whoever changes what a reminder says while it waits (a sum that is open) calls `say_anew`."""

from __future__ import annotations

import logging
import time as clock
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db import DatabaseError, transaction
from django.db.models import Case, CharField, Exists, F, OuterRef, Q, QuerySet, Value, When
from django.db.models.functions import Concat
from django.utils import timezone

from shopdesk.base.nudge import nudge
from shopdesk.base.who import THE_SHOP
from shopdesk.commissions.letters import to_client
from shopdesk.commissions.models import Commission, Reminded, ReminderOff, Stage
from shopdesk.commissions.stages import locked, write_line
from shopdesk.mail import still
from shopdesk.mail.catalogue import About, about
from shopdesk.mail.holding import Hours, quiet_until
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import day_begins, shop_or_none

log = logging.getLogger(__name__)

TASK = "shopdesk.commissions.reminders"
NOT_BEFORE = time(9)
"""Reminders fall due at this hour on the shop's wall, or where it is quiet then, when that ends on the same
day: those of one day are written together."""
_RUN_SECONDS = 60


@dataclass(frozen=True)
class Step:
    """One reminder of a kind: due `days` days after the day that its row counts from (below zero: before it),
    and from `until` days after it on too late. `name` tells it from the other steps of its kind, for good."""

    days: int
    until: int
    name: str


@dataclass(frozen=True)
class Occasion:
    """One reminder that falls due `on` a day of the shop's. `row` is the id of what it is about, `name` is
    kept with it once it was written."""

    kind: str
    commission_id: int
    row: int
    step: Step
    name: str
    on: date


@dataclass(frozen=True)
class Said:
    """What a reminder says: the context of its email, the journal's line, and which of the client's pages it
    leads to."""

    context: dict[str, Any]
    words: str
    path: str = ""


@dataclass(frozen=True)
class Kind:
    """A kind of reminder. `kind` names its email and what can be switched off.

    `rows(shop, now)` are what there may be to remind of: all that can be judged now, but for the days. Each
    has `since` (what its days count from: a moment, or with `by_date` a date) and `key` (text that is another
    one when it begins anew: an id, a day); and with `told` the moment at which it was said anyway: what falls
    due on that day already is not said again. `commission` is the way from a row to its commission ("" when
    it is one); its `stages` are those at which there can be any.
    """

    kind: str
    stages: tuple[str, ...]
    rows: Callable[[Shop, datetime], QuerySet[Any]]
    steps: Callable[[Shop], Sequence[Step]]
    said: Callable[[Commission, Occasion, Shop], Said]
    commission: str = "commission"
    by_date: bool = False
    told: bool = False

    @property
    def about(self) -> About:
        """Its title, and in words when it goes."""
        return about(self.kind)

    def at(self, field: str) -> str:
        """The name of a commission's field, seen from a row."""
        return f"{self.commission}__{field}" if self.commission else field


_kinds: dict[str, Kind] = {}


def register(kind: Kind) -> None:
    _kinds[kind.kind] = kind
    still.register(kind.kind, needed)


def kinds() -> list[Kind]:
    """All that the shop sends, in the order of a commission's life."""
    life = list(Stage)
    return sorted(_kinds.values(), key=lambda kind: max(life.index(Stage(one)) for one in kind.stages))


def morning(shop: Shop, day: date) -> datetime:
    """The moment from which on that day's reminders are written."""
    nine = datetime.combine(day, NOT_BEFORE, shop.tz)
    quiet_ends = quiet_until(nine, Hours(shop.tz, shop.quiet_from, shop.quiet_until))
    ends = quiet_ends.astimezone(shop.tz) if quiet_ends else nine
    return ends if ends.date() == day else nine


# -- what is due -------------------------------------------------------------------------------------------


def _rows(kind: Kind, shop: Shop, now: datetime, only: Collection[int] | None) -> QuerySet[Any]:
    """What there may be to remind of, of these commissions or of all, unless its client or its commission has
    it switched off."""
    off = ReminderOff.objects.filter(kind=kind.kind)
    rows: QuerySet[Any] = (
        kind.rows(shop, now)
        .filter(**{kind.at("stage__in"): kind.stages, kind.at("client__no_reminders_since"): None})
        .filter(
            ~Exists(off.filter(commission=OuterRef(kind.at("pk")))),
            ~Exists(off.filter(client=OuterRef(kind.at("client")))),
        )
        .annotate(about=F(kind.at("pk")))
        .order_by("pk")
    )
    return rows if only is None else rows.filter(about__in=only)


def _between(kind: Kind, shop: Shop, first: date, last: date) -> Q:
    """Rows that count from one of these days of the shop's, both included."""
    if kind.by_date:
        return Q(since__gte=first, since__lte=last)
    return Q(
        since__gte=day_begins(first, shop.tz),
        since__lt=day_begins(last + timedelta(days=1), shop.tz),
    )


def _written(kind: Kind) -> Exists:
    """Whether the reminder of a row's present `step` was written before."""
    name = Concat(OuterRef("key"), Value(" "), OuterRef("step"), output_field=CharField())
    return Exists(Reminded.objects.filter(commission=OuterRef("about"), kind=kind.kind, occasion=name))


def due(
    kind: Kind, shop: Shop, now: datetime, *, only: Collection[int] | None = None, written: bool = False
) -> list[Occasion]:
    """The reminders of a kind whose day has come and whose moment has not passed; with `written` also those
    that were written. One statement, however many commissions there are."""
    steps = kind.steps(shop)
    if not steps:
        return []
    today = now.astimezone(shop.tz).date()
    of_step = [
        When(_between(kind, shop, today - timedelta(days=one.until - 1), today - timedelta(days=one.days)),
             then=Value(one.name))
        for one in steps
    ]  # fmt: skip
    rows = _rows(kind, shop, now, only).filter(
        _between(
            kind,
            shop,
            today - timedelta(days=max(one.until for one in steps) - 1),
            today - timedelta(days=min(one.days for one in steps)),
        )
    )
    rows = rows.annotate(step=Case(*of_step, default=None, output_field=CharField())).exclude(step=None)
    if not written:
        rows = rows.filter(~_written(kind))
    return [
        occasion
        for occasion, until in _occasions(kind, shop, rows, steps)
        if occasion.on <= today < until
    ]  # fmt: skip


def _occasions(
    kind: Kind, shop: Shop, rows: QuerySet[Any], steps: Sequence[Step]
) -> Iterator[tuple[Occasion, date]]:
    """Every step of every row, each with the day from which on it is too late."""
    told = ["told"] if kind.told else []
    for row in rows.values("pk", "about", "since", "key", *told):
        since = row["since"] if kind.by_date else row["since"].astimezone(shop.tz).date()
        said_on = row["told"].astimezone(shop.tz).date() if kind.told and row["told"] else date.min
        for step in steps:
            on = since + timedelta(days=step.days)
            if on > said_on:
                name = f"{row['key']} {step.name}"
                yield (
                    Occasion(kind.kind, row["about"], row["pk"], step, name, on),
                    since + timedelta(days=step.until),
                )


def _off_for_all() -> set[str]:
    return set(ReminderOff.objects.filter(client=None, commission=None).values_list("kind", flat=True))


# -- writing -----------------------------------------------------------------------------------------------


def write_due(now: datetime | None = None) -> int:
    """Write every reminder that is due, and take from the owner's list those whose reason is gone. Runs with
    every sweep; returns how many were written. With nothing due it takes as many statements as there are
    kinds, and a few."""
    shop = shop_or_none()
    if shop is None:
        return 0
    now = now or timezone.now()
    let_go(shop, now)
    if now < morning(shop, now.astimezone(shop.tz).date()):
        return 0
    off, ends_at, count = _off_for_all(), clock.monotonic() + _RUN_SECONDS, 0
    for kind in kinds():
        for occasion in () if kind.kind in off else due(kind, shop, now):
            if clock.monotonic() > ends_at:
                nudge(TASK)
                return count
            try:
                count += _write(kind, occasion, shop, now)
            except DatabaseError:
                raise
            except Exception:  # whatever is wrong with one, the others go out
                log.exception("The reminder %s of commission %s", kind.kind, occasion.commission_id)
    return count


@transaction.atomic
def _write(kind: Kind, found: Occasion, shop: Shop, now: datetime) -> bool:
    """Write one reminder, unless somebody else has, or what it is about was done a moment before."""
    commission = locked(found.commission_id)
    there = due(kind, shop, now, only=[commission.pk])
    occasion = next((one for one in there if one.name == found.name), None)
    if occasion is None or kind.kind in _off_for_all():
        return False
    reminded = Reminded.objects.create(commission=commission, kind=kind.kind, occasion=occasion.name, at=now)
    said = kind.said(commission, occasion, shop)
    email = to_client(commission, kind.kind, said.context, path=said.path)
    if email is None:  # switched off this moment
        transaction.set_rollback(True)
        return False
    Reminded.objects.filter(pk=reminded.pk).update(email=email)
    write_line(commission, THE_SHOP, "reminded", f"Reminder: {said.words}", for_client=True)
    return True


def needs_none(commission: Commission, kind: str, name: str) -> None:
    """What is being said this moment is the reminder as well: that of the occasion `name` is not written."""
    Reminded.objects.get_or_create(commission=commission, kind=kind, occasion=name)


def say_anew(commission: Commission) -> None:
    """What a commission's reminders say has changed, and those that stand say what holds now: in the
    transaction of what changed it. Words that were made stay as they are; they are made from this where they
    are made anew, as for one that came back and is told instead."""
    rows = Reminded.objects.filter(commission=commission)
    written = {(row.kind, row.occasion): row.email_id for row in rows if row.email_id is not None}
    shop = shop_or_none() if written else None
    if shop is None:
        return
    names = {name for name, _ in written}
    for kind in [one for one in kinds() if one.kind in names]:
        for one in due(kind, shop, timezone.now(), only=[commission.pk], written=True):
            if (kind.kind, one.name) in written:
                # Locked: somebody may be correcting the client's phone number in it.
                email = Email.objects.select_for_update().get(pk=written[kind.kind, one.name])
                email.context |= kind.said(commission, one, shop).context
                email.save(update_fields=["context"])


# -- is it needed still ------------------------------------------------------------------------------------


def needed(email: Email) -> bool:
    """Whether there is still a reason for a reminder that was written (`shopdesk.mail.still`)."""
    reminded = Reminded.objects.filter(email=email).first()
    shop = shop_or_none()
    if reminded is None or shop is None:
        return True
    return reminded.pk not in _without_reason([reminded], shop, timezone.now())


def _without_reason(rows: Sequence[Reminded], shop: Shop, now: datetime) -> set[int]:
    """The ids of those that nobody needs any more. One statement a kind, and one."""
    off = _off_for_all()
    by_kind: dict[str, list[Reminded]] = {}
    for row in rows:
        by_kind.setdefault(row.kind, []).append(row)
    gone: set[int] = set()
    for name, written in by_kind.items():
        kind = _kinds.get(name)
        about_these = {row.commission_id for row in written}
        there = due(kind, shop, now, only=about_these, written=True) if kind and name not in off else []
        standing = {(one.commission_id, one.name) for one in there}
        gone |= {row.pk for row in written if (row.commission_id, row.occasion) not in standing}
    return gone


def let_go(shop: Shop, now: datetime) -> None:
    """Take from the owner's list of what to tell the reminders that nobody needs any more. One that came back
    with others in it stays: they are still to be told."""
    with_others = Email.objects.filter(bundle=OuterRef("email"))
    untold = Reminded.objects.filter(
        ~Exists(with_others),
        email__way=Email.Way.TELL,
        email__state=Email.State.WAITING,
        email__told_at=None,
    )
    rows = list(untold)
    if rows:
        gone = _without_reason(rows, shop, now)
        emails = [row.email_id for row in rows if row.pk in gone and row.email_id is not None]
        Email.objects.filter(pk__in=emails, told_at=None, state=Email.State.WAITING).update(
            state=Email.State.DONE, done_at=now, not_needed_at=now
        )


# -- what comes next ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Coming:
    """A reminder that a commission will get unless what it is about is done before."""

    occasion: Occasion
    about: About
    at: datetime
    """The morning of its day; now, when it is due already."""


@dataclass(frozen=True)
class OfCommission:
    """The reminders of one commission: the next that come, and the kinds that are switched off here alone."""

    coming: list[Coming]
    off: list[About]


def of_commission(commission: Commission, shop: Shop, now: datetime, most: int = 3) -> OfCommission:
    """What comes next as the commission stands, the soonest first, and what is switched off. As many
    statements as there are kinds at its stage, and two."""
    rows = ReminderOff.objects.filter(Q(commission=None) | Q(commission=commission), client=None)
    off = dict(rows.order_by(F("commission").asc(nulls_first=True)).values_list("kind", "commission"))
    found = _to_come(commission, shop, now, off) if len(off) < len(kinds()) else []
    here = [kind.about for kind in kinds() if off.get(kind.kind) is not None]
    return OfCommission(found[:most], here)


def _to_come(commission: Commission, shop: Shop, now: datetime, off: Collection[str]) -> list[Coming]:
    there = [kind for kind in kinds() if commission.stage in kind.stages and kind.kind not in off]
    if not there:
        return []
    done = set(Reminded.objects.filter(commission=commission).values_list("kind", "occasion"))
    today = now.astimezone(shop.tz).date()
    found = []
    for kind in there:
        rows = _rows(kind, shop, now, [commission.pk])
        found += [
            Coming(occasion, kind.about, max(now, morning(shop, max(occasion.on, today))))
            for occasion, until in _occasions(kind, shop, rows, kind.steps(shop))
            if until > today and (kind.kind, occasion.name) not in done
        ]
    return sorted(found, key=lambda one: (one.at, one.occasion.on))
