"""News and reminders: not in the quiet hours, one a day to an address, and what waits for the same address
goes with it.

1. `next_one` takes one that is due and whose turn it is to be the day's; others wait for the morning. The
   turn is a row of its own (`Turn`): the database lets an address have one a day, whoever is quicker. A
   reminder that cannot wait (a visit tomorrow) takes the turn where it is free, and goes in any case.
2. `prepare` attaches what else waits for the address: those rows stay waiting, but are in line no more.
   Whatever is not needed any more drops out; then the words are made, once for all of them.
3. They end together with the email that carries them, or are let go when it fails (`claims`).

A worker that dies half way leaves the turn and what was attached to the email; whoever takes it over goes on
from there. What was not in its words at the first try is not added later: the first may have arrived."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from datetime import datetime, timedelta

from django.conf import settings
from django.db import InterfaceError, OperationalError, transaction
from django.db.models import Q
from django.utils import timezone

from shopdesk.base import work
from shopdesk.mail import claims
from shopdesk.mail.holding import Hours, day_of, hours, next_morning, quiet_until
from shopdesk.mail.models import Email, Turn
from shopdesk.mail.queries import to_send
from shopdesk.mail.still import still_needed
from shopdesk.mail.words import NoWords, Words, bundled, words

log = logging.getLogger(__name__)

QUIET = "It can wait until the quiet hours are over."
ONE_A_DAY = "It can wait: this address has had an email of this kind today, and one a day is enough."
_State = Email.State


def next_one(lease: timedelta) -> list[Email]:
    """One of them that may go now, claimed; none when there is none. Those that may not go yet are kept for
    the morning."""
    while True:
        now, shop = timezone.now(), hours()
        night_ends = quiet_until(now, shop)
        if night_ends is not None:
            claims.in_line(now, can_wait=True).order_by().update(
                due_at=night_ends, held_at=now, trouble=QUIET
            )
        with transaction.atomic():
            email = claims.first_to_carry(now, at_night=night_ends is not None)
            if email is None:
                return []
            if _take_turn(email, now, shop) or not email.can_wait:
                return claims.take([email], lease, now)
            morning = next_morning(now, shop)
            Email.objects.filter(pk=email.pk).update(due_at=morning, held_at=now, trouble=ONE_A_DAY)


def may_still_go(email: Email) -> bool:
    """Whether an email that somebody else began with may go now; else it is kept for the morning."""
    now, shop = timezone.now(), hours()
    night_ends = quiet_until(now, shop)
    if night_ends is None:
        with transaction.atomic():
            if _take_turn(email, now, shop):
                return True
    wait, why = (night_ends, QUIET) if night_ends else (next_morning(now, shop), ONE_A_DAY)
    work.put_off(email, wait - now, why, counts=False, now=now, held_at=now)
    return False


def _take_turn(email: Email, now: datetime, shop: Hours) -> bool:
    address, day = email.to_address.lower(), day_of(now, shop)
    for _ in range(2):
        Turn.objects.bulk_create([Turn(address=address, day=day, email=email)], ignore_conflicts=True)
        whose = Turn.objects.filter(address=address, day=day).values_list("email_id", flat=True).first()
        if whose is not None:
            return whose == email.pk
        Turn.objects.filter(email=email).delete()  # its turn was on another day, or under another address
    return False


def prepare(email: Email) -> list[Email] | None:
    """Make a claimed email ready to be handed over, with its words. Returns what goes out in it; `None` when
    nothing goes: it is not needed any more, or somebody else has taken it over. Raises `NoWords`."""
    fresh = email.worded_at is None
    if fresh:
        _attach(email)
    # One attached in the moment in which this one got another address stays behind.
    waiting = Email.objects.filter(bundle=email.pk, state=_State.WAITING, to_address=email.to_address)
    inside = list(waiting.order_by("id"))
    members = [one for one in inside if fresh or one.worded_at == email.worded_at]
    if not still_needed(email):
        claims.not_needed(email)
        return None
    idle = [one for one in members if not still_needed(one)]
    if idle:
        _drop(email, idle)
        members = [one for one in members if one not in idle]
    if not (fresh or idle):
        return members
    own = [(one, said) for one in members if (said := _own_words(email, one)) is not None]
    return [one for one, _ in own] if _word(email, own) else None


def _attach(email: Email) -> None:
    """What waits for the same address besides: what is due, is kept for an hour or a day or still gathers,
    but nothing of that at night; and reminders that would not wait."""
    now = timezone.now()
    waiting = to_send().filter(state=_State.WAITING, to_address=email.to_address, worded_at=None)
    soon = now + timedelta(seconds=settings.MAIL_GATHER_SECONDS)
    kept = Q(due_at__lte=now) | Q(held_at__isnull=False) | (~Q(gather="") & Q(due_at__lte=soon))
    reminders = claims.in_line(now, can_wait=False).filter(sort=Email.Sort.REMINDER)
    found: list[int] = []
    if quiet_until(now, hours()) is None:
        found += waiting.filter(kept, can_wait=True).values_list("pk", flat=True)
    found += reminders.filter(to_address=email.to_address, worded_at=None).values_list("pk", flat=True)
    if found:
        waiting.filter(pk__in=found).update(bundle=email.pk, gather="")


def _drop(email: Email, idle: Sequence[Email]) -> None:
    """End what is not needed any more, without sending it."""
    now = timezone.now()
    Email.objects.filter(pk__in=[one.pk for one in idle], bundle=email.pk, state=_State.WAITING).update(
        state=_State.DONE, done_at=now, not_needed_at=now, bundle=None, held_at=None, **claims.UNWORDED
    )


def _own_words(email: Email, member: Email) -> Words | None:
    """What it says by itself. Where no words can be made it fails alone; the others go without it."""
    try:
        return words(member)
    except NoWords as error:
        why = str(error)
    except (OperationalError, InterfaceError):  # the database is away: that is no email's fault
        raise
    except Exception as error:
        log.exception("Email %s could not be made.", member.pk)
        why = f"It could not be made: {error}"
    rows = Email.objects.filter(pk=member.pk, bundle=email.pk, state=_State.WAITING)
    rows.update(state=_State.FAILED, done_at=timezone.now(), trouble=why, bundle=None, held_at=None)
    return None


def _word(email: Email, own: Sequence[tuple[Email, Words]]) -> bool:
    """Make the words of all and keep them: each email's own with it, those of all with the one that carries
    them. `False` when one of them was taken elsewhere meanwhile."""
    email.worded_at = None
    now = timezone.now().replace(microsecond=0)
    said = bundled([email, *(one for one, _ in own)]) if own else words(email)
    email.subject, email.text, email.html, email.worded_at = said.subject, said.text, said.html, now
    with transaction.atomic():
        kept = claims.keep_words(email)
        for one, its in own:
            one.subject, one.text, one.html, one.worded_at = its.subject, its.text, its.html, now
            rows = Email.objects.filter(pk=one.pk, bundle=email.pk, state=_State.WAITING)
            kept = kept and bool(
                rows.update(subject=its.subject, text=its.text, html=its.html, worded_at=now)
            )
        if not kept:
            transaction.set_rollback(True)
    if not kept:
        claims.put_back([email])
    return kept
