"""Handing emails over: a run of one worker, through one connection.

1. Look for what waiting emails carry and whose bytes have come into being meanwhile (`enclosed`).
2. Take emails with everything there (`claims`, `bundles`); at the first try, make their words and keep them.
3. Ask once more whether each is needed and nobody has taken it away, and hand it over; mark it done, put it
   off, or give it up with a reason.
4. When the server cannot be used, stop the whole line (`pause`): no email bears a try for that.

A worker that is killed between the server's yes and the mark leaves a row whose lease runs out: the email
goes out again, with the same Message-ID and Date, so that a mailbox can tell.

Where the handing over of one email broke off, only another email can say whose fault it was. Until one went
through, or several broke off as well, the first is a suspect, and nothing is written down against it."""

from __future__ import annotations

import logging
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.core.mail import get_connection
from django.db import DataError, InterfaceError, OperationalError, connection, transaction
from django.utils import timezone

from shopdesk.base import blobs, work
from shopdesk.base.nudge import nudge
from shopdesk.mail import bundles, claims, links, pause, returned
from shopdesk.mail.actions import TASK
from shopdesk.mail.enclosed import look_for_enclosures
from shopdesk.mail.handing import Away, Broken, Later, Line, Refused
from shopdesk.mail.message import BadAddress, DeadLink, Letter, message
from shopdesk.mail.models import Email, Pause
from shopdesk.mail.own import Sources
from shopdesk.mail.still import still_needed
from shopdesk.mail.words import NoWords, words

log = logging.getLogger(__name__)

LEASE = timedelta(minutes=5)
"""Longer than all that may happen to one email: `EMAIL_TIMEOUT` for each of a handful of answers of the
server."""
BATCH = 16
TWO_DAYS = timedelta(days=2)
"""So long a server is asked again that does not take an email for now."""
MOST_TRIES = 40
"""More than two days of asking come to: such an email never came to an end, because its worker died."""
BROKEN_IN_A_ROW = 3
"""So many different emails whose handing over broke off are the server's fault."""
NO_IN_A_ROW = 8
"""After so many in a row that the server did not take, for now or for good, the line stops: it must not turn
everything away."""
NO_TO_A_TRIAL = 3
"""The same where it is tried whether a pause is over."""
_RUN_SECONDS = 120
_AGAIN_AFTER = (0.2, 1.0, 3.0)
"""Seconds after which a database that went away is asked again to note a server's yes."""
_NOT_THERE = (OperationalError, InterfaceError)


def deliver_all() -> int:
    """Send every email that is due. Returns how many were handed over. Ends early when the mail server
    cannot be used (the others stay in line as they are) or after two minutes (and asks for another run)."""
    look_for_enclosures()
    return _Run().go()


@dataclass
class _Run:
    line: Line = field(default_factory=lambda: Line(lambda: get_connection()))
    handed_over: int = 0
    last_yes: datetime | None = None
    noes: int = 0
    """Emails in a row that the server did not take."""
    suspects: list[tuple[Email, Broken]] = field(default_factory=list)
    trial: Pause | None = None
    """The pause, where it is this run that tries whether it is over."""
    taken: list[Email] = field(default_factory=list)
    """Claimed, and not looked at yet."""
    long_line: bool = False
    """Whether the last batch was a whole one."""
    links: dict[str, str] = field(default_factory=dict)
    """Those in what was taken, looked up together."""

    def go(self) -> int:
        ends_at = timezone.now() + timedelta(seconds=_RUN_SECONDS)
        going = True
        try:
            while going and self._may_take() and self._take():
                while going and self.taken:
                    going = self._deliver(self.taken.pop(0))
                    if going and timezone.now() > ends_at:
                        nudge(TASK)
                        going = False
            self._end_of_line()
            self.line.close()
        finally:
            self.line.drop()
            self._leave()
        return self.handed_over

    # -- taking -----------------------------------------------------------------------------------------

    def _may_take(self) -> bool:
        """Whether the line does not stand still; or it does, and it is this run that tries it."""
        if self.trial:
            return True
        standing = pause.standing()
        if standing is None:
            return True
        if self.last_yes is not None and self.last_yes > standing.since:
            pause.lift()  # somebody else had trouble, and the server took ours after that
            return True
        if pause.probe(standing, LEASE):
            self.trial = standing
            return True
        return False

    def _take(self) -> bool:
        """Claim what is next. `False` when nothing is. What somebody else has left is looked for at first,
        and when there is no more than a batch in line."""
        if not self.long_line and self._take_left():
            return True
        most = 1 if self.trial else BATCH
        self.taken = claims.due(most, LEASE)
        self.long_line = len(self.taken) == most
        if self.taken:
            self.taken = self._with_words(self.taken)
            return True
        self.taken = bundles.next_one(LEASE)
        return bool(self.taken) or self._take_left()

    def _take_left(self) -> bool:
        while left := claims.abandoned(LEASE):
            if not left[0].can_wait or bundles.may_still_go(left[0]):
                self.taken = left
                return True
        return False

    def _with_words(self, batch: Sequence[Email]) -> list[Email]:
        """Make the words of several and keep them at one stroke."""
        ready = {email.pk for email in batch if email.worded_at is not None}
        fresh, sources = [], Sources()
        for email in batch:
            if email.pk not in ready:
                with _own_trouble(email):
                    _make_words(email, sources)
                    fresh.append(email)
        try:
            ready |= {email.pk for email in claims.keep_all_words(fresh)}
        except (DataError, ValueError):  # words that the database does not take: each alone shows whose
            for email in fresh:
                with _own_trouble(email), transaction.atomic():
                    if claims.keep_words(email):
                        ready.add(email.pk)
        worded = [email for email in batch if email.pk in ready]
        self.links = links.written_for(f"{email.text} {email.stop}" for email in worded)
        return worded

    # -- handing over -----------------------------------------------------------------------------------

    def _deliver(self, email: Email) -> bool:
        """One claimed email. Returns whether the run goes on."""
        ready: tuple[Letter, Sequence[Email]] | None = None
        with _own_trouble(email):
            ready = _made_ready(email, self.links)
        if ready is None or not self._is_ours(email):
            return True
        letter, members = ready
        try:
            self.line.hand_over(letter)
        except BadAddress as error:  # it takes a server that knows such addresses, and this one does not
            claims.give_up(email, str(error))
            return True
        except Refused as error:
            self._refused(email, error)
            return self._no(str(error))
        except Later as error:
            _put_off(email, str(error))
            return self._no(str(error))
        except Broken as error:
            self.line.drop()
            self.suspects.append((email, error))
            unheard_of = [one for one, _ in self.suspects if self.trial or _is_fresh(one)]
            if len(unheard_of) >= BROKEN_IN_A_ROW:
                self._stop(str(error))
                return False
            return self._no(str(error))
        except Away as error:
            self.line.drop()
            claims.put_back([email])
            self._stop(str(error))
            return False
        except Exception as error:
            log.exception("Email %s could not be handed over.", email.pk)
            self.line.drop()
            claims.give_up(email, f"It could not be handed over: {error}")
            return True
        self.handed_over += 1
        if not _noted(email, members):
            log.warning("Email %s was handed over, and by another worker as well.", email.pk)
        self._yes()
        return True

    def _refused(self, email: Email, error: Refused) -> None:
        """For good. Where there is no such address, what was taken for it besides goes back into line first:
        it becomes words to tell, with all that waits."""
        if returned.no_such_address(error.status):
            address = email.to_address.lower()
            claims.put_back(one for one in self.taken if one.to_address.lower() == address)
            self.taken = [one for one in self.taken if one.to_address.lower() != address]
        returned.refused(email, str(error), error.status)

    def _is_ours(self, email: Email) -> bool:
        """Asked right before it is handed over: nobody has taken it over, it has no other address since, and
        enough is left of the lease for all that may happen to it. Those that were taken together share one,
        and the last begins it anew."""
        assert email.lease_until is not None
        if email.lease_until - timezone.now() > LEASE * 0.8:
            return claims.still_mine(email)
        return claims.renew(email, LEASE)

    def _yes(self) -> None:
        """The server works: whatever broke off before was the fault of that email."""
        self.last_yes, self.noes = timezone.now(), 0
        for email, error in self.suspects:
            _put_off(email, str(error))
        self.suspects.clear()
        self._lift()

    def _no(self, why: str) -> bool:
        self.noes += 1
        if self.noes < (NO_TO_A_TRIAL if self.trial else NO_IN_A_ROW):
            return True
        self._stop(why)
        return False

    # -- whose fault it is ------------------------------------------------------------------------------

    def _stop(self, why: str) -> None:
        """It is the server's fault: the whole line waits, and nothing counts against the suspects; but others
        are tried before them."""
        log.warning("The mail server cannot be used: %s", why)
        for email, error in self.suspects:
            claims.put_back([email], due_at=timezone.now(), trouble=str(error))
        self.suspects.clear()
        if self.trial:
            pause.failed(self.trial, why)
            self.trial = None
        else:
            pause.begin(why)

    def _lift(self) -> None:
        if self.trial:
            pause.lift()
            self.trial = None

    def _end_of_line(self) -> None:
        """Nothing more is due that could say whose fault it was."""
        if self.suspects:
            email, error = self.suspects[-1]
            if self.trial or (error.shop_wide and _is_fresh(email) and self.last_yes is None):
                self._stop(str(error))
            else:
                for email, error in self.suspects:
                    _put_off(email, str(error))
                self.suspects.clear()
        elif self.trial and self.noes:
            self._lift()  # it answers, and had something against those emails
        elif self.trial:
            pause.put_back(self.trial)
            self.trial = None

    def _leave(self) -> None:
        """Whatever ends the run: what was claimed goes back into line. What cannot be written down is taken
        over when its lease has run out."""
        left = [*self.taken, *(email for email, _ in self.suspects)]
        self.taken, self.suspects = [], []
        try:
            claims.put_back(left)
            if self.trial:
                pause.put_back(self.trial)
        except _NOT_THERE as error:
            log.warning("%s emails wait until their lease has run out: %s", len(left), error)


@contextmanager
def _own_trouble(email: Email) -> Iterator[None]:
    """What is wrong with one email (its words, what it carries, a bug) ends that one or puts it off; the
    others go out."""
    try:
        yield
    except (NoWords, BadAddress, DeadLink) as error:
        claims.give_up(email, str(error))
    except blobs.Gone as error:
        claims.give_up(email, f"What it should carry is gone: {error}")
    except blobs.NotYet:
        _put_off(email, "What it carries is not there at the moment.")
    except _NOT_THERE:
        raise
    except Exception as error:
        log.exception("Email %s could not be made.", email.pk)
        claims.give_up(email, f"It could not be made: {error}")


def _made_ready(email: Email, written: dict[str, str]) -> tuple[Letter, Sequence[Email]] | None:
    """What is to be handed over, and which emails go out in it; `None` when nothing goes."""
    if email.tries > MOST_TRIES:
        claims.give_up(email, "It was tried again and again and never came to an end.")
        return None
    if email.carries:
        members = bundles.prepare(email)
        return None if members is None else (message(email), members)
    if email.worded_at is None:
        _make_words(email)
        if not claims.keep_words(email):
            return None
    if not still_needed(email):
        claims.not_needed(email)
        return None
    return message(email, written), ()


def _is_fresh(email: Email) -> bool:
    """Whether it has not been a suspect before, nor been put off: what breaks off again and again while
    others go out says nothing about the server."""
    return email.put_off_since is None and (not email.trouble or email.held_at is not None)


def _make_words(email: Email, sources: Sources | None = None) -> None:
    said = words(email, sources)
    email.subject, email.text, email.html = said.subject, said.text, said.html
    email.worded_at = timezone.now().replace(microsecond=0)


def _put_off(email: Email, trouble: str) -> None:
    """Later, after a growing wait; after two days, not any more."""
    now = timezone.now()
    since = email.put_off_since or now
    left = since + TWO_DAYS - now
    if left <= timedelta(0):
        claims.give_up(email, f"After two days of trying: {trouble}")
    else:
        work.put_off(email, min(work.growing_wait(email.tries), left), trouble, put_off_since=since)


def _noted(email: Email, members: Sequence[Email]) -> bool:
    """Write the server's yes down, also where the database went away in this moment."""
    for seconds in _AGAIN_AFTER:
        try:
            return claims.finish(email, members)
        except _NOT_THERE as error:
            if connection.in_atomic_block:
                raise
            log.warning("The database is asked again to note that email %s went out: %s", email.pk, error)
            connection.close()
            time.sleep(seconds)
    return claims.finish(email, members)
