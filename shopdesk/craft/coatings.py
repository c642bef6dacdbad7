"""How far a coating goes: spreading rate, wet film, litres, fills of the gun, mass, and which cans to buy.

Everything here is the arithmetic of volumes. What a product needs (volume solids, film, thinning) is on its
data sheet; how much of it reaches the piece (transfer efficiency) and what each filling of a gun loses are
the shop's own figures: about 50 % on cases and 25 to 35 % on chairs, common practice, no source.
"""

import heapq
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from shopdesk.craft.money import LARGEST
from shopdesk.craft.rounding import EXACT, demand_decimal
from shopdesk.craft.units import (
    L_PER_GALLON,
    LARGEST_L,
    LARGEST_M2,
    M2_PER_SQUARE_FOOT,
    UM_PER_MIL,
    Figure,
    System,
    show_area,
    show_figure,
    show_volume,
)

MOST_COATS = 30
MOST_FILLS = 1_000
THICKEST_FILM_UM = Decimal(2_000)
MOST_THINNED_PCT = Decimal(100)
LIGHTEST_KG_PER_L, HEAVIEST_KG_PER_L = Decimal("0.5"), Decimal(3)
MOST_KINDS_OF_CAN = 12
MOST_CANS = 200
MOST_SUMS = 50_000  # of cans looked at: about a second. A dozen sizes for a few litres take a tenth
ZERO = Decimal(0)

# What one gallon of pure solids covers at one mil, in ft²: 231 in³ spread a thousandth of an inch thin. The
# trade rounds it to 1604.
_FT2_MIL_PER_GALLON = EXACT.divide(EXACT.multiply(Decimal(231), Decimal(1000)), Decimal(144))


@dataclass(frozen=True)
class Can:
    """A size that is sold: its name as printed ("1 quart", "750 mL"), what it holds, and its price."""

    name: str
    holds_l: Decimal
    price: Decimal


@dataclass(frozen=True)
class Purchase:
    """Cans that cover a volume at the lowest price: so many of each, largest first, and what is left over."""

    cans: tuple[tuple[Can, int], ...]
    holds_l: Decimal
    price: Decimal
    left_over_l: Decimal
    because: str


@dataclass(frozen=True)
class Fills:
    """How often the gun is filled."""

    count: int
    because: str


def spreading_rate_m2_per_l(volume_solids_pct: Decimal, dry_film_um: Decimal) -> Figure:
    """What a litre covers in theory, in m²: 10 × volume solids in percent ÷ dry film in micrometres.

    Arithmetic: a litre of solids spread 1 µm thin is 1000 m². Raises `ValueError` for volume solids that are
    not above 0 and at most 100 percent, and for a film nobody lays.
    """
    solids = _solids(volume_solids_pct)
    film = _film(dry_film_um, THICKEST_FILM_UM, "µm")
    rate = EXACT.divide(EXACT.multiply(Decimal(10), solids), film)
    because = (
        f"10 × {show_figure(solids)} % solids ÷ {show_figure(film)} µm dry film = {show_figure(rate)} m²/L"
    )
    return Figure(rate, because)


def spreading_rate_ft2_per_gal(volume_solids_pct: Decimal, dry_film_mil: Decimal) -> Figure:
    """What a US gallon covers in theory, in ft²: 1604 × volume solids ÷ dry film in mils.

    1604 is 231 in³ × 1000 ÷ 144 = 1604.1666…, which is what is reckoned with. Raises like its metric sister.
    """
    solids = _solids(volume_solids_pct)
    film = _film(dry_film_mil, EXACT.divide(THICKEST_FILM_UM, UM_PER_MIL), "mils")
    rate = EXACT.divide(EXACT.multiply(_FT2_MIL_PER_GALLON, solids.scaleb(-2, EXACT)), film)
    because = (
        f"1604 × {show_figure(solids)} % solids ÷ {show_figure(film)} mils dry film = "
        f"{show_figure(rate)} ft²/gal"
    )
    return Figure(rate, because)


def wet_film_um(dry_film_um: Decimal, volume_solids_pct: Decimal, thinned_pct: Decimal = ZERO) -> Figure:
    """How thick a coat is laid wet: dry film × (1 + thinner by volume) ÷ volume solids, in micrometres.

    `thinned_pct`: thinner in percent of the coating's own volume; `volume_solids_pct` is the unthinned
    coating's.
    """
    film, solids = _film(dry_film_um, THICKEST_FILM_UM, "µm"), _solids(volume_solids_pct)
    thinned = _between(thinned_pct, ZERO, MOST_THINNED_PCT, "Thinning", " percent")
    more = EXACT.add(Decimal(1), thinned.scaleb(-2, EXACT))
    wet = EXACT.divide(EXACT.multiply(film, more), solids.scaleb(-2, EXACT))
    times = f" × {show_figure(more)} for the thinner" if thinned else ""
    because = (
        f"{show_figure(film)} µm dry{times} ÷ {show_figure(solids)} % solids = {show_figure(wet)} µm wet"
    )
    return Figure(wet, because)


def volume_l(
    area_m2: Decimal,
    coats: int,
    rate_m2_per_l: Decimal,
    transfer_efficiency: Decimal,
    loss_per_fill_l: Decimal = ZERO,
    fills: int = 0,
    *,
    system: System = "metric",
) -> Figure:
    """Litres of unthinned coating: coats × area ÷ (rate × transfer efficiency), and what each filling loses.

    `rate_m2_per_l` is the theoretical rate of one coat; `transfer_efficiency` the share that reaches the
    piece, above 0 and at most 1. `system` only chooses the units of the explanation.

    Raises `ValueError` with a sentence: no or too many coats, an efficiency out of range, an absurd area,
    rate, loss or number of fills.
    """
    area = _between(area_m2, ZERO, LARGEST_M2, "An area", " m²", above_least=True)
    rate = _between(rate_m2_per_l, ZERO, Decimal(1_000), "A spreading rate", " m²/L", above_least=True)
    reaches = _efficiency(transfer_efficiency)
    loss = _between(loss_per_fill_l, ZERO, Decimal(5), "The loss at each filling", " L")
    _coats(coats)
    if not 0 <= _whole(fills, "Fillings") <= MOST_FILLS:
        raise ValueError(f"{fills:,} fillings of the gun are not believable; please check them.")
    laid = EXACT.divide(EXACT.multiply(area, Decimal(coats)), EXACT.multiply(rate, reaches))
    lost = EXACT.multiply(loss, Decimal(fills))
    needed = EXACT.add(laid, lost)
    if needed > LARGEST_L:
        raise ValueError(
            f"That would take {needed:,.0f} litres; please check the area, the rate and the coats."
        )
    practical = f"{_rate(rate, system)} × {show_figure(reaches)}"
    because = f"{_count(coats, 'coat')} × {show_area(area, system)} ÷ ({practical})"
    if lost:
        because += f" + {_count(fills, 'fill')} × {show_volume(loss, system)} lost"
    return Figure(needed, f"{because} = {show_volume(needed, system)}")


def gun_fills(
    area_m2: Decimal,
    coats: int,
    rate_m2_per_l: Decimal,
    transfer_efficiency: Decimal,
    cup_l: Decimal,
    loss_per_fill_l: Decimal = ZERO,
    *,
    system: System = "metric",
) -> Fills:
    """How often the gun's cup is filled: each coat anew, and each filling gives the cup less what it loses.

    Raises what `volume_l` raises, and `ValueError` for a cup that loses all it holds.
    """
    cup = _between(cup_l, ZERO, Decimal(60), "A cup", " L", above_least=True)
    loss = _between(loss_per_fill_l, ZERO, Decimal(5), "The loss at each filling", " L")
    if loss >= cup:
        raise ValueError("The gun loses at each filling all that its cup holds; please check both.")
    one_coat = volume_l(area_m2, 1, rate_m2_per_l, transfer_efficiency).value
    gives = EXACT.subtract(cup, loss)
    a_coat = int(EXACT.divide(one_coat, gives).to_integral_value(ROUND_CEILING, EXACT))
    count = a_coat * _coats(coats)
    if count > MOST_FILLS:
        raise ValueError(f"{count:,} fillings of the gun are not believable; please check the cup's size.")
    because = (
        f"{show_volume(one_coat, system)} a coat from a cup that gives {show_volume(gives, system)}: "
        f"{_count(a_coat, 'fill')} × {_count(coats, 'coat')} = {_count(count, 'fill')}"
    )
    return Fills(count, because)


def mass_kg(volume: Decimal, density_kg_per_l: Decimal) -> Figure:
    """What a volume in litres weighs: litres × the data sheet's density in kg/L."""
    litres = _between(volume, ZERO, LARGEST_L, "A volume", " L")
    density = _between(density_kg_per_l, LIGHTEST_KG_PER_L, HEAVIEST_KG_PER_L, "A density", " kg/L")
    mass = EXACT.multiply(litres, density)
    because = f"{show_volume(litres)} × {show_figure(density)} kg/L = {show_figure(mass)} kg"
    return Figure(mass, because)


def cheapest_cans(need_l: Decimal, cans: Sequence[Can], *, system: System = "metric") -> Purchase:
    """The cans that cover `need_l` litres for the least money; then with least left over; then fewest.

    Exact: sums of cans are taken in the order of their price, then volume, and the first that covers the need
    wins. A sum on the way is dropped when a cheaper one already holds as much, for whatever is added to it
    can be added to the other.

    Raises `ValueError` for a need of nothing, no sizes, a size that holds nothing, a negative price, or a
    need that takes more than `MOST_CANS` of the largest can.
    """
    need = _between(need_l, ZERO, LARGEST_L, "The volume to buy", " L", above_least=True)
    kinds = _checked(cans)
    if EXACT.multiply(kinds[0].holds_l, Decimal(MOST_CANS)) < need:
        raise ValueError(f"That takes more than {MOST_CANS} cans; please check the sizes they are sold in.")
    finest = min(int(value.as_tuple().exponent) for kind in kinds for value in (kind.holds_l, kind.price))
    holds = [int(kind.holds_l.scaleb(-finest, EXACT)) for kind in kinds]
    prices = [int(kind.price.scaleb(-finest, EXACT)) for kind in kinds]
    # In the same units, rounded up: a sum of cans covers the need exactly when it covers this.
    wanted = int(need.scaleb(-finest, EXACT).to_integral_value(ROUND_CEILING, EXACT))

    waiting: list[tuple[int, int, int, tuple[int, ...]]] = [(0, 0, 0, (0,) * len(kinds))]
    seen: set[tuple[int, int]] = set()
    most_for_less, level, most_at_level = -1, 0, -1
    while True:
        price, held, number, counts = heapq.heappop(waiting)
        if held >= wanted:
            break
        if price > level:
            most_for_less, level = max(most_for_less, most_at_level), price
        if (price, held) in seen or held <= most_for_less:
            continue
        seen.add((price, held))
        if len(seen) > MOST_SUMS:
            raise ValueError("There are too many ways to add these cans up; please leave out some sizes.")
        most_at_level = max(most_at_level, held)
        for kind in range(len(kinds)):
            more = (*counts[:kind], counts[kind] + 1, *counts[kind + 1 :])
            heapq.heappush(waiting, (price + prices[kind], held + holds[kind], number + 1, more))

    bought = tuple((kind, count) for kind, count in zip(kinds, counts, strict=True) if count)
    holds_l = _sum(EXACT.multiply(kind.holds_l, Decimal(count)) for kind, count in bought)
    left = EXACT.subtract(holds_l, need)
    *firsts, last = [_in_words(kind, count) for kind, count in bought]
    words = f"{', '.join(firsts)} and {last}" if firsts else last
    because = f"{show_volume(need, system)} → {words}"
    because += f", {show_volume(left, system)} left over" if left else ""
    return Purchase(
        bought,
        holds_l,
        _sum(EXACT.multiply(kind.price, Decimal(count)) for kind, count in bought),
        left,
        because,
    )


_WORDS = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)


def _in_words(can: Can, count: int) -> str:
    """`two 1-quart cans`"""
    number = _WORDS[count] if count < len(_WORDS) else str(count)
    return f"{number} {'-'.join(can.name.split())} {'can' if count == 1 else 'cans'}"


def _checked(cans: Sequence[Can]) -> list[Can]:
    """Largest first, each size once at its lowest price."""
    if not cans:
        raise ValueError("This material has no can sizes yet; give at least one, with its price.")
    if len(cans) > MOST_KINDS_OF_CAN:
        raise ValueError(f"At most {MOST_KINDS_OF_CAN} can sizes for one material, please.")
    by_size: dict[Decimal, Can] = {}
    for can in cans:
        name = can.name.strip()
        if not name:
            raise ValueError("A can size needs a name, such as 1 quart or 750 mL.")
        size = _between(can.holds_l, ZERO, LARGEST_L, f"What a {name} can holds", " L", above_least=True)
        price = _between(can.price, ZERO, LARGEST, f"The price of a {name} can")
        if size not in by_size or price < by_size[size].price:
            by_size[size] = can
    return [by_size[size] for size in sorted(by_size, reverse=True)]


def _rate(rate_m2_per_l: Decimal, system: System) -> str:
    if system == "metric":
        return f"{show_figure(rate_m2_per_l)} m²/L"
    us = EXACT.divide(EXACT.multiply(rate_m2_per_l, L_PER_GALLON), M2_PER_SQUARE_FOOT)
    return f"{show_figure(us)} ft²/gal"


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _sum(values: Iterable[Decimal]) -> Decimal:
    total = ZERO
    for value in values:
        total = EXACT.add(total, value)
    return total


def _whole(value: object, what: str) -> int:
    if not isinstance(value, int) or isinstance(value, bool):
        raise TypeError(f"{what} must be a whole number, not {type(value).__name__}.")
    return value


def _coats(coats: int) -> int:
    if _whole(coats, "Coats") < 1:
        raise ValueError("A finish has at least one coat.")
    if coats > MOST_COATS:
        raise ValueError(f"{coats:,} coats are not believable; at most {MOST_COATS}, please.")
    return coats


def _solids(percent: Decimal) -> Decimal:
    return _between(percent, ZERO, Decimal(100), "Volume solids", " percent", above_least=True)


def _efficiency(share: Decimal) -> Decimal:
    if not 0 < demand_decimal(share, "A transfer efficiency") <= 1:
        raise ValueError("A transfer efficiency is above 0 and at most 1 (0.5 when half reaches the piece).")
    return share


def _film(film: Decimal, thickest: Decimal, unit: str) -> Decimal:
    return _between(film, ZERO, thickest, "A film", f" {unit}", above_least=True)


def _between(
    value: Decimal, least: Decimal, most: Decimal, what: str, unit: str = "", *, above_least: bool = False
) -> Decimal:
    """`value` if it is a Decimal from `least` (or above it) to `most`; else a sentence."""
    demand_decimal(value, what)
    if value < least or (above_least and value == least):
        limit = "above" if above_least else "at least"
        raise ValueError(f"{what} has to be {limit} {show_figure(least)}{unit}; please check it.")
    if value > most:
        raise ValueError(f"{what} of more than {show_figure(most)}{unit} cannot be right; please check it.")
    return value
