"""The bytes of documents, for whoever has checked that the person may see them."""

from __future__ import annotations

import hashlib

from django.conf import settings
from django.http import FileResponse, Http404

from shopdesk.base import blobs
from shopdesk.documents.models import Document

PDF = "application/pdf"


def document_response(document: Document) -> FileResponse | None:
    """The PDF as it was sent, shown in the browser; `None` while it is being prepared (or has failed: see its
    `trouble`). Raises `Http404` when its file is gone."""
    if document.state != Document.State.DONE:
        return None
    try:
        file = (settings.DOCUMENTS / document.path).open("rb")
    except FileNotFoundError as error:
        raise Http404 from error
    answer = FileResponse(file, content_type=PDF, filename=document.filename)
    answer["ETag"] = f'"{document.sha256}"'
    answer["Cache-Control"] = "private, max-age=31536000, immutable"
    answer["X-Content-Type-Options"] = "nosniff"
    return answer


def fetch(rest: str) -> blobs.Blob:
    """What stands behind "documents:17" (`shopdesk.base.blobs`), checked against the hash that was noted when
    it was made."""
    document = Document.objects.filter(pk=int(rest)).first() if rest.isascii() and rest.isdigit() else None
    if document is None:
        raise blobs.Gone("There is no such document.")
    if document.state == Document.State.FAILED:
        raise blobs.Gone(f"The document could not be rendered. {document.trouble}")
    if document.state != Document.State.DONE:
        raise blobs.NotYet
    try:
        data = (settings.DOCUMENTS / document.path).read_bytes()
    except FileNotFoundError as error:
        raise blobs.Gone("The document's file is gone.") from error
    if hashlib.sha256(data).hexdigest() != document.sha256:
        raise blobs.Gone("The document's file is damaged: it is not what was made.")
    return blobs.Blob(data, PDF)
