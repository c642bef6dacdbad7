"""A quote as somebody wrote it, before it is a row; and what is wrong with it, each with its place."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from dataclasses import field as made
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from shopdesk.craft import pricing
from shopdesk.craft.money import minor_units
from shopdesk.quotes.models import Line

MOST_PIECES = 30
MOST_LINES = 60
MOST_OPTIONS = 30
MOST_RUSH = Decimal(200)
MOST_BY_NUMBER = 6
FURTHEST = timedelta(days=3 * 366)

# Moneys whose figures are of the size of a dollar's. Others (yen, rupiah, forint) count in thousands.
_LIKE_DOLLARS = frozenset(
    [
        "USD",
        "EUR",
        "GBP",
        "CAD",
        "AUD",
        "NZD",
        "CHF",
        "SGD",
        "BRL",
        "ILS",
        "AED",
        "SAR",
        "QAR",
        "KWD",
        "BHD",
        "OMR",
        "JOD",
        "BND",
        "FJD",
    ]
)


@dataclass(frozen=True)
class TypedLine:
    """One of the owner's own lines. Price in the quote's currency, for one unit."""

    kind: str
    text: str
    unit_price: Decimal
    quantity: Decimal = Decimal(1)
    unit: str = ""
    taxable: bool = False
    allowance: bool = False
    by_number: Sequence[tuple[Decimal, Decimal]] = ()
    """The price of one from a quantity on, by rising quantity."""

    def price_of_one(self) -> Decimal:
        """What one costs at this quantity."""
        reached = [price for least, price in self.by_number if least <= self.quantity]
        return reached[-1] if reached else self.unit_price

    def priced(self) -> pricing.Line:
        return pricing.Line(self.quantity, self.price_of_one(), self.taxable)

    def amount(self, currency: str) -> Decimal:
        return pricing.line_amount(self.priced(), currency)


@dataclass(frozen=True)
class TypedEstimate:
    """An estimate as it was typed: sizes in the words of whoever typed them, the schedule as its snapshot,
    and figures put in by hand beside what was worked out (`estimates.Reckoned`, by their keys)."""

    shape: str
    sizes: Mapping[str, str]
    count: int = 1
    later: bool = False
    schedule: Mapping[str, Any] = made(default_factory=dict)
    puts: Mapping[str, Decimal] = made(default_factory=dict)
    worked_out: Mapping[str, Decimal] = made(default_factory=dict)


@dataclass(frozen=True)
class TypedPiece:
    """`piece_id` names a piece of the commission; without one, a piece of this name is added to it."""

    name: str
    words: str
    lines: Sequence[TypedLine] = ()
    piece_id: int | None = None
    estimate: TypedEstimate | None = None


@dataclass(frozen=True)
class TypedOption:
    """A price below zero is a cheaper way. Of the options with the same `choice` exactly one is chosen."""

    text: str
    price: Decimal
    taxable: bool = False
    choice: str = ""
    preselected: bool = False
    allowance: bool = False


@dataclass(frozen=True)
class TypedQuote:
    """Everything that a draft holds. `included` and `not_included` have one item a line; the share is in
    percent."""

    pieces: Sequence[TypedPiece]
    options: Sequence[TypedOption] = ()
    starts_on: date | None = None
    ready_on: date | None = None
    good_until: date | None = None
    deposit_share: Decimal = Decimal(50)
    sample_promised: bool = True
    note: str = ""
    included: str = ""
    not_included: str = ""
    terms: str = ""
    show_lines: bool = False
    minimum: Decimal = Decimal(0)
    rush: bool = False
    rush_share: Decimal = Decimal(0)
    discount: Decimal = Decimal(0)
    discount_words: str = ""


@dataclass(frozen=True)
class Fault:
    """What is wrong, in a sentence, and where: a field of the quote, of a piece, of a piece's line, of an
    option."""

    sentence: str
    field: str | None = None
    piece: int | None = None
    line: int | None = None
    option: int | None = None


def most_of_a_line(currency: str) -> Decimal:
    """From this amount on, a line or an option is taken for a slip of the pen. A whole quote has ten times
    that."""
    return Decimal(1_000_000) if currency in _LIKE_DOLLARS else Decimal(10) ** (11 - minor_units(currency))


def faults(typed: TypedQuote, currency: str, today: date) -> list[Fault]:
    """All that is wrong with a draft as it was typed. What is only missing yet is for `sums.missing` to
    say."""
    found = [*_of_dates(typed, today), *_of_pieces(typed, currency), *_of_options(typed, currency)]
    if not Decimal(0) <= typed.deposit_share <= Decimal(100):
        found.append(
            Fault("A deposit is between nothing and the whole price, 0 to 100 percent.", "deposit_share")
        )
    if not Decimal(0) <= typed.rush_share <= MOST_RUSH:
        found.append(Fault(f"Rush is between nothing and {MOST_RUSH} percent on top.", "rush_share"))
    elif typed.rush and not typed.rush_share:
        found.append(Fault("Say how many percent rush adds.", "rush_share"))
    for place, amount in (("minimum", typed.minimum), ("discount", typed.discount)):
        if amount < 0:
            found.append(Fault("Write it without a minus sign.", place))
        elif amount >= most_of_a_line(currency):
            found.append(Fault("That is not believable; please check it.", place))
    if not found:
        whole = sum((line.amount(currency) for piece in typed.pieces for line in piece.lines), Decimal(0))
        if whole >= most_of_a_line(currency) * 10:
            found.append(Fault("Together that is not believable; please check the prices."))
    return found


def _of_dates(typed: TypedQuote, today: date) -> Iterator[Fault]:
    for field, day in (
        ("starts_on", typed.starts_on),
        ("ready_on", typed.ready_on),
        ("good_until", typed.good_until),
    ):
        if day is not None and day < today:
            yield Fault("That day is over.", field)
        elif day is not None and day > today + FURTHEST:
            yield Fault("That is years away; please check the year.", field)
    if typed.starts_on and typed.ready_on and typed.ready_on < typed.starts_on:
        yield Fault("It cannot be ready before the work starts.", "ready_on")


def _of_pieces(typed: TypedQuote, currency: str) -> Iterator[Fault]:
    if len(typed.pieces) > MOST_PIECES:
        yield Fault(f"A quote has at most {MOST_PIECES} pieces.")
    known = [piece.piece_id for piece in typed.pieces if piece.piece_id is not None]
    if len(known) != len(set(known)):
        yield Fault("The same piece is in this quote twice.")
    for position, piece in enumerate(typed.pieces):
        if not any(char.isalnum() for char in piece.name):
            yield Fault("Say what the piece is.", "name", piece=position)
        if len(piece.lines) > MOST_LINES:
            yield Fault(f"A piece has at most {MOST_LINES} lines.", "name", piece=position)
        for row, line in enumerate(piece.lines):
            for sentence, field in _of_line(line, currency):
                yield Fault(sentence, field, piece=position, line=row)


def _of_line(line: TypedLine, currency: str) -> Iterator[tuple[str, str]]:
    if not line.text.strip():
        yield "Say what it is for.", "text"
    if line.kind not in Line.Kind.values:
        yield "Say what kind of line it is.", "kind"
    if line.quantity <= 0:
        yield "More than nothing.", "quantity"
        return
    if line.unit_price < 0:
        yield "A price is not below zero; a cheaper way is an option.", "unit_price"
        return
    leasts = [least for least, _ in line.by_number]
    if len(leasts) > MOST_BY_NUMBER:
        yield f"At most {MOST_BY_NUMBER} prices by number.", "by_number"
    elif leasts != sorted(set(leasts)) or any(least <= 0 for least in leasts):
        yield "Write each number once, the smaller first.", "by_number"
    elif any(price < 0 for _, price in line.by_number):
        yield "A price is not below zero.", "by_number"
    try:
        if line.amount(currency) >= most_of_a_line(currency):
            yield "That is not believable; please check it.", "unit_price"
    except ValueError as error:
        yield str(error), "unit_price"


def _of_options(typed: TypedQuote, currency: str) -> Iterator[Fault]:
    if len(typed.options) > MOST_OPTIONS:
        yield Fault(f"A quote has at most {MOST_OPTIONS} options.")
    begun: set[str] = set()
    for position, option in enumerate(typed.options):
        if not option.text.strip():
            yield Fault("Say what it is.", "text", option=position)
        if abs(option.price) >= most_of_a_line(currency):
            yield Fault("That is not believable; please check it.", "price", option=position)
        if option.allowance and option.price < 0:
            yield Fault("A sum set aside is not below zero.", "price", option=position)
        choice = choice_key(option.choice)
        if option.preselected and not choice:
            yield Fault(
                "Only one of a choice is chosen to begin with; what they may add stays for them to tick.",
                "preselected",
                option=position,
            )
        elif option.preselected and choice in begun:
            yield Fault("Another one of this choice is chosen to begin with.", "preselected", option=position)
        if option.preselected:
            begun.add(choice)


def choice_key(name: str) -> str:
    """By which options belong to the same choice, however its name was spaced or capitalised."""
    return " ".join(name.split()).casefold()
