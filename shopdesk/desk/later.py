"""A picture that came later than the request: by text message, by post, or taken at the door."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from shopdesk.base.once import once, submission_key
from shopdesk.base.refusals import Refused
from shopdesk.commissions.actions import add_pictures
from shopdesk.commissions.models import Piece
from shopdesk.commissions.queries import at_desk
from shopdesk.photos.forms import PicturesField
from shopdesk.shop.access import DeskRequest, desk_view, owner_of

MOST = 20


class LaterForm(forms.Form):
    pictures = PicturesField(most=MOST, label="Pictures", error_messages={"required": "Choose a picture."})
    piece = forms.ChoiceField(
        required=False, label="Of which piece", error_messages={"invalid_choice": "Choose one of the pieces."}
    )
    for_client = forms.BooleanField(
        required=False,
        initial=True,
        label="The client sees them",
        help_text="On their page, and in the quote. No email goes out.",
    )

    def __init__(self, pieces: list[Piece], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.pieces = {str(piece.position): piece for piece in pieces}
        if len(pieces) < 2:
            del self.fields["piece"]
        else:
            field = self.fields["piece"]
            assert isinstance(field, forms.ChoiceField)
            field.choices = [("", "all of them"), *((key, one.name) for key, one in self.pieces.items())]


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def pictures(request: DeskRequest, number: str) -> HttpResponseBase:
    """Add pictures to those of the request."""
    commission = at_desk(number)
    form = LaterForm(list(commission.pieces.all()), request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data

        def do() -> str:
            add_pictures(
                commission,
                typed["pictures"],
                owner_of(request),
                piece=form.pieces.get(typed.get("piece", "")),
                for_client=typed["for_client"],
            )
            return reverse("desk:commission", args=[number]) + "#pictures"

        try:
            landing = once(submission_key(request), do)
        except Refused as no:
            form.add_error(no.field, no.sentence)
        else:
            messages.success(request, "Added.")
            return HttpResponseRedirect(landing)
    page: HttpResponse = render(
        request,
        "desk/pictures.html",
        {"nav": "commissions", "commission": commission, "form": form},
        status=422 if form.errors else 200,
    )
    return page
