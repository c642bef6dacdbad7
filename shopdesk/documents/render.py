"""From a document's content to its PDF. The same content makes the same bytes: nothing here asks for the time
or for chance."""

from __future__ import annotations

import hashlib
import io
import json
import os
import re
import threading
import time
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any

import pydyf
from django.conf import settings
from django.template.loader import render_to_string
from PIL import Image, ImageFile
from weasyprint import HTML
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import URLFetcher, URLFetcherResponse

from shopdesk.base.blobs import Blob
from shopdesk.documents.models import Document
from shopdesk.look import fonts

ImageFile.LOAD_TRUNCATED_IMAGES = False  # WeasyPrint switches it on for the whole process when it is imported

SCHEME = "picture:"
SVG = "image/svg+xml"
DPI = 300
"""The most that a picture is printed with; what is finer is scaled down."""
JPEG_QUALITY = 82

_PICTURES = re.compile(
    rf'src="{SCHEME}(pictures:[0-9]{{1,15}}:(?:small|medium|large)|code:[A-Za-z0-9_-]+)"', re.ASCII
)
"""A quotation mark that somebody typed is escaped in the page, so no words of theirs look like this."""
_FONT_ENDINGS = {".otf", ".ttf", ".woff2"}
_one_at_a_time = threading.Lock()


@dataclass(frozen=True)
class Pdf:
    data: bytes
    pages: int


def html_of(document: Document, *, without: Collection[str] = ()) -> str:
    """The page that the PDF is set from. Its template, `documents/<template>.html`, has the content's own
    names, and `font_faces`.

    A picture stands in the content as its ref ("pictures:5:medium") and in the page as `src="picture:…"`.
    Where its ref is among `without`, the template finds an empty string.
    """
    content = _without(document.content, without) if without else document.content
    context = {"title": document.title, **content, "font_faces": _font_faces(), "dated_on": document.dated_on}
    return render_to_string(f"documents/{document.template}.html", context)


def pictures_in(html: str) -> list[str]:
    """The refs of the pictures that a page shows, each once."""
    return list(dict.fromkeys(_PICTURES.findall(html)))


def identifier_of(document: Document) -> bytes:
    """Sixteen bytes that tell this document from others: what ISO 32000-1, 14.4 asks for, from the content
    instead of the clock."""
    parts = [document.template, document.title, document.dated_on.isoformat(), document.content]
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).digest()[:16]


def pdf_bytes(
    html: str,
    *,
    identifier: bytes,
    dated_on: date,
    title: str = "",
    pictures: Mapping[str, Blob] | None = None,
) -> Pdf:
    """Set a page as a tagged PDF (PDF/UA-1). It can show the given pictures, by ref, and use the shop's
    fonts; nothing else is fetched from anywhere."""
    fetcher = OnlyOurs(pictures or {})
    with _one_at_a_time:
        page = HTML(string=html, base_url="document:", url_fetcher=fetcher)
        options: dict[str, Any] = {"pdf_variant": "pdf/ua-1", "dpi": DPI}
        rendered = page.render(
            font_config=_font_configuration(os.getpid(), int(time.time() // 86400)), **options
        )
        rendered.metadata.title = rendered.metadata.title or title
        rendered.metadata.lang = rendered.metadata.lang or "en"
        rendered.metadata.created = rendered.metadata.modified = dated_on.isoformat()
        data = rendered.write_pdf(pdf_identifier=identifier, finisher=_complete_tags, **options)
    return Pdf(data, len(rendered.pages))


class OnlyOurs(URLFetcher):  # type: ignore[misc]  # WeasyPrint has no types
    """Hands WeasyPrint the pictures that were fetched beforehand and the font files. Everything else, from
    this machine or the network, is refused."""

    def __init__(self, pictures: Mapping[str, Blob]) -> None:
        super().__init__(allowed_protocols=())
        self._pictures = pictures

    def fetch(self, url: str, headers: Any = None) -> URLFetcherResponse:
        if url.startswith(SCHEME) and (blob := self._pictures.get(url.removeprefix(SCHEME))) is not None:
            if blob.mime == SVG:
                return URLFetcherResponse(url, blob.data, {"Content-Type": SVG})
            return URLFetcherResponse(url, _for_paper(blob), {"Content-Type": "image/jpeg"})
        if url.startswith("file:") and (path := _font_file(url)) is not None:
            # No path goes along, or WeasyPrint would open the file once more by itself.
            return URLFetcherResponse(url, path.read_bytes(), {"Content-Type": "font/" + path.suffix[1:]})
        raise ValueError("A document shows its own pictures and fonts, and nothing from anywhere else.")


def _complete_tags(rendered: Any, pdf: pydyf.PDF) -> None:
    """What WeasyPrint's tags leave out: the index of the identifiers that table cells name their heads by
    (ISO 32000-1, table 322: required where there are any), and for readers that do not follow those, whether
    a head is of its column or of its row (table 349: `Scope`)."""
    elements = [each for each in pdf.objects if isinstance(each, pydyf.Dictionary) and "S" in each]
    by_reference = {each.reference: each for each in elements}
    names = []
    for each in elements:
        if each["S"] == "/TH":
            part = by_reference.get(by_reference[each["P"]]["P"], {})
            each["A"]["Scope"] = "/Column" if part.get("S") == "/THead" else "/Row"
        if "ID" in each:
            names.append((each["ID"], each.reference))
    if names:
        names.sort(key=lambda name: name[0].data)
        index = pydyf.Dictionary({"Names": pydyf.Array(part for name in names for part in name)})
        pdf.add_object(index)
        for each in pdf.objects:
            if isinstance(each, pydyf.Dictionary) and each.get("Type") == "/StructTreeRoot":
                each["IDTree"] = index.reference


def _for_paper(blob: Blob) -> bytes:
    """A picture as the JPEG that a PDF can hold as it is; what is not one, WeasyPrint would store as a
    bitmap, ten times as large."""
    if blob.mime == "image/jpeg":
        return blob.data
    with Image.open(io.BytesIO(blob.data)) as picture:
        buffer = io.BytesIO()
        picture.convert("RGB").save(buffer, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return buffer.getvalue()


def _font_file(url: str) -> Path | None:
    path = Path(URLFetcherResponse(url).path or "").resolve()
    ours = path.suffix in _FONT_ENDINGS and any(path.is_relative_to(folder) for folder in _font_folders())
    return path if ours else None


@lru_cache(maxsize=1)
def _font_folders() -> tuple[Path, ...]:
    return Path(settings.FONTS).resolve(), *{face.path.resolve().parent for face in fonts.FACES}


@lru_cache(maxsize=1)
def _font_faces() -> str:
    fonts.build(settings.FONTS)
    return fonts.document_faces(settings.FONTS)


@lru_cache(maxsize=1)
def _font_configuration(process: int, day: int) -> FontConfiguration:
    """The machine's fonts and ours, read once and not for every document. A new one in each process, and each
    day, because it keeps its files in the folder for temporary ones, which machines sweep now and then."""
    return FontConfiguration()


def _without(value: Any, refs: Collection[str]) -> Any:
    if isinstance(value, dict):
        return {name: _without(part, refs) for name, part in value.items()}
    if isinstance(value, list):
        return [_without(part, refs) for part in value]
    return "" if isinstance(value, str) and value.removeprefix(SCHEME) in refs else value
