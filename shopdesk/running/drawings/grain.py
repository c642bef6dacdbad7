"""Timber, cloth and plaster made of seeded noise: flat textures that `stage` stands up in a room.

Lengths are centimetres, `density` is pixels a centimetre, grain runs along x. Nothing here asks the clock or
the system for chance: the same arguments give the same bytes.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from random import Random
from typing import Any

from PIL import Image, ImageChops, ImageDraw, ImageFilter, ImageMath

Colour = tuple[int, int, int]
Size = tuple[int, int]

BICUBIC = Image.Resampling.BICUBIC
BILINEAR = Image.Resampling.BILINEAR


def evaluate(expression: Callable[[dict[str, Any]], Any], **images: Image.Image) -> Image.Image:
    """`ImageMath.lambda_eval` with its answer as what it is, an image."""
    answer = ImageMath.lambda_eval(expression, **images)
    assert isinstance(answer, Image.Image)
    return answer


def noise(rng: Random, size: Size, cells: tuple[float, float]) -> Image.Image:
    """Smooth noise 0..255 (mode F) with about `cells` bumps across and down."""
    across, down = max(2, round(cells[0])), max(2, round(cells[1]))
    grid = Image.frombytes("L", (across, down), rng.randbytes(across * down))
    return grid.convert("F").resize(size, BICUBIC)


def _added(total: Image.Image, layer: Image.Image, share: float) -> Image.Image:
    return evaluate(lambda a: a["t"] + (a["n"] - 127.5) * share, t=total, n=layer)


def cloud(rng: Random, size: Size, cells: tuple[float, float], octaves: int = 3) -> Image.Image:
    """Several octaves of `noise`, mean about 127, mode L; worked out only as finely as its smallest bumps
    need."""
    finest = 2 ** (octaves - 1) * 4
    enough = min(size[0], max(24, round(cells[0] * finest))), min(size[1], max(24, round(cells[1] * finest)))
    if enough[0] * enough[1] * 2 < size[0] * size[1]:
        return cloud(rng, enough, cells, octaves).resize(size, BILINEAR)
    total = noise(rng, size, cells)
    weight = 1.0
    for octave in range(1, octaves):
        share = 0.5**octave
        layer = noise(rng, size, (cells[0] * 2**octave, cells[1] * 2**octave))
        total = _added(total, layer, share)
        weight += share
    return evaluate(lambda a: (a["t"] - 127.5) * (1.5 / weight) + 127.5, t=total).convert("L")


def patches(
    rng: Random, size: Size, cells: tuple[float, float], start: int, steep: float, most: int = 255
) -> Image.Image:
    """A mask of ragged patches: where a cloud of four octaves rises over `start` (0..255), `steep` at its
    edges."""
    ragged = [min(most, max(0, round((i - start) * steep))) for i in range(256)]
    return cloud(rng, size, cells, 4).point(ragged)


def scaled(mask: Image.Image, by: float) -> Image.Image:
    """A mask `by` times as strong, clipped."""
    return mask.point([min(255, round(i * by)) for i in range(256)])


def speckle(rng: Random, size: Size) -> Image.Image:
    """White noise 0..255, one value a pixel, mode L."""
    return Image.frombytes("L", size, rng.randbytes(size[0] * size[1]))


def ramp(stops: Sequence[tuple[float, Colour]]) -> list[int]:
    """A palette of 256 colours through `stops` (position 0..1, colour), as Pillow's flat list."""
    flat: list[int] = []
    for index in range(256):
        at = index / 255
        before, after = stops[0], stops[-1]
        for left, right in itertools.pairwise(stops):
            if left[0] <= at <= right[0]:
                before, after = left, right
                break
        span = after[0] - before[0]
        share = min(1.0, max(0.0, (at - before[0]) / span)) if span else 0.0
        flat += [round(a + (b - a) * share) for a, b in zip(before[1], after[1], strict=True)]
    return flat


def coloured(values: Image.Image, stops: Sequence[tuple[float, Colour]]) -> Image.Image:
    """An L image through a colour ramp."""
    painted = values.copy()
    painted.putpalette(ramp(stops))
    return painted.convert("RGB")


@dataclass(frozen=True)
class Species:
    """How a timber is figured: ring width (cm), share of rings, fibre and pores in its look, length of pores
    (cm)."""

    name: str
    ring: float
    rings: float
    fibre: float
    pores: float
    pore_length: float
    pore_share: float
    curl: float


WALNUT = Species(
    "walnut", ring=0.56, rings=74, fibre=44, pores=62, pore_length=0.55, pore_share=0.10, curl=16
)
OAK = Species("oak", ring=0.62, rings=60, fibre=40, pores=84, pore_length=0.9, pore_share=0.17, curl=8)
MAHOGANY = Species(
    "mahogany", ring=1.2, rings=40, fibre=46, pores=40, pore_length=0.7, pore_share=0.10, curl=30
)
ASH = Species("ash", ring=0.8, rings=70, fibre=30, pores=60, pore_length=0.8, pore_share=0.12, curl=8)
PINE = Species("pine", ring=0.7, rings=84, fibre=22, pores=6, pore_length=0.6, pore_share=0.04, curl=6)
SPECIES = {kind.name: kind for kind in (WALNUT, OAK, MAHOGANY, ASH, PINE)}

# What lies on the timber, dark to light: old varnish gone tired, bare and sanded, toned and finished.
Finish = tuple[tuple[float, Colour], ...]
FINISHES: dict[str, tuple[Finish, Finish]] = {
    "walnut tired": (
        ((0, (32, 24, 18)), (0.35, (70, 54, 42)), (0.62, (103, 82, 64)), (1, (140, 116, 92))),
        ((0, (38, 30, 23)), (0.35, (84, 67, 53)), (0.62, (121, 100, 79)), (1, (158, 136, 110))),
    ),
    "walnut bare": (
        ((0, (74, 56, 44)), (0.35, (130, 104, 83)), (0.62, (168, 140, 114)), (1, (201, 176, 149))),
        ((0, (80, 66, 54)), (0.35, (144, 121, 99)), (0.62, (182, 158, 132)), (1, (211, 190, 164))),
    ),
    "walnut toned": (
        ((0, (24, 11, 6)), (0.35, (74, 40, 23)), (0.62, (116, 70, 42)), (1, (172, 118, 76))),
        ((0, (31, 15, 8)), (0.35, (87, 51, 30)), (0.62, (134, 87, 54)), (1, (190, 138, 92))),
    ),
    "oak tired": (
        ((0, (48, 30, 16)), (0.35, (106, 72, 40)), (0.62, (143, 102, 61)), (1, (178, 138, 92))),
        ((0, (56, 37, 20)), (0.35, (120, 85, 49)), (0.62, (158, 118, 73)), (1, (192, 155, 106))),
    ),
    "mahogany tired": (
        ((0, (32, 17, 12)), (0.35, (70, 38, 27)), (0.62, (100, 60, 43)), (1, (138, 92, 68))),
        ((0, (38, 21, 15)), (0.35, (82, 47, 33)), (0.62, (114, 72, 52)), (1, (152, 106, 80))),
    ),
    "ash tired": (
        ((0, (40, 26, 16)), (0.35, (88, 62, 40)), (0.62, (124, 93, 64)), (1, (164, 134, 100))),
        ((0, (48, 33, 21)), (0.35, (102, 75, 50)), (0.62, (140, 108, 77)), (1, (178, 149, 114))),
    ),
    "pine scrubbed": (
        ((0, (112, 82, 52)), (0.4, (166, 132, 92)), (0.7, (196, 166, 124)), (1, (220, 196, 158))),
        ((0, (120, 94, 66)), (0.4, (176, 146, 108)), (0.7, (204, 178, 138)), (1, (224, 204, 170))),
    ),
    "floor": (
        ((0, (58, 45, 34)), (0.4, (104, 85, 66)), (0.7, (134, 114, 92)), (1, (164, 144, 120))),
        ((0, (64, 52, 42)), (0.4, (112, 94, 76)), (0.7, (142, 123, 102)), (1, (170, 152, 130))),
    ),
    "shellacked inside": (
        ((0, (88, 58, 30)), (0.4, (152, 112, 66)), (0.7, (184, 145, 94)), (1, (212, 178, 126))),
        ((0, (96, 66, 36)), (0.4, (160, 122, 76)), (0.7, (192, 154, 104)), (1, (216, 184, 134))),
    ),
}


@lru_cache(maxsize=12)
def figure(species: str, seed: int, size: Size, density: float) -> Image.Image:
    """The figure of a plain-sawn sheet, mode L: rings cut by a plane that wanders through the log, fibre and
    pores.

    A ring is a cylinder about the pith; where the saw passes at depth d(x) the surface point (x, y) lies at
    radius sqrt(y^2 + d^2), and contours of that radius are the cathedral arches of flat-sawn boards.
    """
    kind = SPECIES[species]
    rng = Random(f"{species} {seed}")
    width, height = size
    length, breadth = width / density, height / density

    centre = rng.uniform(0.25, 0.75) * breadth
    column = Image.new("F", (1, height))
    column.putdata([row / density - centre for row in range(height)])
    across = column.resize(size, Image.Resampling.NEAREST)
    lean = rng.uniform(0.035, 0.075) * rng.choice((-1, 1))
    start = rng.uniform(3.0, 7.0) - min(0.0, lean * length)
    row = Image.new("F", (width, 1))
    row.putdata([start + lean * col / density for col in range(width)])
    depth = row.resize(size, Image.Resampling.NEAREST)
    wander = noise(rng, size, (length / 26, breadth / 9))
    ripple = noise(rng, size, (length / 7, breadth / 2.2))
    radius = evaluate(
        lambda a: (
            (
                (a["y"] * a["y"] + (a["d"] + (a["w"] - 127) * 0.016) ** 2) ** 0.5
                + (a["w"] - 127) * 0.006
                + (a["r"] - 127) * 0.0011
            )
            / kind.ring
        ),
        y=across,
        d=depth,
        w=wander,
        r=ripple,
    )
    fine = evaluate(lambda a: (a["r"] % 1.0) * 255, r=radius).convert("L")
    broad = evaluate(lambda a: (a["r"] % 5.3) * 48, r=radius).convert("L")
    # Within a ring: pale and open at first, slowly denser, a dark line at its end, then the next begins at
    # once.
    fine = fine.point([round(255 * (1 - (i / 255) ** 2.6) * min(1.0, 0.35 + i / 40)) for i in range(256)])
    broad = broad.point([round(255 * abs(1 - i / 127.5)) for i in range(256)])

    streaks = noise(rng, size, (length / 14, height / max(1.0, density * 0.06)))
    long_streaks = noise(rng, size, (length / 45, breadth / 0.9))
    cross = noise(rng, size, (length / 1.6, breadth / 14))
    threshold = round(255 * (1 - kind.pore_share))
    dashes = Image.frombytes(
        "L",
        (max(2, round(length / kind.pore_length)), height),
        rng.randbytes(max(2, round(length / kind.pore_length)) * height),
    )
    # each row of pores starts somewhere else, or they would stand in columns
    dashes = dashes.point([255 if i >= threshold else 0 for i in range(256)]).resize(size, BILINEAR)
    slip = speckle(rng, (max(2, round(length * 2.2)), height)).resize(size, BILINEAR)
    pores = ImageChops.multiply(dashes, slip.point([min(255, i * 2) for i in range(256)]))
    if kind.name in ("oak", "ash"):  # ring-porous: the pores stand in the early wood
        pores = ImageChops.multiply(pores, fine.point([min(255, 60 + i) for i in range(256)]))

    def mix(a: dict[str, Any]) -> Any:
        return (
            150
            + (a["ring"] - 170) * (kind.rings / 255) * (0.45 + a["broad"] / 300)
            + (a["broad"] - 127) * (kind.rings / 700)
            + (a["s"] - 127) * (kind.fibre / 255)
            + (a["l"] - 127) * (kind.fibre / 200)
            + (a["c"] - 127) * (kind.curl / 255)
            - a["p"] * (kind.pores / 255)
        )

    mixed = evaluate(
        mix,
        ring=fine.convert("F"),
        broad=broad.convert("F"),
        s=streaks,
        l=long_streaks,
        c=cross,
        p=pores.convert("F"),
    )
    return evaluate(lambda a: a["min"](a["max"](a["m"], 0), 255), m=mixed).convert("L")


@lru_cache(maxsize=12)
def sheet(finish: str, seed: int, size: Size, density: float, species: str = "") -> Image.Image:
    """A sheet of timber in a finish; `species` is the finish's first word unless said."""
    kind = species or finish.split()[0]
    if kind not in SPECIES:
        kind = "pine"
    values = figure(kind, seed, size, density)
    dark, light = FINISHES[finish]
    rng = Random(f"{finish} {seed}")
    drift = cloud(rng, size, (size[0] / density / 40, size[1] / density / 5), 2)
    return Image.composite(coloured(values, light), coloured(values, dark), drift)


class Timber:
    """A stack of one timber in one finish, from which boards are cut, no two the same."""

    def __init__(
        self,
        finish: str,
        density: float,
        seed: int = 0,
        species: str = "",
        spread: float = 0.09,
        stock: tuple[float, float] = (165, 56),
        sheets: int = 3,
    ) -> None:
        self.finish, self.density, self.species, self.spread = finish, density, species, spread
        self.stock, self.sheets = stock, sheets
        self.rng = Random(f"{finish} {seed}")
        self.seed = seed

    def board(
        self, length: float, breadth: float, *, upright: bool = False, sheet_no: int | None = None
    ) -> Image.Image:
        """A board `length` x `breadth` cm with the grain along it; `upright` turns it so that the grain runs
        down."""
        density = self.density
        want = max(2, round(length * density)), max(2, round(breadth * density))
        number = self.rng.randrange(self.sheets) if sheet_no is None else sheet_no
        stock = (
            max(round(self.stock[0] * density), want[0] + 4),
            max(round(self.stock[1] * density), want[1] + 4),
        )
        whole = sheet(self.finish, self.seed * 10 + number, stock, density, self.species)
        left = self.rng.randrange(whole.width - want[0])
        top = self.rng.randrange(whole.height - want[1])
        cut = whole.crop((left, top, left + want[0], top + want[1]))
        for turn in (Image.Transpose.FLIP_LEFT_RIGHT, Image.Transpose.FLIP_TOP_BOTTOM):
            if self.rng.random() < 0.5:
                cut = cut.transpose(turn)
        cut = dimmed(cut, 1 + self.rng.uniform(-self.spread, self.spread * 0.6))
        return cut.transpose(Image.Transpose.ROTATE_90) if upright else cut


def dimmed(image: Image.Image, by: float | tuple[float, float, float]) -> Image.Image:
    """Every channel times `by` (one factor, or one a channel), clipped."""
    factors = by if isinstance(by, tuple) else (by, by, by)
    return image.point([min(255, round(i * factor)) for factor in factors for i in range(256)])


def glued_up(
    timber: Timber, length: float, breadth: float, boards: int, *, upright: bool = False
) -> Image.Image:
    """A panel of several boards glued edge to edge."""
    density = timber.density
    panel = Image.new("RGB", (round(length * density), round(breadth * density)))
    edges = [0.0]
    for _ in range(boards):
        edges.append(edges[-1] + timber.rng.uniform(0.75, 1.25))
    rows = [round(edge / edges[-1] * panel.height) for edge in edges]
    for top, bottom in itertools.pairwise(rows):
        strip = timber.board(length, (bottom - top) / density + 0.05)
        panel.paste(strip.resize((panel.width, bottom - top)), (0, top))
        if top:
            ImageDraw.Draw(panel).line((0, top, panel.width, top), fill=panel.getpixel((2, top)), width=1)
    return panel.transpose(Image.Transpose.ROTATE_90) if upright else panel


def plaster(rng: Random, size: Size, colour: Colour) -> Image.Image:
    """A limewashed wall: broad clouds of paler and darker wash."""
    wash = coloured(
        cloud(rng, size, (5, 4), 4), ((0, tinted(colour, 0.82)), (0.5, colour), (1, tinted(colour, 1.1)))
    )
    return wash.filter(ImageFilter.GaussianBlur(1))


def canvas(rng: Random, size: Size, colour: Colour, folds: float = 7) -> Image.Image:
    """A dust sheet: soft folds running down it, a few splashes of old finish, a weave."""
    fall = cloud(rng, size, (folds, 1.6), 3)
    crease = cloud(rng, size, (folds * 0.6, folds * 0.6), 2)
    cloth = coloured(
        ImageChops.blend(fall, crease, 0.45),
        (
            (0.15, tinted(colour, 0.66)),
            (0.45, tinted(colour, 0.94)),
            (0.7, tinted(colour, 1.07)),
            (1, tinted(colour, 1.2)),
        ),
    )
    splashes = Image.new("L", size, 0)
    pen = ImageDraw.Draw(splashes)
    for _ in range(26):
        x, y, r = rng.random() * size[0], rng.random() * size[1], rng.random() ** 3 * size[0] * 0.012 + 1
        pen.ellipse((x - r, y - r * 0.8, x + r, y + r * 0.8), fill=rng.randrange(30, 120))
    cloth.paste(tinted(colour, 0.5), (0, 0), splashes.filter(ImageFilter.GaussianBlur(1)))
    weave = speckle(rng, size).point([118 + i // 14 for i in range(256)])
    return ImageChops.multiply(
        cloth, Image.merge("RGB", [weave.point([min(255, i * 2 - 6) for i in range(256)])] * 3)
    )


def tinted(colour: Colour, by: float) -> Colour:
    """A colour times `by`, clipped."""
    red, green, blue = (min(255, round(part * by)) for part in colour)
    return red, green, blue
