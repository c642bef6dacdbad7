"""What emails carry comes into being elsewhere: the email waits until all of it is there."""

from __future__ import annotations

from collections.abc import Collection
from datetime import timedelta

from django.db.models import Exists, OuterRef
from django.utils import timezone

from shopdesk.base import blobs
from shopdesk.base.nudge import nudge
from shopdesk.mail.actions import TASK
from shopdesk.mail.models import Email, Enclosure

LATE = timedelta(minutes=20)
"""An email does not wait longer for a picture: it is on the page that the email links to."""
_AT_ONCE = 100
_State = Email.State
_looked_until = [""]
"""The ref that this process has got to: where many are missing, each run looks for the next of them."""


def there(sender: object, ref: str, **kwargs: object) -> None:
    """Bytes have come into being: an email that carries them may go."""
    missing = Enclosure.objects.filter(ref=ref, ready=False)
    emails = set(missing.values_list("email_id", flat=True))
    if emails:
        missing.update(ready=True)
        _complete(emails)
        nudge(TASK)


def look_for_enclosures() -> None:
    """The signal that bytes have come into being may have died with its worker: look."""
    missing = Enclosure.objects.filter(ready=False, email__way=Email.Way.EMAIL, email__state=_State.WAITING)
    found = list(
        missing.filter(ref__gt=_looked_until[0]).select_related("email").order_by("ref", "id")[:_AT_ONCE]
    )
    _looked_until[0] = found[-1].ref if len(found) == _AT_ONCE else ""
    for enclosure in found:
        _look_for(enclosure)
    # Two that came at once may each have found the other missing.
    _complete(Email.objects.filter(complete=False).values_list("pk", flat=True)[:_AT_ONCE])


def _look_for(enclosure: Enclosure) -> None:
    rows = Enclosure.objects.filter(pk=enclosure.pk)
    try:
        blobs.fetch(enclosure.ref)
    except blobs.NotYet:
        if not enclosure.cid or timezone.now() - enclosure.email.made_at < LATE:
            return
        rows.delete()
    except blobs.Gone as error:
        if enclosure.cid:
            rows.delete()
        else:
            Email.objects.filter(pk=enclosure.email_id, state=_State.WAITING).update(
                state=_State.FAILED,
                done_at=timezone.now(),
                trouble=f"What it should carry is gone: {error}",
            )
            return
    else:
        rows.update(ready=True)
    _complete([enclosure.email_id])


def _complete(emails: Collection[int]) -> None:
    """Let those go that miss nothing any more."""
    missing = Enclosure.objects.filter(email=OuterRef("pk"), ready=False)
    rows = Email.objects.filter(pk__in=list(emails), complete=False)
    whole = list(rows.exclude(Exists(missing)).values_list("pk", flat=True))
    if whole:
        rows.filter(pk__in=whole).update(complete=True)
