"""A quote's PDF by the worker, against bare WeasyPrint on the same page."""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Any

from PIL import Image
from weasyprint import HTML
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import URLFetcher, URLFetcherResponse

from shopdesk.base import blobs
from shopdesk.commissions.models import Commission
from shopdesk.documents import actions, render
from shopdesk.documents.models import Document
from shopdesk.quotes.models import Quote
from shopdesk.running.measures.timing import Ratio, in_turn

GOAL = 1.15


def measure(commission: Commission, *, what: str = "a quote's PDF", rounds: int = 10) -> Ratio:
    """The worker's whole part: claiming the row, the template, the pictures, setting it, the file, the row; ÷
    WeasyPrint alone. Both have the same HTML, fonts, pictures, resolution and PDF/UA-1.

    The bare side, too, reads the machine's fonts once, and makes JPEGs of the stored pictures, so that from
    the same things it makes the same PDF."""
    quote = Quote.objects.filter(commission=commission, document__isnull=False).order_by("-revision")[0]
    assert quote.document is not None
    rows = Document.objects.filter(pk=quote.document.pk)
    html = render.html_of(rows.get())
    pictures = {render.SCHEME + ref: blobs.fetch(ref).data for ref in render.pictures_in(html)}
    assert pictures, "a quote shows its piece"
    fonts = FontConfiguration()

    def due() -> None:
        rows.update(state=Document.State.WAITING, tries=0)

    def app() -> None:
        actions.render_all()

    timed = in_turn(what, app, lambda: bare(html, pictures, fonts), goal=GOAL, rounds=rounds, between=due)
    done = rows.get()
    assert done.state == Document.State.DONE, done.trouble
    other = len(bare(html, pictures, fonts))
    assert abs(done.bytes - other) < 0.05 * other, f"not the same PDF: {done.bytes} bytes and {other}"
    return timed


def bare(html: str, pictures: Mapping[str, bytes], fonts: FontConfiguration) -> bytes:
    page = HTML(string=html, base_url="document:", url_fetcher=_Fetcher(pictures))
    data: bytes = page.write_pdf(pdf_variant="pdf/ua-1", dpi=render.DPI, font_config=fonts)
    return data


class _Fetcher(URLFetcher):  # type: ignore[misc]  # WeasyPrint has no types
    """WeasyPrint's own, with the pictures in memory."""

    def __init__(self, pictures: Mapping[str, bytes]) -> None:
        super().__init__()
        self._pictures = pictures

    def fetch(self, url: str, headers: Any = None) -> URLFetcherResponse:
        if url in self._pictures:
            return URLFetcherResponse(url, _as_jpeg(self._pictures[url]), {"Content-Type": "image/jpeg"})
        return super().fetch(url, headers)


def _as_jpeg(stored: bytes) -> bytes:
    buffer = io.BytesIO()
    with Image.open(io.BytesIO(stored)) as picture:
        picture.convert("RGB").save(buffer, "JPEG", quality=render.JPEG_QUALITY, optimize=True)
    return buffer.getvalue()
