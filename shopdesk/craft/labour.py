"""Minutes at the bench, step by step, from the shop's own rates; and rates learnt from what was logged."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal, get_args

from shopdesk.craft.rounding import EXACT, demand_decimal
from shopdesk.craft.units import LARGEST_M2, M2_PER_SQUARE_FOOT, Figure, System, show_area, show_figure

Per = Literal["area", "drawer", "door", "piece", "coat"]
"""What a step's minutes are counted by: a square metre, a drawer, a door, a whole piece, or a coat on a
piece."""

_PERS = frozenset(get_args(Per))
MOST_MINUTES = Decimal(60 * 24 * 60)  # sixty days round the clock
MOST_COUNT = 1_000
ZERO, ONE = Decimal(0), Decimal(1)


@dataclass(frozen=True)
class Step:
    """A step and its rate: `minutes` for each m², drawer, door, piece or coat (`per`), zero or more.

    `each_coat`: the step is done again for every coat (spraying by the area, sanding between coats); with
    `per` "coat" that is so anyway. `once` are minutes that a step takes however much there is to do (setting
    up, cleaning the gun at the end), counted once for a set.
    """

    name: str
    minutes: Decimal
    per: Per
    each_coat: bool = False
    once: Decimal = ZERO


@dataclass(frozen=True)
class Counts:
    """What there is to do on one piece: m² of the faces the step is done on, drawers, doors, coats."""

    area_m2: Decimal
    drawers: int = 0
    doors: int = 0
    coats: int = 0


def step_minutes(
    step: Step,
    pieces: Sequence[Counts],
    later_factor: Decimal = ONE,
    *,
    system: System = "metric",
) -> Figure:
    """The minutes of a step on a set: the first piece in full, each later one times `later_factor`.

    `later_factor` is above 0 and at most 1: the shop's own figure for how much quicker the second chair goes
    than the first. The first is the one that takes longest, so the order in which a set was typed changes
    nothing.

    Raises `ValueError` with a sentence for a negative rate, no pieces, a factor out of range, absurd counts.
    """
    _checked(step)
    if not pieces:
        raise ValueError("A step is done on at least one piece.")
    if not 0 < demand_decimal(later_factor, "A factor") <= 1:
        raise ValueError("Later pieces of a set take more than none and at most all of the first one's time.")
    worked = sorted(((_units(step, piece), piece) for piece in pieces), key=lambda one: one[0], reverse=True)
    minutes = [EXACT.multiply(step.minutes, units) for units, _ in worked]
    first, later = minutes[0], _sum(minutes[1:])
    total = EXACT.add(step.once, EXACT.add(first, EXACT.multiply(later, later_factor)))
    if total > MOST_MINUTES:
        raise ValueError(
            f"“{step.name}” would take more than sixty days; please check its rate and the counts."
        )

    because = _product(step, worked[0][1], system)
    if later:
        more = len(pieces) - 1
        because += f" + {more} more {'piece' if more == 1 else 'pieces'}, {show_figure(later)} min"
        because += f" × {show_figure(later_factor)}" if later_factor != 1 else ""
    because += f" + {show_figure(step.once)} min once" if step.once else ""
    return Figure(total, f"{because} = {show_minutes(total)}")


def total_minutes(steps: Sequence[Figure]) -> Figure:
    """Steps added up, exactly."""
    total = _sum([step.value for step in steps])
    because = " + ".join(show_figure(step.value) for step in steps) or "0"
    return Figure(total, f"{because} min = {show_minutes(total)}")


def learnt_rate(logged: Sequence[tuple[Decimal, Decimal]]) -> Figure:
    """What a step really takes: all minutes logged ÷ all units done, so that big jobs count for more.

    `logged`: pairs of minutes and units (m², drawers, coats: what the step's rate counts), one for each job.
    Raises `ValueError` when nothing was logged, or a job has no units or negative minutes.
    """
    if not logged:
        raise ValueError("Nothing has been logged for this step yet.")
    for minutes, units in logged:
        if demand_decimal(minutes, "Logged minutes") < 0 or demand_decimal(units, "What was done") <= 0:
            raise ValueError("A logged job has minutes of zero or more, and something that was done in them.")
    spent, done = _sum([minutes for minutes, _ in logged]), _sum([units for _, units in logged])
    rate = EXACT.divide(spent, done)
    jobs = f"{len(logged)} {'job' if len(logged) == 1 else 'jobs'}"
    return Figure(
        rate, f"{jobs}: {show_figure(spent)} min ÷ {show_figure(done)} = {show_figure(rate)} min each"
    )


def show_minutes(minutes: Decimal) -> str:
    """`45 min`, `2 h`, `2 h 05 min`; to the nearest minute, under half a minute as `0.4 min`."""
    if 0 < minutes < 1:
        return f"{show_figure(minutes)} min"
    hours, rest = divmod(int(EXACT.add(minutes, Decimal("0.5")).to_integral_value("ROUND_FLOOR", EXACT)), 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest:02} min" if rest else f"{hours} h"


def _units(step: Step, piece: Counts) -> Decimal:
    """How many of what the rate counts there are on this piece."""
    if demand_decimal(piece.area_m2, "An area") < 0 or piece.area_m2 > LARGEST_M2:
        raise ValueError(f"An area is from 0 to {LARGEST_M2:,} m²; please check it.")
    for what, count in (("drawers", piece.drawers), ("doors", piece.doors), ("coats", piece.coats)):
        if not 0 <= count <= MOST_COUNT:
            raise ValueError(f"{count:,} {what} are not believable; please check the number.")
    units = ONE
    if step.per == "area":
        units = piece.area_m2
    elif step.per != "piece":
        units = Decimal(_counted(step.per, piece))
    return EXACT.multiply(units, Decimal(piece.coats)) if _by_coat(step) else units


def _counted(per: Literal["drawer", "door", "coat"], piece: Counts) -> int:
    return {"drawer": piece.drawers, "door": piece.doors, "coat": piece.coats}[per]


def _by_coat(step: Step) -> bool:
    return step.each_coat and step.per != "coat"


def _product(step: Step, piece: Counts, system: System) -> str:
    """`14 min/m² × 2.84 m² × 3 coats`"""
    rate = step.minutes
    if step.per == "area":
        if system == "us":
            rate = EXACT.multiply(rate, M2_PER_SQUARE_FOOT)
        unit = "ft²" if system == "us" else "m²"
        words = f"{show_figure(rate)} min/{unit} × {show_area(piece.area_m2, system)}"
    elif step.per == "piece":
        words = f"{show_figure(rate)} min"
    else:
        words = f"{show_figure(rate)} min × {_count(_counted(step.per, piece), step.per)}"
    return f"{words} × {_count(piece.coats, 'coat')}" if _by_coat(step) else words


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _checked(step: Step) -> None:
    if step.per not in _PERS:
        raise ValueError("A step's minutes are counted by area, drawer, door, piece or coat.")
    for minutes in (step.minutes, step.once):
        if demand_decimal(minutes, "A step's minutes") < 0:
            raise ValueError(f"“{step.name}” cannot take less than no time.")
        if minutes > MOST_MINUTES:
            raise ValueError(f"“{step.name}” has a rate that is not believable; please check it.")


def _sum(values: Sequence[Decimal]) -> Decimal:
    total = ZERO
    for value in values:
        total = EXACT.add(total, value)
    return total
