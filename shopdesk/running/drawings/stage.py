"""A room with a camera: flat textures are stood up in perspective, lit, and shaded where things touch."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from functools import lru_cache
from math import cos, hypot, pi, sin, sqrt
from random import Random

from PIL import Image, ImageChops, ImageDraw, ImageFilter

from .geometry import Point2, Point3, homography
from .grain import BICUBIC, BILINEAR, Colour, Size, Timber, ramp, speckle

# The light that an edge of finished timber catches.
PALE: Colour = (236, 204, 164)

# Light that falls on a surface, 0..255, as a colour: cool where it is dim, warm where it is bright.
LIGHT = ramp(
    (
        (0, (0, 0, 0)),
        (0.3, (70, 76, 86)),
        (0.6, (148, 152, 156)),
        (0.85, (216, 214, 208)),
        (1, (255, 250, 240)),
    )
)


def light(size: Size, grid: Sequence[Sequence[float]]) -> Image.Image:
    """A smooth field of light through `grid` (rows of 0..1 values), coloured."""
    small = Image.new("L", (len(grid[0]), len(grid)))
    small.putdata([round(255 * min(1.0, max(0.0, value))) for row in grid for value in row])
    field = small.resize(size, BILINEAR if max(small.size) < 3 else BICUBIC)
    field.putpalette(LIGHT)
    return field.convert("RGB")


def lit(texture: Image.Image, grid: Sequence[Sequence[float]]) -> Image.Image:
    """A texture under `light`; an alpha channel stays."""
    shone = ImageChops.multiply(texture.convert("RGB"), light(texture.size, grid))
    if texture.mode == "RGBA":
        shone.putalpha(texture.getchannel("A"))
    return shone


def _edged(texture: Image.Image, rim: int) -> Image.Image:
    """A texture with its outermost pixels carried on by `rim` pixels on every side."""
    w, h = texture.size
    padded = Image.new(texture.mode, (w + 2 * rim, h + 2 * rim))
    padded.paste(texture, (rim, rim))
    for y, row in ((0, rim), (rim + h, rim + h - 1)):
        padded.paste(padded.crop((rim, row, rim + w, row + 1)).resize((w, rim)), (rim, y))
    for x, col in ((0, rim), (rim + w, rim + w - 1)):
        padded.paste(padded.crop((col, 0, col + 1, h + 2 * rim)).resize((rim, h + 2 * rim)), (x, 0))
    return padded


class Stage:
    """The picture being made, and the camera that looks at it. `k` is how many of its pixels one of a 2000
    px picture is."""

    def __init__(self, size: Size, eye: Point3, look: Point3, focal: float, shift: Point2 = (0, 0)) -> None:
        self.size, self.k = size, size[0] / 2000
        self.image = Image.new("RGB", size, (60, 56, 50))
        self.eye, self.focal, self.shift = eye, focal, shift
        ahead = [b - a for a, b in zip(eye, look, strict=True)]
        length = sqrt(sum(v * v for v in ahead))
        self.f = [v / length for v in ahead]
        flat = hypot(self.f[0], self.f[2])
        self.r = [-self.f[2] / flat, 0.0, self.f[0] / flat]
        self.u = [
            self.r[1] * self.f[2] - self.r[2] * self.f[1],
            self.r[2] * self.f[0] - self.r[0] * self.f[2],
            self.r[0] * self.f[1] - self.r[1] * self.f[0],
        ]

    # -- looking ---------------------------------------------------------------------------------------------
    def at(self, point: Point3) -> Point2:
        """Where a point of the room is in the picture."""
        away = [p - e for p, e in zip(point, self.eye, strict=True)]
        depth = max(1.0, sum(a * b for a, b in zip(away, self.f, strict=True)))
        right = sum(a * b for a, b in zip(away, self.r, strict=True))
        up = sum(a * b for a, b in zip(away, self.u, strict=True))
        scale = self.focal * self.size[0] / depth
        return (
            self.size[0] * (0.5 + self.shift[0]) + right * scale,
            self.size[1] * (0.5 + self.shift[1]) - up * scale,
        )

    def scale_at(self, point: Point3) -> float:
        """Pixels a centimetre there."""
        away = [p - e for p, e in zip(point, self.eye, strict=True)]
        return self.focal * self.size[0] / max(1.0, sum(a * b for a, b in zip(away, self.f, strict=True)))

    # -- painting --------------------------------------------------------------------------------------------
    def _frame(self, points: Sequence[Point2], pad: float = 2) -> tuple[int, int, int, int] | None:
        left = max(0, int(min(p[0] for p in points) - pad))
        top = max(0, int(min(p[1] for p in points) - pad))
        right = min(self.size[0], int(max(p[0] for p in points) + pad) + 1)
        bottom = min(self.size[1], int(max(p[1] for p in points) + pad) + 1)
        return (left, top, right, bottom) if right - left > 0 and bottom - top > 0 else None

    @staticmethod
    def mask(outline: Sequence[Point2], frame: tuple[int, int, int, int], over: int = 4) -> Image.Image:
        """A polygon's coverage inside `frame`, smooth at its edges."""
        width, height = frame[2] - frame[0], frame[3] - frame[1]
        big = Image.new("L", (width * over, height * over), 0)
        ImageDraw.Draw(big).polygon(
            [((x - frame[0]) * over, (y - frame[1]) * over) for x, y in outline], fill=255
        )
        return big.reduce(over)

    def flat(
        self, corners: Sequence[Point2], texture: Image.Image, outline: Sequence[Point2] | None = None
    ) -> None:
        """Lay a texture over four corners of the picture, cut to `outline` (picture points) if given."""
        edge = list(outline) if outline is not None else list(corners)
        frame = self._frame(edge)
        if frame is None:
            return
        # Reduce first what will be seen small: the transform samples points and would glitter.
        across = max(
            hypot(corners[1][0] - corners[0][0], corners[1][1] - corners[0][1]),
            hypot(corners[2][0] - corners[3][0], corners[2][1] - corners[3][1]),
        )
        down = max(
            hypot(corners[3][0] - corners[0][0], corners[3][1] - corners[0][1]),
            hypot(corners[2][0] - corners[1][0], corners[2][1] - corners[1][1]),
        )
        # What lies steeply away is worked out at twice the size: lines closer than pixels would turn to
        # steps.
        over = 2 if max(texture.width / max(across, 1), texture.height / max(down, 1)) > 2.2 else 1
        want = (
            max(2, min(texture.width, round(across * 1.15 * over) + 1)),
            max(2, min(texture.height, round(down * 1.15 * over) + 1)),
        )
        if want != texture.size:
            texture = texture.resize(
                want, Image.Resampling.BOX if min(want) < 8 else Image.Resampling.LANCZOS
            )
        inside = [((x - frame[0]) * over, (y - frame[1]) * over) for x, y in corners]
        w, h = texture.size
        numbers = homography(inside, [(0, 0), (w, 0), (w, h), (0, h)])
        # a border of its own edge pixels, so that smooth sampling never reaches outside
        rim = 6
        padded = _edged(texture, rim)
        a, b, c, d, e, f, g, i = numbers
        numbers = [a + rim * g, b + rim * i, c + rim, d + rim * g, e + rim * i, f + rim, g, i]
        area = ((frame[2] - frame[0]) * over, (frame[3] - frame[1]) * over)
        warped = padded.transform(area, Image.Transform.PERSPECTIVE, numbers, BICUBIC)
        if over > 1:
            warped = warped.reduce(over)
        cover = self.mask(edge, frame)
        if warped.mode == "RGBA":
            cover = ImageChops.multiply(cover, warped.getchannel("A"))
            warped = warped.convert("RGB")
        self.image.paste(warped, frame[:2], cover)

    def face(
        self, corners: Sequence[Point3], texture: Image.Image, outline: Sequence[Point3] | None = None
    ) -> None:
        """A flat face in the room."""
        self.flat([self.at(p) for p in corners], texture, [self.at(p) for p in outline] if outline else None)

    def ribbon(self, upper: Sequence[Point3], lower: Sequence[Point3], texture: Image.Image) -> None:
        """A bent face between two lines of equally many points, the texture running along them."""
        ups, lows = [self.at(p) for p in upper], [self.at(p) for p in lower]
        count = len(ups) - 1
        edge = ups + lows[::-1]
        frame = self._frame(edge)
        if frame is None:
            return
        before = self.image.crop(frame)
        for i in range(count):
            left, right = round(texture.width * i / count), round(texture.width * (i + 1) / count)
            piece = texture.crop((left, 0, max(left + 1, right), texture.height))
            quad = [ups[i], ups[i + 1], lows[i + 1], lows[i]]
            mid = (sum(p[0] for p in quad) / 4, sum(p[1] for p in quad) / 4)
            grown = []
            for x, y in quad:
                away = hypot(x - mid[0], y - mid[1]) or 1.0
                grown.append((x + (x - mid[0]) / away * 1.6, y + (y - mid[1]) / away * 1.6))
            self.flat(quad, piece, grown)
        self.image.paste(Image.composite(self.image.crop(frame), before, self.mask(edge, frame)), frame[:2])

    def dark(
        self,
        outline: Sequence[Point3],
        blur: float,
        strength: float,
        within: Sequence[Point3] | None = None,
        colour: Colour = (18, 14, 12),
    ) -> None:
        """A soft shadow of an outline: `blur` in cm at its middle, `strength` 0..1, kept inside `within` if
        given."""
        middle: Point3 = (
            sum(p[0] for p in outline) / len(outline),
            sum(p[1] for p in outline) / len(outline),
            sum(p[2] for p in outline) / len(outline),
        )
        self.dark_flat(
            [self.at(p) for p in outline],
            blur * self.scale_at(middle),
            strength,
            [self.at(p) for p in within] if within else None,
            colour,
        )

    def _soft(
        self, outline: Sequence[Point2], blur: float, strength: float, within: Sequence[Point2] | None
    ) -> tuple[tuple[int, int, int, int], Image.Image] | None:
        """Where a blurred outline lies in the picture, and its mask there, worked out small."""
        frame = self._frame(outline, blur * 3 + 4)
        if frame is None:
            return None
        step = max(1, min(8, int(blur / 3)))
        width, height = frame[2] - frame[0], frame[3] - frame[1]
        small = Image.new("L", (max(1, width // step) * 2, max(1, height // step) * 2), 0)
        sx, sy = small.width / width, small.height / height
        ImageDraw.Draw(small).polygon(
            [((x - frame[0]) * sx, (y - frame[1]) * sy) for x, y in outline], fill=round(255 * strength)
        )
        cover = small.filter(ImageFilter.GaussianBlur(blur * sx)).resize((width, height), BILINEAR)
        if within is not None:
            cover = ImageChops.multiply(cover, self.mask(within, frame, 2))
        return frame, cover

    def dark_flat(
        self,
        outline: Sequence[Point2],
        blur: float,
        strength: float,
        within: Sequence[Point2] | None = None,
        colour: Colour = (18, 14, 12),
    ) -> None:
        """`dark` for an outline and a blur in picture pixels."""
        patch = self._soft(outline, blur, strength, within)
        if patch is not None:
            self.image.paste(colour, *patch)

    def glow(
        self,
        outline: Sequence[Point2],
        blur: float,
        strength: float,
        colour: Colour,
        within: Sequence[Point2] | None = None,
    ) -> None:
        """Light added over an outline of the picture (screened), soft by `blur` pixels."""
        patch = self._soft(outline, blur, strength, within)
        if patch is not None:
            frame, cover = patch
            tint = Image.merge("RGB", [cover.point([round(i * c / 255) for i in range(256)]) for c in colour])
            self.image.paste(ImageChops.screen(self.image.crop(frame), tint), frame)

    def gleam(
        self,
        outline: Sequence[Point3],
        blur: float,
        strength: float,
        within: Sequence[Point3] | None = None,
        colour: Colour = PALE,
    ) -> None:
        """`glow` for an outline in the room, `blur` in cm."""
        self.glow(
            [self.at(p) for p in outline],
            blur * self.scale_at(outline[0]),
            strength,
            colour,
            [self.at(p) for p in within] if within else None,
        )

    def edge(
        self, start: Point3, end: Point3, width: float, colour: Colour, strength: float, soft: float = 0.4
    ) -> None:
        """A worn or catching edge: a thin line of light (or dark) `width` cm wide."""
        a, b = self.at(start), self.at(end)
        half = max(0.5, width * self.scale_at(start) / 2)
        length = hypot(b[0] - a[0], b[1] - a[1]) or 1.0
        nx, ny = -(b[1] - a[1]) / length * half, (b[0] - a[0]) / length * half
        outline = [
            (a[0] + nx, a[1] + ny),
            (b[0] + nx, b[1] + ny),
            (b[0] - nx, b[1] - ny),
            (a[0] - nx, a[1] - ny),
        ]
        self.glow(outline, max(0.6, half * soft * 2), strength, colour)

    def turned(
        self,
        start: Point3,
        end: Point3,
        profile: Sequence[tuple[float, float]],
        timber: Timber,
        brightness: float = 0.9,
        side: float = 0.34,
    ) -> None:
        """A part from the lathe between two points: `profile` is (share of length, radius in cm), `side`
        where the light is."""
        a, b = self.at(start), self.at(end)
        length = sqrt(sum((p - q) ** 2 for p, q in zip(start, end, strict=True)))
        widest = max(radius for _, radius in profile)
        density = timber.density
        across, down = max(4, round(2 * widest * density)), max(4, round(length * density))
        wood = timber.board(length, 2 * widest, upright=True).resize((across, down))
        shade, cover = _lathe(tuple(profile), (across, down), round(brightness, 2), side)
        wood = ImageChops.multiply(wood, shade)
        wood.putalpha(cover)
        dx, dy = b[0] - a[0], b[1] - a[1]
        span = hypot(dx, dy) or 1.0
        ha, hb = widest * self.scale_at(start), widest * self.scale_at(end)
        nx, ny = -dy / span, dx / span
        if (ny > 0) if abs(dx) > abs(dy) else (nx > 0):  # the lit side is left, or above on a part that lies
            nx, ny = -nx, -ny
        corners = [
            (a[0] + nx * ha, a[1] + ny * ha),
            (a[0] - nx * ha, a[1] - ny * ha),
            (b[0] - nx * hb, b[1] - ny * hb),
            (b[0] + nx * hb, b[1] + ny * hb),
        ]
        self.flat(corners, wood)

    # -- finishing the picture -------------------------------------------------------------------------------
    def defocus(self, rows: Sequence[float], blur: float) -> None:
        """Soften by depth: `rows` says, top to bottom, how far out of focus (0..1) each height of the
        picture is."""
        step = 2 if blur * self.k > 3 else 1
        small = self.image.reduce(step) if step > 1 else self.image
        soft = small.filter(ImageFilter.GaussianBlur(blur * self.k / step)).resize(self.size, BICUBIC)
        column = Image.new("L", (1, len(rows)))
        column.putdata([round(255 * value) for value in rows])
        self.image = Image.composite(soft, self.image, column.resize(self.size, BICUBIC))

    def develop(
        self,
        seed: str,
        *,
        vignette: float = 0.36,
        bloom: float = 0.14,
        film: float = 5,
        warmth: float = 1.0,
        exposure: float = 0.65,
        contrast: float = 0.045,
    ) -> Image.Image:
        """Vignette, bloom, a gentle curve, and the film's grain."""
        size, rng = self.size, Random(seed)
        small = self.image.resize((max(8, size[0] // 8), max(8, size[1] // 8)), Image.Resampling.BOX)
        bright = small.point([max(0, round((i - 120) * 1.2)) for i in range(256)] * 3)
        halo = bright.filter(ImageFilter.GaussianBlur(small.width * 0.02)).resize(size, BILINEAR)
        image = ImageChops.screen(self.image, halo.point([round(i * bloom) for i in range(256)] * 3))
        ring = Image.radial_gradient("L").resize(size, BILINEAR)
        fall = [round(255 * (1 - vignette * max(0.0, i / 255 - 0.30) ** 1.7 / 0.7**1.7)) for i in range(256)]
        image = ImageChops.multiply(image, Image.merge("RGB", [ring.point(fall)] * 3))
        curve: list[int] = []
        for lift, gain in ((4, 1.02 * warmth), (4, 1.0), (6, 0.97 / warmth)):
            for i in range(256):
                x = (i / 255) ** exposure
                s = x - contrast * sin(2 * pi * x)
                curve.append(max(0, min(255, round(lift + (255 - lift) * (s * 1.03 - 0.005) * gain))))
        image = image.point(curve)
        tooth = (
            speckle(rng, size).filter(ImageFilter.GaussianBlur(0.6)) if self.k > 0.4 else speckle(rng, size)
        )
        tooth = tooth.point([128 + round((i - 127.5) / 127.5 * film) for i in range(256)])
        return ImageChops.add(image, Image.merge("RGB", [tooth] * 3), 1, -128)


@lru_cache(maxsize=64)
def _lathe(
    profile: tuple[tuple[float, float], ...], size: Size, brightness: float, side: float
) -> tuple[Image.Image, Image.Image]:
    """The light on a turned part lying flat (RGB), and where it is (L)."""
    across, down = size
    widest = max(radius for _, radius in profile)
    around = Image.new("L", (64, 1))
    values = []
    for i in range(64):
        u = (i + 0.5) / 32 - 1
        facing = max(0.0, 1 - (u - (side * 2 - 1)) ** 2 * 0.62)
        rim = 0.16 * max(0.0, u - 0.75) / 0.25
        values.append(round(255 * min(1.0, brightness * (0.22 + 0.86 * facing**1.5) + rim * 0.5)))
    around.putdata(values)
    fine = across * 4  # drawn finer across, or the outline would go down in steps
    shade, cover = Image.new("L", (fine, down), 0), Image.new("L", (fine, down), 0)
    previous = profile[0][1]
    for y in range(down):
        radius = _between(profile, (y + 0.5) / down)
        half = max(1.0, radius / widest * fine / 2)
        slope = (radius - previous) / widest * across / 2
        previous = radius
        strip = around.resize((max(2, round(2 * half)), 1), BILINEAR)
        gain = min(1.5, max(0.45, 1 + slope * 0.5))
        left = round(fine / 2 - half)
        shade.paste(strip.point([min(255, round(i * gain)) for i in range(256)]), (left, y))
        cover.paste(255, (left, y, left + strip.width, y + 1))
    shade = shade.resize(size, Image.Resampling.BOX)
    shade.putpalette(LIGHT)
    cover = cover.filter(ImageFilter.BoxBlur((0, 1))).resize(size, Image.Resampling.BOX)
    return shade.convert("RGB"), cover


def _between(profile: Sequence[tuple[float, float]], at: float) -> float:
    """The profile's radius at a share of its length, rounded between its points."""
    for (t0, r0), (t1, r1) in itertools.pairwise(profile):
        if t0 <= at <= t1:
            share = (at - t0) / (t1 - t0) if t1 > t0 else 0.0
            return r0 + (r1 - r0) * (0.5 - 0.5 * cos(pi * share))
    return profile[-1][1]
