"""A piece's faces, counted in rectangles: what every shape in `surfaces` is made of, and the checks of its
sizes."""

from abc import ABC, abstractmethod
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from typing import ClassVar, Literal, get_args

from shopdesk.craft.rounding import EXACT, demand_decimal
from shopdesk.craft.units import LONGEST_MM, MM_PER_INCH, System, show_area

Group = Literal["body", "top", "fronts", "legs_and_rails", "inside"]
GROUPS: tuple[Group, ...] = get_args(Group)

MOST_PARTS = 200
ZERO = Decimal(0)
# π to more digits than a tape measure has.
QUARTER_PI = Decimal("0.785398163397448309615660845819875721")


@dataclass(frozen=True)
class Face:
    """One group of faces: its area in m², and how it was counted, for the desk to show."""

    group: Group
    area_m2: Decimal
    says_how: str


@dataclass(frozen=True)
class Part:
    """So many rectangles `a` by `b` mm; a count below zero is taken off. `round`: the circle inside
    instead."""

    what: str
    count: int
    a: Decimal
    b: Decimal
    round: bool = False

    def area_mm2(self) -> Decimal:
        square = EXACT.multiply(EXACT.multiply(self.a, self.b), Decimal(self.count))
        return EXACT.multiply(square, QUARTER_PI) if self.round else square

    def words(self, system: System) -> str:
        number = f"{abs(self.count)} " if abs(self.count) != 1 else ""
        size = f"{_size(self.a, system)} × {_size(self.b, system)} {'in' if system == 'us' else 'cm'}"
        return f"{number}{self.what} {'π ÷ 4 × ' if self.round else '× ' if number else ''}{size}"


class Shape(ABC):
    """A kind of piece with its sizes. `faces` says what there is to coat, group by group, without empty
    ones."""

    kind: ClassVar[str]

    @abstractmethod
    def _check(self) -> None:
        """Raises `ValueError` with a sentence for sizes and counts that cannot be."""

    @abstractmethod
    def _parts(self) -> dict[Group, list[Part]]: ...

    def faces(self, system: System = "metric") -> tuple[Face, ...]:
        """The groups to be coated in the order of `GROUPS`. `system` only chooses the units of the words.

        Raises `ValueError` with a sentence for sizes and counts that cannot be, `TypeError` for a float.
        """
        self._check()
        counted = self._parts()
        return tuple(
            face for group in GROUPS if (face := _face(group, counted.get(group, []), system)) is not None
        )


def area_of(faces: Iterable[Face], groups: Sequence[Group] = GROUPS) -> Decimal:
    """The area of these groups together, in m²; exactly the sum of theirs."""
    return total_area(face.area_m2 for face in faces if face.group in groups)


def _face(group: Group, parts: Iterable[Part], system: System) -> Face | None:
    """The parts of a group added up; None when there is nothing to coat."""
    there = [part for part in parts if part.count and part.a and part.b]
    area = total_area(part.area_mm2() for part in there).scaleb(-6, EXACT)
    if area <= 0:
        return None
    how = ""
    for part in there:
        sign = " − " if part.count < 0 else " + " if how else ""
        how += f"{sign}{part.words(system)}"
    return Face(group, area, f"{how} = {show_area(area, system)}")


def around(what: str, length: Decimal, width: Decimal, height: Decimal) -> list[Part]:
    """Two along the length and two along the width, `height` high."""
    return [Part(f"long {what}", 2, length, height), Part(f"short {what}", 2, width, height)]


def _size(mm: Decimal, system: System) -> str:
    """In tenths of a centimetre, or in inches to the nearest eighth, without the unit."""
    if system == "metric":
        tenths = mm.scaleb(-1, EXACT).quantize(Decimal("0.1"), ROUND_HALF_UP, EXACT)
        return f"{tenths:f}".removesuffix(".0")
    eighths = int(
        EXACT.divide(EXACT.multiply(mm, Decimal(8)), MM_PER_INCH).to_integral_value(ROUND_HALF_UP, EXACT)
    )
    whole, rest = divmod(eighths, 8)
    return " ".join(
        filter(None, [str(whole) if whole or not rest else "", str(Fraction(rest, 8)) if rest else ""])
    )


def total_area(values: Iterable[Decimal]) -> Decimal:
    total = ZERO
    for value in values:
        total = EXACT.add(total, value)
    return total


def sizes_checked(**sizes: Decimal) -> None:
    """Each above zero and at most 10 m; the names are the words of the sentence."""
    for name, mm in sizes.items():
        what = name.replace("_", " ")
        if demand_decimal(mm, f"The {what}") == 0:
            raise ValueError(f"The {what} cannot be zero.")
        size_checked(what, mm)


def size_checked(what: str, mm: Decimal) -> Decimal:
    """`mm` from 0 (there is none) to 10 m."""
    if demand_decimal(mm, f"The {what}") < 0:
        raise ValueError(f"The {what} cannot be below zero.")
    if 0 < mm < 1:
        raise ValueError(f"The {what} is less than a millimetre; please check it and its unit.")
    if mm > LONGEST_MM:
        raise ValueError(f"The {what} is more than 10 metres; please check it and its unit.")
    return mm


def pair_given(what: str, width: Decimal | None, height: Decimal | None) -> bool:
    """Is there a size of such a front? Both or neither."""
    if width is None and height is None:
        return False
    if width is None or height is None:
        raise ValueError(f"Please give both the width and the height of a {what}, or neither.")
    sizes_checked(**{f"width_of_a_{what}": width, f"height_of_a_{what}": height})
    return True


def count_checked(**counts: int) -> None:
    for what, count in counts.items():
        if type(count) is not int:
            raise TypeError(f"The number of {what} must be a whole number, not {type(count).__name__}.")
        if count < 0:
            raise ValueError(f"The number of {what} cannot be below zero.")
        if count > MOST_PARTS:
            raise ValueError(f"{count:,} {what} are not believable; please check the number.")
