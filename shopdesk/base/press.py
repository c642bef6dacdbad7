"""A press of one button: run it once, then go on; or say why not and stay."""

from collections.abc import Callable

from django.contrib import messages
from django.http import HttpRequest, HttpResponseRedirect

from shopdesk.base.once import once, submission_key
from shopdesk.base.refusals import Refused


def pressed(
    request: HttpRequest, do: Callable[[], str], *, back: str, said: str = ""
) -> HttpResponseRedirect:
    """Run `do` under the form's submission key and redirect to the address it answers with. When it
    refuses, the sentence is shown on the page `back`. `said` is shown when it went well."""
    try:
        landing = once(submission_key(request), do)
    except Refused as no:
        messages.error(request, no.sentence)
        return HttpResponseRedirect(back)
    if said:
        messages.success(request, said)
    return HttpResponseRedirect(landing)
