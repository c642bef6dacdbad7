"""Pages behind a door are not kept by browsers, unless the view says how long its answer lasts."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import HttpResponseBase
from django.utils.cache import add_never_cache_headers


def kept_only_if_said(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """An answer without a `Cache-Control` of its own is never kept."""

    @wraps(view)
    def saying(*args: Any, **kwargs: Any) -> HttpResponseBase:
        answer = view(*args, **kwargs)
        if not answer.has_header("Cache-Control"):
            add_never_cache_headers(answer)
        return answer

    return saying
