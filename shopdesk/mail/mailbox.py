"""The shop's mailbox is read, about once a minute, and never changed: a message stays unread for whoever
looks there.

1. Take the mailbox for oneself, for as long as `LEASE`; a worker that was killed loses it by then.
2. Open it; if it numbers its messages anew, begin again the day before it was last read.
3. One message after the other, lowest number first: fetch it, keep it (`arrivals.take_in`), and only then
   write down its number. Whoever is killed in between goes on where they were, and nothing comes twice.
4. Trouble is written down in words for the owner, and the wait grows while it lasts.
"""

from __future__ import annotations

import logging
import time
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Self

from django.conf import settings
from django.db import DatabaseError, DataError, IntegrityError
from django.db.models import Q
from django.utils import timezone

from shopdesk.base import files, work
from shopdesk.base.nudge import nudge
from shopdesk.base.refusals import Refused
from shopdesk.mail import arrivals
from shopdesk.mail.inbox import Inbox, Letter, Line, Trouble, opened, parse
from shopdesk.mail.models import Arrival, Mailbox

log = logging.getLogger(__name__)

TASK = "shopdesk.mail.mailbox"
EVERY = 1.5
"""Sweeps between two readings: it is every other, so about once a minute."""
LEASE = timedelta(minutes=5)
"""For one message, or a piece of a large one; taken again after each."""
TRIES = 5
"""How often one message may fail before those after it have their turn."""
_RUN_SECONDS = 60
_FIRST_WAIT, _LONGEST_WAIT = 60, 3600


class _Lost(Exception):
    """Somebody else reads the mailbox now."""


@dataclass
class _Hold:
    """The sole right to read a mailbox until a moment, by which every write to its row is guarded."""

    mailbox: Mailbox
    until: datetime
    progress: bool = False
    count: int = 0
    """Messages taken in."""

    @classmethod
    def take(cls, mailbox: Mailbox) -> Self | None:
        now = timezone.now()
        until = now + LEASE
        taken = Mailbox.objects.filter(
            Q(lease_until=None) | Q(lease_until__lte=now),
            Q(next_at=None) | Q(next_at__lte=now),
            pk=mailbox.pk,
        ).update(lease_until=until)
        if not taken:
            return None
        mailbox.refresh_from_db()
        return cls(mailbox, until)

    def keep(self, **values: Any) -> None:
        """Write `values` and have the mailbox for another while. Raises `_Lost`."""
        until = timezone.now() + LEASE
        self._write(lease_until=until, **values)
        self.until = until

    def end(self, **values: Any) -> None:
        self._write(lease_until=None, **values)

    def read(self, uid: int) -> None:
        """The message of that number has been dealt with."""
        self.keep(last_uid=uid, tried_uid=0, tried=0)
        self.progress = True

    def _write(self, **values: Any) -> None:
        if not Mailbox.objects.filter(pk=self.mailbox.pk, lease_until=self.until).update(**values):
            raise _Lost
        for name, value in values.items():
            setattr(self.mailbox, name, value)


def the_inbox() -> Inbox | None:
    """The mailbox that the shop reads; `None` when there is none."""
    return parse(settings.INBOX_URL, settings.INBOX_CA) if settings.INBOX_URL else None


def read_mailbox() -> int:
    """Take in what has come, if it is time to look and nobody else does. Returns how many messages."""
    inbox = the_inbox()
    if inbox is None:
        return 0
    mailbox, _ = Mailbox.objects.get_or_create(name=inbox.name)
    hold = _Hold.take(mailbox)
    if hold is None:
        return 0
    try:
        with opened(inbox) as line:
            to_the_end = _read(line, hold)
        _went_well(hold, to_the_end)
    except Trouble as trouble:
        _note(hold, trouble)
    except _Lost:
        log.info("The mailbox is read by another worker now.")
    except Exception:
        with suppress(DatabaseError, _Lost):
            hold.end()
        raise
    return hold.count


def _read(line: Line, hold: _Hold) -> bool:
    """Whether everything was read that is there."""
    _where_to_begin(line, hold)
    box = hold.mailbox
    hold.keep(full_percent=line.full_percent())
    ends_at = time.monotonic() + _RUN_SECONDS
    assert box.since is not None
    for uid in line.uids(after=box.last_uid, since=box.since):
        if time.monotonic() >= ends_at:
            return False
        _one(line, hold, uid)
    return True


def _where_to_begin(line: Line, hold: _Hold) -> None:
    """A mailbox that nobody has read yet: with what came since the day before, so that years of old mail stay
    where they are. One that numbers anew (RFC 3501, 2.3.1.1): with the day before it was last read; what
    comes a second time is known again by its bytes."""
    box = hold.mailbox
    if box.uidvalidity == line.uidvalidity and box.since is not None:
        return
    if box.uidvalidity is not None:
        log.info("The mailbox %s numbers its messages anew.", box.name)
    day = ((box.read_at or timezone.now()) - timedelta(days=1)).astimezone(UTC).date()
    since = day if box.since is None or box.read_at else box.since
    hold.keep(uidvalidity=line.uidvalidity, last_uid=0, since=since, tried_uid=0, tried=0)


def _one(line: Line, hold: _Hold, uid: int) -> None:
    """Take in one message. It is counted before it is touched, so that one that kills its worker counts as
    well."""
    box = hold.mailbox
    assert box.uidvalidity is not None
    if arrivals.known(box, box.uidvalidity, uid):
        hold.read(uid)
        return
    tries = box.tried + 1 if box.tried_uid == uid else 1
    if tries > TRIES:
        _pass_over(line, hold, uid)
        return
    hold.keep(tried_uid=uid, tried=tries)
    letter = line.letter(uid, between=hold.keep)
    if letter is not None:
        _keep(hold, uid, letter)
    hold.read(uid)


def _keep(hold: _Hold, uid: int, letter: Letter) -> None:
    box = hold.mailbox
    assert box.uidvalidity is not None
    try:
        made = arrivals.take_in(
            letter.raw, mailbox=box, uidvalidity=box.uidvalidity, uid=uid, size=letter.size
        )
        hold.count += made is not None
    except OSError as error:
        hold.keep(tried=box.tried - 1)  # that is not the message's fault
        raise Trouble(
            "There is no room on the disk to keep what has come. It stays in the mailbox."
            if files.no_room(error)
            else "What has come cannot be written to the disk. It stays in the mailbox.",
            error.strerror or error,
        ) from error
    except DatabaseError as error:
        if not isinstance(error, DataError | IntegrityError):
            raise
        raise _untakeable(hold, error) from error
    except Exception as error:
        raise _untakeable(hold, error) from error


def _untakeable(hold: _Hold, error: Exception) -> Trouble:
    if hold.mailbox.tried == 1:
        log.error("Message %s of %s:", hold.mailbox.tried_uid, hold.mailbox.name, exc_info=error)
    return Trouble("A message in the mailbox cannot be taken in, and holds up those after it.", error)


def _pass_over(line: Line, hold: _Hold, uid: int) -> None:
    """Leave a message where it is, with a row in the tray that says so."""
    box, lost = hold.mailbox, None
    try:
        sender, subject = line.sender_and_subject(uid)
    except Trouble as trouble:
        sender, subject, lost = "", "", trouble
    now = timezone.now()
    Arrival.objects.create(
        mailbox=box,
        uidvalidity=box.uidvalidity or 0,
        uid=uid,
        path="",
        bytes=0,
        sha256="",
        from_name=arrivals.plain(sender, 200),
        subject=arrivals.plain(subject, 300),
        verdict=Arrival.Verdict.TRAY,
        why=f"It could not be taken in, in {TRIES} tries. It is still in the mailbox: look at it there."
        + (f" What went wrong: {box.trouble}" if box.trouble else ""),
        state=Arrival.State.DONE,
        done_at=now,
    )
    log.error("Message %s of %s is passed over after %s tries.", uid, box.name, TRIES)
    hold.read(uid)
    if lost:
        raise lost


# -- trouble -------------------------------------------------------------------------------------------------


def _went_well(hold: _Hold, to_the_end: bool) -> None:
    box, now = hold.mailbox, timezone.now()
    if box.trouble:
        log.info("The mailbox %s can be read again.", box.name)
    well = {"trouble": "", "trouble_since": None, "failures": 0}
    if to_the_end:
        hold.end(read_at=now, next_at=now + timedelta(seconds=EVERY * settings.SWEEP_SECONDS), **well)
    else:
        hold.end(next_at=None, **well)
        nudge(TASK)


def _note(hold: _Hold, trouble: Trouble) -> None:
    """Write the trouble down; into the log only when it is another than before."""
    box, now = hold.mailbox, timezone.now()
    if not box.trouble.startswith(trouble.text):
        log.warning("The mailbox %s: %s", box.name, trouble)
    failures = 1 if hold.progress else box.failures + 1
    wait = work.growing_wait(99 if trouble.lasting else failures, first=_FIRST_WAIT, most=_LONGEST_WAIT)
    with suppress(_Lost):
        hold.end(
            trouble=str(trouble),
            trouble_since=box.trouble_since or now,
            failures=failures,
            next_at=now + wait,
        )


def try_now() -> None:
    """The owner does not want to wait for the next try. Raises `Refused` when there is no trouble."""
    inbox = the_inbox()
    rows = Mailbox.objects.filter(name=inbox.name if inbox else "").exclude(trouble="")
    if not rows.update(next_at=None):
        raise Refused("The mailbox is read as it should be.")
    nudge(TASK)
