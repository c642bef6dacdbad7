"""Points in a room and in a picture: corners of faces, turns, the map from one quadrangle to another.

The world is in centimetres: x to the right, y up from the floor, z towards whoever looks. A face is always
given as its four corners top-left, top-right, bottom-right, bottom-left, as its texture lies.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, sin

Point3 = tuple[float, float, float]
Point2 = tuple[float, float]


def upright(left: float, right: float, low: float, high: float, z: float) -> list[Point3]:
    """The corners of a face that looks towards us."""
    return [(left, high, z), (right, high, z), (right, low, z), (left, low, z)]


def end_on(x: float, first: float, last: float, low: float, high: float) -> list[Point3]:
    """The corners of a face that looks sideways; its texture runs from depth `first` to depth `last`."""
    return [(x, high, first), (x, high, last), (x, low, last), (x, low, first)]


def lying(left: float, right: float, back: float, front: float, y: float) -> list[Point3]:
    """The corners of a face that looks up."""
    return [(left, y, back), (right, y, back), (right, y, front), (left, y, front)]


def around(points: Sequence[Point3], centre: Point3, turn: float) -> list[Point3]:
    """Points of a piece's own measures, turned about the upright and moved to where it stands."""
    c, s = cos(turn), sin(turn)
    return [(centre[0] + x * c + z * s, centre[1] + y, centre[2] - x * s + z * c) for x, y, z in points]


def _solve(rows: list[list[float]]) -> list[float]:
    """Gauss-Jordan on an augmented matrix."""
    count = len(rows)
    for col in range(count):
        pivot = max(range(col, count), key=lambda r: abs(rows[r][col]))
        rows[col], rows[pivot] = rows[pivot], rows[col]
        head = rows[col][col]
        rows[col] = [value / head for value in rows[col]]
        for other in range(count):
            if other != col and rows[other][col]:
                factor = rows[other][col]
                rows[other] = [a - factor * b for a, b in zip(rows[other], rows[col], strict=True)]
    return [row[-1] for row in rows]


def homography(onto: Sequence[Point2], source: Sequence[Point2]) -> list[float]:
    """The eight numbers with which Pillow finds, for each point of `onto`, its point in `source`."""
    rows: list[list[float]] = []
    for (x, y), (u, v) in zip(onto, source, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y, u])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y, v])
    return _solve(rows)
