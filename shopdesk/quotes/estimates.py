"""From the sizes of a piece and a schedule to areas, minutes, litres, cans and money, each figure with how it
came about.

Nothing here reads or writes a row: a schedule comes as the snapshot that is kept with the estimate
(`pricebook.queries.Snapshot`), and what was put in by hand comes as `puts`. What is put in stands in the
place of the figure in everything that follows from it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from functools import lru_cache
from typing import Any, Literal, cast

from shopdesk.craft import coatings, labour, surfaces
from shopdesk.craft.money import quantize, split
from shopdesk.craft.rounding import EXACT, half_up
from shopdesk.craft.units import Figure, System, show_area, show_figure, show_volume
from shopdesk.look import formats
from shopdesk.pricebook.models import Faces, ScheduleStep
from shopdesk.pricebook.queries import MaterialFigures, Snapshot, StepFigures, decimal_of
from shopdesk.quotes.models import Line
from shopdesk.quotes.typed import TypedLine

Kind = Literal["area", "minutes", "volume", "money"]
ZERO, ONE = Decimal(0), Decimal(1)
MOST_OF_A_SET = 100
GROUPS: Mapping[str, Sequence[surfaces.Group]] = {
    "case": surfaces.GROUPS,
    "table": ("top", "legs_and_rails", "inside"),
    "chair": ("body", "top", "legs_and_rails"),
    "bed": ("body", "legs_and_rails"),
    "bench": ("body", "top", "legs_and_rails", "inside"),
    "mirror frame": ("body",),
    "other": surfaces.GROUPS,
}
"""The groups of faces that a shape can have: rows stand for each, whatever the sizes say, so that a page need
not be built anew while somebody types."""


@dataclass(frozen=True)
class Put:
    """A figure put in by hand; `by` and `at` are empty while it is being typed."""

    value: Decimal
    by: str = ""
    at: datetime | None = None
    reckoned: Decimal | None = None
    """What was worked out when it was put in."""


@dataclass(frozen=True)
class Reckoned:
    """One figure: what was worked out (`None` where it cannot be), how, and what was put in instead."""

    key: str
    label: str
    kind: Kind
    value: Decimal | None
    because: str
    put: Put | None = None

    @property
    def holds(self) -> Decimal:
        """The figure that holds: what was put in, or what was worked out, or nothing."""
        return self.put.value if self.put else self.value or ZERO


@dataclass(frozen=True)
class Ask:
    """What an estimate is worked out from. `shape` is `None` while its sizes cannot be read."""

    shape_name: str
    shape: surfaces.Shape | None
    count: int
    later: bool
    schedule: Snapshot | None = field(hash=False)
    lead: bool
    puts: Mapping[str, Put] = field(hash=False)
    currency: str
    locale: str
    system: System


@dataclass
class Estimate:
    """The figures in their sections, what could not be worked out, and what comes of it."""

    areas: list[Reckoned] = field(default_factory=list)
    steps: list[Reckoned] = field(default_factory=list)
    materials: list[Reckoned] = field(default_factory=list)
    sums: list[Reckoned] = field(default_factory=list)
    troubles: list[str] = field(default_factory=list)
    minutes: Decimal = ZERO
    """At the bench, of all that are like this."""
    cost: Decimal = ZERO
    """Of materials, as the shop pays for them."""
    price: Decimal = ZERO
    by_kind: dict[str, Decimal] = field(default_factory=dict)
    """Minutes by kind of step."""

    def figures(self) -> Iterator[Reckoned]:
        for section in (self.areas, self.steps, self.materials, self.sums):
            yield from section


@lru_cache(maxsize=64)
def reckon(ask: Ask) -> Estimate:
    """Everything, as far as it can be worked out. Never raises for what was typed: a figure that cannot be
    worked out is without a value, and `troubles` says why.

    The last ones are kept, because a keystroke changes one piece of a quote and not the others: what comes
    back is only to be read.
    """
    found = Estimate()
    _areas(ask, found)
    if ask.schedule is None:
        return found
    if ask.schedule["rates"]["currency"] != ask.currency:
        found.troubles.append(
            f"The price book counts in {ask.schedule['rates']['currency']}, this quote in {ask.currency}: "
            "its money cannot be used here."
        )
        return found
    _steps(ask, found)
    _materials(ask, found)
    _sums(ask, found)
    return found


def lines_of(estimate: Estimate, schedule: Snapshot, *, tax_labour: bool, currency: str) -> list[TypedLine]:
    """An estimate as a piece's own lines, adding up to its price: hours by kind of work at the shop's hourly
    (or shares of a sum, where that was put in instead), and the materials."""
    sums = {one.key: one for one in estimate.sums}
    if not sums:
        return []
    hourly = decimal_of(schedule["rates"], "wanted_hourly") or ZERO
    charge = min(sums["charge"].holds, sums["price"].holds)
    work = max(ZERO, EXACT.subtract(sums["price"].holds, charge))
    hours = {kind: hours_of(minutes) for kind, minutes in estimate.by_kind.items() if hours_of(minutes)}
    texts = {kind: f"{Line.Kind(kind).label.capitalize()}: {schedule['name']}"[:200] for kind in hours}
    if work == _work(hours, hourly, currency):
        lines = [
            TypedLine(kind, texts[kind], hourly, many, "h", tax_labour)
            for kind, many in hours.items()
            if hourly
        ]
    else:
        shares = split(work, list(hours.values()), currency) if hours else []
        lines = [
            TypedLine(kind, texts[kind], share, taxable=tax_labour)
            for kind, share in zip(hours, shares, strict=True)
        ]
    if charge > 0:
        lines.append(TypedLine("materials", "Materials", charge, taxable=True))
    return lines


def hours_of(minutes: Decimal) -> Decimal:
    """In hours to the hundredth."""
    return half_up(EXACT.divide(minutes, Decimal(60)), 2)


def shown(kind: Kind, value: Decimal | None, ask: Ask) -> str:
    """A figure as the desk reads it."""
    if value is None:
        return "?"
    if kind == "area":
        return show_area(value, ask.system) if value else "none"
    if kind == "minutes":
        return labour.show_minutes(value)
    if kind == "volume":
        return show_volume(value, ask.system)
    return formats.money(value, ask.currency, ask.locale)


# -- the parts -----------------------------------------------------------------------------------------------


def _figure(
    ask: Ask, into: list[Reckoned], key: str, label: str, kind: Kind, figure: Figure | None, without: str = ""
) -> Decimal:
    """Write a figure down; returns what holds."""
    value, because = (figure.value, figure.because) if figure else (None, without)
    one = Reckoned(key, label, kind, value, because, ask.puts.get(key))
    into.append(one)
    return one.holds


def _areas(ask: Ask, found: Estimate) -> None:
    faces: dict[str, surfaces.Face] = {}
    if ask.shape is not None:
        try:
            faces = {face.group: face for face in ask.shape.faces(ask.system)}
        except ValueError as error:
            found.troubles.append(str(error))
    for group in GROUPS.get(ask.shape_name, ()):
        face = faces.get(group)
        known = Figure(face.area_m2, face.says_how) if face else Figure(ZERO, "Nothing to coat here.")
        figure = known if ask.shape is not None else None
        _figure(ask, found.areas, f"area-{group}", Faces(group).label, "area", figure, "Sizes are missing.")


def _area(found: Estimate, faces: Sequence[str]) -> Decimal:
    """Of these groups on one piece; all, where none is named."""
    total = ZERO
    for one in found.areas:
        if not faces or one.key.removeprefix("area-") in faces:
            total = EXACT.add(total, one.holds)
    return total


def _done(ask: Ask) -> Iterator[tuple[str, StepFigures]]:
    """The steps that are done on this piece, each under its key."""
    for step in ask.schedule["steps"] if ask.schedule else []:
        if step["only_if"] != ScheduleStep.OnlyIf.LEAD or ask.lead:
            yield str(step["position"]), step


def _steps(ask: Ask, found: Estimate) -> None:
    assert ask.schedule is not None
    factor = decimal_of(ask.schedule["rates"], "later_piece_factor") or ONE
    for key, step in _done(ask):
        label = f"{step['name']}, {step['grit']}" if step["grit"] else step["name"]
        if step["coats"] > 1:
            label += f", {step['coats']} coats"
        try:
            figure = _minutes(ask, step, _area(found, step["faces"]), factor)
        except ValueError as error:
            found.troubles.append(str(error))
            figure = None
        minutes = _figure(ask, found.steps, f"minutes-{key}", label, "minutes", figure, "Cannot be counted.")
        kind = step["kind"] if step["kind"] in Line.Kind.values else Line.Kind.OTHER.value
        kind = Line.Kind.FINISH.value if kind == Line.Kind.MATERIALS else kind
        found.by_kind[kind] = EXACT.add(found.by_kind.get(kind, ZERO), minutes)
        found.minutes = EXACT.add(found.minutes, minutes)


def _minutes(ask: Ask, step: StepFigures, area: Decimal, factor: Decimal) -> Figure:
    """A step's minutes on all pieces of a set, added up over area, drawers, doors and piece."""
    shape = ask.shape
    counts = labour.Counts(area, getattr(shape, "drawers", 0), getattr(shape, "doors", 0), step["coats"])
    total, because = ZERO, []
    pers: Sequence[labour.Per] = ("area", "drawer", "door", "piece")
    for per in pers:
        minutes = decimal_of(step, f"minutes_per_{'m2' if per == 'area' else per}") or ZERO
        if not minutes:
            continue
        rate = labour.Step(step["name"], minutes, per, each_coat=step["per_coat"])
        if ask.later:
            one = labour.step_minutes(rate, [counts], system=ask.system)
            value = EXACT.multiply(EXACT.multiply(one.value, factor), Decimal(ask.count))
            of = f" × {ask.count}" if ask.count > 1 else ""
            words = f"{one.because.rpartition(' = ')[0]} × {show_figure(factor)} as a later piece{of}"
            one = Figure(value, f"{words} = {labour.show_minutes(value)}")
        else:
            one = labour.step_minutes(rate, [counts] * ask.count, factor, system=ask.system)
        total = EXACT.add(total, one.value)
        because.append(one.because)
    once = Decimal(step.get("minutes_once") or "0")
    if once and not ask.later:  # the gun is set up and cleaned once for a set
        total = EXACT.add(total, once)
        because.append(f"{show_figure(once)} min once")
    if len(because) > 1:
        because.append(f"together {labour.show_minutes(total)}")
    return Figure(total, "; ".join(because) or "It takes no time of its own.")


def _materials(ask: Ask, found: Estimate) -> None:
    used: dict[int, tuple[MaterialFigures, list[StepFigures]]] = {}
    outlay, outlays = ZERO, []
    for _, step in _done(ask):
        if step["material"]:
            used.setdefault(step["material"]["id"], (step["material"], []))[1].append(step)
        bought = decimal_of(step, "outlay_per_piece") or ZERO
        if bought:
            outlay = EXACT.add(outlay, EXACT.multiply(bought, Decimal(ask.count)))
            outlays.append(f"{step['name']} {_money(bought, ask)}")
    total, because = ZERO, []
    for material, steps in used.values():
        if not material["cans"] and _rate(material) is None:
            continue  # counted with the sundries
        price = _bought(ask, found, material, steps)
        total = EXACT.add(total, price)
        if price:
            because.append(f"{material['name']} {_money(price, ask)}")
    if outlay:
        times = f" × {ask.count}" if ask.count > 1 else ""
        figure = Figure(outlay, f"{' + '.join(outlays)}{times} = {_money(outlay, ask)}")
        total = EXACT.add(total, _figure(ask, found.materials, "outlay", "Bought for it", "money", figure))
        because.append(f"bought for it {_money(outlay, ask)}")
    assert ask.schedule is not None
    percent = decimal_of(ask.schedule["rates"], "sundries_percent") or ZERO
    sundries = quantize(EXACT.multiply(total, percent).scaleb(-2, EXACT), ask.currency)
    if sundries:
        because.append(f"sundries {show_figure(percent)} % {_money(sundries, ask)}")
    whole = quantize(EXACT.add(total, sundries), ask.currency)
    words = f"{' + '.join(because) or 'nothing'} = {_money(whole, ask)}"
    found.cost = _figure(ask, found.materials, "cost", "Materials cost you", "money", Figure(whole, words))


def _bought(ask: Ask, found: Estimate, material: MaterialFigures, steps: Sequence[StepFigures]) -> Decimal:
    """Litres and cans of one material, of all steps that use it; returns what it costs."""
    name, key = material["name"], material["id"]
    litres, because, trouble = ZERO, [], ""
    for step in steps:
        area = EXACT.multiply(_area(found, step["faces"]), Decimal(ask.count))
        if not area:
            continue
        try:
            one = _litres(ask, material, step, area)
        except ValueError as error:
            trouble = str(error)
            break
        litres = EXACT.add(litres, one.value)
        because.append(one.because)
    if len(because) > 1:
        because.append(f"together {show_volume(litres, ask.system)}")
    if trouble:
        found.troubles.append(f"{name}: {trouble}")
    figure = None if trouble else Figure(litres, "; ".join(because) or "Nothing to coat with it.")
    need = _figure(ask, found.materials, f"litres-{key}", name, "volume", figure, trouble)
    purchase: Figure | None = Figure(ZERO, "None needed.")
    trouble = ""
    if need:
        cans = [
            coatings.Can(can["label"], Decimal(can["volume_ml"]).scaleb(-3, EXACT), Decimal(can["price"]))
            for can in material["cans"]
        ]
        try:
            cheapest = coatings.cheapest_cans(need, cans, system=ask.system)
            purchase = Figure(cheapest.price, f"{cheapest.because}: {_money(cheapest.price, ask)}")
        except ValueError as error:
            trouble, purchase = str(error), None
            found.troubles.append(f"{name}: {error}")
    return _figure(ask, found.materials, f"cans-{key}", f"{name}: to buy", "money", purchase, trouble)


def _litres(ask: Ask, material: MaterialFigures, step: StepFigures, area: Decimal) -> Figure:
    rate = _rate(material)
    if rate is None:
        raise ValueError("its sheet's figures are not in the price book; put in how much it takes.")
    tool = step["equipment"]
    reaches = Decimal(tool["transfer"].get(ask.shape_name, "1")) if tool else ONE
    loss, fills = ZERO, 0
    if tool and tool["cup_ml"]:
        loss = Decimal(tool["loss_per_fill_ml"]).scaleb(-3, EXACT)
        cup = Decimal(tool["cup_ml"]).scaleb(-3, EXACT)
        fills = coatings.gun_fills(
            area, step["coats"], rate.value, reaches, cup, loss, system=ask.system
        ).count
    return coatings.volume_l(area, step["coats"], rate.value, reaches, loss, fills, system=ask.system)


def _rate(material: MaterialFigures) -> Figure | None:
    """Square metres a litre, from volume solids and dry film, or as the sheet gives it."""
    solids, film = decimal_of(material, "volume_solids_percent"), decimal_of(material, "dry_film_um")
    if solids is not None and film is not None:
        return coatings.spreading_rate_m2_per_l(solids, film)
    spread = decimal_of(material, "spread_m2_per_l")
    return None if spread is None else Figure(spread, "as its sheet says")


def _sums(ask: Ask, found: Estimate) -> None:
    assert ask.schedule is not None
    rates = ask.schedule["rates"]
    hourly = quantize(decimal_of(rates, "wanted_hourly") or ZERO, ask.currency)
    markup = decimal_of(rates, "material_markup_percent") or ZERO
    counted = found.minutes
    words = f"{len(found.steps)} steps together = {labour.show_minutes(counted)}"
    found.minutes = _figure(
        ask, found.sums, "minutes", "Time at the bench", "minutes", Figure(counted, words)
    )
    if counted and found.minutes != counted:  # put in: the kinds of work follow
        found.by_kind = {
            kind: EXACT.divide(EXACT.multiply(minutes, found.minutes), counted)
            for kind, minutes in found.by_kind.items()
        }
    elif found.minutes != counted:
        found.by_kind = {Line.Kind.FINISH.value: found.minutes}
    hours = {kind: hours_of(minutes) for kind, minutes in found.by_kind.items() if hours_of(minutes)}
    work = _work(hours, hourly, ask.currency)
    each = " + ".join(f"{formats.number(many, ask.locale)} h {kind}" for kind, many in hours.items())
    words = f"({each}) × {_money(hourly, ask)} = {_money(work, ask)}" if hours else "No time, no price."
    labour_price = _figure(ask, found.sums, "work", "Work", "money", Figure(work, words))
    more = EXACT.add(ONE, markup.scaleb(-2, EXACT))
    charged = quantize(EXACT.multiply(found.cost, more), ask.currency)
    words = f"{_money(found.cost, ask)} + {show_figure(markup)} % = {_money(charged, ask)}"
    charge = _figure(ask, found.sums, "charge", "Materials, as charged", "money", Figure(charged, words))
    price = EXACT.add(labour_price, charge)
    words = f"{_money(labour_price, ask)} + {_money(charge, ask)} = {_money(price, ask)}"
    found.price = _figure(ask, found.sums, "price", "This piece", "money", Figure(price, words))


def _work(hours: Mapping[str, Decimal], hourly: Decimal, currency: str) -> Decimal:
    """Each kind's hours at the hourly, rounded as the lines will be."""
    return quantize(
        sum((quantize(EXACT.multiply(many, hourly), currency) for many in hours.values()), ZERO), currency
    )


def _money(value: Decimal, ask: Ask) -> str:
    return formats.money(value, ask.currency, ask.locale)


def snapshot_of(kept: Mapping[str, Any]) -> Snapshot | None:
    """The schedule that was kept with an estimate; nothing where none was chosen."""
    return cast(Snapshot, kept) if kept.get("steps") is not None else None
