"""The door of the desk."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, cast

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect

from shopdesk.base.caching import kept_only_if_said
from shopdesk.base.middleware import address_of
from shopdesk.base.who import Who
from shopdesk.shop.middleware import shop_of
from shopdesk.shop.models import Shop, User

P = ParamSpec("P")


class DeskRequest(HttpRequest):
    """A request of somebody signed in at the desk of a shop that has been set up."""

    user: User
    shop: Shop


def desk_view(
    view: Callable[Concatenate[DeskRequest, P], HttpResponseBase],
) -> Callable[..., HttpResponseBase]:
    """Only for the owner and helpers. Anybody else is sent to sign in; before there is a shop, everybody is
    sent to set it up."""

    @login_required
    def signed_in(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        return view(cast(DeskRequest, request), *args, **kwargs)

    @kept_only_if_said
    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if shop_of(request) is None:
            return redirect("desk:set-up")
        return signed_in(request, *args, **kwargs)

    guarded.needs = "owner"  # type: ignore[attr-defined]  # read by the test that walks every address
    return guarded


def owner_of(request: DeskRequest) -> Who:
    return Who("owner", request.user.pk, address_of(request))
