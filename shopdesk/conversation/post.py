"""The post that came in, put where it belongs; the worker's part.

1. Claim an arrival, hear what it says, find out where it belongs.
2. Take in its pictures, if it goes into a conversation.
3. In one transaction: the message in the conversation and the arrival's end, or only its end with the reason.

A worker that is killed before the third has changed nothing that anybody sees, and another takes over when
the lease has run out; one whose lease was lost rolls the third back."""

from __future__ import annotations

import contextlib
import logging
from datetime import timedelta

from django.db import InterfaceError, OperationalError, transaction

from shopdesk.base import work
from shopdesk.base.limits import allow
from shopdesk.base.refusals import Refused
from shopdesk.conversation import placing
from shopdesk.conversation.belongs import Aside, Place, belongs
from shopdesk.mail.arrivals import TASK, said_in
from shopdesk.mail.heard import Heard
from shopdesk.mail.models import Arrival, Email
from shopdesk.mail.returned import came_back

log = logging.getLogger(__name__)

LEASE = timedelta(minutes=5)
"""Longer than it takes to hear an email of 25 MB and to decode twenty pictures."""
MOST_TRIES = 5
"""With the growing waits, some five minutes; then the owner has it."""
A_TIME = 20
"""Emails from one address in one conversation within an hour that are placed. What comes beyond is no
person's: it waits in the tray, and nobody is written to."""
Verdict = Arrival.Verdict


class _Lost(Exception):
    """Somebody else has taken it over: what was done here is rolled back."""


def place_all() -> int:
    """Put everything that came in where it belongs. Returns how many emails it looked at."""
    return work.run_all(lambda: work.claim(Arrival.objects.all(), lease=LEASE), place, task=TASK)


def place(arrival: Arrival) -> None:
    """Put one claimed arrival where it belongs. One that makes trouble again and again is the owner's to look
    at; it holds up no other."""
    if arrival.tries > MOST_TRIES:
        trouble = arrival.trouble or "It was begun several times and never came to an end."
        _end(arrival, Aside(Verdict.TRAY, f"It could not be read. {trouble}"))
        return
    try:
        mail = said_in(arrival)
        where = belongs(mail, arrival.made_at)
        if isinstance(where, Place):
            _say(arrival, mail, where, placing.take_pictures(mail, where))
        else:
            _end(arrival, where)
    except FileNotFoundError:
        _end(arrival, Aside(Verdict.TRAY, arrival.why or "The file it was kept in is not there any more."))
    except Refused as no:
        _end(arrival, Aside(Verdict.TRAY, f"It could not be placed. {no.sentence}"))
    except (OperationalError, InterfaceError):  # the database is away: that is not the email's fault
        raise
    except Exception as error:
        log.exception("Arrival %s could not be placed.", arrival.pk)
        words = f"{type(error).__name__}: {error}".replace("\0", "")[:300]
        work.put_off(arrival, work.growing_wait(arrival.tries), words)


def _say(arrival: Arrival, mail: Heard, place: Place, taken: placing.Taken) -> None:
    number = place.commission.number
    thread = f"commission {place.commission.pk}{' shop' if place.by_shop else ''}"
    whose = f"mail from {mail.from_address[:60]} about {place.commission.pk}"
    with contextlib.suppress(_Lost), transaction.atomic():
        if _is_double(arrival):
            _finish(arrival, Aside(Verdict.TWICE, _DOUBLE))
        elif place.by_shop and taken.refused:
            why = f"It answers an email to you about {number}, and not all of it can go on from here: "
            _finish(arrival, Aside(Verdict.TRAY, why + " ".join(taken.refused), thread))
        elif not allow(whose, most=A_TIME, span=timedelta(hours=1)):
            why = f"More than {A_TIME} emails about {number} came from this address within an hour."
            _finish(arrival, Aside(Verdict.TRAY, why, thread))
        else:
            _finish(arrival, Aside(Verdict.PLACED, f"It answers {number}."))
            placing.say(arrival, mail, place, taken)


_DOUBLE = "The same email came before."


def _end(arrival: Arrival, aside: Aside) -> None:
    with contextlib.suppress(_Lost), transaction.atomic():
        if aside.verdict != Verdict.OURS and _is_double(arrival):
            aside = Aside(Verdict.TWICE, _DOUBLE)
        elif aside.returned is not None:
            email, bounce = aside.returned
            if email.state == Email.State.UNDER_WAY:  # the server is quicker than whoever hands it over
                work.put_off(arrival, timedelta(minutes=1), counts=False)
                return
            aside = Aside(Verdict.BOUNCE, came_back(email, bounce))
        _finish(arrival, aside)


def _finish(arrival: Arrival, aside: Aside) -> None:
    if not work.finish(arrival, verdict=aside.verdict, why=aside.why, hint=aside.hint):
        raise _Lost


def _is_double(arrival: Arrival) -> bool:
    """Whether an email with the same Message-ID from the same sender has found its end before. Two at once:
    the second waits here for the first."""
    if not arrival.message_id:
        return False
    same = Arrival.objects.filter(message_id=arrival.message_id, from_address=arrival.from_address)
    return any(
        one.verdict and one.pk != arrival.pk for one in same.select_for_update(of=("self",)).order_by("pk")
    )
