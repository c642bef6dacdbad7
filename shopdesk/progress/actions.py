"""Showing the client how far their piece is."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.actions import add_shots
from shopdesk.commissions.letters import to_client
from shopdesk.commissions.models import Commission, Shot
from shopdesk.commissions.shown import shown
from shopdesk.commissions.stages import ENDS, locked, write_line
from shopdesk.photos.models import Picture
from shopdesk.progress.models import Update

LONGEST = 1000


@transaction.atomic
def show(
    commission: Commission, text: str, who: Who, pictures: Sequence[Picture] = (), *, finished: bool = False
) -> Update:
    """Pictures, a few words, sent. The client's page shows it at once; several within ten minutes go out as
    one email. `finished` marks the pictures as the final ones, which Ready waits for."""
    now = locked(commission.pk)
    text = text.strip()
    if not text and not pictures:
        raise Refused("Pick a picture or write two lines.", field="text")
    if len(text) > LONGEST:
        raise Refused(f"Keep it under {LONGEST:,} characters: this is a picture and two lines.", field="text")
    if finished and not pictures:
        raise Refused("Pick the picture of the finished piece.", field="photos")
    if now.stage in ENDS and now.stage != "collected":
        raise Refused("This commission has ended; there is nothing to show any more.")
    update = Update.objects.create(commission=commission, text=text, user_id=who.id)
    update.shots.set(
        add_shots(
            commission, pictures, Shot.Kind.FINAL if finished else Shot.Kind.PROGRESS, caption=text[:200]
        )
    )
    write_line(commission, who, "progress shown", "Progress shown", for_client=False)
    to_client(
        commission,
        "progress",
        {"items": [{"text": text or "New pictures", "pictures": len(pictures)}]},
        gather=f"progress {commission.pk}",
        enclose=shown(pictures, text or "New picture"),
    )
    return update
