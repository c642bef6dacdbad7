"""Sample boards: a stain of any tone on a timber, in one, two and three coats, with its name in pencil."""

from __future__ import annotations

from itertools import pairwise
from math import cos, pi, sin
from random import Random

import font_source_serif_pro
from PIL import Image, ImageChops, ImageDraw, ImageFilter, ImageFont, ImageStat

from . import joinery as work
from .geometry import Point3, lying
from .grain import Colour, Size, Timber, cloud, glued_up, tinted
from .joinery import shaded
from .stage import Stage, lit

# A sample board: room above the tone for the pale of the figure; what
# the room's light and the lens take from each channel.
HEAD, LOSS = 1.25, (1.09, 1.13, 1.12)


def sample_board(size: Size, tone: Colour, timber_name: str, label: str, maker: str) -> Stage:
    """A sample board on the bench: bare timber, then one, two and three coats of a stain of this tone."""
    stage = Stage(size, (0, 60, 16), (0, 0, 0), 1.22)
    k, rng = stage.k, Random(f"board {label}")
    bench = glued_up(Timber("floor", 20 * k, 8, "pine", stock=(114, 36), sheets=1), 110, 80, 5)
    work.grime(bench, rng, (9, 7), 0.8)
    work.scratches(bench, 20 * k, rng, 60, 14, 90)
    stage.face(
        lying(-55, 55, -40, 40, 0),
        lit(bench, [[0.7, 0.6, 0.4], [0.82, 0.72, 0.46], [0.6, 0.5, 0.34]]),
    )

    d = 40 * k
    wide, high = 34.0, 21.0
    bare = {"walnut": "walnut bare", "oak": "pine scrubbed"}[timber_name]
    timber = Timber(bare, d, 9, timber_name, stock=(60, 34), sheets=1)
    board = timber.board(wide, high)
    grain = board.convert("L")
    left, top, low = 6.4, 1.5, high - 5.2
    stripe = (wide - left - 1.4) / 3
    red, green, blue = (min(255, round(part * HEAD * loss)) for part, loss in zip(tone, LOSS, strict=True))
    held: Colour = (red, green, blue)
    for coat in range(3):
        x = left + coat * stripe
        area = (round(x * d), round(top * d), round((x + stripe - 0.35) * d), round(low * d))
        region, shade = board.crop(area), grain.crop(area)
        depth = (0.62, 0.84, 1.0)[coat]
        # a stain colours the bare timber and lets its figure through: about the tone, darker in the rings,
        # paler between
        mean = ImageStat.Stat(shade).mean[0]
        figure = shade.point(
            [min(255, max(0, round(255 / HEAD * (1 + 1.1 * (i - mean) / 255)))) for i in range(256)]
        )
        stained = ImageChops.multiply(Image.new("RGB", region.size, held), Image.merge("RGB", [figure] * 3))
        brushed = Image.blend(region, stained, depth)
        cover = work.soft(
            region.size,
            [("box", (0.12 * d, 0.1 * d, region.width - 0.12 * d, region.height - 0.1 * d), 255)],
            0.06 * d,
        )
        ragged = cloud(rng, region.size, (3, region.height / max(1.0, 0.12 * d)), 2)
        cover = ImageChops.add(
            cover, ragged.point([round((i - 127) * 0.2) + 25 for i in range(256)]), 1, -25
        ).point([min(255, max(0, (i - 96) * 3)) for i in range(256)])
        board.paste(brushed, area[:2], cover)
        lap = (area[2] - 0.7 * d, area[1] + 0.2 * d, area[2] - 0.25 * d, area[3] - 0.2 * d)
        shaded(board, lap, 0.14 * d, 0.16, tinted(tone, 0.5))
    # pencil: what the board is, and how many coats
    face = ImageFont.truetype(font_source_serif_pro.SourceSerifProIt, max(6, round(1.7 * d)))
    small = ImageFont.truetype(font_source_serif_pro.SourceSerifProIt, max(5, round(1.05 * d)))
    marks = Image.new("L", board.size, 0)
    pen = ImageDraw.Draw(marks)
    pen.text((left * d, (low + 0.75) * d), label, fill=200, font=face)
    pen.text((left * d, (low + 2.95) * d), maker, fill=170, font=small)
    for coat in range(3):
        pen.text(
            ((left + (coat + 0.5) * stripe) * d - 0.3 * d, (low - 0.12) * d),
            "I" * (coat + 1),
            fill=190,
            font=small,
            anchor="ma",
        )
    pencil = ImageChops.multiply(
        marks, cloud(rng, board.size, (90, 60), 2).point([min(255, 120 + i) for i in range(256)])
    )
    board.paste(
        (58, 54, 54),
        (0, 0),
        pencil.rotate(0.5, Image.Resampling.BICUBIC).filter(ImageFilter.GaussianBlur(0.02 * d)),
    )
    # the hole for the string
    hole = (3.1, high / 2)
    r = 0.75
    disc = (hole[0] * d - r * d, hole[1] * d - r * d, hole[0] * d + r * d, hole[1] * d + r * d)
    board.paste((24, 19, 15), (0, 0), work.soft(board.size, [("disc", disc, 255)], 0.05 * d))
    lip = work.soft(
        board.size, [("disc", (disc[0], disc[1] + 0.16 * d, disc[2], disc[3] + 0.16 * d), 150)], 0.07 * d
    )
    board.paste(
        (232, 212, 184),
        (0, 0),
        ImageChops.subtract(lip, work.soft(board.size, [("disc", disc, 255)], 0.05 * d)),
    )

    turn = -0.06

    def lay(x: float, z: float, y: float = 1.2) -> Point3:
        cx, cz = x - wide / 2, z - high / 2
        return (cx * cos(turn) - cz * sin(turn) + 1.5, y, cx * sin(turn) + cz * cos(turn) - 0.5)

    flat = [lay(0, 0), lay(wide, 0), lay(wide, high), lay(0, high)]
    foot = [lay(0, 0, 0), lay(wide, 0, 0), lay(wide, high, 0), lay(0, high, 0)]
    stage.dark([(x + 1.6, 0, z + 1.3) for x, _, z in foot], 1.5, 0.62)
    stage.dark([(x + 0.3, 0, z + 0.3) for x, _, z in foot], 0.45, 0.8)
    stage.face([flat[3], flat[2], foot[2], foot[3]], lit(timber.board(wide, 1.2), [[0.62, 0.5], [0.4, 0.32]]))
    stage.face(flat, lit(board, [[1.0, 0.98, 0.86], [1.0, 1.0, 0.9], [0.97, 0.92, 0.8]]))
    stage.edge(flat[0], flat[1], 0.12, (255, 244, 226), 0.5)
    stage.edge(flat[3], flat[2], 0.12, (255, 244, 226), 0.4)
    stage.edge(flat[0], flat[3], 0.12, (255, 244, 226), 0.5)
    # sheen: one soft stroke over the coated stripes
    stage.glow(
        [stage.at(lay(x, z)) for x, z in ((10, 1.5), (17, 1.5), (13.4, low), (7.4, low))],
        40 * k,
        0.14,
        (255, 246, 230),
    )

    # the string, out of the hole and away in a loop
    cord: list[Point3] = []
    for i in range(61):
        t = i / 60
        loop = pi * (0.1 + 1.92 * t)
        cord.append(
            lay(
                hole[0] - 7.6 + 7.6 * cos(loop - 0.3),
                hole[1] - 1.4 + 3.6 * sin(loop) * (1 + 0.3 * t),
                1.5 if hole[0] > -7 else 0.4,
            )
        )
    start = lay(hole[0], hole[1], 1.3)
    cord = [start, *cord[2:-2], start]
    drop = [(x + 0.5, 0.0, z + 0.45) for x, _, z in cord]
    for a, b in pairwise(drop):
        stage.dark(
            [(a[0], 0, a[2] - 0.16), (b[0], 0, b[2] - 0.16), (b[0], 0, b[2] + 0.16), (a[0], 0, a[2] + 0.16)],
            0.22,
            0.5,
        )
    _string(stage, [stage.at(p) for p in cord], 0.34 * stage.scale_at(start))
    return stage


def _string(stage: Stage, points: list[tuple[float, float]], width: float) -> None:
    """Twine: a round cord with its lay, drawn at three times the size."""
    over = 3
    left, top = int(min(p[0] for p in points) - width * 2), int(min(p[1] for p in points) - width * 2)
    right, bottom = (
        int(max(p[0] for p in points) + width * 2) + 1,
        int(max(p[1] for p in points) + width * 2) + 1,
    )
    area = ((right - left) * over, (bottom - top) * over)
    big = Image.new("RGBA", area, (0, 0, 0, 0))
    pen = ImageDraw.Draw(big)
    line = [((x - left) * over, (y - top) * over) for x, y in points]
    w = max(2, round(width * over))
    for colour, share, off in (
        ((92, 74, 50, 255), 1.0, 0.0),
        ((176, 150, 108, 255), 0.66, -0.10),
        ((220, 200, 160, 255), 0.26, -0.2),
    ):
        pen.line(
            [(x, y + off * w) for x, y in line], fill=colour, width=max(1, round(w * share)), joint="curve"
        )
    for (x0, y0), (x1, y1) in pairwise(line):
        span = max(1.0, ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5)
        count = max(1, int(span / (w * 0.55)))
        for i in range(count):
            x, y = x0 + (x1 - x0) * i / count, y0 + (y1 - y0) * i / count
            nx, ny = -(y1 - y0) / span, (x1 - x0) / span
            tx, ty = (x1 - x0) / span, (y1 - y0) / span
            pen.line(
                (
                    x - nx * w * 0.45 - tx * w * 0.25,
                    y - ny * w * 0.45 - ty * w * 0.25,
                    x + nx * w * 0.45 + tx * w * 0.25,
                    y + ny * w * 0.45 + ty * w * 0.25,
                ),
                fill=(92, 74, 50, 150),
                width=max(1, w // 9),
            )
    small = big.reduce(over)
    stage.image.paste(small.convert("RGB"), (left, top), small.getchannel("A"))
