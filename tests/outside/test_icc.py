"""Colours of a phone's wide gamut come out as the sRGB that they are.

The expected values are worked out here from the published primaries and transfer functions, not by a colour
library:

- sRGB: IEC 61966-2-1:1999 (primaries and white of ITU-R BT.709, and its transfer function).
- Display P3: primaries of SMPTE EG 432-1 (DCI-P3), white D65, transfer function of sRGB.
- Adobe RGB (1998) Color Image Encoding, version 2005-05: primaries, white D65, exponent 2.19921875 (4.3.4).
- The way to and from the D50 of an ICC profile: the Bradford matrix as printed in ICC.1:2010, annex E.
- The profile's bytes: ICC.1:2010, 7.2 (header), 7.3 (tag table), 10.5 `curveType`, 10.15
  `parametricCurveType`, 10.31 `XYZType`.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Callable

import pytest
from PIL import Image

from shopdesk.photos import renditions

Matrix = list[list[float]]
D65 = (0.3127, 0.3290)
D50 = (0.9642, 1.0, 0.8249)  # ICC.1:2010, 7.2.16
BRADFORD = [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]

SRGB_PRIMARIES = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
P3_PRIMARIES = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
ADOBE_PRIMARIES = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))
ADOBE_EXPONENT = 2.19921875


def times(one: Matrix, other: Matrix) -> Matrix:
    return [
        [sum(a * b for a, b in zip(row, column, strict=True)) for column in zip(*other, strict=True)]
        for row in one
    ]


def inverse(m: Matrix) -> Matrix:
    (a, b, c), (d, e, f), (g, h, i) = m
    by = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)
    return [
        [(e * i - f * h) / by, (c * h - b * i) / by, (b * f - c * e) / by],
        [(f * g - d * i) / by, (a * i - c * g) / by, (c * d - a * f) / by],
        [(d * h - e * g) / by, (b * g - a * h) / by, (a * e - b * d) / by],
    ]


def white() -> list[float]:
    x, y = D65
    return [x / y, 1.0, (1 - x - y) / y]


def to_xyz(primaries: tuple[tuple[float, float], ...]) -> Matrix:
    """Linear RGB to XYZ for the white D65."""
    columns = [[x / y, 1.0, (1 - x - y) / y] for x, y in primaries]
    plain = [list(row) for row in zip(*columns, strict=True)]
    scale = [sum(a * b for a, b in zip(row, white(), strict=True)) for row in inverse(plain)]
    return [[value * scale[n] for n, value in enumerate(row)] for row in plain]


def adapted_to_d50(m: Matrix) -> Matrix:
    from_cone = [sum(a * b for a, b in zip(row, white(), strict=True)) for row in BRADFORD]
    to_cone = [sum(a * b for a, b in zip(row, D50, strict=True)) for row in BRADFORD]
    ratio = [[to_cone[n] / from_cone[n] if n == k else 0.0 for k in range(3)] for n in range(3)]
    return times(times(times(inverse(BRADFORD), ratio), BRADFORD), m)


def srgb_linear(v: float) -> float:
    return v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4


def srgb_coded(v: float) -> float:
    v = min(max(v, 0.0), 1.0)
    return v * 12.92 if v <= 0.0031308 else 1.055 * v ** (1 / 2.4) - 0.055


def expected(
    rgb: tuple[int, int, int], primaries: tuple[tuple[float, float], ...], linear: Callable[[float], float]
) -> tuple[int, ...]:
    m = times(inverse(to_xyz(SRGB_PRIMARIES)), to_xyz(primaries))
    light = [linear(v / 255) for v in rgb]
    return tuple(round(255 * srgb_coded(sum(a * b for a, b in zip(row, light, strict=True)))) for row in m)


def fixed(*values: float) -> bytes:
    return struct.pack(f">{len(values)}i", *(round(v * 65536) for v in values))


def profile(primaries: tuple[tuple[float, float], ...], curve: bytes) -> bytes:
    """A matrix profile for a display."""
    m = adapted_to_d50(to_xyz(primaries))
    text = (
        b"mluc\x00\x00\x00\x00"
        + struct.pack(">II2s2sII", 1, 12, b"en", b"US", 8, 28)
        + "Test".encode("utf-16-be")
    )
    parts = {b"desc": text, b"cprt": text, b"wtpt": b"XYZ \x00\x00\x00\x00" + fixed(*D50)}
    for n, letter in enumerate(b"rgb"):
        parts[bytes([letter]) + b"XYZ"] = b"XYZ \x00\x00\x00\x00" + fixed(*(row[n] for row in m))
        parts[bytes([letter]) + b"TRC"] = curve
    at = 128 + 4 + 12 * len(parts)
    table, body = struct.pack(">I", len(parts)), b""
    for name, part in parts.items():
        table += name + struct.pack(">II", at + len(body), len(part))
        body += part + b"\x00" * (-len(part) % 4)
    size = at + len(body)
    made_on = struct.pack(">6H", 2020, 1, 1, 0, 0, 0)
    header = struct.pack(">I4xI", size, 0x04000000) + b"mntrRGB XYZ " + made_on + b"acsp"
    header = header.ljust(68, b"\x00")  # no platform, flags, device or attributes; intent 0
    return (header + fixed(*D50)).ljust(128, b"\x00") + table + body


SRGB_CURVE = b"para\x00\x00\x00\x00\x00\x03\x00\x00" + fixed(
    2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045
)
ADOBE_CURVE = b"curv\x00\x00\x00\x00\x00\x00\x00\x01" + struct.pack(">H", round(ADOBE_EXPONENT * 256))

COLOURS = [
    (200, 120, 80),
    (60, 140, 110),
    (90, 60, 160),
    (128, 128, 128),
    (230, 220, 200),
    (30, 40, 35),
    (255, 0, 0),
]


def shown(rgb: tuple[int, int, int], icc: bytes, fmt: str) -> tuple[int, ...]:
    buffer = io.BytesIO()
    lossless = (
        {"lossless": True} if fmt == "WEBP" else {"quality": 100, "subsampling": 0} if fmt == "JPEG" else {}
    )
    Image.new("RGB", (64, 64), rgb).save(buffer, fmt, icc_profile=icc, **lossless)
    made = renditions.make(buffer.getvalue())[0]
    with Image.open(io.BytesIO(made.data)) as image:
        pixel = image.convert("RGB").getpixel((32, 32))
    assert isinstance(pixel, tuple)
    return pixel


def test_the_worked_values_agree_with_a_published_one() -> None:
    """IEC 61966-2-1 prints the matrix from XYZ to linear sRGB with four decimals."""
    printed = [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
    for row, wanted in zip(inverse(to_xyz(SRGB_PRIMARIES)), printed, strict=True):
        assert row == pytest.approx(wanted, abs=5e-4)
    assert expected((255, 0, 0), P3_PRIMARIES, srgb_linear) == (255, 0, 0)  # redder than sRGB can be: clipped


@pytest.mark.parametrize("fmt", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("rgb", COLOURS)
def test_display_p3(rgb: tuple[int, int, int], fmt: str) -> None:
    wanted = expected(rgb, P3_PRIMARIES, srgb_linear)
    # WebP keeps colours in steps of about two (8-bit Y'CbCr of limited range).
    assert shown(rgb, profile(P3_PRIMARIES, SRGB_CURVE), fmt) == pytest.approx(wanted, abs=4)


@pytest.mark.parametrize("rgb", COLOURS)
def test_adobe_rgb(rgb: tuple[int, int, int]) -> None:
    wanted = expected(rgb, ADOBE_PRIMARIES, lambda v: v**ADOBE_EXPONENT)
    assert shown(rgb, profile(ADOBE_PRIMARIES, ADOBE_CURVE), "PNG") == pytest.approx(wanted, abs=4)


def test_the_difference_would_be_seen() -> None:
    """That the values above are not met by leaving the colours as they are."""
    assert (
        max(
            abs(a - b)
            for a, b in zip(expected((60, 140, 110), P3_PRIMARIES, srgb_linear), (60, 140, 110), strict=True)
        )
        > 10
    )
    assert shown((60, 140, 110), b"", "PNG") == pytest.approx((60, 140, 110), abs=4)
