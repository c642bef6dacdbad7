"""How a picture becomes a file such as a phone writes: JPEG, EXIF with place and orientation, a colour
profile."""

from __future__ import annotations

import struct
from functools import lru_cache
from io import BytesIO
from pathlib import Path

from PIL import ExifTags, Image, ImageCms

QUALITY = 88
# Out at sea, so that it is nobody's address: degrees, minutes, seconds.
LATITUDE, LONGITUDE = (41.0, 12.0, 36.0), (58.0, 47.0, 24.0)
TAKEN = "2026:03:02 09:14:00"

# Display P3's colorants adapted to D50, and the sRGB tone curve as ICC parametric type 3 (from memory).
P3 = {
    "rXYZ": (0.51512, 0.24120, -0.00105),
    "gXYZ": (0.29198, 0.69225, 0.04189),
    "bXYZ": (0.15710, 0.06657, 0.78407),
}
D50 = (0.9642, 1.0, 0.8249)
CURVE = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def _fixed(value: float) -> bytes:
    return struct.pack(">i", round(value * 65536))


def _text(words: str) -> bytes:
    """An ICC multiLocalizedUnicodeType with one English record."""
    raw = words.encode("utf-16-be")
    return b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(raw), 28) + raw


@lru_cache(maxsize=1)
def wide_profile() -> bytes:
    """An ICC version 4 display profile with Display P3's primaries, built here: header, tag table, tags."""
    curve = b"para" + bytes(4) + struct.pack(">HH", 3, 0) + b"".join(_fixed(value) for value in CURVE)
    tags = {
        "desc": _text("Wide display"),
        "cprt": _text("No copyright, use freely"),
        "wtpt": b"XYZ " + bytes(4) + b"".join(_fixed(value) for value in D50),
        **{name: b"XYZ " + bytes(4) + b"".join(_fixed(v) for v in xyz) for name, xyz in P3.items()},
        "rTRC": curve,
        "gTRC": curve,
        "bTRC": curve,
    }
    table, body, offset = b"", b"", 128 + 4 + 12 * len(tags)
    for name, data in tags.items():
        table += name.encode() + struct.pack(">II", offset + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    header = struct.pack(">I4sI4s4s4s", offset + len(body), bytes(4), 0x04300000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28)
    header += b"".join(_fixed(value) for value in D50)
    return header.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + body


def write(image: Image.Image, path: Path, *, sideways: bool, located: bool, wide: bool) -> None:
    """Write an upright sRGB image as a JPEG file."""
    if wide:
        profile = wide_profile()
        target = ImageCms.ImageCmsProfile(BytesIO(profile))
        turned = ImageCms.profileToProfile(image, ImageCms.createProfile("sRGB"), target, outputMode="RGB")
        assert turned is not None
        image = turned
    else:
        profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "Workshop"
    exif[ExifTags.Base.Model] = "Bench camera"
    exif[ExifTags.Base.DateTime] = TAKEN
    if sideways:
        exif[ExifTags.Base.Orientation] = 6  # shown a quarter turn clockwise
        image = image.transpose(Image.Transpose.ROTATE_90)
    else:
        exif[ExifTags.Base.Orientation] = 1
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = TAKEN
    if located:
        place = exif.get_ifd(ExifTags.IFD.GPSInfo)
        place[ExifTags.GPS.GPSLatitudeRef], place[ExifTags.GPS.GPSLatitude] = "N", LATITUDE
        place[ExifTags.GPS.GPSLongitudeRef], place[ExifTags.GPS.GPSLongitude] = "W", LONGITUDE
    image.save(path, "JPEG", quality=QUALITY, exif=exif, icc_profile=profile)
