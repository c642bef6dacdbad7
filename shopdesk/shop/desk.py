"""Signing in and out, setting up, the shop's own page and its hours."""

from __future__ import annotations

from datetime import date, timedelta

from django.contrib import messages
from django.contrib.auth import authenticate, login, logout
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import redirect, render, resolve_url
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from shopdesk.base.limits import allow, give_back
from shopdesk.base.middleware import origin_of
from shopdesk.base.once import once, submission_key
from shopdesk.base.press import pressed
from shopdesk.base.refusals import Refused
from shopdesk.shop import actions
from shopdesk.shop.access import DeskRequest, desk_view, owner_of
from shopdesk.shop.forms import (
    STARTER_TERMS,
    DifferentDayForm,
    SetUpForm,
    ShopForm,
    SignInForm,
    WeekForm,
    week_typed,
)
from shopdesk.shop.hours import show_hours
from shopdesk.shop.middleware import shop_of
from shopdesk.shop.places import likely
from shopdesk.shop.queries import different_days, today_at, windows

_QUARTER = timedelta(minutes=15)
_FROM_ONE_ADDRESS, _FOR_ONE_EMAIL = 10, 50
_TOO_OFTEN = "Too many tries in the last quarter of an hour. Wait a little, then try again."


def _counted(name: str, most: int) -> bool:
    return allow(name, most=most, span=_QUARTER)


@never_cache
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    """In a quarter of an hour ten wrong tries from one address, and fifty for one email from anywhere. The
    second is generous, since whoever uses it up keeps the owner out as well."""
    if shop_of(request) is None:
        return redirect("desk:set-up")
    onward = _onward(request)
    if request.user.is_authenticated:
        return HttpResponseRedirect(onward)
    form = SignInForm(request.POST or None)
    status = 200
    if request.method == "POST" and form.is_valid():
        email = form.cleaned_data["email"].lower()
        # A use is taken before the password is looked at, so that many tries at once are counted too. One
        # address that has used up its own adds nothing to the count for the email: it locks nobody else out.
        uses = {
            f"sign-in from {origin_of(request)}": _FROM_ONE_ADDRESS,
            f"sign-in as {email}": _FOR_ONE_EMAIL,
        }
        if not all(_counted(name, most) for name, most in uses.items()):
            form.add_error(None, _TOO_OFTEN)
            status = 429
        elif user := authenticate(request, username=email, password=form.cleaned_data["password"]):
            for name in uses:
                give_back(name)
            login(request, user)
            return HttpResponseRedirect(onward)
        else:
            form.add_error(None, "The email and the password do not go together. Try again.")
            status = 422
    elif form.errors:
        status = 422
    return render(
        request, "shop/sign_in.html", {"form": form, "next": request.GET.get("next", "")}, status=status
    )


def _onward(request: HttpRequest) -> str:
    """Where to go on to: the page that was asked for, if it is one of ours."""
    to = request.GET.get("next", "")
    if to and url_has_allowed_host_and_scheme(to, {request.get_host()}, require_https=request.is_secure()):
        return to
    return resolve_url("desk:today")


@desk_view
@require_POST
def sign_out(request: DeskRequest) -> HttpResponseBase:
    logout(request)
    return redirect("desk:sign-in")


@never_cache
@sensitive_post_parameters("password", "password_again", "code")
@require_http_methods(["GET", "HEAD", "POST"])
def set_up(request: HttpRequest) -> HttpResponse:
    """The first page of a new shop, for whoever holds the code that was printed on the terminal."""
    if shop_of(request) is not None:
        return redirect("desk:sign-in")
    guess = likely(request.headers.get("Accept-Language", ""))
    form = SetUpForm(
        request.POST or None,
        country=guess.locale.partition("_")[2],
        initial={
            "zone": guess.zone,
            "locale": guess.locale,
            "currency": guess.currency,
            "units": guess.units,
            "paper": guess.paper,
            "tax_name": "Sales tax" if guess.currency == "USD" else "VAT",
            "tax_rate": "0",
            "tax_basis": "invoice",
            "slot_minutes": 30,
            "notice_hours": 24,
            "deposit_share": "50",
            "terms": STARTER_TERMS,
        },
    )
    status = 422 if form.errors else 200
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data

        def do() -> str:
            actions.set_up_with_code(
                typed["code"],
                owner=typed["owner"],
                login=typed["login"],
                password=typed["password"],
                hours=form.hours(),
                facts=form.facts(),
            )
            return reverse("desk:today")

        if not _counted(f"set-up from {origin_of(request)}", 20):
            form.add_error(None, _TOO_OFTEN)
            status = 429
        else:
            try:
                landing = once(submission_key(request), do)
            except Refused as no:
                form.add_error(no.field, no.sentence)
                status = 409
            else:
                user = authenticate(request, username=typed["login"], password=typed["password"])
                if user is not None:
                    login(request, user)
                return HttpResponseRedirect(landing)
    return render(request, "shop/set_up.html", {"form": form}, status=status)


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def shop(request: DeskRequest) -> HttpResponseBase:
    """What the shop says about itself."""
    kept = {name: getattr(request.shop, name) for name in ShopForm.base_fields}
    form = ShopForm(request.POST or None, initial=kept, country="")
    if request.method == "POST" and form.is_valid():

        def do() -> str:
            actions.change_shop(form.facts(), owner_of(request))
            return reverse("desk:shop")

        return pressed(request, do, back=reverse("desk:shop"), said="Kept.")
    return render(
        request, "shop/shop.html", {"nav": "shop", "form": form}, status=422 if form.errors else 200
    )


@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def openings(request: DeskRequest) -> HttpResponseBase:
    """The hours of every week, and the days with other hours. Three presses: `press` = week, day, or usual
    (with `day`)."""
    who, press, page = owner_of(request), request.POST.get("press", ""), reverse("desk:openings")
    week = WeekForm(request.POST if press == "week" else None, initial=week_typed(windows()))
    one_day = DifferentDayForm(request.POST if press == "day" else None)
    if press == "usual":
        return pressed(
            request, lambda: _usual(request, page), back=page, said="That day has its usual hours again."
        )
    if press == "week" and week.is_valid():

        def keep() -> str:
            actions.set_week(week.hours(), who)
            return page

        return pressed(request, keep, back=page, said="Kept. Visits that are booked stay booked.")
    if press == "day" and one_day.is_valid():
        typed = one_day.cleaned_data

        def mark() -> str:
            actions.set_different_day(typed["day"], typed["hours"], who, note=typed["note"])
            return page

        try:
            landing = once(submission_key(request), mark)
        except Refused as no:
            one_day.add_error(no.field, no.sentence)
        else:
            messages.success(request, "Written down. Visits that are booked stay booked.")
            return HttpResponseRedirect(landing)
    today = today_at(request.shop)
    days = [(one.day, show_hours(one.windows), note) for one, note in different_days(today)]
    return render(
        request,
        "shop/openings.html",
        {"nav": "shop", "week": week, "one_day": one_day, "days": days},
        status=422 if week.errors or one_day.errors else 200,
    )


def _usual(request: DeskRequest, page: str) -> str:
    try:
        day = date.fromisoformat(request.POST.get("day", ""))
    except ValueError as error:
        raise Refused("Say which day.") from error
    actions.usual_day(day, owner_of(request))
    return page
