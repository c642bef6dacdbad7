"""What is photographed from near: the damaged top, the drawer with its ink, the finished corner, a sample board."""

from __future__ import annotations

from math import cos, pi, sin
from random import Random

import font_source_serif_pro
from PIL import Image, ImageChops, ImageDraw, ImageFilter, ImageFont

from . import joinery as work
from .grain import Colour, Size, Timber, cloud, glued_up, tinted
from .joinery import shaded
from .rooms import halo, workshop
from .stage import Point3, Stage, lit

PALE: Colour = (236, 204, 164)


def damaged_top(size: Size) -> Stage:
    """The front edge of the old top: veneer lifting and gone, a glass's ring, the tired leather behind."""
    stage = Stage(size, (7, 46, 56), (3.5, 0, 1.5), 1.22)
    k, rng = stage.k, Random("damaged top")
    d = 28 * k
    timber = Timber("walnut tired", d, 4, stock=(104, 36), sheets=1)
    wide, deep, band = 96.0, 62.0, 33.0  # cm; the band is the walnut between edge and leather
    surface = Image.new("RGB", (round(wide * d), round(deep * d)))
    surface.paste(glued_up(timber, wide, band, 2).resize((surface.width, round(band * d))), (0, surface.height - round(band * d)))
    hide = work.worn_leather(rng, (surface.width, round((deep - band) * d)), d)
    surface.paste(hide, (0, 0))
    edge = (deep - band) * d
    shaded(surface, (0, edge - 0.35 * d, surface.width, edge + 0.1 * d), 0.18 * d, 0.75)
    for off, colour, w in ((1.5, (168, 138, 76), 0.26), (2.4, (146, 118, 64), 0.12)):
        pen_y = edge - off * d
        worn = cloud(rng, (surface.width, max(4, round(w * d))), (46, 2), 2).point([min(230, max(0, (i - 86) * 5)) for i in range(256)])
        surface.paste(colour, (0, round(pen_y)), worn)
    work.faded(surface, (surface.width * 0.62, -200 * k, surface.width * 1.1, surface.height * 0.9), 6 * d, 0.26)
    work.grime(surface, rng, (8, 6), 0.55)
    work.scratches(surface, d, rng, 110, 11, 110)
    work.water_ring(surface, d, rng, 37.0, deep - 15.5, 4.4, 1.0)
    work.water_ring(surface, d, rng, 45.2, deep - 18.4, 4.3, 0.5)
    work.chipped(surface, d, rng, [(71.5, deep - 20, 0.2), (74.6, deep - 1.2, 0.5)], (170, 136, 98))

    # the veneer that is gone: raw ground, old glue in combed lines, a broken edge
    gone = [(53.0, deep + 1), (54.2, deep - 3.0), (56.4, deep - 4.2), (57.0, deep - 6.1), (60.2, deep - 5.4), (62.6, deep - 7.4),
            (65.4, deep - 5.2), (66.0, deep - 2.8), (67.8, deep - 1.6), (68.2, deep + 1)]  # fmt: skip
    ground = Timber("pine scrubbed", d, 4).board(20, 10)
    ground = ImageChops.multiply(ground, Image.new("RGB", ground.size, (214, 188, 150)))
    combed = [("line", (max(1.0, 0.16 * d), 0, y * d, ground.width, (y + 0.2) * d), 120) for y in (0.8, 1.6, 2.5, 3.3, 4.2, 5.0, 5.9, 6.7, 7.6)]
    ground.paste((116, 78, 40), (0, 0), ImageChops.multiply(work.soft(ground.size, combed, 0.06 * d), cloud(rng, ground.size, (16, 8), 3)))
    work.grime(ground, rng, (6, 4), 0.9, (70, 48, 30))
    cover = work.soft(surface.size, [("poly", [v * d for p in gone for v in p], 255)], max(0.4, 0.03 * d))
    sheet = Image.new("RGB", surface.size)
    sheet.paste(ground.resize((round(20 * d), round(10 * d))), (round(50.5 * d), round((deep - 8.6) * d)))
    surface.paste(sheet, (0, 0), cover)
    rim = [v * d for p in gone for v in p]
    thick = work.soft(surface.size, [("line", (0.5 * d, *rim), 235)], 0.12 * d)
    surface.paste((12, 8, 5), (0, 0), ImageChops.multiply(thick, cover))
    bright = work.soft(surface.size, [("line", (max(1.0, 0.12 * d), *[v - (0.08 * d if i % 2 else 0) for i, v in enumerate(rim)]), 210)], 0.03 * d)
    surface.paste((206, 168, 122), (0, 0), ImageChops.multiply(bright, ImageChops.invert(cover)))

    front = 17.0
    corners: list[Point3] = [(-wide / 2, 0, front - deep), (wide / 2, 0, front - deep), (wide / 2, 0, front), (-wide / 2, 0, front)]
    below: list[Point3] = [(-wide / 2, 0, front), (wide / 2, 0, front), (wide / 2, -3.4, front), (-wide / 2, -3.4, front)]
    stage.image.paste((34, 30, 27), (0, 0, *size))
    stage.face([below[3], below[2], (wide / 2, -30, front - 4), (-wide / 2, -30, front - 4)], lit(timber.board(wide, 26), [[0.16, 0.10], [0.62, 0.42], [0.66, 0.42], [0.5, 0.3]]))
    stage.face(corners, lit(surface, [[0.78, 0.9, 0.62], [1.0, 1.0, 0.76], [0.98, 0.92, 0.66]]))
    edge_board = timber.board(wide, 3.4)
    work.chipped(edge_board, d, rng, [(20, 0.9, 0.7), (82, 1.4, 0.5)], (170, 136, 98))
    stage.face(below, lit(edge_board, [[0.98, 0.9, 0.66], [0.7, 0.66, 0.5], [0.72, 0.66, 0.5], [0.24, 0.2, 0.16]]))
    stage.edge(below[0], (4.6, 0, front), 0.16, PALE, 0.5)
    stage.edge((20.4, 0, front), below[1], 0.16, PALE, 0.4)

    # a tongue of veneer still held at its root, sprung up off the ground
    root, tip, steps = (-2.0, front - 0.6), (14.0, front - 2.6), 14
    def tongue(side: float) -> list[Point3]:  # fmt: skip
        line: list[Point3] = []
        for i in range(steps + 1):
            t = i / steps
            x, z = root[0] + (tip[0] - root[0]) * t, root[1] + (tip[1] - root[1]) * t
            half = 2.0 * (1 - 0.35 * t) + 0.16 * sin(t * 13 + side) + (0.5 * (t**6) * side)
            line.append((x, 0.06 + 2.9 * t**2.2 + (0.25 * t if side < 0 else 0), z + side * half))
        return line

    far, near = tongue(-1.0), tongue(1.0)
    ground_shadow = [(x + 0.5 * y, 0.02, z + 0.25 * y) for x, y, z in far] + [(x + 0.8 * y, 0.02, z + 0.45 * y) for x, y, z in near[::-1]]
    stage.dark(ground_shadow, 0.5, 0.85, corners)
    stage.dark([(p[0], p[1] - 0.5, p[2]) for p in near[4:]] + [(p[0], 0.0, front) for p in near[4:][::-1]], 0.4, 0.7)
    flap = timber.board(17, 4.2).convert("RGBA")  # grows out of the surface at its root
    flap.putalpha(Image.linear_gradient("L").rotate(90).point([min(255, i * 5) for i in range(256)]).resize(flap.size))
    stage.ribbon(far, near, lit(flap, [[0.86, 0.9, 1.0, 1.0, 0.9], [0.9, 0.96, 1.0, 1.0, 0.96]]))
    for i in range(3, steps):
        stage.edge((near[i][0], near[i][1] - 0.06, near[i][2]), (near[i + 1][0], near[i + 1][1] - 0.06, near[i + 1][2]), 0.1, (226, 186, 138), 0.75)
    stage.edge(far[-1], near[-1], 0.12, (226, 186, 138), 0.7)
    shine = [stage.at(p) for p in ((-34, 0, -30), (-12, 0, -34), (-6, 0, 4), (-26, 0, 6))]
    stage.glow(shine, 90 * k, 0.20, (228, 224, 214), [stage.at(p) for p in corners])
    stage.defocus([1, 0.7, 0.3, 0.0, 0.0, 0.0, 0.0, 0.1, 0.4], 7)
    return stage


def inked_drawer(size: Size) -> Stage:
    """A drawer taken out and set on the bench: dovetails, dust in its corners, ink on its bottom."""
    stage = Stage(size, (9, 74, 50), (0.6, 0, 1.5), 1.12)
    k, rng = stage.k, Random("drawer")
    d = 26 * k
    bench = glued_up(Timber("pine scrubbed", 16 * k, 6, stock=(154, 40), sheets=1), 150, 100, 5)
    work.grime(bench, rng, (9, 7), 1.0, (64, 46, 30))
    work.scratches(bench, 16 * k, rng, 70, 16, 120)
    work.blot(bench, 16 * k, rng, 26, 72, 3.2, (140, 96, 60))
    stage.face([(-75, 0, -55), (75, 0, -55), (75, 0, 45), (-75, 0, 45)], lit(bench, [[0.5, 0.62, 0.42], [0.78, 0.7, 0.44], [0.62, 0.54, 0.36]]))
    half, deep, high, wall = 23.0, 19.0, 11.0, 1.5
    stage.dark([(-half, 0, -deep), (half + 10, 0, -deep - 6), (half + 12, 0, deep - 1), (half, 0, deep + 3), (-half, 0, deep + 4)], 3.4, 0.75)
    stage.dark([(-half - 0.6, 0, -deep), (half + 1.4, 0, -deep), (half + 1.4, 0, deep + 1.6), (-half - 0.6, 0, deep + 1.2)], 0.9, 0.85)

    inside = Timber("shellacked inside", d, 5, "oak", stock=(60, 40), sheets=1)
    x, z = half - wall, deep - wall
    bottom = glued_up(inside, 2 * x, 2 * z, 3)
    work.grime(bottom, rng, (5, 4), 0.8, (60, 42, 26))
    work.scratches(bottom, d, rng, 30, 6, 80)
    work.blot(bottom, d, rng, 2 * x * 0.36, 2 * z * 0.52, 7.4, (34, 42, 92))
    work.blot(bottom, d, rng, 2 * x * 0.66, 2 * z * 0.74, 1.6, (52, 56, 84))
    ring = Image.new("L", bottom.size, 0)
    pen = ImageDraw.Draw(ring)
    cx, cy, r = bottom.width * 0.72, bottom.height * 0.34, 2.7 * d
    pen.ellipse((cx - r, cy - r, cx + r, cy + r), outline=150, width=max(1, round(0.26 * d)))
    ring = ImageChops.multiply(ring.filter(ImageFilter.GaussianBlur(0.1 * d)), cloud(rng, bottom.size, (16, 13), 2).point([min(255, max(40, (i - 60) * 3)) for i in range(256)]))
    bottom.paste((30, 32, 56), (0, 0), ring)
    w, h = bottom.size
    shaded(bottom, (-2 * d, 0, 3.4 * d, h), 2.4 * d, 0.72)
    shaded(bottom, (0, -2 * d, w, 1.6 * d), 1.6 * d, 0.6)
    shaded(bottom, (w - 0.8 * d, 0, w + d, h), 0.8 * d, 0.6)
    shaded(bottom, (0, h - 0.6 * d, w, h + d), 0.7 * d, 0.55)
    floor = 1.6
    stage.face([(-x, floor, -z), (x, floor, -z), (x, floor, z), (-x, floor, z)], lit(bottom, [[0.62, 0.8, 0.9], [0.72, 0.96, 1.0], [0.6, 0.86, 0.92]]))

    # inner faces that the camera sees: back, left, right
    back = inside.board(2 * x, high - floor)
    stage.face([(-x, high, -z), (x, high, -z), (x, floor, -z), (-x, floor, -z)], lit(back, [[0.7, 0.92, 0.96], [0.46, 0.66, 0.72], [0.3, 0.42, 0.46]]))
    left = inside.board(2 * z, high - floor)
    stage.face([(-x, high, z), (-x, high, -z), (-x, floor, -z), (-x, floor, z)], lit(left, [[0.5, 0.42], [0.3, 0.26], [0.2, 0.18]]))
    right = inside.board(2 * z, high - floor)
    stage.face([(x, high, -z), (x, high, z), (x, floor, z), (x, floor, -z)], lit(right, [[0.9, 0.98], [0.8, 0.9], [0.5, 0.6]]))
    # top edges: back, sides, then the front board with its lap
    fronted = Timber("walnut tired", d, 5, stock=(60, 20), sheets=1)
    stage.face([(-half, high, -deep), (half, high, -deep), (half, high, -z), (-half, high, -z)], lit(inside.board(2 * half, wall), [[0.9, 0.86], [0.95, 0.9]]))
    for x0, x1, tone in ((-half, -x, 0.98), (x, half, 0.92)):
        stage.face([(x0, high, -deep), (x1, high, -deep), (x1, high, deep), (x0, high, deep)], lit(inside.board(2 * deep, wall, upright=True), [[tone * 0.9] * 2, [tone] * 2]))
    lip, over = deep + 2.2, 0.8
    stage.face([(-half - over, high, deep), (half + over, high, deep), (half + over, high, lip), (-half - over, high, lip)], lit(fronted.board(2 * (half + over), 2.2), [[0.9, 0.98, 0.8], [1.0, 1.0, 0.86]]))
    stage.dark([(-half - over, high, deep - 0.05), (half + over, high, deep - 0.05), (half + over, high, deep + 0.12), (-half - over, high, deep + 0.12)], 0.08, 0.8)
    front = fronted.board(2 * (half + over), high)
    work.raised(front, d, (0.4, 0.4, 2 * (half + over) - 0.4, high - 0.4), 0.55)
    stage.face([(-half - over, high, lip), (half + over, high, lip), (half + over, 0, lip), (-half - over, 0, lip)], lit(front, [[0.8, 0.76, 0.6], [0.56, 0.54, 0.42]]))
    stage.edge((-half - over, high, lip), (half + over, high, lip), 0.22, PALE, 0.6)
    for x0 in (-half, x):  # pins and tails where the sides meet the back, seen from above as end grain
        for z0 in (-deep,):
            stage.face([(x0, high + 0.01, z0), (x0 + wall, high + 0.01, z0), (x0 + wall, high + 0.01, z0 + wall), (x0, high + 0.01, z0 + wall)],
                       lit(inside.board(wall, wall), [[0.66, 0.7], [0.7, 0.74]]))  # fmt: skip
            stage.edge((x0, high + 0.02, z0 + wall), (x0 + wall, high + 0.02, z0 + wall), 0.1, (20, 12, 8), 0.1)
    for x0 in (-x, x):
        stage.edge((x0, high, -z), (x0, high, z), 0.14, PALE, 0.35)
    stage.edge((-x, high, -z), (x, high, -z), 0.14, PALE, 0.4)
    # knobs on the front, seen from above
    for x0 in (-12.6, 12.6):
        at = stage.at((x0, high * 0.6, lip + 2.2))
        r2 = 1.55 * stage.scale_at((x0, high * 0.6, lip + 2.2))
        stage.dark_flat([(at[0] + r2 * (cos(t * pi / 8) * 0.9 + 0.35), at[1] + r2 * (sin(t * pi / 8) * 0.9 + 0.5)) for t in range(16)], r2 * 0.3, 0.6)
        knob = work.ball(work.BRASS_DULL, 0.32, 256).resize((max(2, round(r2 * 2)),) * 2, Image.Resampling.LANCZOS)
        stage.image.paste(knob, (round(at[0] - r2), round(at[1] - r2)), knob)
    stage.defocus([0.5, 0.2, 0.0, 0.0, 0.0, 0.0, 0.1, 0.4, 0.8], 5)
    return stage


def finished_corner(size: Size) -> Stage:
    """A corner of the finished top: figure, stringing, the satin sheen running to the window."""
    stage = Stage(size, (-16, 100, 47), (0.5, 73, -3), 1.5)
    k = stage.k
    workshop(stage, brightness=0.86)
    stage.image = stage.image.filter(ImageFilter.GaussianBlur(16 * k))
    d = 26 * k
    timber = Timber("walnut toned", d, 6, stock=(104, 60), sheets=1)
    high, wide, deep, band = 76.0, 100.0, 60.0, 9.5
    surface = glued_up(timber, wide, deep, 4)
    size_px = (round(wide * d), round(deep * d))
    surface = surface.resize(size_px)
    surface.paste(timber.board(wide, band), (0, round((deep - band) * d)))
    end = timber.board(deep, band, upright=True)
    cover = Image.new("L", end.size, 0)
    ImageDraw.Draw(cover).polygon([(0, 0), (end.width, 0), (end.width, end.height), (0, end.height - end.width)], fill=255)
    surface.paste(end, (size_px[0] - end.width, 0), cover.filter(ImageFilter.GaussianBlur(0.6)))
    inner = (-5.0, -5.0, wide - band, deep - band)
    work.stringing(surface, d, inner, 0.3, (34, 22, 16))
    work.stringing(surface, d, (inner[0], inner[1], inner[2] - 0.42, inner[3] - 0.42), 0.2, (206, 172, 120))
    x1, z1 = 17.0, 9.0
    x0, z0 = x1 - wide, z1 - deep
    corners: list[Point3] = [(x0, high, z0), (x1, high, z0), (x1, high, z1), (x0, high, z1)]
    stage.face([(x0, high - 3.4, z1 - 3), (x1 - 3, high - 3.4, z1 - 3), (x1 - 3, 20, z1 - 3), (x0, 20, z1 - 3)], lit(timber.board(wide, 56), [[0.10, 0.10], [0.5, 0.36], [0.44, 0.3]]))
    stage.face(corners, lit(surface, [[0.8, 0.92, 0.86], [0.94, 1.0, 0.92], [1.0, 1.0, 0.9]]))
    thick = 3.4
    stage.face([(x0, high, z1), (x1, high, z1), (x1, high - thick, z1), (x0, high - thick, z1)], lit(timber.board(wide, thick), [[1, 1, 0.9], [0.72, 0.74, 0.66], [0.84, 0.84, 0.74], [0.26, 0.26, 0.22]]))
    flat = [stage.at(p) for p in corners]
    # the window lies in the satin finish: broad, soft, broken a little by the pores
    for a, b, strength in ((-44, -22, 0.36), (-18, -2, 0.30)):
        panes = [stage.at(p) for p in ((a, high, z0), (b, high, z0), (b + 5, high, z1 - 3), (a + 6, high, z1 - 3))]
        stage.glow(panes, 62 * k, strength, (232, 222, 204), flat)
    stage.glow([stage.at(p) for p in ((x0, high, z0), (x1, high, z0), (x1, high, z0 + 16), (x0, high, z0 + 16))], 70 * k, 0.42, (214, 210, 200), flat)
    stage.edge((x0, high, z1), (x1 - 0.3, high, z1), 0.22, (255, 236, 206), 0.85)
    stage.edge((x1, high, z1), (x1, high, z0), 0.2, (255, 236, 206), 0.55)
    at = stage.at((x1 - 0.2, high - 0.1, z1))
    stage.glow([(at[0] - 5 * k, at[1] - 4 * k), (at[0] + 5 * k, at[1] - 4 * k), (at[0] + 5 * k, at[1] + 5 * k), (at[0] - 5 * k, at[1] + 5 * k)], 7 * k, 0.9, (255, 240, 216))
    stage.defocus([1, 1, 0.9, 0.6, 0.25, 0.0, 0.0, 0.0, 0.3, 0.7], 12)
    halo(stage, (0.12, 0.05), 0.55, 0.30, (255, 232, 196))
    return stage


def sample_board(size: Size, tone: Colour, timber_name: str, label: str, maker: str) -> Stage:
    """A sample board on the bench: bare timber, then one, two and three coats of a stain of this tone."""
    stage = Stage(size, (0, 60, 16), (0, 0, 0), 1.22)
    k, rng = stage.k, Random(f"board {label}")
    bench = glued_up(Timber("floor", 20 * k, 8, "pine", stock=(114, 36), sheets=1), 110, 80, 5)
    work.grime(bench, rng, (9, 7), 0.8)
    work.scratches(bench, 20 * k, rng, 60, 14, 90)
    stage.face([(-55, 0, -40), (55, 0, -40), (55, 0, 40), (-55, 0, 40)], lit(bench, [[0.7, 0.6, 0.4], [0.82, 0.72, 0.46], [0.6, 0.5, 0.34]]))

    d = 40 * k
    wide, high = 34.0, 21.0
    bare = {"walnut": "walnut bare", "oak": "pine scrubbed"}[timber_name]
    timber = Timber(bare, d, 9, timber_name, stock=(60, 34), sheets=1)
    board = timber.board(wide, high)
    grain = board.convert("L")
    left, top, low = 6.4, 1.5, high - 5.2
    stripe = (wide - left - 1.4) / 3
    for coat in range(3):
        x = left + coat * stripe
        area = (round(x * d), round(top * d), round((x + stripe - 0.35) * d), round(low * d))
        region, shade = board.crop(area), grain.crop(area)
        depth = (0.62, 0.84, 1.0)[coat]
        # a stain colours the bare timber and lets its figure through; more coats, less timber
        deep: Colour = tinted(tone, 1.0)
        figure = shade.point([min(255, round(255 * (0.40 + 0.82 * (i / 255)) * (1.06 - 0.06 * coat))) for i in range(256)])
        stained = ImageChops.multiply(Image.new("RGB", region.size, tinted(deep, 1.12)), Image.merge("RGB", [figure] * 3))
        brushed = Image.blend(region, stained, depth)
        cover = work.soft(region.size, [("box", (0.12 * d, 0.1 * d, region.width - 0.12 * d, region.height - 0.1 * d), 255)], 0.06 * d)
        ragged = cloud(rng, region.size, (3, region.height / max(1.0, 0.12 * d)), 2)
        cover = ImageChops.add(cover, ragged.point([round((i - 127) * 0.2) + 25 for i in range(256)]), 1, -25).point([min(255, max(0, (i - 96) * 3)) for i in range(256)])
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
        pen.text(((left + (coat + 0.5) * stripe) * d - 0.3 * d, (low - 0.12) * d), "I" * (coat + 1), fill=190, font=small, anchor="ma")
    pencil = ImageChops.multiply(marks, cloud(rng, board.size, (90, 60), 2).point([min(255, 120 + i) for i in range(256)]))
    board.paste((58, 54, 54), (0, 0), pencil.rotate(0.5, Image.Resampling.BICUBIC).filter(ImageFilter.GaussianBlur(0.02 * d)))
    # the hole for the string
    hole = (3.1, high / 2)
    r = 0.75
    disc = (hole[0] * d - r * d, hole[1] * d - r * d, hole[0] * d + r * d, hole[1] * d + r * d)
    board.paste((24, 19, 15), (0, 0), work.soft(board.size, [("disc", disc, 255)], 0.05 * d))
    lip = work.soft(board.size, [("disc", (disc[0], disc[1] + 0.16 * d, disc[2], disc[3] + 0.16 * d), 150)], 0.07 * d)
    board.paste((232, 212, 184), (0, 0), ImageChops.subtract(lip, work.soft(board.size, [("disc", disc, 255)], 0.05 * d)))

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
    stage.glow([stage.at(lay(x, z)) for x, z in ((10, 1.5), (17, 1.5), (13.4, low), (7.4, low))], 40 * k, 0.14, (255, 246, 230))

    # the string, out of the hole and away in a loop
    cord: list[Point3] = []
    for i in range(61):
        t = i / 60
        loop = pi * (0.1 + 1.92 * t)
        cord.append(lay(hole[0] - 7.6 + 7.6 * cos(loop - 0.3), hole[1] - 1.4 + 3.6 * sin(loop) * (1 + 0.3 * t), 1.5 if -7 < hole[0] else 0.4))
    start = lay(hole[0], hole[1], 1.3)
    cord = [start, *cord[2:-2], start]
    drop = [(x + 0.5, 0.0, z + 0.45) for x, _, z in cord]
    for a, b in zip(drop, drop[1:], strict=False):
        stage.dark([(a[0], 0, a[2] - 0.16), (b[0], 0, b[2] - 0.16), (b[0], 0, b[2] + 0.16), (a[0], 0, a[2] + 0.16)], 0.22, 0.5)
    _string(stage, [stage.at(p) for p in cord], 0.34 * stage.scale_at(start))
    return stage


def _string(stage: Stage, points: list[tuple[float, float]], width: float) -> None:
    """Twine: a round cord with its lay, drawn at three times the size."""
    over = 3
    left, top = int(min(p[0] for p in points) - width * 2), int(min(p[1] for p in points) - width * 2)
    right, bottom = int(max(p[0] for p in points) + width * 2) + 1, int(max(p[1] for p in points) + width * 2) + 1
    area = ((right - left) * over, (bottom - top) * over)
    big = Image.new("RGBA", area, (0, 0, 0, 0))
    pen = ImageDraw.Draw(big)
    line = [((x - left) * over, (y - top) * over) for x, y in points]
    w = max(2, round(width * over))
    for colour, share, off in (((92, 74, 50, 255), 1.0, 0.0), ((176, 150, 108, 255), 0.66, -0.10), ((220, 200, 160, 255), 0.26, -0.2)):
        pen.line([(x, y + off * w) for x, y in line], fill=colour, width=max(1, round(w * share)), joint="curve")
    for (x0, y0), (x1, y1) in zip(line, line[1:], strict=False):
        span = max(1.0, ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5)
        count = max(1, int(span / (w * 0.55)))
        for i in range(count):
            x, y = x0 + (x1 - x0) * i / count, y0 + (y1 - y0) * i / count
            nx, ny = -(y1 - y0) / span, (x1 - x0) / span
            tx, ty = (x1 - x0) / span, (y1 - y0) / span
            pen.line((x - nx * w * 0.45 - tx * w * 0.25, y - ny * w * 0.45 - ty * w * 0.25, x + nx * w * 0.45 + tx * w * 0.25, y + ny * w * 0.45 + ty * w * 0.25), fill=(92, 74, 50, 150), width=max(1, w // 9))
    small = big.reduce(over)
    stage.image.paste(small.convert("RGB"), (left, top), small.getchannel("A"))
