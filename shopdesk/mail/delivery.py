"""Handing emails over. A worker claims one after the other and sends them through one connection.

1. Look for what waiting emails carry and whose bytes have come into being meanwhile.
2. Claim an email with everything there; at its first try, make its words and keep them.
3. Hand it over; mark it done, put it off, or give it up with a reason.

A worker that is killed between the server's yes and the mark leaves a row whose lease runs out: the email
goes out again, with the same Message-ID and Date, so that a mailbox can tell."""

from __future__ import annotations

import logging
import smtplib
import time
from dataclasses import dataclass, field
from datetime import timedelta

from django.core.mail import get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db import DatabaseError
from django.utils import timezone

from shopdesk.base import blobs, work
from shopdesk.base.nudge import nudge
from shopdesk.mail.actions import TASK
from shopdesk.mail.message import BadAddress, DeadLink, message
from shopdesk.mail.models import Email, Enclosure
from shopdesk.mail.queries import to_send
from shopdesk.mail.words import NoWords, words

log = logging.getLogger(__name__)

LEASE = timedelta(minutes=5)
"""Longer than all that may happen to one email: `EMAIL_TIMEOUT` for each of a handful of answers of the
server."""
TRIES = 17
"""With growing waits these are about two days."""
LATEST_PICTURE = timedelta(minutes=20)
"""No longer do words wait for a picture that stands within them: it is on the page as well."""
_RUN_SECONDS = 120
_SHOP_WIDE_CODES = (421, 530, 534, 535, 538)
"""Answers that are about the server or our account and not about the email in hand (RFC 5321, RFC 4954)."""


class _Refused(Exception):
    """The server will never take this email."""


class _Later(Exception):
    """The server does not take this email now."""


class _NoServer(Exception):
    """Nothing can be handed over now."""


@dataclass
class _Line:
    """One connection for many emails. After trouble it is closed, and opened again for the next email."""

    backend: BaseEmailBackend = field(default_factory=lambda: get_connection())
    handed_over: int = 0
    """Since it was opened."""

    def hand_over(self, email: Email) -> None:
        letter = message(email)
        try:
            self.backend.open()
            self.backend.send_messages([letter])
        except smtplib.SMTPRecipientsRefused as error:
            code, said = next(iter(error.recipients.values()))
            raise self._judged(email, code, said) from error
        except (smtplib.SMTPAuthenticationError, smtplib.SMTPConnectError, smtplib.SMTPHeloError) as error:
            raise _NoServer(_answer(error.smtp_code, error.smtp_error)) from error
        except smtplib.SMTPSenderRefused as error:
            if error.smtp_code == 552:  # too large, said early (RFC 1870)
                raise self._judged(email, error.smtp_code, error.smtp_error) from error
            raise _NoServer(_answer(error.smtp_code, error.smtp_error)) from error
        except smtplib.SMTPResponseException as error:
            raise self._judged(email, error.smtp_code, error.smtp_error) from error
        except OSError as error:  # no route, no answer, a line that went dead, a full disk; smtplib's own too
            raise _NoServer(str(error) or type(error).__name__) from error
        self.handed_over += 1

    def _judged(self, email: Email, code: int, said: bytes | str) -> Exception:
        answer = _answer(code, said)
        if code in _SHOP_WIDE_CODES:
            return _NoServer(answer)
        if code >= 500:
            return _Refused(f"{email.to_address} was refused by the mail server: {answer}")
        return _Later(f"The mail server does not take it for now: {answer}")

    def close(self) -> None:
        self.handed_over = 0
        try:
            self.backend.close()
        except OSError as error:
            log.info("The mail server's line was closed from the other side: %s", error)


def deliver_all() -> int:
    """Send every email that is due. Returns how many were handed over. Ends early when the mail server
    cannot be reached (the others stay in line as they are) or after two minutes (and asks for another
    run)."""
    _look_for_enclosures()
    line = _Line()
    ends_at = time.monotonic() + _RUN_SECONDS
    count = 0
    try:
        while (email := work.claim(to_send(), lease=LEASE)) is not None:
            done, go_on = _deliver(email, line)
            count += done
            if not go_on:
                break
            if time.monotonic() > ends_at:
                nudge(TASK)
                break
    finally:
        line.close()
    return count


def _deliver(email: Email, line: _Line) -> tuple[bool, bool]:
    """One claimed email → whether it was handed over, and whether the run goes on."""
    try:
        if email.tries > TRIES + 3:  # no answer of a server ended these tries: the worker died of the email
            work.give_up(email, "It was tried again and again and never came to an end.")
            return False, True
        if email.worded_at is None and not _word(email):
            return False, True
        line.hand_over(email)
    except (NoWords, BadAddress, DeadLink, _Refused) as error:
        work.give_up(email, str(error))
    except blobs.Gone as error:
        work.give_up(email, f"What it should carry is gone: {error}")
    except blobs.NotYet:
        work.put_off(email, timedelta(minutes=1), "What it carries is not there at the moment.")
    except _Later as error:
        _put_off(email, str(error))
    except _NoServer as error:
        log.warning("The mail server cannot be used: %s", error)
        # A line that has carried something may simply have had enough: then a new one is worth a try.
        worth_a_try = line.handed_over > 0
        line.close()
        _put_off(email, f"The mail server could not be reached or used: {error}")
        return False, worth_a_try
    except DatabaseError:
        raise
    except Exception as error:
        # Whatever is wrong with one email (a template's filter, a picture's bytes), the others go out.
        log.exception("Email %s could not be made.", email.pk)
        work.give_up(email, f"It could not be made: {error}")
    else:
        return work.finish(email), True
    return False, True


def _word(email: Email) -> bool:
    """Make the words and keep them before anybody sees them. `False` when somebody else took the email
    over."""
    said = words(email)
    now = timezone.now().replace(microsecond=0)
    kept = Email.objects.filter(pk=email.pk, lease=email.lease, state=Email.State.UNDER_WAY).update(
        subject=said.subject, text=said.text, html=said.html, worded_at=now
    )
    email.subject, email.text, email.html, email.worded_at = said.subject, said.text, said.html, now
    return bool(kept)


def _put_off(email: Email, trouble: str) -> None:
    if email.tries >= TRIES:
        work.give_up(email, f"After two days of trying: {trouble}")
    else:
        work.put_off(email, work.growing_wait(email.tries), trouble)


def _answer(code: int, said: bytes | str) -> str:
    words = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
    return " ".join(f"{code} {words}".split())[:300]


def _look_for_enclosures() -> None:
    """The signal that bytes have come into being may have died with its worker: look."""
    late = timezone.now() - LATEST_PICTURE
    missing = Enclosure.objects.filter(
        ready=False, email__way=Email.Way.EMAIL, email__state=Email.State.WAITING
    ).order_by("id")
    for enclosure in missing.select_related("email"):
        try:
            blobs.fetch(enclosure.ref)
        except blobs.NotYet:
            if enclosure.cid and enclosure.email.due_at < late:
                enclosure.delete()
        except blobs.Gone as error:
            if enclosure.cid:  # the words go without the picture
                enclosure.delete()
                continue
            Email.objects.filter(pk=enclosure.email_id, state=Email.State.WAITING).update(
                state=Email.State.FAILED,
                done_at=timezone.now(),
                trouble=f"What it should carry is gone: {error}",
            )
        else:
            Enclosure.objects.filter(pk=enclosure.pk).update(ready=True)


def there(sender: object, ref: str, **kwargs: object) -> None:
    """Bytes have come into being: an email that carries them may go."""
    if Enclosure.objects.filter(ref=ref, ready=False).update(ready=True):
        nudge(TASK)
