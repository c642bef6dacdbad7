"""The captain's armchair that goes with the desk: a bow of arms on turned spindles about a saddled seat."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import cos, pi, sin
from random import Random

from PIL import Image, ImageChops, ImageDraw

from . import joinery as work
from .geometry import Point3, around, lying, upright
from .grain import Timber, glued_up, patches, scaled
from .stage import PALE, Stage, lit

SEAT, SEAT_LOW, ARM_LOW, ARM = 46.0, 42.4, 68.0, 71.4
LEG = (
    (0, 1.7),
    (0.10, 1.9),
    (0.16, 2.5),
    (0.20, 1.9),
    (0.23, 2.6),
    (0.26, 1.8),
    (0.50, 2.7),
    (0.72, 2.1),
    (0.76, 2.7),
    (0.80, 1.9),
    (0.83, 2.3),
    (0.95, 1.6),
    (1, 1.5),
)
SPINDLE = (
    (0, 0.9),
    (0.16, 1.0),
    (0.22, 1.5),
    (0.26, 1.0),
    (0.50, 1.75),
    (0.74, 1.0),
    (0.78, 1.5),
    (0.84, 1.0),
    (1, 0.9),
)
STRETCHER = ((0, 1.0), (0.2, 1.3), (0.42, 1.7), (0.46, 2.2), (0.54, 2.2), (0.58, 1.7), (0.8, 1.3), (1, 1.0))


@dataclass(frozen=True)
class Chair:
    """How far the armchair is."""

    finish: str
    worn: bool = False
    clamped: bool = False
    sheen: float = 0.0
    brightness: float = 1.0


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
    """A point of the arm bow: share 0 is the left hand rest, 0.5 the back, 1 the right hand rest; `out` cm
    outward."""
    turn = pi * (share * 1.16 - 0.08)
    x, z = -cos(turn), -sin(turn)
    return (x * (28.5 + out), y + 2.0 * sin(pi * share) ** 2, z * (26 + out) + 2)


FEET: dict[str, Point3] = {
    "back left": (-23.0, 0.0, -25.0),
    "back right": (23.0, 0.0, -25.0),
    "front right": (24.5, 0.0, 23.0),
    "front left": (-24.5, 0.0, 23.0),
}
HEADS: dict[str, Point3] = {
    "back left": (-15.0, SEAT_LOW, -16.0),
    "back right": (15.0, SEAT_LOW, -16.0),
    "front right": (18.5, SEAT_LOW, 16.0),
    "front left": (-18.5, SEAT_LOW, 16.0),
}
STEPS = [t / 40 for t in range(41)]


def _part_way(a: Point3, b: Point3, share: float) -> Point3:
    return (a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share, a[2] + (b[2] - a[2]) * share)


def _along(leg: str, share: float) -> Point3:
    return _part_way(HEADS[leg], FEET[leg], share)


class _Armchair:
    """The chair being put together in a room, part by part; its own measures are turned into the room by
    `w`."""

    def __init__(self, stage: Stage, chair: Chair, density: float, turn: float) -> None:
        self.stage, self.chair, self.d, self.turn = stage, chair, density, turn
        self.timber, self.b, self.rng = (
            Timber(chair.finish, density, 2, stock=(172, 56)),
            chair.brightness,
            Random("armchair"),
        )
        self.missing = 9 if chair.worn else None  # the spindle that was lost

    def w(self, *points: Point3) -> list[Point3]:
        return around(points, (0, 0, 0), self.turn)

    def path(self, shares: Sequence[float], out: float, y: float) -> list[Point3]:
        """A line along the bow of arms, which broadens towards its ends."""
        broad = [1.3 * (abs(t - 0.5) * 2) ** 3 * (1 if out > 0 else -1) for t in shares]
        return self.w(*[_bow(t, out + more, y) for t, more in zip(shares, broad, strict=True)])

    def lathe(self, a: Point3, e: Point3, profile: Sequence[tuple[float, float]], tone: float) -> None:
        start, end = self.w(a, e)
        self.stage.turned(start, end, profile, self.timber, self.b * tone)

    def strap(self, a: Point3, e: Point3, tone: float, deep: float = 2.2) -> None:
        """A length of a strap clamp's webbing."""
        (ax, ay, az), (ex, ey, ez) = self.w(a, e)
        web = Image.new("RGB", (160, 14), (150, 112, 62))
        ImageDraw.Draw(web).rectangle((0, 6, 160, 7), fill=(186, 160, 112))
        work.grime(web, Random("web"), (40, 3), 0.4)
        tone *= self.b
        self.stage.face(
            [(ax, ay + deep, az), (ex, ey + deep, ez), (ex, ey, ez), (ax, ay, az)],
            lit(web, [[tone, tone * 0.9], [tone * 0.74, tone * 0.66]]),
        )

    def floor_shadows(self) -> None:
        floor = 0.4
        self.stage.dark([(x + 7, floor, z) for x, _, z in self.w(*FEET.values())], 7, 0.4)
        for x, _, z in self.w(*FEET.values()):
            cast: list[Point3] = [
                (x - 3, floor, z - 2.5),
                (x + 16, floor, z - 7),
                (x + 17, floor, z - 3),
                (x - 2, floor, z + 3),
            ]
            self.stage.dark(cast, 1.8, 0.7)
            self.stage.dark(lying(x - 2, x + 2.4, z - 2, z + 2.2, floor), 0.8, 0.8)

    def legs(self) -> None:
        for leg in ("back left", "back right"):
            self.lathe(HEADS[leg], FEET[leg], LEG, 0.62)
        if self.chair.clamped:
            self.strap(_along("back left", 0.46), _along("back right", 0.46), 0.42)
            self.strap(_along("back left", 0.46), _along("front left", 0.46), 0.46)
        sides = [(_along(f"back {side}", 0.62), _along(f"front {side}", 0.62)) for side in ("left", "right")]
        for back, front in sides:
            self.lathe(back, front, STRETCHER, 0.74)
        self.lathe(_part_way(*sides[0], 0.5), _part_way(*sides[1], 0.5), STRETCHER, 0.8)
        for leg, tone in (("front left", 0.95), ("front right", 0.86)):
            self.lathe(HEADS[leg], FEET[leg], LEG, tone)
        if self.chair.clamped:
            self.strap(_along("front left", 0.46), _along("front right", 0.46), 0.95)
            self.strap(_along("front right", 0.46), _along("back right", 0.46), 0.6)

    def seat_rim(self) -> None:
        """The seat's edge, as far as it is turned to the camera."""
        stage, b = self.stage, self.b
        upper, lower = self.w(*_seat_edge(SEAT)), self.w(*_seat_edge(SEAT_LOW, 0.955))
        count = len(upper)
        order = [(count * 3 // 4 + i) % count for i in range(count + 1)]  # from the middle of the back round
        tones = (0.3, 0.36, 0.5, 0.86, 1.0, 0.98, 0.8, 0.4, 0.3)
        board = glued_up(self.timber, 170, SEAT - SEAT_LOW, 1)
        rim = lit(board, [[b * v for v in tones], [b * v * 0.5 for v in tones]])
        for n, (i, j) in enumerate(pairwise(order)):
            x, _, z = upper[i]
            if x * (stage.eye[0] - x) + z * (stage.eye[2] - z) > -120:
                left = round(rim.width * n / count)
                piece = rim.crop((left, 0, max(round(rim.width * (n + 1) / count), left + 2), rim.height))
                quad = [stage.at(p) for p in (upper[i], upper[j], lower[j], lower[i])]
                middle = sum(p[0] for p in quad) / 4
                stage.flat(quad, piece, [(x + (0.8 if x > middle else -0.8), y) for x, y in quad])

    def seat_board(self) -> Image.Image:
        """The seat from above: two hollows, a ridge between, and years of sitting."""
        board, d, rng = glued_up(self.timber, 60, 56, 3), self.d, self.rng
        w, h = board.size
        hollows = [("disc", (w * left, h * 0.22, w * (left + 0.37), h * 1.02), 120) for left in (0.12, 0.51)]
        saddle = work.soft(board.size, hollows, 4 * d)
        board.paste((20, 12, 8), (0, 0), scaled(saddle, 0.75))
        work.daub(board, (230, 200, 160), [("disc", (w * 0.46, h * 0.5, w * 0.54, h), 52)], 1.8 * d)
        if self.chair.worn:
            bare = patches(rng, board.size, (14, 9), 118, 5, 190)
            board.paste((176, 142, 104), (0, 0), ImageChops.multiply(bare, scaled(saddle, 2)))
            work.scratches(board, d, rng, 40, 12)
            work.grime(board, rng, (4, 4), 0.7)
            for start, wide in (
                (0.42, 0.10),
                (0.55, 0.2),
                (0.7, 0.3),
            ):  # a crack that opens towards the front
                spots: list[float] = []
                for i in range(7):
                    y = start + (1 - start) * i / 6
                    spots += [w * (0.30 + 0.012 * sin(9 * y)), h * y]
                work.daub(board, (14, 9, 6), [("line", (max(1.0, wide * d), *spots), 170)], 0.5)
        return board

    def seat(self) -> None:
        stage, b, sheen = self.stage, self.b, self.chair.sheen
        self.seat_rim()
        outline = self.w(*_seat_edge(SEAT))
        tones = [[b * 0.7, b * 0.64, b * 0.5], [b * 0.96, b * 0.9, b * 0.72], [b, b * 0.96, b * 0.8]]
        stage.face(self.w(*lying(-30, 30, -28, 28, SEAT)), lit(self.seat_board(), tones), outline)
        if sheen:
            pane = self.w((-24, SEAT, -8), (-10, SEAT, -10), (-4, SEAT, 22), (-20, SEAT, 22))
            stage.gleam(pane, 3, 0.36 * sheen, outline)
        for p, q in pairwise(outline):
            if p[2] + q[2] > -10:
                stage.edge(p, q, 0.28, PALE, 0.14 + 0.14 * sheen)
        under_bow = [_bow(t / 12, -3, SEAT) for t in range(13)] + [
            _bow(t / 12, 2, SEAT) for t in range(12, -1, -1)
        ]
        stage.dark(self.w(*under_bow), 2.5, 0.45, outline)

    def spindles(self) -> None:
        """Thirteen, far ones first."""
        outline = self.w(*_seat_edge(SEAT))
        shares = [0.03 + 0.94 * n / 12 for n in range(13)]
        for n in sorted(range(13), key=lambda n: self.w(_bow(shares[n], 0, 0))[0][2]):
            x, _, z = _bow(shares[n], 0, 0)
            base: Point3 = (x * 0.82, SEAT - 0.3, z * 0.82 - 0.5)
            if n in (0, 12):
                base = (x * 0.84, SEAT - 0.3, z * 0.9 + 2)
            fx, _, fz = self.w(base)[0]
            if n == self.missing:
                self.stage.dark(lying(fx - 0.9, fx + 0.9, fz - 0.9, fz + 0.9, SEAT), 0.25, 0.9)
                continue
            cast: list[Point3] = [
                (fx - 1.2, SEAT, fz - 1),
                (fx + 4, SEAT, fz - 2),
                (fx + 4, SEAT, fz),
                (fx - 1, SEAT, fz + 1.2),
            ]
            self.stage.dark(cast, 0.7, 0.55, outline)
            self.lathe(_bow(shares[n], 0, ARM_LOW + 0.6), base, SPINDLE, 0.92 - 0.22 * n / 12)

    def bow(self) -> None:
        """The bow of arms: the face that looks inward, what shows of the outer face, the top."""
        stage, b = self.stage, self.b
        tones = [
            [b * v for v in (0.5, 0.66, 0.86, 0.92, 0.84, 0.5)],
            [b * v for v in (0.3, 0.4, 0.55, 0.6, 0.52, 0.3)],
        ]
        rail = lit(self.timber.board(150, ARM - ARM_LOW), tones)
        stage.ribbon(self.path(STEPS, -2.6, ARM), self.path(STEPS, -2.6, ARM_LOW), rail)
        for span in pairwise(STEPS):
            outer, inner = self.path(span, 2.8, ARM), self.path(span, -2.6, ARM)
            out_x, out_z = outer[0][0] - inner[0][0], outer[0][2] - inner[0][2]
            if out_x * (stage.eye[0] - outer[0][0]) + out_z * (stage.eye[2] - outer[0][2]) > 0:
                tone = b * (0.84 if out_x < 0 else 0.44)
                piece = lit(self.timber.board(6, ARM - ARM_LOW), [[tone] * 2, [tone * 0.55] * 2])
                stage.ribbon(outer, self.path(span, 2.8, ARM_LOW), piece)
        arms = self.timber.board(150, 8)
        if self.chair.worn:
            w, h = arms.size
            ends = [("box", (0, 0, w * 0.13, h), 190), ("box", (w * 0.87, 0, w, h), 190)]
            rubbed = ImageChops.multiply(
                work.soft(arms.size, ends, w * 0.02), patches(self.rng, arms.size, (40, 4), 90, 4)
            )
            arms.paste((182, 146, 106), (0, 0), rubbed)
        tones = [
            [b * v for v in (0.98, 0.98, 0.8, 0.72, 0.7, 0.86, 0.94)],
            [b * v for v in (1.0, 1.0, 0.86, 0.8, 0.76, 0.9, 1.0)],
        ]
        stage.ribbon(self.path(STEPS, 2.8, ARM), self.path(STEPS, -2.6, ARM), lit(arms, tones))
        for end in (0.0, 1.0):
            self.hand(end)
        for p, q in pairwise(self.path(STEPS, -2.6, ARM)):
            stage.edge(p, q, 0.26, PALE, 0.12 + 0.14 * self.chair.sheen)

    def hand(self, end: float) -> None:
        """An arm's end, rounded for the hand."""
        stage, b = self.stage, self.b
        (ix, y, iz), (ox, _, oz) = self.path([end], -2.6, ARM)[0], self.path([end], 2.8, ARM)[0]
        mx, mz, hx, hz = (ix + ox) / 2, (iz + oz) / 2, (ox - ix) / 2, (oz - iz) / 2
        fx, fz = (-hz, hx) if end == 1 else (hz, -hx)  # ahead, as far as the arm is half broad
        cap: list[Point3] = []
        for i in range(13):
            c, s = cos(pi * i / 12), sin(pi * i / 12) * 0.8
            cap.append((mx + hx * c + fx * s, y, mz + hz * c + fz * s))
        tone = b * (0.9 if end == 0 else 0.82)
        tones = [[tone * 0.9, tone, tone * 0.7], [tone * 0.5, tone * 0.56, tone * 0.4]]
        side = lit(self.timber.board(12, ARM - ARM_LOW), tones)
        stage.ribbon(cap, [(x, y - (ARM - ARM_LOW), z) for x, y, z in cap], side)
        board = self.timber.board(8, 8)
        if self.chair.worn:
            board.paste((182, 146, 106), (0, 0), patches(self.rng, board.size, (5, 4), 96, 4, 220))
        corners: list[Point3] = [
            (mx + fx - hx, y, mz + fz - hz),
            (mx + fx + hx, y, mz + fz + hz),
            (mx + hx, y, mz + hz),
            (mx - hx, y, mz - hz),
        ]
        stage.face(corners, lit(board, [[b, b * 0.96], [b * 0.98, b * 0.94]]), cap)
        for p, q in pairwise(cap):
            stage.edge(p, q, 0.26, PALE, 0.12 + 0.14 * self.chair.sheen)

    def crest(self) -> None:
        """The crest rail on the back of the bow."""
        stage, b = self.stage, self.b
        shares = [0.27 + 0.46 * t / 24 for t in range(25)]
        rise = [7.5 * max(0.0, sin(pi * t / 24)) ** 0.55 for t in range(25)]

        def line(out: float, lift: float) -> list[Point3]:
            return self.w(*[_bow(t, out, ARM + r * lift) for t, r in zip(shares, rise, strict=True)])

        stage.dark(line(-1, 0.0) + line(-2.4, 0.0)[::-1], 0.8, 0.5)
        face = self.timber.board(52, 8)
        if self.chair.worn:
            work.grime(face, self.rng, (6, 2), 0.7)
            work.scratches(face, self.d, self.rng, 14, 8)
        tones = [
            [b * v for v in (0.72, 0.94, 1.0, 0.9, 0.66)],
            [b * v for v in (0.5, 0.68, 0.74, 0.64, 0.44)],
        ]
        stage.ribbon(line(0.2, 1.0), line(-0.9, 0.0), lit(face, tones))
        top = lit(self.timber.board(52, 2.4), [[b * 0.9, b, b * 0.8], [b, b, b * 0.9]])
        stage.ribbon(line(2.4, 1.0), line(0.2, 1.0), top)
        if self.chair.sheen:
            stage.gleam(line(0, 0.85)[5:12] + line(0, 0.2)[5:12][::-1], 1.6, 0.40 * self.chair.sheen)

    def arm_clamp(self) -> None:
        """The strap round the arms with its steel buckle."""
        left, right, back = (_bow(t, 2.9, ARM_LOW + 0.4) for t in (0.0, 1.0, 0.8))
        self.strap(left, right, 0.98)
        self.strap(right, back, 0.6)
        start, end = self.w(left, right)
        x, y, z = _part_way(start, end, 0.4)
        self.stage.dark(upright(x, x + 8, y - 2, y + 2.4, z + 0.6), 0.8, 0.5)
        steel = Image.new("RGB", (80, 40), (150, 152, 152))
        pen = ImageDraw.Draw(steel)
        pen.rectangle((4, 6, 30, 33), fill=(94, 96, 98))
        pen.rectangle((36, 4, 76, 12), fill=(180, 182, 180))
        pen.rectangle((36, 26, 76, 36), fill=(108, 110, 112))
        pen.ellipse((12, 12, 26, 28), fill=(196, 196, 192))
        b = self.b
        self.stage.face(
            upright(x, x + 8, y - 1.6, y + 2.6, z + 1), lit(steel, [[b, b * 0.8], [b * 0.6, b * 0.5]])
        )


def stand(stage: Stage, chair: Chair, density: float, turn: float = 0.42) -> None:
    """Put the armchair in the middle of the room, turned by `turn` radians, as it is in `chair`: far parts
    first."""
    whole = _Armchair(stage, chair, density, turn)
    whole.floor_shadows()
    whole.legs()
    whole.seat()
    whole.spindles()
    whole.bow()
    whole.crest()
    if chair.clamped:
        whole.arm_clamp()
