"""What the desk wants to know about emails."""

from __future__ import annotations

from django.conf import settings
from django.db.models import Exists, F, OuterRef, Q, QuerySet

from shopdesk.base.models import Heartbeat
from shopdesk.mail.inbox import parse
from shopdesk.mail.models import Email, Enclosure, Mailbox

NEARLY_FULL = 90
"""Percent of what a mailbox may hold, from which on the desk says so."""

_UNREADY = Enclosure.objects.filter(email=OuterRef("pk"), ready=False)


def to_send() -> QuerySet[Email]:
    """Emails with everything there that they carry: what a worker may claim from."""
    return Email.objects.filter(~Exists(_UNREADY), way=Email.Way.EMAIL)


def to_tell() -> QuerySet[Email]:
    """Words for people without email that nobody has passed on yet, oldest first."""
    return Email.objects.filter(way=Email.Way.TELL, told_at=None).order_by("made_at", "id")


def failed() -> QuerySet[Email]:
    """Emails that will not go out unless somebody presses, newest first."""
    return Email.objects.filter(way=Email.Way.EMAIL, state=Email.State.FAILED).order_by("-done_at", "-id")


def waiting() -> QuerySet[Email]:
    """Emails on their way, in the order in which they are due."""
    on_the_way = (Email.State.WAITING, Email.State.UNDER_WAY)
    return Email.objects.filter(way=Email.Way.EMAIL, state__in=on_the_way).order_by("due_at", "id")


def waiting_count() -> int:
    return waiting().count()


def sent(search: str = "") -> QuerySet[Email]:
    """Emails that went out and words that were passed on, newest first; `search` finds names, addresses and
    subjects."""
    rows = Email.objects.filter(state=Email.State.DONE).order_by(F("done_at").desc(nulls_last=True), "-id")
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
