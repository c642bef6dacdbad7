"""The bytes of pictures, for whoever has checked that the person may see them."""

from __future__ import annotations

import hashlib
from functools import lru_cache

from django.conf import settings
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.utils.cache import get_conditional_response

from shopdesk.base import blobs
from shopdesk.photos import look
from shopdesk.photos.models import Picture
from shopdesk.photos.renditions import SIZES, for_mail

MAIL = "mail"
WEBP, JPEG = "image/webp", "image/jpeg"

_PREPARING = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 320 240" width="320" height="240">'
    "<title>{0}</title>"
    '<rect width="320" height="240" fill="#fffdf8"/><text x="160" y="124" text-anchor="middle" '
    'font-family="Georgia, serif" font-style="italic" font-size="16" fill="#5f564b">{0}</text></svg>'
)


def rendition_response(picture: Picture, size: str, request: HttpRequest | None = None) -> HttpResponseBase:
    """One rendition ("small", "medium", "large") as an answer that the browser may keep. While it is being
    prepared, or when that failed, a drawing that says so and is not kept. Raises `Http404` for another size
    or a file that is gone.

    With the `request`, a browser that has it already is told so.
    """
    if size not in SIZES:
        raise Http404
    if not picture.prepared:
        failed = picture.state == Picture.State.FAILED
        words = "This picture cannot be shown" if failed else "Being prepared"
        return _private(HttpResponse(_PREPARING.format(words), content_type="image/svg+xml"), keep=False)
    rendition = picture.renditions.filter(size=size).first()
    if rendition is None:
        raise Http404
    etag = f'"{rendition.sha256}"'
    if request is not None:
        unchanged = get_conditional_response(request, etag=etag)
        if unchanged is not None:
            return _private(unchanged, keep=True)
    try:
        file = (settings.PICTURES / rendition.path).open("rb")
    except FileNotFoundError as error:
        raise Http404 from error
    answer = FileResponse(file, content_type=WEBP, filename=f"{picture.key}-{size}.webp")
    answer["ETag"] = etag
    return _private(answer, keep=True)


def original_response(picture: Picture) -> HttpResponseBase:
    """The original as it was sent, metadata and all, to be saved. For the desk only. Raises `Http404` when
    the file is gone."""
    try:
        file = (settings.PICTURES / picture.original_path).open("rb")
    except FileNotFoundError as error:
        raise Http404 from error
    ending = picture.original_path.rpartition(".")[2]
    stem = picture.original_name.rpartition(".")[0] or picture.original_name or str(picture.key)
    answer = FileResponse(
        file, content_type=look.MIMES[ending], as_attachment=True, filename=f"{stem}.{ending}"
    )
    return _private(answer, keep=False)


def fetch(rest: str) -> blobs.Blob:
    """What stands behind "pictures:5:large" (`shopdesk.base.blobs`). "mail" is the one that emails carry."""
    pk, _, size = rest.partition(":")
    picture = Picture.objects.filter(pk=int(pk)).first() if pk.isascii() and pk.isdigit() else None
    if picture is None or size not in (*SIZES, MAIL):
        raise blobs.Gone("There is no such picture.")
    if picture.state == Picture.State.FAILED:
        raise blobs.Gone(f"The picture could not be prepared. {picture.trouble}")
    if not picture.prepared:
        raise blobs.NotYet
    if size == MAIL:
        rendition = picture.renditions.get(size="medium")
        return blobs.Blob(_for_mail(rendition.path, rendition.sha256), JPEG)
    rendition = picture.renditions.get(size=size)
    return blobs.Blob(_whole(rendition.path, rendition.sha256), WEBP)


@lru_cache(maxsize=16)
def _for_mail(path: str, sha256: str) -> bytes:
    """Asked for twice within a moment, when an email looks what has come and when it is written out."""
    return for_mail(_whole(path, sha256))


def _whole(path: str, sha256: str) -> bytes:
    try:
        data = (settings.PICTURES / path).read_bytes()
    except FileNotFoundError as error:
        raise blobs.Gone("The picture's file is gone.") from error
    if hashlib.sha256(data).hexdigest() != sha256:
        raise blobs.Gone("The picture's file is damaged.")
    return data


def _private(answer: HttpResponseBase, *, keep: bool) -> HttpResponseBase:
    answer["Cache-Control"] = "private, max-age=31536000, immutable" if keep else "private, no-store"
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return answer
