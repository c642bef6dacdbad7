"""From kind, size and finish to a range: by the shop's own rates, by what such pieces came to before, or
halfway between the two; in steps that do not pretend to be exact. Every line of `how` is for the owner alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from shopdesk.ballpark.sizes import CLASSES, Example
from shopdesk.craft.coatings import gun_fills, spreading_rate_m2_per_l, volume_l
from shopdesk.craft.faces import GROUPS, Face, area_of
from shopdesk.craft.labour import show_minutes
from shopdesk.craft.units import System, show_area
from shopdesk.look.formats import money
from shopdesk.pricebook.models import ScheduleStep
from shopdesk.pricebook.queries import MaterialFigures, Snapshot, StepFigures, decimal_of

ZERO, ONE, HUNDRED, HOUR = Decimal(0), Decimal(1), Decimal(100), Decimal(60)
FEW = 3
"""Fewer past jobs than this say nothing."""


@dataclass(frozen=True)
class Chosen:
    """A piece as the owner sees it: its kind and size, and the schedule by which it would be done."""

    name: str
    count: int
    kind: str
    size: str
    schedule: Snapshot | None
    lead: bool = False


@dataclass(frozen=True)
class Past:
    """What a job came to for each of its pieces, tax included. `size` is `None` where nobody measured."""

    kind: str
    size: str | None
    each: Decimal


@dataclass(frozen=True)
class Money:
    """How this shop counts. Rates in percent."""

    currency: str
    locale: str
    tax_rate: Decimal
    tax_labour: bool
    system: System = "metric"

    def said(self, amount: Decimal) -> str:
        return money(amount, self.currency, self.locale)

    def between(self, low: Decimal, high: Decimal) -> str:
        return self.said(low) if low == high else f"{self.said(low)} to {self.said(high)}"


@dataclass(frozen=True)
class Range:
    """From `low` to `high`, tax included, and how it came about."""

    low: Decimal
    high: Decimal
    how: list[str] = field(default_factory=list)


def reckon(pieces: Sequence[Chosen], past: Sequence[Past], minimum: Decimal, shop: Money) -> Range | None:
    """The range for all pieces together, rounded outwards to a sensible step and never below the minimum
    charge; `None` when neither the rates nor the past know enough."""
    rates, by_rates = by_the_rates(pieces, shop)
    before, by_past = by_the_past(pieces, past, shop)
    how = [*rates, *before]
    if by_rates and by_past:
        low, high = (by_rates[0] + by_past[0]) / 2, (by_rates[1] + by_past[1]) / 2
        how.append(f"Halfway between the two: {shop.between(low, high)}.")
        if by_rates[1] < by_past[0] or by_past[1] < by_rates[0]:
            how.append("The two lie apart: your rates and your past prices do not agree.")
    elif found := by_rates or by_past:
        low, high = found
    else:
        return None
    if high > minimum:
        step = sensible_step(high)
        low, high = down_to(low, step), up_to(high, step)
        how.append(f"Rounded outwards to steps of {shop.said(step)}: {shop.between(low, high)}.")
    if low < minimum:
        low, high = minimum, max(high, minimum)
        how.append(f"Not below your minimum charge of {shop.said(minimum)}: {shop.between(low, high)}.")
    return Range(low, high, how)


def sensible_step(amount: Decimal) -> Decimal:
    """1, 2 or 5 times a power of ten, the largest that is no more than a tenth of the amount: 50 for 600."""
    tenth = amount / 10
    power = ONE.scaleb(tenth.adjusted()) if tenth else ONE
    return next(power * times for times in (5, 2, 1) if power * times <= tenth) if tenth else ONE


def down_to(amount: Decimal, step: Decimal) -> Decimal:
    return max(step, (amount / step).to_integral_value(ROUND_FLOOR) * step)


def up_to(amount: Decimal, step: Decimal) -> Decimal:
    return (amount / step).to_integral_value(ROUND_CEILING) * step


# -- by what such pieces came to before --------------------------------------------------------------------


def by_the_past(
    pieces: Sequence[Chosen], past: Sequence[Past], shop: Money
) -> tuple[list[str], tuple[Decimal, Decimal] | None]:
    """The middle half of what such pieces came to each, added up over the pieces. A job whose pieces nobody
    measured counts for every size."""
    low = high = ZERO
    how: list[str] = []
    lacking: list[str] = []
    for piece in pieces:
        alike = sorted(one.each for one in past if one.kind == piece.kind and one.size in (piece.size, None))
        if len(alike) < FEW:
            lacking.append(f"{piece.size} {piece.kind} ({_jobs(len(alike))})")
            continue
        first, last = quartile(alike, 1), quartile(alike, 3)
        low, high = low + first * piece.count, high + last * piece.count
        how.append(
            f"{_head(piece)}: {_jobs(len(alike))} like it; the middle half came to "
            f"{shop.between(first, last)} each, tax included{_times(piece)}."
        )
    if lacking:
        return [f"Past jobs are too few to go by: {', '.join(dict.fromkeys(lacking))}."], None
    how.append(f"By past jobs: {shop.between(low, high)}.")
    return how, (low, high)


def quartile(rising: Sequence[Decimal], which: int) -> Decimal:
    """The first (1) or third (3) quartile of amounts in rising order, interpolated between neighbours."""
    place = Decimal(which * (len(rising) - 1)) / 4
    below = int(place)
    share = place - below
    above = min(below + 1, len(rising) - 1)
    return rising[below] + (rising[above] - rising[below]) * share


# -- by the shop's own rates -------------------------------------------------------------------------------


def by_the_rates(pieces: Sequence[Chosen], shop: Money) -> tuple[list[str], tuple[Decimal, Decimal] | None]:
    """Time at the wanted hourly earning, materials used up, and tax, for the least and the most that each
    size stands for."""
    low = high = ZERO
    how: list[str] = []
    around: Snapshot | None = None
    for piece in pieces:
        book = piece.schedule
        if book is None:
            return [f"{_head(piece)}: no schedule chosen, so your rates say nothing."], None
        if book["rates"]["currency"] != shop.currency:
            return [
                f"The price book counts in {book['rates']['currency']}, the shop in {shop.currency}: "
                "your rates are left out."
            ], None
        if not decimal_of(book["rates"], "wanted_hourly"):
            return ["No wanted hourly earning in the price book: your rates say nothing."], None
        around = book
        least, most, lines = _piece_by_rates(piece, book, shop)
        low, high = low + least, high + most
        how += lines
    if around is None:
        return how, None
    minutes = Decimal(around["rates"]["minutes_around_a_job"])
    if minutes:
        cost = _with_tax(_time(minutes, around), shop.tax_labour, shop)
        low, high = low + cost, high + cost
        how.append(f"Around the job, {show_minutes(minutes)}: {shop.said(cost)}.")
    how.append(f"By your rates: {shop.between(low, high)}.")
    return how, (low, high)


def _piece_by_rates(piece: Chosen, book: Snapshot, shop: Money) -> tuple[Decimal, Decimal, list[str]]:
    size = CLASSES[piece.kind][piece.size]
    unknown: dict[str, None] = {}
    (area_low, time_low, used_low), (area_high, time_high, used_high) = (
        _take(example, piece, book, unknown) for example in (size.least, size.most)
    )
    labour = [_time(minutes, book) for minutes in (time_low, time_high)]
    stuff = [_charged(used, book) for used in (used_low, used_high)]
    areas = f"{show_area(area_low, shop.system)} to {show_area(area_high, shop.system)}"
    hourly = decimal_of(book["rates"], "wanted_hourly") or ZERO
    how = [
        f"{_head(piece)}, {size.words}: {areas} to coat{_times(piece)}.",
        f"{book['name']}: {show_minutes(time_low)} to {show_minutes(time_high)} at "
        f"{shop.said(hourly)} an hour = {shop.between(*labour)}.",
        f"Materials, with sundries and your markup: {shop.between(*stuff)}.",
    ]
    if unknown:
        how.append(f"Without {', '.join(unknown)}: spreading rate or price not known.")
    taxed = [
        (_with_tax(time, shop.tax_labour, shop) + _with_tax(used, True, shop))
        for time, used in zip(labour, stuff, strict=True)
    ]
    if shop.tax_rate:
        on = "time and materials" if shop.tax_labour else "materials"
        how.append(f"With tax of {shop.tax_rate.normalize():f} % on {on}: {shop.between(*taxed)}.")
    return taxed[0], taxed[1], how


def _take(
    example: Example, piece: Chosen, book: Snapshot, unknown: dict[str, None]
) -> tuple[Decimal, Decimal, Decimal]:
    """One piece's area in m², and all pieces' minutes and what is used up in money. `unknown` collects what
    could not be priced."""
    faces = example.shape.faces()
    minutes = used = ZERO
    for step in book["steps"]:
        if step["only_if"] == ScheduleStep.OnlyIf.LEAD and not piece.lead:
            continue
        area = _area(faces, step)
        minutes += _minutes(step, area, example)
        used += decimal_of(step, "outlay_per_piece") or ZERO
        if step["material"] and area:
            cost = _material(step, step["material"], area, piece.kind)
            if cost is None:
                unknown[step["material"]["name"]] = None
            used += cost or ZERO
    later = decimal_of(book["rates"], "later_piece_factor") or ONE
    return area_of(faces), minutes * (ONE + (piece.count - 1) * later), used * piece.count


def _area(faces: Sequence[Face], step: StepFigures) -> Decimal:
    """The m² that a step is done on. A piece without such faces (a chair has no fronts) has none."""
    groups = [group for group in GROUPS if group in step["faces"]] if step["faces"] else GROUPS
    # "Other" has its whole area as one body; a step on named faces is then done on all of it.
    if [face.group for face in faces] == ["body"]:
        groups = GROUPS
    return area_of(faces, groups)


def _minutes(step: StepFigures, area: Decimal, example: Example) -> Decimal:
    once = (
        (decimal_of(step, "minutes_per_m2") or ZERO) * area
        + (decimal_of(step, "minutes_per_drawer") or ZERO) * example.drawers
        + (decimal_of(step, "minutes_per_door") or ZERO) * example.doors
        + (decimal_of(step, "minutes_per_piece") or ZERO)
    )
    return once * step["coats"] if step["per_coat"] else once


def _material(step: StepFigures, material: MaterialFigures, area: Decimal, kind: str) -> Decimal | None:
    """What a step uses up, at the price of a litre from the can that is cheapest by the litre: a rough price
    does not count what is left over in a can. `None` when rate or price is not known."""
    solids, film = decimal_of(material, "volume_solids_percent"), decimal_of(material, "dry_film_um")
    rate = spreading_rate_m2_per_l(solids, film).value if solids and film else None
    rate = rate or decimal_of(material, "spread_m2_per_l")
    litre = min(
        (Decimal(can["price"]) / Decimal(can["volume_ml"]) * 1000 for can in material["cans"]), default=None
    )
    if not rate or litre is None:
        return None
    tool = step["equipment"]
    reaches = Decimal(tool["transfer"].get(kind, "1")) if tool else ONE
    coats, fills, lost = step["coats"], 0, ZERO
    if tool and tool["cup_ml"]:
        cup, lost = Decimal(tool["cup_ml"]) / 1000, Decimal(tool["loss_per_fill_ml"]) / 1000
        fills = gun_fills(area, coats, rate, reaches, cup, lost).count
    return volume_l(area, coats, rate, reaches, lost, fills).value * litre


def _time(minutes: Decimal, book: Snapshot) -> Decimal:
    return minutes * (decimal_of(book["rates"], "wanted_hourly") or ZERO) / HOUR


def _charged(used: Decimal, book: Snapshot) -> Decimal:
    sundries = decimal_of(book["rates"], "sundries_percent") or ZERO
    markup = decimal_of(book["rates"], "material_markup_percent") or ZERO
    return used * (HUNDRED + sundries) / HUNDRED * (HUNDRED + markup) / HUNDRED


def _with_tax(amount: Decimal, taxed: bool, shop: Money) -> Decimal:
    return amount * (HUNDRED + shop.tax_rate) / HUNDRED if taxed else amount


def _head(piece: Chosen) -> str:
    return f"{piece.name[:1].upper()}{piece.name[1:]}, {piece.size} {piece.kind}"


def _times(piece: Chosen) -> str:
    return f", × {piece.count}" if piece.count > 1 else ""


def _jobs(number: int) -> str:
    return {0: "no past job", 1: "1 past job"}.get(number, f"{number} past jobs")
