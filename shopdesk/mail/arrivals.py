"""Messages that came in: each is kept whole as a file, with a row that says what it is. Nothing is judged
here (that is whose task `TASK` is), and nothing that a mailbox still holds is lost by forgetting it here."""

from __future__ import annotations

import hashlib
import logging
import uuid
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db import DataError, IntegrityError, transaction
from django.utils import timezone

from shopdesk.base import files
from shopdesk.base.limits import allow
from shopdesk.base.nudge import nudge
from shopdesk.mail.heard import Heard, heard
from shopdesk.mail.models import Arrival, Mailbox

log = logging.getLogger(__name__)

TASK = "shopdesk.mail.arrivals"
TIDY = "shopdesk.mail.forget"
KEPT = timedelta(days=90)
"""How long what nobody has to read any more is kept, in case somebody asks."""
KEPT_FOR_NOBODY = timedelta(days=1)
"""How old a file has to be that no row knows, to be what a killed worker left behind."""
OF_NO_USE = (
    Arrival.Verdict.AUTOMATIC,
    Arrival.Verdict.BOUNCE,
    Arrival.Verdict.OURS,
    Arrival.Verdict.TWICE,
    Arrival.Verdict.DROPPED,
)
_EXCERPT = 300
_BATCH = 200
_MOST_BYTES = 2**31 - 1
"""That the column holds."""


def take_in(
    raw: bytes, *, mailbox: Mailbox | None = None, uidvalidity: int = 0, uid: int = 0, size: int = 0
) -> Arrival | None:
    """Keep one message, and have it looked at. `None` when it is there already: by its number in the mailbox,
    or byte for byte. `size` is what it has in all where `raw` is only its beginning.

    The file is there before the row. Raises `OSError` (a full disk) and database errors; nothing is kept
    then."""
    numbered = mailbox is not None and known(mailbox, uidvalidity, uid)
    sha256 = hashlib.sha256(raw).hexdigest()
    said = heard(raw)
    message_id = plain(said.message_id, 300)
    if numbered or Arrival.objects.filter(message_id=message_id, sha256=sha256).exists():
        return None
    key = uuid.uuid4()
    path = f"{key.hex[:2]}/{key}.eml"
    Path(settings.ARRIVALS).mkdir(mode=0o700, parents=True, exist_ok=True)
    files.put(settings.ARRIVALS / path, raw)
    try:
        with transaction.atomic():
            arrival = Arrival.objects.create(
                mailbox=mailbox,
                uidvalidity=uidvalidity,
                uid=uid,
                path=path,
                bytes=min(max(size, len(raw)), _MOST_BYTES),
                sha256=sha256,
                message_id=message_id,
                from_name=plain(said.from_name, 200),
                from_address=plain(said.from_address, 254),
                subject=plain(said.subject, 300),
                excerpt=plain(said.words, _EXCERPT),
            )
            nudge(TASK)
    except (DataError, IntegrityError) as error:
        # There is no row. After any other trouble there may be: a file without one goes after a day.
        (settings.ARRIVALS / path).unlink(missing_ok=True)
        if isinstance(error, IntegrityError) and mailbox and known(mailbox, uidvalidity, uid):
            return None  # a worker whose lease had run out was quicker
        raise
    return arrival


def known(mailbox: Mailbox, uidvalidity: int, uid: int) -> bool:
    """Whether the message of that number was taken in already."""
    return Arrival.objects.filter(mailbox=mailbox, uidvalidity=uidvalidity, uid=uid).exists()


def raw_of(arrival: Arrival) -> bytes:
    """The message as it came. Raises `FileNotFoundError` for one that could not be taken in (no `path`)."""
    if not arrival.path:
        raise FileNotFoundError("It was never read from the mailbox.")
    return Path(settings.ARRIVALS, arrival.path).read_bytes()


def said_in(arrival: Arrival) -> Heard:
    """What the message says, and what was left in the mailbox of one that is too large. Raises
    `FileNotFoundError` as `raw_of` does."""
    raw = raw_of(arrival)
    said = heard(raw)
    if arrival.bytes > len(raw):
        rest = f"the rest of the email: it has {arrival.bytes / 1024**2:.0f} MB and is whole in the mailbox"
        said = replace(said, left_out=(*said.left_out, rest))
    return said


def plain(text: str, most: int) -> str:
    """One line that any database takes: no NUL, no half of a surrogate pair."""
    sound = text.encode("utf-8", "replace").decode().replace("\0", "")
    return " ".join(sound.split())[:most].rstrip()


# -- forgetting ----------------------------------------------------------------------------------------------


def forget_now_and_then() -> None:
    """Once a day, whoever's sweep comes first."""
    if allow(TIDY, most=1, span=timedelta(days=1)):
        forget(timezone.now())


def forget(now: datetime) -> int:
    """Take away robots' answers, bounces, doubles and what the owner let go, three months after; and files
    that no row knows. What stands in a conversation or waits to be placed stays. Returns how many files and
    rows went."""
    count = 0
    while batch := _forgotten(now - KEPT):
        for path in filter(None, batch.values()):
            Path(settings.ARRIVALS, path).unlink(missing_ok=True)
        count += len(batch)
    return count + _remove_unknown_files(now - KEPT_FOR_NOBODY)


@transaction.atomic
def _forgotten(before: datetime) -> dict[int, str]:
    """The next rows that ended before that moment and are of no use, gone now; their files' paths by id."""
    old = Arrival.objects.filter(verdict__in=OF_NO_USE, state=Arrival.State.DONE, done_at__lt=before)
    batch = dict(old.select_for_update().order_by("pk").values_list("pk", "path")[:_BATCH])
    Arrival.objects.filter(pk__in=batch).delete()
    return batch


def _remove_unknown_files(before: datetime) -> int:
    """What a kill between file and row left behind."""
    folder, count = Path(settings.ARRIVALS), 0
    for path in folder.glob("*/*") if folder.is_dir() else ():
        if path.stat().st_mtime >= before.timestamp():
            continue
        if not Arrival.objects.filter(path=f"{path.parent.name}/{path.name}").exists():
            path.unlink(missing_ok=True)
            count += 1
    return count
