"""Chairs: the captain's armchair of the commission, and ladder-backs with rush seats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import cos, pi, sin
from random import Random

from PIL import Image, ImageChops, ImageDraw

from . import joinery as work
from .grain import Colour, Timber, cloud, glued_up
from .stage import Point3, Stage, lit

PALE: Colour = (236, 204, 164)
LEG = ((0, 1.7), (0.10, 1.9), (0.16, 2.5), (0.20, 1.9), (0.23, 2.6), (0.26, 1.8), (0.50, 2.7), (0.72, 2.1), (0.76, 2.7),
       (0.80, 1.9), (0.83, 2.3), (0.95, 1.6), (1, 1.5))  # fmt: skip
SPINDLE = ((0, 0.9), (0.16, 1.0), (0.22, 1.5), (0.26, 1.0), (0.50, 1.75), (0.74, 1.0), (0.78, 1.5), (0.84, 1.0), (1, 0.9))
STRETCHER = ((0, 1.0), (0.2, 1.3), (0.42, 1.7), (0.46, 2.2), (0.54, 2.2), (0.58, 1.7), (0.8, 1.3), (1, 1.0))


@dataclass(frozen=True)
class Chair:
    """How far the armchair is."""

    finish: str
    worn: bool = False
    clamped: bool = False
    sheen: float = 0.0
    brightness: float = 1.0
    raised: float = 0.0


def _seat_edge(y: float, grow: float = 1.0, steps: int = 56) -> list[Point3]:
    """The seat's outline: squarish, broader in front, rounded behind."""
    points: list[Point3] = []
    for i in range(steps):
        turn = 2 * pi * i / steps
        c, s = cos(turn), sin(turn)
        power = 2 / 3.2
        x = 27 * abs(c) ** power * (1 if c > 0 else -1)
        z = 25 * abs(s) ** power * (1 if s > 0 else -1)
        x *= 1 + 0.06 * z / 25
        points.append((x * grow, y, z * grow))
    return points


def _bow(share: float, out: float, y: float) -> Point3:
    """A point of the arm bow: share 0 is the left hand rest, 0.5 the back, 1 the right hand rest; `out` cm outward."""
    turn = pi * (share * 1.16 - 0.08)
    x, z = -cos(turn), -sin(turn)
    return (x * (28.5 + out), y + 2.0 * sin(pi * share) ** 2, z * (26 + out) + 2)


def _ring(spec: Sequence[Point3], centre: Point3, turn: float) -> list[Point3]:
    c, s = cos(turn), sin(turn)
    return [(centre[0] + x * c + z * s, centre[1] + y, centre[2] - x * s + z * c) for x, y, z in spec]


def armchair(stage: Stage, chair: Chair, density: float, turn: float = 0.42, centre: Point3 = (0, 0, 0)) -> None:
    """The captain's chair: bow of arms on turned spindles, crest behind, saddled seat, raked turned legs."""
    timber, b = Timber(chair.finish, density, 2), chair.brightness
    rng = Random("armchair")
    place = (centre[0], centre[1] + chair.raised, centre[2])

    def w(*points: Point3) -> list[Point3]:
        return _ring(points, place, turn)

    def lathe(a: Point3, e: Point3, profile: Sequence[tuple[float, float]], tone: float = 0.92) -> None:
        start, end = w(a, e)
        stage.turned(start, end, profile, timber, b * tone)

    def strap(a: Point3, e: Point3, tone: float, deep: float = 2.2) -> None:
        ends = w(a, e)
        quad: list[Point3] = [
            (ends[0][0], ends[0][1] + deep, ends[0][2]), (ends[1][0], ends[1][1] + deep, ends[1][2]), ends[1], ends[0]
        ]  # fmt: skip
        web = Image.new("RGB", (160, 14), (196, 148, 52))
        pen = ImageDraw.Draw(web)
        pen.rectangle((0, 4, 160, 5), fill=(74, 60, 40))
        pen.rectangle((0, 9, 160, 10), fill=(74, 60, 40))
        work.grime(web, Random("web"), (40, 3), 0.4)
        stage.face(quad, lit(web, [[tone, tone * 0.9], [tone * 0.74, tone * 0.66]]))

    top, low = 46.0, 42.4
    feet = {"bl": (-23.0, 0.0, -25.0), "br": (23.0, 0.0, -25.0), "fr": (24.5, 0.0, 23.0), "fl": (-24.5, 0.0, 23.0)}
    heads = {"bl": (-15.0, low, -16.0), "br": (15.0, low, -16.0), "fr": (18.5, low, 16.0), "fl": (-18.5, low, 16.0)}

    def along(leg: str, share: float) -> Point3:
        (x0, y0, z0), (x1, y1, z1) = heads[leg], feet[leg]
        return (x0 + (x1 - x0) * share, y0 + (y1 - y0) * share, z0 + (z1 - z0) * share)

    stage.dark([(x + 7, place[1] + 0.4, z) for x, _, z in w(*feet.values())], 7, 0.4)
    for foot in feet.values():
        x, _, z = w(foot)[0]
        floor = place[1] + 0.4
        stage.dark([(x - 3, floor, z - 2.5), (x + 16, floor, z - 7), (x + 17, floor, z - 3), (x - 2, floor, z + 3)], 1.8, 0.7)
        stage.dark([(x - 2, floor, z - 2), (x + 2.4, floor, z - 2), (x + 2.4, floor, z + 2.2), (x - 2, floor, z + 2.2)], 0.8, 0.8)
    for leg in ("bl", "br"):
        lathe(heads[leg], feet[leg], LEG, 0.62)
    if chair.clamped:
        strap(along("bl", 0.46), along("br", 0.46), b * 0.42)
        strap(along("bl", 0.46), along("fl", 0.46), b * 0.46)
    for left, right in (("bl", "fl"), ("br", "fr")):
        lathe(along(left, 0.62), along(right, 0.62), STRETCHER, 0.74)
    mid_l = tuple((p + q) / 2 for p, q in zip(along("bl", 0.62), along("fl", 0.62), strict=True))
    mid_r = tuple((p + q) / 2 for p, q in zip(along("br", 0.62), along("fr", 0.62), strict=True))
    lathe((mid_l[0], mid_l[1], mid_l[2]), (mid_r[0], mid_r[1], mid_r[2]), STRETCHER, 0.8)
    for leg in ("fl", "fr"):
        lathe(heads[leg], feet[leg], LEG, 0.95 if leg == "fl" else 0.86)
    if chair.clamped:
        strap(along("fl", 0.46), along("fr", 0.46), b * 0.95)
        strap(along("fr", 0.46), along("br", 0.46), b * 0.6)

    # the seat: its rim, then its saddled top
    rim_up, rim_low = w(*_seat_edge(top)), w(*_seat_edge(low, 0.955))
    rim = glued_up(timber, 170, top - low, 1)
    order = [*range(len(rim_up)), 0]
    stage.ribbon(
        [rim_up[i] for i in order], [rim_low[i] for i in order],
        lit(rim, [[b * v for v in (0.62, 0.5, 0.9, 1.0, 0.9, 0.3, 0.2, 0.3, 0.62)], [b * v for v in (0.3, 0.26, 0.5, 0.56, 0.46, 0.2, 0.1, 0.2, 0.3)]]),
    )  # fmt: skip
    board = glued_up(timber, 60, 56, 3)
    d = density
    saddle = work.soft(board.size, [
        ("disc", (board.width * 0.12, board.height * 0.22, board.width * 0.49, board.height * 1.02), 120),
        ("disc", (board.width * 0.51, board.height * 0.22, board.width * 0.88, board.height * 1.02), 120),
    ], 4 * d)  # fmt: skip
    board.paste((20, 12, 8), (0, 0), saddle.point([round(i * 0.75) for i in range(256)]))
    ridge = work.soft(board.size, [("disc", (board.width * 0.46, board.height * 0.5, board.width * 0.54, board.height * 1.0), 130)], 1.8 * d)
    board.paste((230, 200, 160), (0, 0), ridge.point([round(i * 0.4) for i in range(256)]))
    if chair.worn:
        worn = cloud(rng, board.size, (14, 9), 4).point([min(190, max(0, (i - 118) * 5)) for i in range(256)])
        board.paste((176, 142, 104), (0, 0), ImageChops.multiply(worn, saddle.point([min(255, i * 2) for i in range(256)])))
        work.scratches(board, d, rng, 40, 12)
        work.grime(board, rng, (4, 4), 0.7)
        crack = [("line", (max(1.0, 0.28 * d), board.width * 0.30, board.height, board.width * 0.31, board.height * 0.62, board.width * 0.305, board.height * 0.35), 230)]
        board.paste((8, 5, 3), (0, 0), work.soft(board.size, crack, 0.5))
    outline = w(*_seat_edge(top))
    corners = w((-30, top, -28), (30, top, -28), (30, top, 28), (-30, top, 28))
    stage.face(corners, lit(board, [[b * 0.7, b * 0.64, b * 0.5], [b * 0.96, b * 0.9, b * 0.72], [b, b * 0.96, b * 0.8]]), outline)
    if chair.sheen:
        glow = [stage.at(p) for p in w((-24, top, -8), (-10, top, -10), (-4, top, 22), (-20, top, 22))]
        stage.glow(glow, 3 * stage.scale_at(corners[0]), 0.36 * chair.sheen, PALE, [stage.at(p) for p in outline])
    for i, j in zip(range(len(outline)), range(1, len(outline)), strict=False):
        if outline[i][2] + outline[j][2] > 2 * place[2] - 10:
            stage.edge(outline[i], outline[j], 0.35, PALE, 0.30 + 0.25 * chair.sheen)
    stage.dark(w(*[_bow(t / 12, -3, top) for t in range(13)], *[_bow(t / 12, 2, top) for t in range(12, -1, -1)]), 2.5, 0.45,
               outline)  # fmt: skip

    # spindles, far ones first
    arm_low, arm_high = 68.0, 71.4
    missing = 9 if chair.worn else -1
    places = [(n, n / 12) for n in range(13)]
    for n, share in sorted(places, key=lambda p: w(_bow(p[1], 0, 0))[0][2]):
        if n == missing:
            continue
        x, _, z = _bow(0.03 + 0.94 * share, 0, 0)
        bow = _bow(0.03 + 0.94 * share, 0, arm_low + 0.6)
        base = (x * 0.82, top - 0.3, z * 0.82 - 0.5)
        if n in (0, 12):
            base = (x * 0.84, top - 0.3, z * 0.9 + 2)
        a = w(base)[0]
        stage.dark([(a[0] - 1.2, a[1] + 0.3, a[2] - 1), (a[0] + 4, a[1] + 0.3, a[2] - 2), (a[0] + 4, a[1] + 0.3, a[2]), (a[0] - 1, a[1] + 0.3, a[2] + 1.2)], 0.7, 0.55, outline)
        lathe(bow, base, SPINDLE, 0.70 + 0.22 * (1 - share))
    if missing >= 0:
        hole = w(_bow(0.03 + 0.94 * missing / 12, 0, 0))[0]
        x, z = place[0] + (hole[0] - place[0]) * 0.82, place[2] + (hole[2] - place[2]) * 0.82
        stage.dark([(x - 0.9, place[1] + top, z - 0.9), (x + 0.9, place[1] + top, z - 0.9), (x + 0.9, place[1] + top, z + 0.9), (x - 0.9, place[1] + top, z + 0.9)], 0.25, 0.9)

    # the bow: the face that looks inward, the outer face of the near arm, its top, the crest upon it
    steps = [t / 40 for t in range(41)]

    def path(shares: Sequence[float], out: float, y: float) -> list[Point3]:
        return w(*[_bow(t, out + (1.3 * (abs(t - 0.5) * 2) ** 3 if out > 0 else -1.3 * (abs(t - 0.5) * 2) ** 3), y) for t in shares])

    rail = timber.board(150, 3.4)
    inward = [[b * v for v in (0.5, 0.66, 0.86, 0.92, 0.84, 0.5)], [b * v for v in (0.3, 0.40, 0.55, 0.6, 0.52, 0.3)]]
    stage.ribbon(path(steps, -2.6, arm_high), path(steps, -2.6, arm_low), lit(rail, inward))
    # of its outer face only what is turned to the camera
    for t0, t1 in zip(steps, steps[1:], strict=False):
        p = path([t0, t1], 2.8, arm_high)
        q = path([t0, t1], -2.6, arm_high)
        out_x, out_z = p[0][0] - q[0][0], p[0][2] - q[0][2]
        facing = out_x * (stage.eye[0] - p[0][0]) + out_z * (stage.eye[2] - p[0][2])
        if facing > 0:
            tone = b * (0.84 if out_x < 0 else 0.44)
            piece = lit(timber.board(6, 3.4), [[tone] * 2, [tone * 0.55] * 2])
            stage.ribbon(p, path([t0, t1], 2.8, arm_low), piece)
    arms = timber.board(150, 8)
    if chair.worn:
        rub = work.soft(arms.size, [("box", (0, 0, arms.width * 0.13, arms.height), 190), ("box", (arms.width * 0.87, 0, arms.width, arms.height), 190)], arms.width * 0.02)
        arms.paste((182, 146, 106), (0, 0), ImageChops.multiply(rub, cloud(rng, arms.size, (40, 4), 3).point([min(255, max(0, (i - 90) * 4)) for i in range(256)])))
    stage.ribbon(
        path(steps, 2.8, arm_high), path(steps, -2.6, arm_high),
        lit(arms, [[b * v for v in (0.98, 0.98, 0.8, 0.72, 0.7, 0.86, 0.94)], [b * v for v in (1.0, 1.0, 0.86, 0.8, 0.76, 0.9, 1.0)]]),
    )  # fmt: skip
    for t in (0.0, 1.0):  # the ends of the arms, rounded for the hand
        a, c = path([t], -2.6, arm_high)[0], path([t], 2.8, arm_high)[0]
        mid, half = ((a[0] + c[0]) / 2, (a[2] + c[2]) / 2), ((c[0] - a[0]) / 2, (c[2] - a[2]) / 2)
        ahead = (half[1], -half[0]) if t == 1 else (-half[1], half[0])
        arc = [pi * i / 12 for i in range(13)]
        cap: list[Point3] = [
            (mid[0] + half[0] * cos(v) + ahead[0] * sin(v) * 0.8, a[1], mid[1] + half[1] * cos(v) + ahead[1] * sin(v) * 0.8)
            for v in arc
        ]  # fmt: skip
        foot_cap: list[Point3] = [(x, y - (arm_high - arm_low), z) for x, y, z in cap]
        tone = b * (0.9 if t == 0 else 0.82)
        side = timber.board(12, 3.4)
        stage.ribbon(cap, foot_cap, lit(side, [[tone * 0.9, tone, tone * 0.7], [tone * 0.5, tone * 0.56, tone * 0.4]]))
        hand = timber.board(8, 8)
        if chair.worn:
            hand.paste((182, 146, 106), (0, 0), cloud(rng, hand.size, (5, 4), 3).point([min(220, max(0, (i - 96) * 4)) for i in range(256)]))
        far: Point3 = (mid[0] + ahead[0], a[1], mid[1] + ahead[1])
        spread = (half[0], half[1])
        quad: list[Point3] = [
            (far[0] - spread[0], a[1], far[2] - spread[1]), (far[0] + spread[0], a[1], far[2] + spread[1]),
            (mid[0] + spread[0], a[1], mid[1] + spread[1]), (mid[0] - spread[0], a[1], mid[1] - spread[1]),
        ]  # fmt: skip
        stage.face(quad, lit(hand, [[b, b * 0.96], [b * 0.98, b * 0.94]]), cap)
        for p0, p1 in zip(cap, cap[1:], strict=False):
            stage.edge(p0, p1, 0.3, PALE, 0.24 + 0.3 * chair.sheen)
    for i in range(0, 40):
        p = path([steps[i], steps[i + 1]], -2.6, arm_high)
        stage.edge(p[0], p[1], 0.3, PALE, 0.26 + 0.3 * chair.sheen)
    crest = [0.27 + 0.46 * t / 24 for t in range(25)]
    rise = [7.5 * sin(pi * min(1.0, max(0.0, t / 24))) ** 0.55 for t in range(25)]

    def crest_line(out: float, lift: float) -> list[Point3]:
        return w(*[_bow(t, out, arm_high + r * lift) for t, r in zip(crest, rise, strict=True)])

    stage.dark(crest_line(-1, 0.0) + crest_line(-2.4, 0.0)[::-1], 0.8, 0.5)
    face = timber.board(52, 8)
    if chair.worn:
        work.grime(face, rng, (6, 2), 0.7)
        work.scratches(face, d, rng, 14, 8)
    stage.ribbon(crest_line(0.2, 1.0), crest_line(-0.9, 0.0), lit(face, [[b * v for v in (0.72, 0.94, 1.0, 0.9, 0.66)], [b * v for v in (0.5, 0.68, 0.74, 0.64, 0.44)]]))
    stage.ribbon(crest_line(2.4, 1.0), crest_line(0.2, 1.0), lit(timber.board(52, 2.4), [[b * 0.9, b, b * 0.8], [b, b, b * 0.9]]))
    if chair.sheen:
        glow = [stage.at(p) for p in crest_line(0, 0.85)[5:12] + crest_line(0, 0.2)[5:12][::-1]]
        stage.glow(glow, 1.6 * stage.scale_at(place), 0.40 * chair.sheen, PALE)
    if chair.clamped:
        strap(_bow(0.0, 2.9, arm_low + 0.4), _bow(1.0, 2.9, arm_low + 0.4), b * 0.98)
        strap(_bow(1.0, 2.9, arm_low + 0.4), _bow(0.8, 3.0, arm_low + 0.4), b * 0.6)
        a, e = w(_bow(0.0, 2.9, arm_low), _bow(1.0, 2.9, arm_low))
        at: Point3 = (a[0] + (e[0] - a[0]) * 0.4, a[1] - 0.4, a[2] + (e[2] - a[2]) * 0.4 + 0.6)
        _ratchet(stage, at, b)


def _ratchet(stage: Stage, at: Point3, brightness: float) -> None:
    """The steel buckle of a strap clamp."""
    x, y, z = at
    stage.dark([(x, y - 1, z), (x + 8, y - 1, z), (x + 8, y + 3, z), (x, y + 3, z)], 0.8, 0.5)
    steel = Image.new("RGB", (80, 40), (150, 152, 152))
    pen = ImageDraw.Draw(steel)
    pen.rectangle((4, 6, 30, 33), fill=(94, 96, 98))
    pen.rectangle((36, 4, 76, 12), fill=(180, 182, 180))
    pen.rectangle((36, 26, 76, 36), fill=(108, 110, 112))
    pen.ellipse((12, 12, 26, 28), fill=(196, 196, 192))
    quad: list[Point3] = [(x, y + 3.4, z + 0.4), (x + 8, y + 3.4, z + 0.4), (x + 8, y - 0.8, z + 0.4), (x, y - 0.8, z + 0.4)]
    stage.face(quad, lit(steel, [[brightness, brightness * 0.8], [brightness * 0.6, brightness * 0.5]]))


# -- ladder-backs ------------------------------------------------------------------------------------------------
POST = ((0, 1.0), (0.02, 1.9), (0.05, 1.7), (0.07, 1.1), (0.09, 1.8), (0.97, 1.9), (1, 1.5))
SHORT = ((0, 2.0), (0.06, 1.9), (0.90, 1.8), (0.94, 2.3), (1, 1.5))
RUNG = ((0, 0.9), (0.5, 1.4), (1, 0.9))


@lru_cache(maxsize=6)
def _rush(density: float, seed: int, torn: bool) -> Image.Image:
    """A rush seat from above: four triangles of twisted strands meeting in the middle; a torn one sags open."""
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
    image = ImageChops.multiply(image, Image.merge("RGB", [twist.point([140 + round(i * 0.45) for i in range(256)])] * 3))
    work.grime(image, rng, (5, 4), 0.8)
    if torn:
        hole = work.soft(image.size, [("disc", (wide * 0.40, deep * 0.52, wide * 0.74, deep * 0.88), 255)], density * 1.2)
        ragged = ImageChops.add(hole, cloud(rng, image.size, (30, 20), 2), 1, -140).point([min(255, max(0, (i - 90) * 6)) for i in range(256)])
        image.paste((16, 11, 7), (0, 0), ragged)
    return image


def ladder_back(stage: Stage, centre: Point3, turn: float, density: float, seed: int, brightness: float, *, torn: bool = False, slats: int = 4) -> None:
    """A ladder-back chair with a rush seat; `slats` fewer than four leaves empty mortises."""
    timber, b = Timber("ash tired", density, 3), brightness
    timber.rng.seed(f"ladder {seed}")

    def w(*points: Point3) -> list[Point3]:
        return _ring(points, centre, turn)

    def lathe(a: Point3, e: Point3, profile: Sequence[tuple[float, float]], tone: float) -> None:
        start, end = w(a, e)
        stage.turned(start, end, profile, timber, b * tone)

    stage.dark([(x + 7, 0.4, z) for x, _, z in w((-19, 0, -20), (19, 0, -20), (24, 0, 20), (-24, 0, 20))], 6, 0.42)
    for x, z in ((-18, -19), (18, -19), (-22, 19), (22, 19)):
        p = w((x, 0.4, z))[0]
        stage.dark([(p[0] - 2, 0.4, p[2] - 2), (p[0] + 15, 0.4, p[2] - 6), (p[0] + 15, 0.4, p[2] - 3), (p[0] - 1, 0.4, p[2] + 2.5)], 1.4, 0.75)
        stage.dark([(p[0] - 2.4, 0.4, p[2] - 2), (p[0] + 3, 0.4, p[2] - 2), (p[0] + 2, 0.4, p[2] + 2), (p[0] - 2, 0.4, p[2] + 2)], 0.7, 0.8)
    for x in (-18.0, 18.0):
        lathe((x * 1.04, 106, -24), (x, 0, -19), POST, 0.8)
    for number in range(4):
        y = 58 + number * 11.6
        if number >= slats:
            continue
        bend = [t / 10 for t in range(11)]
        upper = w(*[(-18 + 36 * t, y + 4.6 + 2.0 * sin(pi * t), -21.6 - 1.6 * sin(pi * t) - (y - 58) * 0.05) for t in bend])
        lower = w(*[(-18 + 36 * t, y - 1.6 + 0.6 * sin(pi * t), -21.0 - 1.6 * sin(pi * t) - (y - 58) * 0.05) for t in bend])
        slat = timber.board(36, 6.6)
        stage.ribbon(upper, lower, lit(slat, [[b * 0.86, b * 0.98, b * 0.78], [b * 0.62, b * 0.74, b * 0.56]]))
        for i in range(10):
            stage.edge(upper[i], upper[i + 1], 0.4, PALE, 0.32)
    lathe((-18, 26, -19.5), (18, 26, -19.5), RUNG, 0.6)
    for y in (13.0, 27.0):
        for side in (-1, 1):
            lathe((18 * side, y, -19.3), (22 * side, y, 19), RUNG, 0.66)
    seat = w((-19, 45, -19), (19, 45, -19), (24, 45.4, 21), (-24, 45.4, 21))
    drop = [(x, 42.4 + centre[1], z) for x, _, z in seat]
    for a, c, tone in ((3, 2, 0.8), (2, 1, 0.4)):
        stage.face([seat[a], seat[c], drop[c], drop[a]], lit(_rush(density, 9, False).crop((0, 0, round(46 * density), max(2, round(3 * density)))), [[b * tone] * 2, [b * tone * 0.5] * 2]))
    for x in (-22.0, 22.0):
        lathe((x, 47, 19.5), (x, 0, 19.5), SHORT, 0.96 if x < 0 else 0.84)
    for y, profile in ((14.0, RUNG), (29.0, RUNG)):
        lathe((-22, y, 19.5), (22, y, 19.5), profile, 0.95)
    stage.face(seat, lit(_rush(density, seed, torn), [[b * 0.66, b * 0.6], [b, b * 0.94], [b * 0.96, b * 0.86]]))
    stage.edge(seat[3], seat[2], 0.6, PALE, 0.25)
