"""Kinds of piece at three sizes each, for a price before anybody has measured.

Every size is given by the smallest and the largest piece that one would still call so. The sizes are common
practice, no source; the area is counted from them by `craft.surfaces`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal as D

from shopdesk.craft.surfaces import Bed, Bench, Case, Chair, MirrorFrame, Other, Shape, Table, TypedArea

SIZES = ("small", "middle", "large")
USUAL = "middle"


@dataclass(frozen=True)
class Example:
    """A piece one can imagine: its shape with its sizes, and what is counted on it beside the area."""

    shape: Shape
    drawers: int = 0
    doors: int = 0


@dataclass(frozen=True)
class SizeClass:
    """From `least` to `most`; `words` name the two, `longest_mm` is the longest side of the latter."""

    least: Example
    most: Example
    words: str
    longest_mm: int


def _case(width: int, depth: int, height: int, drawers: int = 0, doors: int = 0) -> Example:
    case = Case(D(width), D(depth), D(height), drawers=drawers, doors=doors)
    return Example(case, drawers, doors)


def _table(length: int, width: int, height: int) -> Example:
    return Example(Table(D(length), D(width), D(height)))


def _chair(width: int, depth: int, back: int, spindles: int) -> Example:
    chair = Chair(D(width), D(depth), D(440), D(back), spindles=spindles, stretchers=3 if spindles else 0)
    return Example(chair)


def _bed(width: int, head: int, foot: int) -> Example:
    return Example(Bed(D(2000), D(width), D(head), D(foot)))


def _bench(length: int, back: int) -> Example:
    return Example(Bench(D(length), D(400), D(450), D(back)))


def _frame(width: int, height: int, face: int) -> Example:
    return Example(MirrorFrame(D(width), D(height), D(face)))


def _other(area: str) -> Example:
    return Example(Other((TypedArea("body", "all of it", D(area)),)))


CLASSES: dict[str, dict[str, SizeClass]] = {
    "case": {
        "small": SizeClass(
            _case(450, 350, 600, 1), _case(750, 400, 750, 3), "one drawer to a low chest of three", 750
        ),
        "middle": SizeClass(
            _case(750, 400, 750, 3), _case(1300, 500, 950, 5), "a chest of three drawers to one of five", 1300
        ),
        "large": SizeClass(
            _case(1300, 500, 950, 5),
            _case(1900, 600, 2000, 0, 4),
            "a long sideboard to a tall cupboard",
            2000,
        ),
    },
    "table": {
        "small": SizeClass(_table(450, 450, 550), _table(900, 600, 600), "a side table to a low one", 900),
        "middle": SizeClass(_table(900, 600, 740), _table(1500, 850, 760), "a desk to a table for six", 1500),
        "large": SizeClass(
            _table(1500, 850, 760), _table(2400, 1050, 760), "a table for six to one for ten", 2400
        ),
    },
    "chair": {
        "small": SizeClass(_chair(400, 380, 380, 0), _chair(430, 420, 430, 0), "a plain chair", 900),
        "middle": SizeClass(
            _chair(430, 420, 430, 0), _chair(480, 450, 500, 7), "a plain chair to one with spindles", 1000
        ),
        "large": SizeClass(
            _chair(480, 450, 500, 7), _chair(620, 600, 700, 9), "one with spindles to a large armchair", 1200
        ),
    },
    "bed": {
        "small": SizeClass(_bed(900, 700, 0), _bed(1000, 900, 500), "a single bed", 2000),
        "middle": SizeClass(_bed(1200, 900, 0), _bed(1400, 1000, 600), "a bed for one or two", 2100),
        "large": SizeClass(_bed(1600, 1000, 0), _bed(1900, 1300, 800), "a double bed", 2400),
    },
    "bench": {
        "small": SizeClass(_bench(700, 0), _bench(1000, 0), "a stool to a bench for two", 1000),
        "middle": SizeClass(_bench(1000, 0), _bench(1400, 450), "a bench for two to one with a back", 1400),
        "large": SizeClass(_bench(1400, 450), _bench(2000, 600), "a bench with a back to a settle", 2000),
    },
    "mirror frame": {
        "small": SizeClass(_frame(300, 400, 40), _frame(500, 700, 60), "a small frame", 700),
        "middle": SizeClass(_frame(500, 700, 60), _frame(800, 1200, 90), "a frame above a mantel", 1200),
        "large": SizeClass(_frame(800, 1200, 90), _frame(1200, 2000, 140), "a tall mirror", 2000),
    },
    "other": {
        "small": SizeClass(_other("0.5"), _other("1.5"), "up to 1.5 m² of surface", 800),
        "middle": SizeClass(_other("1.5"), _other("4"), "1.5 to 4 m² of surface", 1500),
        "large": SizeClass(_other("4"), _other("9"), "4 to 9 m² of surface", 2500),
    },
}
"""By kind (`pricebook.models.Shape`), then by size."""

_NAMES: tuple[tuple[str, str], ...] = (
    ("mirror frame", r"mirrors?|frames?"),
    ("bed", r"beds?|bedsteads?|headboards?|cots?|cradles?"),
    ("bench", r"bench(es)?|stools?|settles?|pews?|footstools?"),
    ("chair", r"chairs?|armchairs?|rockers?|high ?chairs?|carvers?"),
    (
        "case",
        r"chests?|drawers|dressers?|sideboards?|cupboards?|cabinets?|bookcases?|bookshel(f|ves)|shel(f|ves)|"
        r"wardrobes?|armoires?|commodes?|hutch(es)?|trunks?|box(es)?|bureaus?|buffets?|credenzas?",
    ),
    ("table", r"tables?|desks?|nightstands?|stands?|washstands?"),
)


_BESIDE = re.compile(r"\b(?:for|with|and|above|under|from|in|on)\b|[,(+&]")


def kind_of(name: str) -> str:
    """The kind that a piece's name suggests, "other" when it suggests none. The name is taken in parts, cut
    at words like "with" or "for": the last noun of the first part that has one counts. A "sideboard with a
    mirror" is a case, a "table chair" a chair."""
    for part in _BESIDE.split(name.lower()):
        found = [
            (match.start(), kind)
            for kind, pattern in _NAMES
            for match in re.finditer(rf"\b(?:{pattern})\b", part)
        ]
        if found:
            return max(found)[1]
    return "other"


def size_of(kind: str, *sides_mm: D | None) -> str | None:
    """The size that a piece's known sides make it, `None` when none is known."""
    known = [side for side in sides_mm if side is not None]
    if not known:
        return None
    longest = max(known)
    return next((size for size in SIZES if longest <= CLASSES[kind][size].longest_mm), SIZES[-1])
