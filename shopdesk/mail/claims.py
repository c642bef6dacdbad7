"""Taking emails out of the line, and what becomes of them. Every ending is guarded by the lease.

What never waits is taken several at a time under one lease. An email that somebody had and did not end is
taken alone: should it be what its worker died of, no other bears a try for it."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from functools import cache
from typing import Any

from django.db import connection, transaction
from django.db.models import F, Prefetch, QuerySet
from django.utils import timezone

from shopdesk.base import work
from shopdesk.mail.models import Email, Enclosure, Turn
from shopdesk.mail.queries import to_send

UNWORDED = {"worded_at": None, "subject": "", "text": "", "html": ""}
_IN_ORDER = Prefetch("enclosures", Enclosure.objects.order_by("id"))
_FIELDS = {field.name: field for field in Email._meta.concrete_fields}
_State = Email.State
UNCLAIMED = {"state": _State.WAITING, "lease": None, "lease_until": None}


def in_line(now: datetime, *, can_wait: bool) -> QuerySet[Email]:
    """What is due, in the order of its index (`mail_email_line`, or `…_can_wait`): however many rows are done
    or wait for something, none of them is looked at."""
    rows = to_send().filter(state=_State.WAITING, can_wait=can_wait, due_at__lte=now)
    return rows.order_by("due_at", "id")


def abandoned(lease: timedelta) -> list[Email]:
    """The email that was left longest ago by whoever had it."""
    now = timezone.now()
    with transaction.atomic():
        rows = Email.objects.filter(way=Email.Way.EMAIL, state=_State.UNDER_WAY, lease_until__lt=now)
        return take(_locked(rows.order_by("lease_until"), 1), lease, now)


def due(most: int, lease: timedelta) -> list[Email]:
    """Up to `most` answers and necessities: what waits for no hour or day, and carries nothing else."""
    now = timezone.now()
    with transaction.atomic():
        rows = in_line(now, can_wait=False).exclude(sort=Email.Sort.REMINDER)
        return take(_locked(rows, most), lease, now)


def first_to_carry(now: datetime, *, at_night: bool) -> Email | None:
    """Within a transaction: what others may go out in and is due longest, held for this worker. A reminder
    that cannot wait comes before all that can, and at night is the only one."""
    found = _locked(in_line(now, can_wait=False).filter(sort=Email.Sort.REMINDER), 1)
    if not found and not at_night:
        found = _locked(in_line(now, can_wait=True), 1)
    return found[0] if found else None


def take(emails: Sequence[Email], lease: timedelta, now: datetime) -> list[Email]:
    """Make locked emails this worker's, in the transaction that locked them. Counts a try."""
    token = uuid.uuid4()
    if emails:
        Email.objects.filter(pk__in=[email.pk for email in emails]).update(
            state=_State.UNDER_WAY, lease=token, lease_until=now + lease, tries=F("tries") + 1
        )
    for email in emails:
        email.state, email.lease, email.lease_until = _State.UNDER_WAY, token, now + lease
        email.tries += 1
    return list(emails)


def _locked(rows: QuerySet[Email], most: int) -> list[Email]:
    """The first of some rows that nobody else has locked. On SQLite the transaction keeps everybody else
    out."""
    return list(rows.select_for_update(skip_locked=True).prefetch_related(_IN_ORDER)[:most])


def _mine(email: Email) -> QuerySet[Email]:
    return Email.objects.filter(pk=email.pk, lease=email.lease, state=_State.UNDER_WAY)


def renew(email: Email, lease: timedelta) -> bool:
    """Begin the lease anew. `False` when somebody else has taken the email over."""
    email.lease_until = timezone.now() + lease
    return bool(_mine(email).update(lease_until=email.lease_until))


def still_mine(email: Email) -> bool:
    """Whether nobody has taken a claimed email over, nor given it another address."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT 1 FROM {_table()} WHERE {_is_mine()}", _guard(email))
        return cursor.fetchone() is not None


def keep_words(email: Email) -> bool:
    """Keep the words that were made, before anybody sees them. `False` when somebody else has taken the email
    over."""
    return len(keep_all_words([email])) == 1


def keep_all_words(emails: Sequence[Email]) -> list[Email]:
    """Keep the words of several at one stroke. Returns those that nobody has taken over."""
    if not emails:
        return []
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.executemany(
            _guarded(*UNWORDED),
            [
                [*(_stored(name, getattr(email, name)) for name in UNWORDED), *_guard(email)]
                for email in sorted(emails, key=lambda one: one.pk)  # as they are locked elsewhere
            ],
        )
        if cursor.rowcount == len(emails):
            return list(emails)
    return [email for email in emails if _mine(email).exists()]


def finish(email: Email, members: Sequence[Email] = ()) -> bool:
    """It was handed over, and with it `members`. `False` when somebody else took it over meanwhile and it has
    ended already."""
    if not email.carries:
        return _finish_alone(email) or _finish_late(email)
    with transaction.atomic():
        ended = work.finish(email, held_at=None) or _finish_late(email)
        if ended:
            now = timezone.now()
            inside = Email.objects.filter(bundle=email.pk, state=_State.WAITING, worded_at=email.worded_at)
            inside.filter(pk__in=[one.pk for one in members]).update(
                state=_State.DONE, done_at=now, trouble="", held_at=None
            )
            release_members(email)
    return ended


def _finish_alone(email: Email) -> bool:
    """`work.finish`, for the many."""
    values = {
        "state": _State.DONE.value,
        "done_at": timezone.now(),
        "trouble": "",
        "lease": None,
        "lease_until": None,
        "held_at": None,
    }
    with connection.cursor() as cursor:
        cursor.execute(
            _guarded(*values), [*(_stored(name, value) for name, value in values.items()), *_guard(email)]
        )
        return bool(cursor.rowcount)


@cache
def _guarded(*names: str) -> str:
    """The guarded update of these columns as SQL: putting it together anew takes Django longer than the
    database takes to do it."""
    return f"UPDATE {_table()} SET {', '.join(_equal(*names))} WHERE {_is_mine()}"


@cache
def _is_mine() -> str:
    return " AND ".join(_equal("id", "lease", "state"))


@cache
def _table() -> str:
    return connection.ops.quote_name(Email._meta.db_table)


def _equal(*names: str) -> list[str]:
    return [f"{connection.ops.quote_name(str(_FIELDS[name].column))} = %s" for name in names]


def _guard(email: Email) -> list[Any]:
    guards = (("id", email.pk), ("lease", email.lease), ("state", _State.UNDER_WAY.value))
    return [_stored(name, value) for name, value in guards]


def _stored(name: str, value: Any) -> Any:
    """As the database stores it; a text is stored as it is."""
    return value if value is None or type(value) is str else _FIELDS[name].get_db_prep_save(value, connection)


def _finish_late(email: Email) -> bool:
    """The server's yes came when the lease had run out and another worker had the email, or had put it off.
    It is the same email, with the same Message-ID: one yes is enough, and the other's ending changes
    nothing."""
    same = Email.objects.filter(
        pk=email.pk,
        to_address=email.to_address,
        worded_at=email.worded_at,
        tries__gte=email.tries,
    )
    return bool(
        same.exclude(state=_State.DONE).update(
            state=_State.DONE, done_at=timezone.now(), trouble="", lease=None, lease_until=None, held_at=None
        )
    )


def not_needed(email: Email) -> bool:
    """There is no reason for it any more: it is done, and nothing went."""
    with transaction.atomic():
        ended = work.finish(email, not_needed_at=timezone.now(), held_at=None)
        if ended and email.carries:
            let_go(email)
    return ended


def give_up(email: Email, trouble: str) -> bool:
    with transaction.atomic():
        ended = work.give_up(email, trouble)
        if ended and email.carries and let_go(email):  # its words were those of all
            Email.objects.filter(pk=email.pk).update(**UNWORDED)
    return ended


def put_back(emails: Iterable[Email], **values: Any) -> None:
    """Back into the line as if nothing had been tried; with `due_at`, behind others. To one that has its
    words nothing is added any more."""
    for email in emails:
        gathers = {} if email.worded_at is None else {"gather": ""}
        _mine(email).update(
            state=_State.WAITING, lease=None, lease_until=None, tries=F("tries") - 1, **gathers, **values
        )


def let_go(email: Email) -> int:
    """Its day is free again, and so are its members. Returns how many those are."""
    Turn.objects.filter(email=email).delete()
    return release_members(email)


def release_members(email: Email) -> int:
    """Let what waits to go out in an email go by itself again."""
    inside = Email.objects.filter(bundle=email.pk, state=_State.WAITING)
    return inside.update(bundle=None, **UNWORDED)
