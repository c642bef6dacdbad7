"""Putting right what was taken down wrongly: who the client is, what the piece is."""

from __future__ import annotations

from typing import Any, Literal, cast

from crispy_forms.helper import FormHelper
from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from shopdesk.base.once import once, submission_key
from shopdesk.base.refusals import Refused
from shopdesk.clients.models import Client
from shopdesk.commissions.actions import Corrected, NewPiece, correct_client, correct_piece
from shopdesk.commissions.models import Commission, Piece
from shopdesk.commissions.queries import at_desk
from shopdesk.craft.units import show_length
from shopdesk.desk.queries import dead_address
from shopdesk.desk.reminders import of_client
from shopdesk.intake.fields import Address, Length, Line, Lines, Phone
from shopdesk.shop.access import DeskRequest, desk_view, owner_of
from shopdesk.shop.models import Shop

_SIZES = {"width": "width_mm", "depth": "depth_mm", "height": "height_mm"}


class _Plain(forms.Form):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = FormHelper(self)
        self.helper.form_tag = False
        self.helper.disable_csrf = True


def _quiet(kind: str) -> forms.TextInput:
    """The browser offers the owner's own details otherwise."""
    return forms.TextInput(attrs={"type": kind, "autocomplete": "off"})


class ClientForm(_Plain):
    name = Line(
        most=120, label="Name", widget=_quiet("text"), error_messages={"required": "Write their name."}
    )
    email = Address(
        required=False,
        label="Email",
        widget=_quiet("email"),
        help_text="Emails that have not gone out yet go to this address.",
    )
    phone = Phone(required=False, label="Phone", widget=_quiet("tel"))
    address = Lines(
        most=500, rows=3, required=False, label="Address", help_text="As it should stand on papers."
    )

    def __init__(self, client: Client, *args: Any, **kwargs: Any) -> None:
        kept = {name: getattr(client, name) for name in ("name", "email", "phone", "address")}
        super().__init__(*args, initial=kept, **kwargs)


class PieceForm(_Plain):
    name = Line(most=120, label="What it is", error_messages={"required": "Say what it is."})
    count = forms.IntegerField(
        min_value=1,
        max_value=99,
        label="How many",
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        error_messages={
            "required": "Write how many there are.",
            "invalid": "Write how many as a number, such as 6.",
            "min_value": "One at least.",
            "max_value": "99 at most.",
        },
    )
    width = Length(label="Width")
    depth = Length(label="Depth")
    height = Length(label="Height")
    material = Line(most=120, required=False, label="What it is made of")
    made = Line(
        most=80,
        required=False,
        label="Age or year",
        help_text="Whether it may hold lead is judged by this and by its finish.",
    )
    finish_now = forms.ChoiceField(
        choices=Piece.Finish.choices,
        label="Its finish now",
        error_messages={"required": "Choose its finish.", "invalid_choice": "Choose its finish."},
    )
    trouble = Lines(required=False, rows=3, label="What is wrong with it")
    hardware = Line(most=500, required=False, label="Handles, hinges, locks")

    def __init__(self, piece: Piece, shop: Shop, *args: Any, **kwargs: Any) -> None:
        self.piece = piece
        unit = cast(Literal["in", "cm"], shop.units)
        kept: dict[str, Any] = {
            name: getattr(piece, name)
            for name in ("name", "count", "material", "made", "finish_now", "trouble", "hardware")
        }
        for field, column in _SIZES.items():
            size = getattr(piece, column)
            kept[field] = show_length(size, unit) if size is not None else ""
        super().__init__(*args, initial=kept, **kwargs)
        for field in _SIZES:
            cast(Length, self.fields[field]).unit = unit
        hint = "Without a unit it is in {}.".format("inches" if unit == "in" else "centimetres")
        self.fields["width"].help_text = hint

    def typed(self) -> NewPiece:
        """What the piece is now. A size that was left as it stood stays what it is to the last digit: it was
        shown rounded."""
        said = {name: value for name, value in self.cleaned_data.items() if name not in _SIZES}
        sizes = {
            column: self.cleaned_data[field] if field in self.changed_data else getattr(self.piece, column)
            for field, column in _SIZES.items()
        }
        return NewPiece(**said, **sizes)


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def client(request: DeskRequest, number: str) -> HttpResponseBase:
    commission = at_desk(number)
    form = ClientForm(commission.client, request.POST or None)

    def act() -> Corrected:
        return correct_client(commission, owner_of(request), **form.cleaned_data)

    return _corrected(
        request,
        commission,
        form,
        act,
        "desk/client.html",
        dead=dead_address(commission.client),
        **of_client(commission),
    )


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def piece(request: DeskRequest, number: str, position: int) -> HttpResponseBase:
    commission = at_desk(number)
    one = next((piece for piece in commission.pieces.all() if piece.position == position), None)
    if one is None:
        raise Http404
    form = PieceForm(one, request.shop, request.POST or None)

    def act() -> Corrected:
        return correct_piece(one, form.typed(), owner_of(request))

    return _corrected(request, commission, form, act, "desk/piece.html", piece=one)


def _corrected(
    request: DeskRequest,
    commission: Commission,
    form: forms.Form,
    act: Any,
    template: str,
    **context: Any,
) -> HttpResponseBase:
    """The form, what is wrong with it, or back to the commission with what was put right."""
    if request.method == "POST" and form.is_valid():
        said: list[str] = []

        def do() -> str:
            done: Corrected = act()
            said.append(_said(done))
            return reverse("desk:commission", args=[commission.number])

        try:
            landing = once(submission_key(request), do)
        except Refused as no:
            form.add_error(no.field if no.field in form.fields else None, no.sentence)
        else:
            for sentence in said:
                messages.success(request, sentence)
            return HttpResponseRedirect(landing)
    page: HttpResponse = render(
        request,
        template,
        {"nav": "commissions", "commission": commission, "form": form, **context},
        status=422 if form.errors else 200,
    )
    return page


def _said(done: Corrected) -> str:
    if not done.changed:
        return "Nothing was changed."
    if not done.readdressed:
        return "Corrected."
    emails = "1 email that has" if done.readdressed == 1 else f"{done.readdressed} emails that have"
    return f"Corrected. {emails} not gone out {'is' if done.readdressed == 1 else 'are'} for the new address."
