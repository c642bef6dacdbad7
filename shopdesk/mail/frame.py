"""What stands around an email's words: the shop's name, the pictures it carries, the signature, and how to
stop its kind."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from urllib.parse import quote

import css_inline
from django.template.loader import render_to_string
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from markdown_it.token import Token

from shopdesk.mail import links
from shopdesk.mail.models import Email

_PREVIEW_LENGTH = 140
_WHY = {
    Email.Sort.NEWS: (
        "You get news like this while a piece of yours is with us.",
        "Stop the news with one press",
    ),
    Email.Sort.REMINDER: (
        "You get a reminder like this when something here waits for you.",
        "Stop the reminders with one press",
    ),
}


@dataclass(frozen=True)
class Picture:
    """A picture that stands within the email: `says` what it shows, as somebody typed it; width and height
    in CSS pixels, or 0."""

    cid: str
    says: str
    width: int = 0
    height: int = 0

    @property
    def src(self) -> str:
        return f"cid:{quote(self.cid, safe='@')}"  # RFC 2392, section 2


@dataclass(frozen=True)
class Stop:
    why: str
    press: str
    link: str


@dataclass(frozen=True)
class Frame:
    shop: dict[str, str]
    """`name`, `phone` and `email`, the last two may be empty."""
    pictures: tuple[Picture, ...] = ()
    more: str = ""
    """A sentence about the pictures that it does not carry."""
    stops: tuple[Stop, ...] = ()


def frame_of(email: Email) -> Frame:
    """The frame of an email as it is now."""
    shop = {
        "name": email.from_name,
        "email": email.from_address,
        "phone": str(email.context.get("shop_phone", "")),
    }
    if email.way != Email.Way.EMAIL:  # words to pass on carry nothing
        return Frame(shop)
    pictures: tuple[Picture, ...] = ()
    if email.pk is not None:
        rows = sorted(email.enclosures.all(), key=lambda row: row.pk)  # which may have been fetched with it
        pictures = tuple(Picture(row.cid, _said(row.says), row.width, row.height) for row in rows if row.cid)
    why = _WHY.get(Email.Sort(email.sort))
    stops = (Stop(*why, email.stop),) if why and email.stop else ()
    return Frame(shop, pictures, _more(email, len(pictures)), stops)


def around_all(first: Frame, others: Iterable[Frame]) -> Frame:
    """The frame of one email that several go out in: each way to stop something stands in it once. The
    pictures stand under the words that they belong to."""
    stops = dict.fromkeys([*first.stops, *(stop for other in others for stop in other.stops)])
    return replace(first, pictures=(), more="", stops=tuple(stops))


def _said(says: str) -> str:
    """On one line, without what nobody sees or what turns the reading direction; and no key, though it may
    look like one."""
    shown = "".join(char for char in says if unicodedata.category(char)[0] != "C")
    return " ".join(shown.split()).replace(links.SCHEME, links.SCHEME.replace(":", " ")) or "A picture"


def _more(email: Email, shown: int) -> str:
    """Its context says under `pictures` how many there are: of it, or of each of its items."""
    counts = [email.context.get("pictures"), *(item.get("pictures") for item in _items(email))]
    more = sum(count for count in counts if isinstance(count, int)) - shown
    if more < 1:
        return ""
    pictures = "one more picture" if more == 1 else f"{more} more pictures"
    if not shown:
        pictures = "one picture" if more == 1 else f"{more} pictures"
    where = "at the desk" if email.to_address == email.from_address else "on your page"
    return f"{'And ' if shown else 'With '}{pictures} {where}."


def _items(email: Email) -> list[dict[str, object]]:
    items = email.context.get("items")
    return [item for item in items if isinstance(item, dict)] if isinstance(items, list) else []


# -- as HTML ------------------------------------------------------------------------------------------------


def pictures_as_html(frame: Frame) -> SafeString:
    """The pictures, to stand after the words that they belong to."""
    shown = format_html_join(
        "\n",
        '<p class="picture"><img src="{}" alt="{}"{}></p>',
        ((picture.src, picture.says, _size(picture)) for picture in frame.pictures),
    )
    return shown + format_html("\n<p>{}</p>", frame.more) if frame.more else shown


def _size(picture: Picture) -> SafeString | str:
    if not picture.width or not picture.height:
        return ""
    return format_html(' width="{}" height="{}"', picture.width, picture.height)


def without_picture(html: str, cid: str) -> str:
    """The HTML of an email (as `as_html` made it) without one of its pictures."""
    src = re.escape(Picture(cid, "").src)
    attributes = r'(?:[^>"]|"[^"]*")*'
    return re.sub(
        rf'<p class="picture"{attributes}><img {attributes}src="{src}"{attributes}></p>\s*', "", html
    )


def with_picture(html: str, cid: str, address: str) -> str:
    """The HTML of an email with one of its pictures from another address."""
    return html.replace(f'src="{Picture(cid, "").src}"', f'src="{address}"')


def as_html(frame: Frame, subject: str, body: str, preview: str) -> str:
    """The whole email, every style beside what it styles. `body` is HTML, `preview` the text that a list of
    emails shows beside the subject (`shortened`)."""
    about = {
        "subject": subject,
        "body_html": body,
        "preview": preview,
        "shop": frame.shop,
        "stops": frame.stops,
    }
    return _inliner().inline(render_to_string("emails/base.html", about))


def shortened(preview: str) -> str:
    """The text that a list of emails shows beside the subject."""
    line = " ".join(preview.split())
    if len(line) <= _PREVIEW_LENGTH:
        return line
    return f"{line[:_PREVIEW_LENGTH].rsplit(' ', 1)[0]} …"


@cache
def _inliner() -> css_inline.CSSInliner:
    return css_inline.CSSInliner(load_remote_stylesheets=False, keep_at_rules=True)


def make_presses(tokens: Sequence[Token]) -> None:
    """A link that is a paragraph of its own is what the email is for: it is shown as something to press."""
    for token in tokens:
        parts = token.children or []
        kinds = [part.type for part in parts]
        alone = kinds.count("link_open") == 1 and (kinds[0], kinds[-1]) == ("link_open", "link_close")
        if alone and not str(parts[0].attrs["href"]).startswith(("mailto:", "tel:")):
            parts[0].attrSet("class", "press")


# -- as text ------------------------------------------------------------------------------------------------


def pictures_as_text(frame: Frame) -> list[str]:
    """The lines that stand for the pictures, to come after the words that they belong to."""
    lines = [line_of(picture.says) for picture in frame.pictures]
    if frame.more:
        lines.append(frame.more)
    return ["", *lines] if lines else []


def line_of(says: str) -> str:
    return f"[Picture: {says}]"


def without_line(text: str, says: str) -> str:
    """The text of an email without the line of one of its pictures."""
    return text.replace(f"\n{line_of(_said(says))}\n", "\n", 1)


def as_text(frame: Frame, lines: Sequence[str]) -> str:
    signed = [frame.shop["name"], *(frame.shop[key] for key in ("phone", "email") if frame.shop[key])]
    foot = [line for stop in frame.stops for line in ("", stop.why, f"{stop.press}: {stop.link}")]
    return "\n".join([*lines, "", *signed, *foot, ""])
