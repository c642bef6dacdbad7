"""Codes that a camera reads, drawn into a document. A ref says all that is in one, so nothing is kept."""

from __future__ import annotations

import base64
import binascii
import io

import segno

from shopdesk.base.blobs import Blob, Gone

KIND = "code"


def ref_of(payload: bytes) -> str:
    """The ref of the picture that says `payload`, for a document's content."""
    return f"{KIND}:{base64.urlsafe_b64encode(payload).decode().rstrip('=')}"


def fetch(rest: str) -> Blob:
    """The picture behind what stands after the colon: an SVG with the quiet zone that readers ask for
    (ISO/IEC 18004: four modules), at error correction level M."""
    try:
        payload = base64.urlsafe_b64decode(rest + "=" * (-len(rest) % 4))
    except (binascii.Error, ValueError) as error:
        raise Gone("That is not a code.") from error
    drawn = io.BytesIO()
    segno.make_qr(payload, error="m", boost_error=False, encoding=None).save(
        drawn, kind="svg", border=4, xmldecl=False, svgclass=None, lineclass=None, dark="#000", light="#fff"
    )
    return Blob(drawn.getvalue(), "image/svg+xml")
