"""A piece of the demo's quote as the owner would write it: worked out from its sizes by a schedule of the
price book, with lines of their own beside it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from shopdesk.commissions.models import Commission
from shopdesk.craft.units import parse_length_mm
from shopdesk.pricebook import queries as pricebook
from shopdesk.quotes import estimates, sizes
from shopdesk.quotes.typed import TypedEstimate, TypedLine, TypedPiece
from shopdesk.shop.queries import the_shop

_READ: Mapping[str, Callable[[str], Any]] = {
    "length": lambda typed: parse_length_mm(typed, "in"),
    "count": int,
    "tick": lambda typed: typed == "on",
    "area": Decimal,
}


def typed_piece(commission: Commission, part: Mapping[str, Any], piece_id: int) -> TypedPiece:
    """The piece of `shared/demo/scenario.toml` as it is saved; one without a schedule has its lines only."""
    lines = [_line(line) for line in part["lines"]]
    if "schedule" not in part:
        return TypedPiece(part["name"], part["words"].strip(), lines, piece_id)
    shop = the_shop()
    found = next(one for one in pricebook.schedules() if one.name == part["schedule"])
    schedule = pricebook.snapshot(found)
    shape = sizes.shape_from(part["shape"], _measured(part["shape"], part["sizes"]))
    if isinstance(shape, str):
        raise ValueError(f"{part['name']}: {shape}")
    later, count = bool(part.get("later")), int(part.get("count", 1))
    estimate = estimates.reckon(
        estimates.Ask(
            shape_name=part["shape"],
            shape=shape,
            count=count,
            later=later,
            schedule=schedule,
            lead=commission.pieces.get(pk=piece_id).lead_caution,
            puts={},
            currency=shop.currency,
            locale=shop.locale,
            system=sizes.system_of(shop),
        )
    )
    own = estimates.lines_of(estimate, schedule, tax_labour=shop.tax_labour, currency=shop.currency)
    kept = TypedEstimate(part["shape"], part["sizes"], count, later, dict(schedule))
    return TypedPiece(part["name"], part["words"].strip(), [*own, *lines], piece_id, kept)


def _measured(shape: str, typed: Mapping[str, str]) -> dict[str, Any]:
    """What was typed for each size, read; a tick that is not there is off."""
    read: dict[str, Any] = {}
    for size in sizes.sizes_of(shape):
        if size.name in typed:
            read[size.name] = _READ[size.kind](typed[size.name])
        elif size.kind == "tick":
            read[size.name] = False
    return read


def _line(part: Sequence[Any]) -> TypedLine:
    kind, text, quantity, unit, price, taxable = part
    return TypedLine(kind, text, Decimal(price), Decimal(quantity), unit, taxable)
