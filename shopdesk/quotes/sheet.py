"""The whole quote as one form of plain rows, which come and go."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from decimal import Decimal
from functools import cached_property
from typing import Any

from django import forms
from django.http import QueryDict

from shopdesk.commissions.models import Commission, Piece
from shopdesk.pricebook import queries as book
from shopdesk.pricebook.queries import Snapshot, decimal_of
from shopdesk.quotes.choices import begun, extremes, settled
from shopdesk.quotes.estimating import EstimateRow, raw_of
from shopdesk.quotes.forms import STARTERS, HeadForm, LineForm, OptionForm, PieceForm, line_fields
from shopdesk.quotes.models import Line, Quote
from shopdesk.quotes.queries import estimates_of, schedule_names
from shopdesk.quotes.sheet_rows import (
    LINE,
    LINE_TICKS,
    OPTION,
    OPTION_TICKS,
    LineRow,
    OptionRow,
    PieceRow,
    Sums,
    countable,
    fields_of,
    keys_of,
    next_key,
    offered,
    quicker,
    raw_estimates,
    read,
)
from shopdesk.quotes.sizes import begin_with
from shopdesk.quotes.sums import Added, Terms, added_up, priced_lines
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
from shopdesk.shop.queries import today_at


class QuoteSheet:
    """The one form of a quote: `head`, `pieces` with their `lines`, and `options`.

    Rows are named by keys (`pieces`, `lines`, `options` are hidden fields that list them), so that rows can
    be added and taken away without renaming the others. Rows in which nothing was written are left out.
    """

    def __init__(
        self,
        shop: Shop,
        quote: Quote,
        commission: Commission,
        data: QueryDict | None = None,
        *,
        only_sums: bool = False,
    ) -> None:
        """`only_sums`: its rows will be added up and never drawn, which is quicker to make."""
        self.shop, self.quote = shop, quote
        self.commission_pieces = list(commission.pieces.all())
        self.estimates = estimates_of(quote)
        self.kept = {estimate.quoted.piece_id: estimate for estimate in self.estimates.values()}
        self._snapshots: dict[str, Snapshot | None] = {}
        self._shared = line_fields(shop, quote.currency) if only_sums else None
        self.said: list[str] = []
        """What is wrong with the whole."""
        self.newer_edition: int | None = None
        """What the draft is at by now, when somebody saved it meanwhile."""
        if data is None:
            self._from_rows()
        else:
            self._from_data(data, judged=True)

    @cached_property
    def schedules(self) -> dict[str, str]:
        """Those to choose from, looked up where one is chosen anew or they are drawn."""
        return schedule_names()

    # -- where it comes from -------------------------------------------------------------------------------

    def _from_rows(self) -> None:
        quote = self.quote
        values = {name: getattr(quote, name) for name in HeadForm.NAMES}
        values |= {name: values[name] or None for name in ("rush_share", "discount", "minimum")}
        self.head = HeadForm(shop=self.shop, currency=quote.currency, initial=values)
        self.pieces = []
        for key, piece in enumerate(quote.pieces.all()):
            written = {"piece": piece.piece_id, "name": piece.name, "words": piece.words}
            row = self._piece(str(key), written, raw_of(self.estimates.get(piece.pk)))
            for place, line in enumerate(piece.lines.all()):
                values = {name: getattr(line, name) for name in LINE}
                row.lines.append(self._line(row, f"{key}-{place}", values))
            if not row.lines:
                row.lines = [self._starter(row, place, kind) for place, kind in enumerate(STARTERS)]
            self.pieces.append(row)
        self.options = [
            self._option(str(key), {name: getattr(option, name) for name in OPTION})
            for key, option in enumerate(quote.options.all())
        ]

    def _from_data(self, data: QueryDict, *, judged: bool) -> None:
        """From what was posted; not `judged`, it is shown as it was typed without a word about mistakes."""
        raw_head = fields_of(data, "", HeadForm.NAMES, HeadForm.TICKS)
        self.head = HeadForm(
            data if judged else None, shop=self.shop, currency=self.quote.currency, initial=raw_head
        )
        line_keys = keys_of(data, "lines", r"\d{1,4}-\d{1,4}", MOST_PIECES * MOST_LINES)
        estimates = raw_estimates(data)
        self.pieces = []
        for key in keys_of(data, "pieces", r"\d{1,4}", MOST_PIECES + 1):
            written = fields_of(data, f"piece-{key}-", ("piece", "name", "words"))
            row = self._piece(key, written, estimates.get(key, {}), data if judged else None)
            for line_key in [one for one in line_keys if one.startswith(f"{key}-")][: MOST_LINES + 1]:
                raw = fields_of(data, f"line-{line_key}-", LINE, LINE_TICKS)
                row.lines.append(self._line(row, line_key, raw, data if judged else None))
            self.pieces.append(row)
        self.options = []
        for key in keys_of(data, "options", r"\d{1,4}", MOST_OPTIONS + 1):
            raw = fields_of(data, f"option-{key}-", OPTION, OPTION_TICKS)
            self.options.append(self._option(key, raw, data if judged else None))

    def _piece(
        self, key: str, initial: dict[str, Any], estimate: dict[str, Any], data: QueryDict | None = None
    ) -> PieceRow:
        form = PieceForm(data, prefix=f"piece-{key}", initial=initial)
        own = {str(piece.pk): piece for piece in self.commission_pieces}.get(str(initial.get("piece")))
        return PieceRow(
            key, form, self._estimate(key, own, estimate, data), lead_caution=bool(own and own.lead_caution)
        )

    def _estimate(
        self, key: str, own: Piece | None, raw: dict[str, Any], data: QueryDict | None = None
    ) -> EstimateRow:
        if raw.get("shape") and raw.get("shape") != raw.get("was"):
            begun = begin_with(str(raw["shape"]), own, self.shop)
            raw = {**raw, **{f"size-{name}": raw.get(f"size-{name}") or size for name, size in begun.items()}}
        return EstimateRow(
            key,
            raw,
            data=data,
            shop=self.shop,
            quote=self.quote,
            piece=own,
            kept=self.kept.get(own.pk) if own else None,
            schedules=lambda: self.schedules,
            snapshot=self._snapshot,
        )

    def _snapshot(self, schedule: str) -> Snapshot | None:
        """The price book's schedule as it is now, looked up once."""
        if schedule not in self._snapshots:
            found = book.schedule(int(schedule)) if schedule in self.schedules else None
            self._snapshots[schedule] = book.snapshot(found) if found else None
        return self._snapshots[schedule]

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
            shared=self._shared,
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

    PRESSES = (
        "add_line", "remove_line", "add_option", "remove_option", "add_piece", "remove_piece", "reckon",
        "use_lines", "copy_piece", "go_back",
    )  # fmt: skip

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
                place = next_key([line.key.partition("-")[2] for line in piece.lines])
                piece.lines.append(
                    self._starter(piece, place, kind if kind in Line.Kind.values else Line.Kind.OTHER)
                )
                self._look_at(piece.lines[-1].form, "text")

    def _remove_line(self, value: str) -> None:
        for piece in self.pieces:
            piece.lines = [line for line in piece.lines if line.key != value]

    def _add_option(self, _value: str) -> None:
        if len(self.options) < MOST_OPTIONS:
            key = str(next_key([option.key for option in self.options]))
            self.options.append(self._option(key, {"taxable": self.shop.tax_labour}))
            self._look_at(self.options[-1].form, "text")

    def _remove_option(self, value: str) -> None:
        self.options = [option for option in self.options if option.key != value]

    def _add_piece(self, value: str) -> None:
        if len(self.pieces) < MOST_PIECES:
            known = {str(piece.pk): piece for piece in self.commission_pieces}.get(value)
            row = self._piece(
                str(next_key([piece.key for piece in self.pieces])),
                {"piece": known.pk, "name": known.name} if known else {},
                {},
            )
            row.lines = [self._starter(row, place, kind) for place, kind in enumerate(STARTERS)]
            self.pieces.append(row)
            self._look_at(row.form, "words" if known else "name")

    def _remove_piece(self, value: str) -> None:
        self.pieces = [piece for piece in self.pieces if piece.key != value]

    def _reckon(self, _value: str) -> None:
        """Only show what follows from another shape or schedule."""

    def _go_back(self, value: str) -> None:
        """Let go of a figure that was put in: "0 area-top"."""
        key, _, figure = value.partition(" ")
        self._put_estimate(key, lambda raw: {**raw, f"put-{figure}": ""})

    def _use_lines(self, value: str) -> None:
        """Lines from the estimate take the place of the piece's own, but for those of another kind."""
        for row in self.pieces:
            if row.key == value and (typed := row.estimate.lines()):
                others = [
                    line.form.initial
                    for line in row.lines
                    if not line.blank and line.form["kind"].value() == Line.Kind.OTHER
                ]
                self._put_lines(row, [*map(vars, typed), *others])
                schedule = row.estimate.schedule
                if schedule and not str(row.form["words"].value() or "").strip():
                    self._put_words(row, schedule["words"])

    def _copy_piece(self, value: str) -> None:
        """A piece's words, lines and estimate for its siblings that have none: they are later pieces of the
        set, so that their hours are multiplied by the shop's factor."""
        source = next((row for row in self.pieces if row.key == value), None)
        if source is None:
            return
        rates = source.estimate.schedule["rates"] if source.estimate.schedule else None
        kept = decimal_of(rates, "later_piece_factor") if rates else book.rates().later_piece_factor
        factor = Decimal(1) if source.estimate.raw.get("later") or kept is None else kept
        raw = {
            name: value
            for name, value in source.estimate.raw.items()
            if not name.startswith("put-") or name.startswith("put-area-")
        }
        for row in [row for row in self.pieces if row is not source and row.is_empty]:
            self._put_words(row, source.form["words"].value())
            self._put_estimate(row.key, lambda _: {**raw, "later": "on", "count": ""})
            lines = [
                {name: line.form[name].value() for name in LINE} for line in source.lines if not line.blank
            ]
            self._put_lines(row, [quicker(line, factor) for line in lines])

    def _put_words(self, row: PieceRow, words: Any) -> None:
        written = {name: row.form[name].value() for name in ("piece", "name")}
        row.form = PieceForm(prefix=f"piece-{row.key}", initial={**written, "words": words})

    def _put_lines(self, row: PieceRow, lines: Iterable[Mapping[str, Any]]) -> None:
        row.lines = []
        for place, line in enumerate(lines):
            row.lines.append(self._line(row, f"{row.key}-{place}", {name: line.get(name) for name in LINE}))

    def _put_estimate(self, key: str, change: Callable[[dict[str, Any]], dict[str, Any]]) -> None:
        for row in self.pieces:
            if row.key == key:
                row.estimate = self._estimate(key, row.estimate.piece, change(row.estimate.raw))

    @staticmethod
    def _look_at(form: forms.Form, name: str) -> None:
        form.fields[name].widget.attrs["autofocus"] = True

    @property
    def left_out(self) -> list[Any]:
        """Pieces of the commission that are not in this quote."""
        here = {str(row.form["piece"].value()) for row in self.pieces}
        return [piece for piece in self.commission_pieces if str(piece.pk) not in here]

    @property
    def has_empty(self) -> bool:
        """Whether a piece has nothing written for it yet."""
        return any(row.is_empty for row in self.pieces)

    # -- what it says --------------------------------------------------------------------------------------

    def _forms(self) -> Iterator[forms.Form]:
        yield self.head
        for piece in self.pieces:
            yield piece.form
            if piece.estimate.begun:
                yield piece.estimate.form
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
        head |= {name: head[name] or Decimal(0) for name in ("rush_share", "discount", "minimum")}
        return TypedQuote(
            pieces=[
                TypedPiece(
                    name=row.form.cleaned_data["name"],
                    words=row.form.cleaned_data["words"],
                    piece_id=row.form.cleaned_data["piece"],
                    estimate=row.estimate.typed(),
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
            piece.key: [countable(row.form) for row in piece.lines if not row.blank] for piece in self.pieces
        }
        read = {key: [line for line in rows if line is not None] for key, rows in lines.items()}
        uncounted = sum(len(rows) - len(read[key]) for key, rows in lines.items())
        forms_ = [option.form for option in self.options if not option.blank]
        options = {row: option for row, form in enumerate(forms_) if (option := offered(form)) is not None}
        uncounted += len(forms_) - len(options)
        terms, priced = self.terms(), priced_lines(read)

        def with_(chosen: set[int]) -> Added:
            ticked = [(option.price, option.taxable) for row, option in options.items() if row in chosen]
            return added_up(self.quote, priced, ticked, terms)

        first, open_still = settled(options, begun(options))
        plain = with_(first)
        answers = [with_(answer).totals.total for answer in extremes(options)] if options else []
        return Sums(plain, open_still, min(answers, default=None), max(answers, default=None), uncounted)

    def terms(self) -> Terms:
        """What goes on top and comes off, as typed, as far as it can be read."""
        rush = bool(read(self.head, "rush")) and read(self.head, "rush_share")
        return Terms(
            self.share,
            read(self.head, "minimum") or Decimal(0),
            rush or Decimal(0),
            read(self.head, "discount") or Decimal(0),
            read(self.head, "discount_words") or "",
        )

    @property
    def share(self) -> Decimal:
        """The deposit's share as typed, or as kept while it cannot be read."""
        share: Decimal | None = read(self.head, "deposit_share")
        return self.quote.deposit_share if share is None else share
