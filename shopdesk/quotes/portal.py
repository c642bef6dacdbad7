"""The client reads a quote, ticks options, and says yes or no."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from shopdesk.base.once import once, submission_key
from shopdesk.base.press import pressed
from shopdesk.base.refusals import Refused
from shopdesk.clients.access import ClientRequest, client_of, client_view
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.queries import of_client
from shopdesk.look.formats import money
from shopdesk.quotes import actions
from shopdesk.quotes.answers import AcceptForm, DeclineForm, asked
from shopdesk.quotes.choices import begun, by_id, choices_of, settled
from shopdesk.quotes.models import Quote
from shopdesk.quotes.queries import history, revision_of
from shopdesk.quotes.showing import changes_in, pictures_in
from shopdesk.quotes.sums import sums_of, totals_of
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop, today_at


@client_view
@require_GET
def quote(request: ClientRequest, number: str) -> HttpResponseBase:
    """The quote as it stands. `?option=` ticks options: the total follows, and nothing is changed."""
    commission = of_client(request.client, number)
    gone_out = history(commission)
    if not gone_out:
        raise Http404
    newest = next((one for one in gone_out if one.state in ("sent", "accepted")), gone_out[0])
    return _page(request, commission, newest)


@client_view
@require_GET
def quote_revision(request: ClientRequest, number: str, revision: int) -> HttpResponseBase:
    commission = of_client(request.client, number)
    return _page(request, commission, revision_of(commission, revision))


@client_view
@require_POST
def accept(request: ClientRequest, number: str, revision: int) -> HttpResponseBase:
    """A yes by name. Only to the total that stood on the page; another total is shown first."""
    commission = of_client(request.client, number)
    one = revision_of(commission, revision)
    form = AcceptForm(request.POST, quote=one)
    if "look" in request.POST:
        kept = {**request.POST.dict(), "option": request.POST.getlist("option")}
        form = AcceptForm(quote=one, initial=kept)
        return _page(request, commission, one, form=form, ticked=asked(request.POST, one))
    if not form.is_valid():
        return _page(request, commission, one, form=form, status=422)

    def do() -> str:
        actions.accept(one.pk, form.chosen, form.cleaned_data["name"], client_of(request))
        return reverse("portal:quote", args=[number])

    try:
        if one.state == Quote.State.SENT and form.cleaned_data["shown"] != str(
            totals_of(one, form.chosen).totals.total
        ):
            form.add_error(
                None,
                "With what you ticked the total is another one. It stands here now: accept it if it suits.",
            )
            return _page(request, commission, one, form=form, status=409)
        landing = once(submission_key(request), do)
    except ValueError as error:
        form.add_error("option", str(error))
    except Refused as no:
        form.add_error(no.field if no.field in form.fields else None, no.sentence)
        if no.field in form.fields:
            return _page(request, commission, one, form=form, status=422)
    else:
        by_email = " A copy is on its way to you." if request.client.email else ""
        messages.success(request, f"Thank you. It is agreed.{by_email}")
        return HttpResponseRedirect(landing)
    return _page(request, commission, revision_of(commission, revision), form=form, status=409)


@client_view
@require_POST
def decline(request: ClientRequest, number: str, revision: int) -> HttpResponseBase:
    commission = of_client(request.client, number)
    one = revision_of(commission, revision)
    here = reverse("portal:quote", args=[number])
    form = DeclineForm(request.POST)
    if not form.is_valid():
        return _page(request, commission, one, no_form=form, status=422)

    def do() -> str:
        actions.decline(one.pk, form.cleaned_data["reason"], client_of(request))
        return reverse("portal:commission", args=[number])

    return pressed(request, do, back=here, said="We have your answer. Thank you for telling us.")


def _page(
    request: ClientRequest,
    commission: Commission,
    one: Quote,
    *,
    form: AcceptForm | None = None,
    no_form: DeclineForm | None = None,
    ticked: set[int] | None = None,
    status: int = 200,
) -> HttpResponse:
    shop = the_shop()
    today = today_at(shop)
    if ticked is None:
        ticked = asked(request.POST if form is not None and form.is_bound else request.GET, one)
        if not (form is not None and form.is_bound) and not request.headers.get("HX-Request"):
            ticked = ticked or begun(by_id(one.options.all()))
    acceptance = getattr(one, "acceptance", None)
    if acceptance is not None:
        ticked = {option.pk for option in acceptance.options.all()}
    expired = one.expired(today)
    can = one.state == Quote.State.SENT and not expired and commission.stage == Stage.QUOTED
    context: dict[str, Any] = {
        "commission": commission,
        "client": request.client,
        "quote": one,
        "content": one.frozen,
        "pictures": pictures_in(one.frozen),
        "acceptance": acceptance,
        "expired": expired,
        "can_answer": can,
        "can_say_no": can or (one.state == Quote.State.SENT and commission.stage == Stage.QUOTED),
        "ticked": {str(pk) for pk in ticked},
        **_sums(one, ticked, shop),
    }
    if not request.headers.get("HX-Request"):
        context |= changes_in(one, one.frozen)
    if request.headers.get("HX-Request") and request.method == "GET":
        return render(request, "quotes/_sums.html", context)
    if not can and form is not None and form.is_bound:
        context["refused"] = " ".join(str(error) for errors in form.errors.values() for error in errors)
    if can:
        context["form"] = form if form is not None else AcceptForm(quote=one)
    if context["can_say_no"]:
        context["no_form"] = no_form or DeclineForm()
    return render(request, "quotes/show.html", context, status=status)


def _sums(one: Quote, ticked: set[int], shop: Shop) -> dict[str, Any]:
    options = by_id(one.options.all())
    chosen, open_still = settled(options, ticked)
    try:
        added = totals_of(one, chosen)
    except ValueError as error:
        return {"trouble": str(error)}
    return {
        "sums": sums_of(added, one, shop.locale, open_still, with_choices=bool(choices_of(options))),
        "open_still": open_still,
        "shown": str(added.totals.total),
        "asked_tax": added.totals.tax,
        "asked_total": money(added.totals.total, one.currency, shop.locale),
    }
