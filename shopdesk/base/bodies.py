"""How much a request may carry, asked before anything of it is read."""

from collections.abc import Callable
from http import HTTPStatus

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

KB, MB = 1024, 1024 * 1024
PICTURES = 20 * 30 * MB + 3 * MB
"""A form with as many pictures as it takes, each as large as it may be."""
ONE_PICTURE = 31 * MB
WORDS = 3 * MB

_MOST = (
    ("/request/photos/", ONE_PICTURE),
    ("/request/draft/", 1 * MB),
    ("/request/", PICTURES),
    ("/desk/sign-in/", 64 * KB),
    ("/desk/set-up/", 256 * KB),
    ("/desk/", PICTURES),
    ("/my/", PICTURES),
    ("/fresh-link/", 64 * KB),
)
"""By how an address begins; the first that fits. Any other carries `WORDS`."""
_INSIDE = ("/desk/", "/my/")
"""Where nobody but the owner and the clients sends pictures."""
_WHO_IS_IN = {"_auth_user_id", "clients"}
"""What a session of one of them holds (`django.contrib.auth`, `clients.access`)."""


def most_for(path: str) -> int:
    """The most bytes that a request to that address may carry."""
    return next((most for begins, most in _MOST if path.startswith(begins)), WORDS)


class Bodies:
    """Refuses a body that is larger than its address takes, or that does not say how large it is. Stands
    behind the sessions and before whatever reads forms."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        said = request.META.get("CONTENT_LENGTH") or ""
        if request.META.get("HTTP_TRANSFER_ENCODING") and not said:
            return _refused(request, HTTPStatus.LENGTH_REQUIRED)
        if said and not (said.isascii() and said.isdigit() and len(said) < 16):
            return _refused(request, HTTPStatus.BAD_REQUEST)
        length = int(said or 0)
        most = most_for(request.path_info)
        if length > most or (length > WORDS and self._is_outside(request)):
            return _refused(request, HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        return self.get_response(request)

    @staticmethod
    def _is_outside(request: HttpRequest) -> bool:
        """Whether somebody who has not come in sends to an address for those who have."""
        if not request.path_info.startswith(_INSIDE):
            return False
        return settings.SESSION_COOKIE_NAME not in request.COOKIES or not _WHO_IS_IN & set(
            request.session.keys()
        )


def _refused(request: HttpRequest, status: HTTPStatus) -> HttpResponse:
    return render(request, "413.html", status=status)
