"""From an original's bytes to the pictures that pages and documents show: upright, sRGB, WebP, and nothing
else in them."""

from __future__ import annotations

import io
from dataclasses import dataclass

from PIL import Image, ImageCms

from shopdesk.photos import look

SIZES = {"large": 2400, "medium": 1200, "small": 480}
"""The long edge in pixels. A picture is never enlarged, so the sizes of a small one may be alike."""
PAPER = (0xFF, 0xFD, 0xF8)
"""What shows through where a picture is transparent: the paper of the pages."""
QUALITY = 82
MAIL_EDGE = 800
"""The long edge in pixels of what an email carries."""
MAIL_BYTES = 150_000
_MAIL_QUALITIES = (82, 74, 66, 58, 50, 40)
_REDUCING_GAP = 2.0
_KINDS_OF_PROFILE = {"RGB": "RGB ", "L": "GRAY", "CMYK": "CMYK"}


@dataclass(frozen=True)
class Made:
    """One rendition: its size name, pixels and bytes."""

    size: str
    width: int
    height: int
    data: bytes


def make(data: bytes) -> list[Made]:
    """All renditions of an original, the largest first. Raises what `look.opened` and `look.load` raise."""
    image = _decoded(data)
    made = []
    for size, edge in SIZES.items():
        image = _fitted(image, edge)
        made.append(Made(size, image.width, image.height, _webp(image)))
    return made


def for_mail(data: bytes) -> bytes:
    """A rendition as an email carries it: a small sRGB JPEG without metadata, which every mail program shows
    (WebP is not shown by all: common practice, no source). The same bytes from the same rendition."""
    with Image.open(io.BytesIO(data)) as rendition:
        image = _fitted(rendition.convert("RGB"), MAIL_EDGE)
    image.info.clear()
    jpeg = b""
    for quality in _MAIL_QUALITIES:
        buffer = io.BytesIO()
        image.save(buffer, "JPEG", quality=quality, optimize=True)
        jpeg = buffer.getvalue()
        if len(jpeg) <= MAIL_BYTES:
            break
    return jpeg


def size_in_mail(width: int, height: int) -> tuple[int, int]:
    """How large the same picture, upright, is in an email."""
    return _within((width, height), MAIL_EDGE)


def sizes_of(width: int, height: int) -> dict[str, tuple[int, int]]:
    """How large each rendition of an upright picture of that size is, so that a page can say so without
    looking it up. Where a JPEG was scaled while it was decoded, one side may be a pixel more or less."""
    size = (width, height)
    return {name: (size := _within(size, edge)) for name, edge in SIZES.items()}


def _decoded(data: bytes) -> Image.Image:
    """The picture no larger than the largest rendition, upright, sRGB, opaque and bare of metadata."""
    most = max(SIZES.values())
    with look.opened(data) as original:
        original.draft(original.mode, _within(original.size, most))
        look.load(original)
        profile = original.info.get("icc_profile")
        held = look.orientation(original)
        # Made small first: turning and converting then have less to do, and it makes no difference that
        # anybody could see.
        image = _fitted(_plain(original), most)
    image.info.clear()
    image = _srgb(image, profile if isinstance(profile, bytes) else b"")
    if held in _TURNS:
        image = image.transpose(_TURNS[held])
    return image


_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""What turns a picture upright, by the orientation that its camera noted (Exif 2.3, tag 0x0112)."""


def _plain(image: Image.Image) -> Image.Image:
    """The picture in one of the modes that the rest works with: L, RGB, RGBA or CMYK, eight bits each."""
    if image.mode in ("RGBA", "LA", "PA", "La", "RGBa") or "transparency" in image.info:
        return image.convert("RGBA")
    if image.mode.startswith(
        "I"
    ):  # sixteen bits of grey: a conversion by Pillow would cut off, not scale down
        return image.convert("I").point(lambda value: value * (1 / 256)).convert("L")
    if image.mode == "1":
        return image.convert("L")
    return image if image.mode in ("L", "RGB", "CMYK") else image.convert("RGB")


def _srgb(image: Image.Image, profile: bytes) -> Image.Image:
    """The picture in sRGB by its ICC profile. One without a profile, or with one that is broken or made for
    something else, is taken for sRGB, which is what a screen would do."""
    alpha = image.getchannel("A") if image.mode == "RGBA" else None
    colours = image.convert("RGB") if alpha else image
    colours = _by_profile(colours, profile) or colours.convert("RGB")
    if alpha is None:
        return colours
    return Image.composite(colours, Image.new("RGB", colours.size, PAPER), alpha)


def _by_profile(image: Image.Image, profile: bytes) -> Image.Image | None:
    if not profile:
        return None
    try:
        embedded = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        kind = embedded.profile.xcolor_space
        if (
            kind == "GRAY" and image.mode == "RGB"
        ):  # grey that was saved as colour, or has lost its transparency
            image = image.convert("L")
        if kind != _KINDS_OF_PROFILE[image.mode]:
            return None
        return ImageCms.profileToProfile(
            image,
            embedded,
            ImageCms.createProfile("sRGB"),
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            outputMode="RGB",
            flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
        )
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return None


def _within(size: tuple[int, int], edge: int) -> tuple[int, int]:
    """The size, made small enough for a long edge; never larger and never less than a pixel."""
    scale = min(1.0, edge / max(size))
    return max(1, round(size[0] * scale)), max(1, round(size[1] * scale))


def _fitted(image: Image.Image, edge: int) -> Image.Image:
    size = _within(image.size, edge)
    if size == image.size:
        return image
    return image.resize(size, Image.Resampling.LANCZOS, reducing_gap=_REDUCING_GAP)


def _webp(image: Image.Image) -> bytes:
    buffer = io.BytesIO()
    # Said outright, so that no metadata comes along whatever Pillow remembers of where the picture came from.
    image.save(buffer, "WEBP", quality=QUALITY, method=4, exif=b"", xmp=b"", icc_profile=b"")
    return buffer.getvalue()
