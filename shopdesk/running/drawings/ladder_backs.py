"""Ladder-back chairs with rush seats, such as come in sets of six."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import pi, sin
from random import Random

from PIL import Image, ImageChops, ImageDraw

from . import joinery as work
from .geometry import Point3, around
from .grain import Colour, Timber, cloud
from .stage import PALE, Stage, lit

POST = ((0, 1.0), (0.02, 1.9), (0.05, 1.7), (0.07, 1.1), (0.09, 1.8), (0.97, 1.9), (1, 1.5))
SHORT = ((0, 2.0), (0.06, 1.9), (0.90, 1.8), (0.94, 2.3), (1, 1.5))
RUNG = ((0, 0.9), (0.5, 1.4), (1, 0.9))


@lru_cache(maxsize=6)
def _rush(density: float, seed: int, torn: bool) -> Image.Image:
    """A rush seat from above: four triangles of twisted strands meeting in the middle; a torn one sags
    open."""
    rng = Random(f"rush {seed}")
    wide, deep = round(46 * density), round(38 * density)
    step = max(2, round(0.75 * density))
    image = Image.new("RGB", (wide, deep), (60, 44, 24))
    pen = ImageDraw.Draw(image)
    for inset in range(0, deep // 2, step):
        hue = rng.uniform(0.72, 1.12)
        near: Colour = (round(168 * hue), round(138 * hue), round(92 * hue))
        far: Colour = (round(140 * hue), round(115 * hue), round(78 * hue))
        shift = inset * 0.62 * wide / deep
        pen.line((shift, inset, wide - shift, inset), fill=far, width=max(1, step - 1))
        pen.line((shift, deep - inset, wide - shift, deep - inset), fill=near, width=max(1, step - 1))
        side = round(inset * 1.1)
        pen.line((side, inset, side, deep - inset), fill=near, width=max(1, step - 1))
        pen.line((wide - side, inset, wide - side, deep - inset), fill=far, width=max(1, step - 1))
    twist = cloud(rng, image.size, (wide / max(1, step), deep / max(1, step)), 2)
    image = ImageChops.multiply(
        image, Image.merge("RGB", [twist.point([140 + round(i * 0.45) for i in range(256)])] * 3)
    )
    work.grime(image, rng, (5, 4), 0.8)
    if torn:
        hole = work.soft(
            image.size, [("disc", (wide * 0.40, deep * 0.52, wide * 0.74, deep * 0.88), 255)], density * 1.2
        )
        ragged = ImageChops.add(hole, cloud(rng, image.size, (30, 20), 2), 1, -140).point(
            [min(255, max(0, (i - 90) * 6)) for i in range(256)]
        )
        image.paste((16, 11, 7), (0, 0), ragged)
    return image


def stand(
    stage: Stage,
    centre: Point3,
    turn: float,
    density: float,
    seed: int,
    brightness: float,
    *,
    torn: bool = False,
    slats: int = 4,
) -> None:
    """A ladder-back chair with a rush seat; `slats` fewer than four leaves empty mortises."""
    timber, b = Timber("ash tired", density, 3), brightness
    timber.rng.seed(f"ladder {seed}")

    def w(*points: Point3) -> list[Point3]:
        return around(points, centre, turn)

    def lathe(a: Point3, e: Point3, profile: Sequence[tuple[float, float]], tone: float) -> None:
        start, end = w(a, e)
        stage.turned(start, end, profile, timber, b * tone)

    stage.dark(
        [(x + 7, 0.4, z) for x, _, z in w((-19, 0, -20), (19, 0, -20), (24, 0, 20), (-24, 0, 20))], 6, 0.42
    )
    for foot in ((-18, -19), (18, -19), (-22, 19), (22, 19)):
        p = w((foot[0], 0.4, foot[1]))[0]
        stage.dark(
            [
                (p[0] - 2, 0.4, p[2] - 2),
                (p[0] + 15, 0.4, p[2] - 6),
                (p[0] + 15, 0.4, p[2] - 3),
                (p[0] - 1, 0.4, p[2] + 2.5),
            ],
            1.4,
            0.75,
        )
        stage.dark(
            [
                (p[0] - 2.4, 0.4, p[2] - 2),
                (p[0] + 3, 0.4, p[2] - 2),
                (p[0] + 2, 0.4, p[2] + 2),
                (p[0] - 2, 0.4, p[2] + 2),
            ],
            0.7,
            0.8,
        )
    for x in (-18.0, 18.0):
        lathe((x * 1.04, 106, -24), (x, 0, -19), POST, 0.8)
    for number in range(4):
        y = 58 + number * 11.6
        if number >= slats:
            continue
        bend = [t / 10 for t in range(11)]
        upper = w(
            *[
                (-18 + 36 * t, y + 4.6 + 2.0 * sin(pi * t), -21.6 - 1.6 * sin(pi * t) - (y - 58) * 0.05)
                for t in bend
            ]
        )
        lower = w(
            *[
                (-18 + 36 * t, y - 1.6 + 0.6 * sin(pi * t), -21.0 - 1.6 * sin(pi * t) - (y - 58) * 0.05)
                for t in bend
            ]
        )
        slat = timber.board(36, 6.6)
        stage.ribbon(
            upper, lower, lit(slat, [[b * 0.86, b * 0.98, b * 0.78], [b * 0.62, b * 0.74, b * 0.56]])
        )
        for i in range(10):
            stage.edge(upper[i], upper[i + 1], 0.4, PALE, 0.32)
    lathe((-18, 26, -19.5), (18, 26, -19.5), RUNG, 0.6)
    for y in (13.0, 27.0):
        for side in (-1, 1):
            lathe((18 * side, y, -19.3), (22 * side, y, 19), RUNG, 0.66)
    seat = w((-19, 45, -19), (19, 45, -19), (24, 45.4, 21), (-24, 45.4, 21))
    drop = [(x, 42.4 + centre[1], z) for x, _, z in seat]
    for a, c, tone in ((3, 2, 0.8), (2, 1, 0.4)):
        stage.face(
            [seat[a], seat[c], drop[c], drop[a]],
            lit(
                _rush(density, 9, False).crop((0, 0, round(46 * density), max(2, round(3 * density)))),
                [[b * tone] * 2, [b * tone * 0.5] * 2],
            ),
        )
    for x in (-22.0, 22.0):
        lathe((x, 47, 19.5), (x, 0, 19.5), SHORT, 0.96 if x < 0 else 0.84)
    for y, profile in ((14.0, RUNG), (29.0, RUNG)):
        lathe((-22, y, 19.5), (22, y, 19.5), profile, 0.95)
    stage.face(
        seat, lit(_rush(density, seed, torn), [[b * 0.66, b * 0.6], [b, b * 0.94], [b * 0.96, b * 0.86]])
    )
    stage.edge(seat[3], seat[2], 0.6, PALE, 0.25)
