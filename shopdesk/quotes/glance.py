"""At one glance, for the owner alone: what a quote earns as it is typed, and what could be asked for it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from shopdesk.craft.asking import three_prices
from shopdesk.craft.earnings import Costs, earning
from shopdesk.craft.money import quantize
from shopdesk.craft.rounding import EXACT
from shopdesk.craft.units import show_figure
from shopdesk.look import formats
from shopdesk.pricebook.models import ShopRates
from shopdesk.quotes.models import Line, Quote
from shopdesk.quotes.sheet_rows import HOURS, PieceRow, read
from shopdesk.quotes.sums import Added

ZERO = Decimal(0)
NAMES = ("Floor", "Wanted", "With rush")


@dataclass(frozen=True)
class Taken:
    """What the pieces take as far as it is known: minutes at the bench, materials as the shop pays for them,
    and the pieces that are known by the hours of their lines only."""

    minutes: Decimal
    materials: Decimal
    by_lines: tuple[str, ...]


def taken(pieces: Iterable[PieceRow]) -> Taken:
    """Of each piece its estimate; or else the lines whose unit is hours, and materials as they are priced."""
    minutes, materials, by_lines = ZERO, ZERO, []
    for place, row in enumerate(pieces, start=1):
        if row.estimate.begun and row.estimate.schedule is not None:
            minutes = EXACT.add(minutes, row.estimate.reckoned.minutes)
            materials = EXACT.add(materials, row.estimate.reckoned.cost)
            continue
        by_lines.append(str(row.form["name"].value() or f"Piece {place}"))
        for line in row.lines:
            many = ZERO if line.blank else read(line.form, "quantity") or ZERO
            if str(line.form["unit"].value() or "").strip() in HOURS:
                minutes = EXACT.add(minutes, EXACT.multiply(many, Decimal(60)))
            elif line.form["kind"].value() == Line.Kind.MATERIALS and not line.blank:
                priced = read(line.form, "unit_price") or ZERO
                materials = EXACT.add(materials, EXACT.multiply(many, priced))
    return Taken(minutes, materials, tuple(by_lines))


def glance(added: Added, found: Taken, rates: ShopRates, quote: Quote, locale: str) -> dict[str, Any]:
    """What the desk shows beside the sums, as strings; `says` in words what it does not know."""
    if rates.currency != quote.currency:
        return {
            "says": f"The price book counts in {rates.currency} and this quote in {quote.currency}: what an "
            "hour earns cannot be worked out."
        }
    totals = added.totals

    def written(value: Decimal) -> str:
        return formats.money(value, quote.currency, locale)

    costs = Costs(
        materials=quantize(found.materials, quote.currency),
        bench_minutes=found.minutes,
        other_minutes=Decimal(rates.minutes_around_a_job),
    )
    said = []
    if found.by_lines:
        said.append(
            f"Without an estimate, by the hours and materials of their lines: {', '.join(found.by_lines)}."
        )
    if not found.minutes:
        return {"says": " ".join([*said, "No hours are known yet, so neither is what one earns."])}
    earned = earning(totals.subtotal, costs, quote.currency, totals.tax)
    shown: dict[str, Any] = {
        "says": " ".join(said),
        "earns": True,
        "price": written(earned.price),
        "materials": written(earned.materials),
        "margin": written(earned.margin),
        "bench": f"{show_figure(earned.bench_hours)} h",
        "hours": f"{show_figure(earned.all_hours)} h",
        "per_hour": written(earned.per_hour or ZERO),
        "wanted": bool(rates.wanted_hourly),
        "against": _against(earned.per_hour or ZERO, rates, written(rates.wanted_hourly)),
        "three": [],
    }
    try:
        three = three_prices(
            costs,
            rates.floor_hourly,
            rates.wanted_hourly,
            rates.rush_percent,
            rates.minimum_charge,
            quote.currency,
        )
    except ValueError as error:
        shown["says"] = " ".join([*said, str(error)])
        return shown
    shown["three"] = [
        {
            "name": name,
            "price": written(one.price),
            "per_hour": written(one.earns.per_hour or ZERO),
            "means": one.means.partition(": ")[2].capitalize(),
        }
        for name, one in zip(NAMES, three, strict=True)
    ]
    return shown


def _against(per_hour: Decimal, rates: ShopRates, wanted: str) -> str:
    if per_hour >= rates.wanted_hourly:
        return f"as wanted ({wanted}) or more"
    if per_hour >= rates.floor_hourly:
        return f"less than the {wanted} you want"
    return f"below your floor, and you want {wanted}"
