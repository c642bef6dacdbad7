"""Documents are ordered in the transaction that causes them, and rendered by a worker."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from shopdesk.base import blobs, files, work
from shopdesk.base.nudge import nudge
from shopdesk.documents.models import Document

log = logging.getLogger(__name__)

RENDER = "shopdesk.documents.render"
LEASE = timedelta(minutes=2)
MOST_FAILURES = 5
"""Of the template or the typesetter, which are unlikely to change their mind."""
MOST_TRIES = 12
"""Of any kind, such as a full disk. With the growing waits, about a day."""
PICTURES_WAITED_FOR = timedelta(minutes=10)
_SOON = timedelta(seconds=3)
_WAITS = "It waits for a picture that is being prepared."


class NotPlain(TypeError):
    """Content that JSON would not give back as it was: a mistake of the caller's."""


def order(template: str, *, title: str, filename: str, content: dict[str, Any], dated_on: date) -> Document:
    """Have a PDF rendered from `templates/documents/<template>.html`. Called in the transaction that causes
    it; what it is made of is frozen here.

    `content` holds plain strings, whole numbers, yes or no, nothing, and lists and dictionaries of them;
    amounts and days are strings by now. A picture is its ref ("pictures:5:medium"), which the template shows
    as `src="picture:…"`. Raises `NotPlain` for the rest.
    """
    _check_plain(content)
    document = Document.objects.create(
        template=template, title=title[:200], filename=filename[:120], content=content, dated_on=dated_on
    )
    nudge(RENDER)
    return document


def _check_plain(value: Any) -> None:
    if isinstance(value, dict):
        if any(not isinstance(name, str) for name in value):
            raise NotPlain("Names in a document's content are strings.")
        _check_all(value.values())
    elif isinstance(value, list | tuple):
        _check_all(value)
    elif not (value is None or isinstance(value, str | int)):
        raise NotPlain(f"A document's content is made of plain values; {value!r} is none.")


def _check_all(values: Iterable[Any]) -> None:
    for value in values:
        _check_plain(value)


# -- the worker's part ---------------------------------------------------------------------------------------


def render_all() -> int:
    """Render every document that is due. Returns how many it looked at."""
    return work.run_all(lambda: work.claim(Document.objects.all(), lease=LEASE), render, task=RENDER)


def render(document: Document) -> None:
    """Render a claimed document. Doing it twice, or again after a kill between file and row, makes the same
    file and the same row.

    A picture that is still being prepared is waited for, ten minutes at most; one that will never come is
    left out.
    """
    from shopdesk.documents.render import (
        html_of,
        identifier_of,
        pdf_bytes,
        pictures_in,
    )  # slow to import; only workers need it

    if document.tries > MOST_TRIES:
        work.give_up(document, document.trouble or "It was begun several times and never came to an end.")
        return
    try:
        html = html_of(document)
        pictures, waiting, missing = _fetched(pictures_in(html))
        if waiting and timezone.now() - document.made_at < PICTURES_WAITED_FOR:
            _wait_for_pictures(document, waiting)
            return
        if left_out := [*waiting, *missing]:
            log.warning("Document %s is rendered without %s.", document.pk, ", ".join(left_out))
            html = html_of(document, without=left_out)
        pdf = pdf_bytes(
            html,
            identifier=identifier_of(document),
            dated_on=document.dated_on,
            title=document.title,
            pictures=pictures,
        )
        path = f"{document.key.hex[:2]}/{document.key}.pdf"
        files.put(settings.DOCUMENTS / path, pdf.data)
    except OSError as error:
        log.warning("Document %s could not be written this time: %r", document.pk, error)
        trouble = (
            "There is no room left on the disk."
            if files.no_room(error)
            else f"It could not be written: {error}"
        )
        work.put_off(document, work.growing_wait(document.tries), trouble)
    except Exception as error:
        # Templates run whatever they are given, so they can raise anything, and the desk has to hear of it.
        log.exception("Document %s could not be rendered.", document.pk)
        trouble = f"It could not be set: {type(error).__name__}: {error}"
        if document.tries >= MOST_FAILURES:
            work.give_up(document, trouble)
        else:
            work.put_off(document, work.growing_wait(document.tries), trouble)
    else:
        _finish(document, path, pdf.data, pdf.pages)


def _fetched(refs: list[str]) -> tuple[dict[str, blobs.Blob], list[str], list[str]]:
    """The pictures that are there, the refs of those still being prepared, and of those that will never
    come."""
    there: dict[str, blobs.Blob] = {}
    waiting: list[str] = []
    missing: list[str] = []
    for ref in refs:
        try:
            there[ref] = blobs.fetch(ref)
        except blobs.NotYet:
            waiting.append(ref)
        except blobs.Gone:
            missing.append(ref)
    return there, waiting, missing


def _wait_for_pictures(document: Document, waiting: list[str]) -> None:
    work.put_off(document, _SOON, _WAITS, counts=False)
    if not _fetched(waiting)[1]:  # it came in between, and called before anybody was listening
        Document.objects.filter(pk=document.pk, state=Document.State.WAITING).update(due_at=timezone.now())


def _finish(document: Document, path: str, data: bytes, pages: int) -> None:
    with transaction.atomic():
        if work.finish(
            document, path=path, sha256=hashlib.sha256(data).hexdigest(), bytes=len(data), pages=pages
        ):
            ref = document.ref
            transaction.on_commit(lambda: blobs.ready.send(sender=Document, ref=ref), robust=True)


def picture_came() -> None:
    """A picture has been prepared: the documents that wait for one are due now."""
    if Document.objects.filter(state=Document.State.WAITING, trouble=_WAITS).update(due_at=timezone.now()):
        nudge(RENDER)
