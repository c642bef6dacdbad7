"""The page on which a no is written down."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from shopdesk.base.once import once, submission_key
from shopdesk.base.refusals import Refused
from shopdesk.commissions.queries import at_desk
from shopdesk.deposits.forms import day_input
from shopdesk.quotes import no
from shopdesk.quotes.queries import open_quote
from shopdesk.shop.access import DeskRequest, desk_view, owner_of
from shopdesk.shop.queries import today_at


class NoForm(forms.Form):
    said_on = forms.DateField(
        label="On which day",
        widget=day_input(),
        error_messages={
            "required": "Say on which day.",
            "invalid": "We could not read that day. Write it like 2030-05-17.",
        },
    )
    words = forms.CharField(
        label="Who said no, and why",
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="For your journal.",
        error_messages={
            "required": "Write down in a few words who said no, and why.",
            "max_length": "Keep it under 1,000 characters.",
        },
    )


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def record_no(request: DeskRequest, number: str) -> HttpResponseBase:
    """Write down a no, with its day and its reason. Later it can be quoted afresh."""
    commission = at_desk(number)
    form = NoForm(request.POST or None, initial={"said_on": today_at(request.shop)})
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data

        def do() -> str:
            no.write_down(commission, typed["said_on"], typed["words"], owner_of(request))
            return reverse("desk:commission", args=[number])

        try:
            landing = once(submission_key(request), do)
        except Refused as refused:
            form.add_error(refused.field, refused.sentence)
        else:
            messages.success(request, "Written down. It is withdrawn.")
            return HttpResponseRedirect(landing)
    page: HttpResponse = render(
        request,
        "quotes/record_no.html",
        {
            "nav": "commissions",
            "commission": commission,
            "form": form,
            "quote": open_quote(commission),
            "can": commission.stage in no.OPEN_TO_A_NO,
        },
        status=422 if form.errors else 200,
    )
    return page
