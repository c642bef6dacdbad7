"""What the desk wants to know about emails."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.conf import settings
from django.db.models import F, Max, Q, QuerySet

from shopdesk.base.models import Heartbeat
from shopdesk.mail.inbox import parse
from shopdesk.mail.models import Arrival, Email, Mailbox, Pause

NEARLY_FULL = 90
"""Percent of what a mailbox may hold, from which on the desk says so."""


def to_send() -> QuerySet[Email]:
    """Emails with everything there that they carry, and that go out by themselves: what a worker may claim
    from."""
    return Email.objects.filter(way=Email.Way.EMAIL, complete=True, bundle=None)


def to_tell() -> QuerySet[Email]:
    """Words for people without email that nobody has passed on yet, oldest first."""
    return Email.objects.filter(way=Email.Way.TELL, told_at=None, not_needed_at=None).order_by(
        "made_at", "id"
    )


def failed() -> QuerySet[Email]:
    """Emails that did not go out and will not unless somebody presses, newest first."""
    return _failed().filter(came_back_at=None)


def came_back() -> QuerySet[Email]:
    """Emails that went out and did not arrive, newest first."""
    return _failed().filter(came_back_at__isnull=False)


def _failed() -> QuerySet[Email]:
    return Email.objects.filter(way=Email.Way.EMAIL, state=Email.State.FAILED).order_by("-done_at", "-id")


def to_place() -> QuerySet[Arrival]:
    """Emails that came in and wait for the owner to say where they belong, longest waiting first."""
    return Arrival.objects.filter(verdict=Arrival.Verdict.TRAY).order_by("made_at", "id")


def laid_aside() -> QuerySet[Arrival]:
    """What came in and has no place: let go, robots' answers, bounces, doubles; newest first."""
    kinds = (
        Arrival.Verdict.DROPPED,
        Arrival.Verdict.AUTOMATIC,
        Arrival.Verdict.BOUNCE,
        Arrival.Verdict.TWICE,
    )
    return Arrival.objects.filter(verdict__in=kinds).order_by("-made_at", "-id")


def waiting() -> QuerySet[Email]:
    """Emails on their way, in the order in which they are due."""
    on_the_way = (Email.State.WAITING, Email.State.UNDER_WAY)
    return Email.objects.filter(way=Email.Way.EMAIL, state__in=on_the_way).order_by("due_at", "id")


def standing_pause(now: datetime, since: timedelta = timedelta(0)) -> Pause | None:
    """The pause of the whole line, where it has held for so long and emails wait for its end."""
    held = Pause.objects.filter(name="out", since__lte=now - since).first()
    return held if held and held_up(now).exists() else None


def held_up(now: datetime) -> QuerySet[Email]:
    """Emails that would be out by now."""
    return waiting().filter(due_at__lte=now)


def waiting_count() -> int:
    return waiting().count()


def not_needed() -> QuerySet[Email]:
    """Emails that had no reason any more when their time came, newest first."""
    return Email.objects.filter(not_needed_at__isnull=False).order_by("-not_needed_at", "-id")


def sent(search: str = "") -> QuerySet[Email]:
    """Emails that went out and words that were passed on, newest first; `search` finds names, addresses and
    subjects."""
    gone = Email.objects.filter(state=Email.State.DONE, not_needed_at=None)
    rows = gone.order_by(F("done_at").desc(nulls_last=True), "-id")
    for word in search.split()[:8]:
        rows = rows.filter(
            Q(to_name__icontains=word) | Q(to_address__icontains=word) | Q(subject__icontains=word)
        )
    return rows


def worker_seen() -> Heartbeat | None:
    """When a worker last said that it is alive; `None` when none ever has."""
    return Heartbeat.objects.filter(name="worker").first()


def mailbox_trouble() -> Mailbox | None:
    """The shop's mailbox while it cannot be read (`trouble`) or is nearly full (`full_percent`)."""
    if not settings.INBOX_URL:
        return None
    name = parse(settings.INBOX_URL).name
    return Mailbox.objects.filter(~Q(trouble="") | Q(full_percent__gte=NEARLY_FULL), name=name).first()


_RECENT = 20_000


def latest_of(kind: str) -> Email | None:
    """The latest email of a kind that still knows what it is about, if there is one among the recent ones."""
    newest = Email.objects.aggregate(newest=Max("id"))["newest"] or 0
    rows = Email.objects.filter(kind=kind, id__gt=newest - _RECENT).exclude(context={})
    return rows.order_by("-id").first()
