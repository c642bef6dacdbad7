"""What is done with pictures: taken in, prepared by a worker, forgotten."""

from __future__ import annotations

import hashlib
import logging
import unicodedata
import uuid
from collections.abc import Iterable
from datetime import datetime, timedelta
from pathlib import Path, PurePath
from typing import IO, Protocol

from django.conf import settings
from django.db import models, transaction
from django.utils import timezone

from shopdesk.base import blobs, files, limits, work
from shopdesk.base.nudge import nudge
from shopdesk.base.refusals import Refused
from shopdesk.photos import look, renditions
from shopdesk.photos.models import Picture, Rendition
from shopdesk.photos.serve import MAIL

log = logging.getLogger(__name__)

PREPARE = "shopdesk.photos.prepare"
TIDY = "shopdesk.photos.tidy"
LEASE = timedelta(minutes=2)
MOST_TRIES = 12
"""With the growing waits, about a day."""
KEPT_FOR_NOBODY = timedelta(days=1)
"""How long a picture that nothing refers to waits for somebody to come back to their form."""


class Upload(Protocol):
    """What Django hands over for a file of a form (`UploadedFile`), or any file opened for reading."""

    def read(self, size: int, /) -> bytes: ...


# -- taking in -----------------------------------------------------------------------------------------------


def take_in(upload: Upload | IO[bytes], name: str) -> Picture:
    """Judge one file that somebody sent, keep it, and have its renditions prepared. Called outside a
    transaction; takes as long as it takes to decode the picture once.

    Raises `Refused` with a sentence that names the file; nothing is kept then.
    """
    name = clean_name(name)
    said = f"“{_shortened(name)}”"
    data = _read(upload, said)
    kind, width, height = _judged(data, said)
    key = uuid.uuid4()
    path = f"originals/{key.hex[:2]}/{key}.{look.ENDINGS[kind]}"
    try:
        files.put(settings.PICTURES / path, data)
    except OSError as error:
        log.error("The original of a picture could not be written: %s", error)
        if files.no_room(error):
            raise Refused(
                f"There is no room left to keep {said}. The shop has to make some; please tell them."
            ) from error
        raise Refused(f"{said} could not be kept just now. Try it once more in a moment.") from error
    try:
        with transaction.atomic():
            picture = Picture.objects.create(
                key=key,
                original_name=name,
                original_path=path,
                original_bytes=len(data),
                original_sha256=hashlib.sha256(data).hexdigest(),
                width=width,
                height=height,
            )
            nudge(PREPARE)
    except BaseException:
        (settings.PICTURES / path).unlink(missing_ok=True)
        raise
    return picture


def clean_name(name: str) -> str:
    """The file's own name, without folders and without what cannot be printed, at most 200 characters."""
    base = PurePath(name.replace("\\", "/")).name
    printable = "".join(letter for letter in base if unicodedata.category(letter)[0] != "C").strip()
    if len(printable) > 200:
        printable = printable[:186] + printable[-14:]  # with its ending
    return printable or "picture"


def _shortened(name: str) -> str:
    return name if len(name) <= 60 else f"{name[:44]}…{name[-14:]}"


def _read(upload: Upload | IO[bytes], said: str) -> bytes:
    data = b""
    if (getattr(upload, "size", None) or 0) <= look.MOST_BYTES:
        data = upload.read(look.MOST_BYTES + 1)
        if not data:
            raise Refused(f"{said} is empty.")
    if not data or len(data) > look.MOST_BYTES:
        raise Refused(f"{said} is larger than {look.MOST_BYTES // 1024**2} MB. Send a smaller copy of it.")
    return data


def _judged(data: bytes, said: str) -> tuple[str, int, int]:
    try:
        return look.judge(data)
    except look.NotAPicture as no:
        sentence = f"{said} is not a picture that we can open. JPEG, PNG, WebP and HEIC work."
        raise Refused(sentence) from no
    except look.TooManyPixels as no:
        sentence = (
            f"{said} has more than {look.MOST_PIXELS // 1_000_000} megapixels. Send a smaller copy of it."
        )
        raise Refused(sentence) from no
    except look.TwoNatured as no:
        sentence = (
            f"{said} holds something else besides the picture, so we left it. A screenshot of it will do."
        )
        raise Refused(sentence) from no
    except look.Damaged as no:
        raise Refused(
            f"{said} is damaged or did not arrive whole. Choose it once more, or another one."
        ) from no


# -- preparing -----------------------------------------------------------------------------------------------


def prepare_all() -> int:
    """Prepare every picture that is due; the worker's part. Returns how many it looked at."""
    return work.run_all(lambda: work.claim(Picture.objects.all(), lease=LEASE), prepare, task=PREPARE)


def prepare(picture: Picture) -> None:
    """Make the renditions of a claimed picture. Doing it twice, or again after a kill half way, makes the
    same files and rows."""
    if picture.tries > MOST_TRIES:
        work.give_up(picture, picture.trouble or "It was begun several times and never came to an end.")
        return
    try:
        data = (settings.PICTURES / picture.original_path).read_bytes()
        made = renditions.make(data)
        rows = [_written(picture, one) for one in made]
    except FileNotFoundError:
        work.give_up(picture, "The original is no longer there.")
    except (look.NotAPicture, look.TooManyPixels, look.Damaged) as error:
        log.warning("Picture %s cannot be prepared: %r", picture.pk, error)
        work.give_up(picture, "It cannot be decoded.")
    except (OSError, MemoryError) as error:
        log.warning("Picture %s could not be prepared this time: %r", picture.pk, error)
        full = isinstance(error, OSError) and files.no_room(error)
        work.put_off(
            picture,
            work.growing_wait(picture.tries),
            "There is no room left on the disk." if full else f"It could not be written or read: {error}",
        )
    else:
        _finish(picture, rows)


def _written(picture: Picture, made: renditions.Made) -> Rendition:
    path = f"renditions/{picture.key.hex[:2]}/{picture.key}-{made.size}.webp"
    files.put(settings.PICTURES / path, made.data)
    return Rendition(
        picture=picture,
        size=made.size,
        width=made.width,
        height=made.height,
        bytes=len(made.data),
        sha256=hashlib.sha256(made.data).hexdigest(),
        path=path,
    )


def _finish(picture: Picture, rows: list[Rendition]) -> None:
    with transaction.atomic():
        if work.finish(picture):
            Rendition.objects.filter(picture=picture).delete()
            Rendition.objects.bulk_create(rows)
            for row in rows:
                _say_ready(f"pictures:{picture.pk}:{row.size}")
            _say_ready(f"pictures:{picture.pk}:{MAIL}")
            return
    # Somebody else took it over and has it, or it was forgotten meanwhile: then its files go too.
    if not Picture.objects.filter(pk=picture.pk).exists():
        _remove(row.path for row in rows)


def _say_ready(ref: str) -> None:
    transaction.on_commit(lambda: blobs.ready.send(sender=Picture, ref=ref), robust=True)


# -- forgetting ----------------------------------------------------------------------------------------------


def forget(picture: Picture) -> None:
    """Delete a picture, original and all. Raises Django's `ProtectedError` where something that must be kept
    shows it."""
    with transaction.atomic():
        paths = [picture.original_path, *picture.renditions.values_list("path", flat=True)]
        picture.delete()
        transaction.on_commit(lambda: _remove(paths))


def tidy(before: datetime) -> int:
    """Forget the pictures from before that moment which nothing refers to, and the files that no row knows.
    Returns how many pictures and files went."""
    count = 0
    for key in list(unreferred(Picture.objects.filter(made_at__lt=before)).values_list("pk", flat=True)):
        with transaction.atomic():
            # Locked first: whoever attaches it in this moment is either seen here or waits and then finds it
            # gone.
            Picture.objects.select_for_update().filter(pk=key).first()
            alone = unreferred(Picture.objects.filter(pk=key)).first()
            if alone is not None:
                forget(alone)
                count += 1
    return count + _remove_unknown_files(before)


def tidy_now_and_then() -> None:
    """Once a day, whoever's sweep comes first."""
    if limits.allow(TIDY, most=1, span=timedelta(days=1)):
        tidy(timezone.now() - KEPT_FOR_NOBODY)


def unreferred(pictures: models.QuerySet[Picture]) -> models.QuerySet[Picture]:
    """Of these, the ones that no row of any room points at (this room knows none of them by name)."""
    for relation in Picture._meta.get_fields(include_hidden=True):
        field = getattr(relation, "field", None)
        if relation.auto_created and isinstance(field, models.ForeignKey) and field.model is not Rendition:
            pointing = field.model._base_manager.filter(**{field.attname: models.OuterRef("pk")})
            pictures = pictures.filter(~models.Exists(pointing))
    return pictures


def _remove_unknown_files(before: datetime) -> int:
    """What a kill between file and row left behind."""
    count = 0
    for folder in (settings.PICTURES / "originals", settings.PICTURES / "renditions"):
        for path in folder.glob("*/*") if folder.is_dir() else ():
            if path.stat().st_mtime < before.timestamp() and not _is_known(path):
                path.unlink(missing_ok=True)
                count += 1
    return count


def _is_known(path: Path) -> bool:
    try:
        key = uuid.UUID(path.name[:36])
    except ValueError:
        return False
    return Picture.objects.filter(key=key).exists()


def _remove(paths: Iterable[str]) -> None:
    for path in paths:
        (settings.PICTURES / path).unlink(missing_ok=True)
