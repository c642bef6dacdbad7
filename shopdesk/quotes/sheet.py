"""The whole quote as one form of plain rows, which come and go."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict

from shopdesk.commissions.letterhead import today_at
from shopdesk.commissions.models import Commission
from shopdesk.quotes.choices import begun, extremes, settled
from shopdesk.quotes.forms import STARTERS, HeadForm, LineForm, OptionForm, PieceForm
from shopdesk.quotes.models import Line, Quote
from shopdesk.quotes.sums import Added, Terms, added_up
from shopdesk.quotes.typed import (
    MOST_LINES,
    MOST_OPTIONS,
    MOST_PIECES,
    Fault,
    TypedLine,
    TypedOption,
    TypedPiece,
    TypedQuote,
    faults,
)
from shopdesk.shop.models import Shop


@dataclass(frozen=True)
class Sums:
    """What is typed, added up with what is chosen to begin with (and the cheapest of the choices that are
    `open_still`); the totals of the lowest and the highest answer; and how many rows cannot be counted."""

    plain: Added
    open_still: list[str]
    lowest: Decimal | None
    highest: Decimal | None
    uncounted: int


@dataclass
class LineRow:
    key: str
    """ "0-2": the piece's key and the line's, as they stand in the field names."""
    form: LineForm
    blank: bool

    @property
    def more(self) -> bool:
        """Whether it has more to show than a plain line."""
        return _has_any(self.form, "allowance", "by_number")


@dataclass
class PieceRow:
    key: str
    form: PieceForm
    lines: list[LineRow] = field(default_factory=list)
    lead_caution: bool = False


@dataclass
class OptionRow:
    key: str
    form: OptionForm
    blank: bool

    @property
    def more(self) -> bool:
        return _has_any(self.form, "choice", "preselected", "allowance")


class QuoteSheet:
    """The one form of a quote: `head`, `pieces` with their `lines`, and `options`.

    Rows are named by keys (`pieces`, `lines`, `options` are hidden fields that list them), so that rows can
    be added and taken away without renaming the others. Rows in which nothing was written are left out.
    """

    def __init__(
        self, shop: Shop, quote: Quote, commission: Commission, data: QueryDict | None = None
    ) -> None:
        self.shop, self.quote = shop, quote
        self.commission_pieces = list(commission.pieces.all())
        self.said: list[str] = []
        """What is wrong with the whole."""
        self.newer_edition: int | None = None
        """What the draft is at by now, when somebody saved it meanwhile."""
        if data is None:
            self._from_rows()
        else:
            self._from_data(data, judged=True)

    # -- where it comes from -------------------------------------------------------------------------------

    def _from_rows(self) -> None:
        quote = self.quote
        values = {name: getattr(quote, name) for name in HeadForm.NAMES}
        values |= {name: values[name] or None for name in ("rush_share", "discount")}
        self.head = HeadForm(shop=self.shop, currency=quote.currency, initial=values)
        self.pieces = []
        for key, piece in enumerate(quote.pieces.all()):
            row = self._piece(str(key), {"piece": piece.piece_id, "name": piece.name, "words": piece.words})
            for place, line in enumerate(piece.lines.all()):
                values = {name: getattr(line, name) for name in _LINE}
                row.lines.append(self._line(row, f"{key}-{place}", values))
            if not row.lines:
                row.lines = [self._starter(row, place, kind) for place, kind in enumerate(STARTERS)]
            self.pieces.append(row)
        self.options = [
            self._option(str(key), {name: getattr(option, name) for name in _OPTION})
            for key, option in enumerate(quote.options.all())
        ]

    def _from_data(self, data: QueryDict, *, judged: bool) -> None:
        """From what was posted; not `judged`, it is shown as it was typed without a word about mistakes."""
        raw_head = _raw(data, "", HeadForm.NAMES, HeadForm.TICKS)
        self.head = HeadForm(
            data if judged else None, shop=self.shop, currency=self.quote.currency, initial=raw_head
        )
        line_keys = _keys(data, "lines", r"\d{1,4}-\d{1,4}", MOST_PIECES * MOST_LINES)
        self.pieces = []
        for key in _keys(data, "pieces", r"\d{1,4}", MOST_PIECES + 1):
            raw = _raw(data, f"piece-{key}-", ("piece", "name", "words"))
            row = self._piece(key, raw, data if judged else None)
            for line_key in [one for one in line_keys if one.startswith(f"{key}-")][: MOST_LINES + 1]:
                raw = _raw(data, f"line-{line_key}-", _LINE, _LINE_TICKS)
                row.lines.append(self._line(row, line_key, raw, data if judged else None))
            self.pieces.append(row)
        self.options = []
        for key in _keys(data, "options", r"\d{1,4}", MOST_OPTIONS + 1):
            raw = _raw(data, f"option-{key}-", _OPTION, _OPTION_TICKS)
            self.options.append(self._option(key, raw, data if judged else None))

    def _piece(self, key: str, initial: dict[str, Any], data: QueryDict | None = None) -> PieceRow:
        form = PieceForm(data, prefix=f"piece-{key}", initial=initial)
        cautions = {str(piece.pk) for piece in self.commission_pieces if piece.lead_caution}
        return PieceRow(key, form, lead_caution=str(initial.get("piece")) in cautions)

    def _line(
        self, piece: PieceRow, key: str, initial: dict[str, Any], data: QueryDict | None = None
    ) -> LineRow:
        blank = not (
            initial.get("text") or initial.get("unit") or initial.get("unit_price") not in ("", None)
        )
        said = f"line {len(piece.lines) + 1} of piece {int(piece.key) + 1}"
        form = LineForm(
            None if blank else data,
            prefix=f"line-{key}",
            initial=initial,
            shop=self.shop,
            currency=self.quote.currency,
            said=said,
        )
        return LineRow(key, form, blank)

    def _starter(self, piece: PieceRow, place: int, kind: str) -> LineRow:
        taxed = True if kind == Line.Kind.MATERIALS else self.shop.tax_labour
        return self._line(
            piece, f"{piece.key}-{place}", {"kind": kind, "quantity": Decimal(1), "taxable": taxed}
        )

    def _option(self, key: str, initial: dict[str, Any], data: QueryDict | None = None) -> OptionRow:
        blank = not (initial.get("text") or initial.get("price") not in ("", None))
        form = OptionForm(
            None if blank else data,
            prefix=f"option-{key}",
            initial=initial,
            shop=self.shop,
            currency=self.quote.currency,
            said=f"option {len(getattr(self, 'options', [])) + 1}",
        )
        return OptionRow(key, form, blank)

    # -- adding and taking away rows -----------------------------------------------------------------------

    PRESSES = ("add_line", "remove_line", "add_option", "remove_option", "add_piece", "remove_piece")

    @classmethod
    def is_press(cls, data: Mapping[str, Any]) -> bool:
        return any(name in data for name in cls.PRESSES)

    def press(self, data: QueryDict) -> None:
        """Add or take away the row that a press names; everything typed stays as it is, right or wrong."""
        self._from_data(data, judged=False)
        name = next(name for name in self.PRESSES if name in data)
        getattr(self, f"_{name}")(data.get(name, ""))

    def _add_line(self, value: str) -> None:
        key, _, kind = value.partition(" ")
        for piece in self.pieces:
            if piece.key == key and len(piece.lines) < MOST_LINES:
                place = _next([line.key.partition("-")[2] for line in piece.lines])
                piece.lines.append(
                    self._starter(piece, place, kind if kind in Line.Kind.values else Line.Kind.OTHER)
                )
                self._look_at(piece.lines[-1].form, "text")

    def _remove_line(self, value: str) -> None:
        for piece in self.pieces:
            piece.lines = [line for line in piece.lines if line.key != value]

    def _add_option(self, _value: str) -> None:
        if len(self.options) < MOST_OPTIONS:
            key = str(_next([option.key for option in self.options]))
            self.options.append(self._option(key, {"taxable": self.shop.tax_labour}))
            self._look_at(self.options[-1].form, "text")

    def _remove_option(self, value: str) -> None:
        self.options = [option for option in self.options if option.key != value]

    def _add_piece(self, value: str) -> None:
        if len(self.pieces) < MOST_PIECES:
            known = {str(piece.pk): piece for piece in self.commission_pieces}.get(value)
            row = self._piece(
                str(_next([piece.key for piece in self.pieces])),
                {"piece": known.pk, "name": known.name} if known else {},
            )
            row.lines = [self._starter(row, place, kind) for place, kind in enumerate(STARTERS)]
            self.pieces.append(row)
            self._look_at(row.form, "words" if known else "name")

    def _remove_piece(self, value: str) -> None:
        self.pieces = [piece for piece in self.pieces if piece.key != value]

    @staticmethod
    def _look_at(form: forms.Form, name: str) -> None:
        form.fields[name].widget.attrs["autofocus"] = True

    @property
    def left_out(self) -> list[Any]:
        """Pieces of the commission that are not in this quote."""
        here = {str(row.form["piece"].value()) for row in self.pieces}
        return [piece for piece in self.commission_pieces if str(piece.pk) not in here]

    # -- what it says --------------------------------------------------------------------------------------

    def _forms(self) -> Iterator[forms.Form]:
        yield self.head
        for piece in self.pieces:
            yield piece.form
            yield from (line.form for line in piece.lines if not line.blank)
        yield from (option.form for option in self.options if not option.blank)

    def is_valid(self) -> bool:
        """Whether it can be kept as a draft. If not, the mistakes stand beside their fields."""
        right = not [form for form in self._forms() if not form.is_valid()]
        if right:
            for fault in faults(self.typed(), self.quote.currency, today_at(self.shop)):
                self.blame(fault)
                right = False
        given = False
        for form in self._forms():
            form.focus_given = given  # type: ignore[attr-defined]  # read by the tag that draws a field
            given = given or bool(form.errors)
        return right

    def blame(self, fault: Fault) -> None:
        """Put a mistake beside its field."""
        form: forms.Form = self.head
        if fault.option is not None:
            form = [option.form for option in self.options if not option.blank][fault.option]
        elif fault.piece is not None:
            row = self.pieces[fault.piece]
            form = (
                row.form
                if fault.line is None
                else [one.form for one in row.lines if not one.blank][fault.line]
            )
        if fault.field in form.fields:
            form.add_error(fault.field, fault.sentence)
        else:
            self.said.append(fault.sentence)

    @property
    def edition(self) -> int:
        """The edition that a next press of Keep replaces."""
        if self.newer_edition is not None:
            return self.newer_edition
        written = str(self.head["edition"].value() or "")
        return int(written) if written.isascii() and written.isdigit() else 0

    @property
    def mistakes(self) -> int:
        return sum(len(form.errors) for form in self._forms() if form.is_bound) + len(self.said)

    def typed(self) -> TypedQuote:
        """What was typed, once every field could be read."""
        head = {name: value for name, value in self.head.cleaned_data.items() if name != "edition"}
        head |= {name: head[name] or Decimal(0) for name in ("rush_share", "discount")}
        return TypedQuote(
            pieces=[
                TypedPiece(
                    name=row.form.cleaned_data["name"],
                    words=row.form.cleaned_data["words"],
                    piece_id=row.form.cleaned_data["piece"],
                    lines=[TypedLine(**line.form.cleaned_data) for line in row.lines if not line.blank],
                )
                for row in self.pieces
            ],
            options=[TypedOption(**option.form.cleaned_data) for option in self.options if not option.blank],
            **head,
        )

    def sums(self) -> Sums:
        """What can be read so far, added up. Piece keys are the pieces' keys. Raises `ValueError` with a
        sentence."""
        lines = {
            piece.key: [_countable(row.form) for row in piece.lines if not row.blank] for piece in self.pieces
        }
        read = {key: [line for line in rows if line is not None] for key, rows in lines.items()}
        uncounted = sum(len(rows) - len(read[key]) for key, rows in lines.items())
        forms_ = [option.form for option in self.options if not option.blank]
        options = {row: option for row, form in enumerate(forms_) if (option := _offered(form)) is not None}
        uncounted += len(forms_) - len(options)
        terms = self.terms()

        def with_(chosen: set[int]) -> Added:
            ticked = [(option.price, option.taxable) for row, option in options.items() if row in chosen]
            return added_up(self.quote, read, ticked, terms)

        first, open_still = settled(options, begun(options))
        plain = with_(first)
        answers = [with_(answer).totals.total for answer in extremes(options)] if options else []
        return Sums(plain, open_still, min(answers, default=None), max(answers, default=None), uncounted)

    def terms(self) -> Terms:
        """What goes on top and comes off, as typed, as far as it can be read."""
        rush = bool(_read(self.head, "rush")) and _read(self.head, "rush_share")
        return Terms(
            self.share,
            _read(self.head, "minimum"),
            rush or Decimal(0),
            _read(self.head, "discount") or Decimal(0),
            _read(self.head, "discount_words") or "",
        )

    @property
    def share(self) -> Decimal:
        """The deposit's share as typed, or as kept while it cannot be read."""
        share: Decimal | None = _read(self.head, "deposit_share")
        return self.quote.deposit_share if share is None else share


_LINE = ("kind", "text", "quantity", "unit", "unit_price", "taxable", "allowance", "by_number")
_LINE_TICKS = ("taxable", "allowance")
_OPTION = ("text", "price", "taxable", "choice", "preselected", "allowance")
_OPTION_TICKS = ("taxable", "preselected", "allowance")


def _has_any(form: forms.Form, *names: str) -> bool:
    return any(form[name].value() or form[name].errors for name in names)


def _read(form: forms.Form, name: str) -> Any:
    """What stands in a field, whether it was typed just now or kept before; `None` while it cannot be
    read."""
    try:
        field = form.fields[name]
        return field.clean(field.prepare_value(form[name].value()))
    except ValidationError:
        return None


def _countable(form: LineForm) -> TypedLine | None:
    quantity, price = _read(form, "quantity"), _read(form, "unit_price")
    by_number = _read(form, "by_number")
    if quantity is None or price is None or by_number is None:
        return None
    return TypedLine("other", "", price, quantity, "", bool(_read(form, "taxable")), by_number=by_number)


def _offered(form: OptionForm) -> TypedOption | None:
    price = _read(form, "price")
    if price is None:
        return None
    ticks = {name: bool(_read(form, name)) for name in ("taxable", "preselected")}
    return TypedOption("", price, choice=_read(form, "choice") or "", **ticks)


def _keys(data: QueryDict, name: str, shape: str, most: int) -> list[str]:
    return [key for key in dict.fromkeys(data.getlist(name)) if re.fullmatch(shape, key, re.ASCII)][:most]


def _raw(data: QueryDict, prefix: str, names: Any, ticks: tuple[str, ...] = ()) -> dict[str, Any]:
    return {
        name: f"{prefix}{name}" in data if name in ticks else data.get(f"{prefix}{name}", "")
        for name in names
    }


def _next(keys: list[str]) -> int:
    return max((int(key) for key in keys), default=-1) + 1
