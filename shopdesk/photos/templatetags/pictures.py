"""`{% load pictures %}{% picture shot.picture "medium" "The desk from the front" %}`"""

from __future__ import annotations

from django import template
from django.template import Context
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from shopdesk.photos.models import Picture
from shopdesk.photos.renditions import SIZES, sizes_of

register = template.Library()

_ROOM = {
    "small": "(min-width: 48rem) 12rem, 45vw",
    "medium": "(min-width: 48rem) 38rem, 100vw",
    "large": "100vw",
}
"""How wide a picture of that size is on the page, unless the tag says otherwise (HTML, attribute `sizes`)."""


@register.simple_tag(takes_context=True)
def picture(
    context: Context,
    picture: Picture,
    size: str = "medium",
    alt: str = "",
    *,
    room: str = "",
    eager: bool = False,
) -> SafeString:
    """An `<img>` of a picture at about that size ("small", "medium", "large"), or words in its place while it
    is being prepared.

    The browser picks the rendition by the `room` that the picture has on the page (as in HTML's `sizes`).
    `eager` is for the one at the top of the page. The address is that of the side where the page is: the
    desk's, the request form's or the client's own.
    """
    if size not in SIZES:
        raise template.TemplateSyntaxError(f"A picture has no size {size!r}, only {', '.join(SIZES)}.")
    if not picture.prepared:
        words = "cannot be shown" if picture.state == Picture.State.FAILED else "being prepared"
        label = f"{alt}, {words}" if alt else f"Picture {words}"
        return format_html(
            '<span class="preparing" role="img" aria-label="{}">{}</span>', label, words.capitalize()
        )
    made = sizes_of(picture.width, picture.height)
    by_width = {made[name][0]: name for name in SIZES}
    address = reverse(f"{_side(context)}:picture", args=[picture.key, size])
    sources = ", ".join(
        f"{address.replace(f'/{size}.', f'/{name}.')} {width}w" for width, name in sorted(by_width.items())
    )
    return format_html(
        '<img src="{}"{} width="{}" height="{}" alt="{}"{} decoding="async">',
        address,
        format_html(' srcset="{}" sizes="{}"', sources, room or _ROOM[size]) if len(by_width) > 1 else "",
        *made[size],
        alt,
        "" if eager else format_html(' loading="{}"', "lazy"),
    )


def _side(context: Context) -> str:
    request = context.get("request")
    path = request.path if request is not None else ""
    if path.startswith("/desk"):
        return "desk"
    return "intake" if path.startswith("/request") else "portal"
