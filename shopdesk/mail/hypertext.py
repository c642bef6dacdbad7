"""The lines of an HTML email, with what mail programs write around what they quote. Nothing in it is run,
fetched or trusted: it is read for its words alone."""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import unescape
from itertools import islice
from typing import Any
from urllib.parse import unquote, unquote_to_bytes

from lxml import etree, html

from shopdesk.mail.charsets import base64_bytes
from shopdesk.mail.lines import Line, Mark
from shopdesk.mail.phrases import introduces_surely


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_BLOCKS = _words(
    """
    address article aside blockquote body center dd details dir div dl dt fieldset figcaption figure
    footer form h1 h2 h3 h4 h5 h6 header hr html legend li main menu nav ol p pre section summary table
    tbody tfoot thead tr ul
    """
)
_SPACED = _words(
    """
    p h1 h2 h3 h4 h5 h6 pre table ul ol dl blockquote
    """
)
_UNSEEN = _words(
    """
    title style script noscript template object embed iframe audio video svg math select textarea button
    input map xml
    """
)

# What mail programs write around an earlier email or a signature: facts of their HTML, seen in emails.
_CITED = re.compile(r"quote|\bcite\b", re.IGNORECASE)
# Some stand around the earlier email, and what comes below them is somebody's own again.
_AROUND = re.compile(
    r"^(?:x_)*(?:OLK_SRC_BODY_SECTION|mail-editor-reference-message-container|yahoo_quoted\w*"
    r"|ms-outlook-mobile-reference-message|zmail_extra|quoted-?reply)$",
    re.IGNORECASE,
)
# Others stand above it, and nothing says where it ends.
_REST = re.compile(
    r"^(?:x_)*(?:divRplyFwdMsg|appendonsend|stopSpelling|OutlookMessageHeader|replyIntroMsg|reply-?intro)$",
    re.IGNORECASE,
)
_RULED_OFF = re.compile(r"border:\s*none;\s*border-top:\s*solid\s+#\w{6}\s+1\.0pt", re.IGNORECASE)
_INTRODUCING = re.compile(r"^(?:x_)*(?:gmail_attr|moz-cite-prefix|protonmail_quote_header)$", re.IGNORECASE)
_SIGNING = re.compile(
    r"^(?:x_)*(?:gmail_signature|moz-signature|Signature|ms-outlook-mobile-signature)$", re.IGNORECASE
)
_PLAIN_PARAGRAPH = re.compile(r"Mso|\bmargin(?:-bottom)?:\s*0", re.IGNORECASE)
_ONE_EMOJI = 8


@dataclass(frozen=True)
class Embedded:
    """A file that stands in the HTML itself (RFC 2397)."""

    cid: str
    mime: str
    content: bytes
    filename: str = ""

    def data(self) -> bytes:
        return self.content


def taken_out(markup: str) -> tuple[str, list[Embedded]]:
    """The markup without the files that stand in it as data, and the pictures among them. Each has a
    Content-ID now, which its place in the markup names."""
    embedded: list[Embedded] = []

    def away(found: re.Match[str]) -> str:
        if len(embedded) >= _MOST_EMBEDDED or not found[2] or not found[1].lower().startswith("image/"):
            return ""
        content = base64_bytes(unquote_to_bytes(found[3]))
        embedded.append(Embedded(f"embedded-{len(embedded)}", found[1].lower(), content))
        return f"cid:{embedded[-1].cid}"

    return _DATA.sub(away, markup), embedded


def without(markup: str, edge: re.Pattern[str]) -> str:
    """The markup without what stands from an edge on to the next that closes (which has a first group). What
    never closes stays. Goes over it once, whatever is in it: a pattern for all of it would begin anew at
    each edge."""
    said, kept, opened = [], 0, -1
    for found in edge.finditer(markup):
        if found[1] is None:
            opened = found.start() if opened < 0 else opened
        elif opened >= 0:
            said.append(markup[kept:opened])
            kept, opened = found.end(), -1
    return "".join([*said, markup[kept:]])


def lines_of_html(markup: str) -> list[Line]:
    """The lines that a reader of the HTML sees, with blank ones between paragraphs. Never raises for bad
    markup."""
    markup = markup.replace("\0", "")
    parser = html.HTMLParser(encoding="utf-8", huge_tree=True, remove_comments=True, remove_pis=True)
    try:
        tree = etree.fromstring(markup.encode("utf-8", "replace"), parser)
    except (etree.LxmlError, ValueError):
        tree = None
    if tree is None or any(error.type_name == "ERR_RESOURCE_LIMIT" for error in parser.error_log):
        # Nothing in it, or nested deeper than the parser goes: what it did not see comes as bare words.
        return [Line(line) for line in _bare(markup)]
    writer = _Writer()
    for event, element in etree.iterwalk(tree, events=("start", "end")):
        if event == "start":
            writer.begin(element)
        else:
            writer.finish(element)
    return writer.lines()


_MOST_EMBEDDED = 50
_DATA = re.compile(
    r"data:([\w/+.-]{0,80})(?:;[\w=-]{1,80}){0,4}?(;base64)?,([A-Za-z0-9+/=%\s]{200,})", re.IGNORECASE
)
_UNREAD = re.compile(r"<(?:(/)(?:style|script|title)\s*>|(?:style|script|title)\b)", re.IGNORECASE)


def _bare(markup: str) -> list[str]:
    words = unescape(re.sub(r"<[^<>]*>", "\n", without(markup, _UNREAD)))
    return [line.strip() for line in words.split("\n") if line.strip()]


@dataclass
class _Around:
    """What an element that is open means for the lines in it."""

    element: Any
    depth: int
    mark: Mark
    numbered: int = 0
    """The number of the last item of an ordered list."""


class _Writer:
    def __init__(self) -> None:
        self._lines: list[Line] = []
        self._said: list[str] = []
        self._cids: tuple[str, ...] = ()
        self._open: list[_Around] = []
        self._unseen = 0
        self._pre = 0
        self._bullet = ""

    def lines(self) -> list[Line]:
        self._end_line()
        return self._lines

    def begin(self, element: Any) -> None:
        tag = _tag(element)
        if tag in _UNSEEN:
            self._unseen += 1
        if self._unseen:
            return
        if tag in _BLOCKS:
            self._end_line()
            if tag in _SPACED and not (tag == "p" and _is_plain_paragraph(element)):
                self._space()
            self._enter(element, tag)
        elif tag == "br":
            self._end_line(always=True)
        elif tag in ("td", "th") and self._said:
            self._said.append("  ")
        elif tag == "img":
            self._picture(element)
        elif mark := _mark(element):  # some mark inline elements
            self._end_line()
            self._open.append(_Around(element, self._depth, self._within(mark)))
        self._pre += tag == "pre"
        self._say(element.text)

    def finish(self, element: Any) -> None:
        tag = _tag(element)
        if self._unseen:
            self._unseen -= tag in _UNSEEN
            if not self._unseen:
                self._say(element.tail)
            return
        if tag == "a":
            self._address(element)
        if tag in _BLOCKS:
            self._end_line()
        self._pre -= tag == "pre"
        if self._open and self._open[-1].element is element:
            self._end_line()
            self._open.pop()
        if tag in _SPACED and not (tag == "p" and _is_plain_paragraph(element)):
            self._space()
        self._say(element.tail)

    @property
    def _depth(self) -> int:
        return self._open[-1].depth if self._open else 0

    @property
    def _mark(self) -> Mark:
        return self._open[-1].mark if self._open else Mark.NONE

    def _within(self, mark: Mark) -> Mark:
        """What an element's mark means where it stands: within an earlier email it is that email's."""
        return self._mark if self._mark == Mark.EARLIER else mark or self._mark

    def _enter(self, element: Any, tag: str) -> None:
        depth, mark = self._depth, self._within(_mark(element))
        if tag == "blockquote" and (_is_cited(element) or self._is_introduced()):
            depth += 1
        if tag == "li":
            above = self._open[-1] if self._open else None
            if above is not None and _tag(above.element) == "ol":
                above.numbered += 1
                self._bullet = f"{above.numbered}. "
            else:
                self._bullet = "- "
        if depth != self._depth or mark != self._mark or tag in ("ol", "ul"):
            self._open.append(_Around(element, depth, mark))

    def _is_introduced(self) -> bool:
        before = [line.text for line in self._lines[-4:] if line.text.strip()][-3:]
        return any(introduces_surely(" ".join(before[index:])) for index in range(len(before)))

    def _say(self, text: str | None) -> None:
        if not text or self._unseen:
            return
        if self._pre:
            first, *others = text.split("\n")
            self._said.append(first)
            for line in others:
                self._end_line(always=True)
                self._said.append(line)
        else:
            self._said.append(_SPACE.sub(" ", text))

    def _picture(self, element: Any) -> None:
        source = str(element.get("src") or "").strip()
        if source[:4].lower() == "cid:":
            self._cids += (unquote(source[4:]).strip("<>"),)
        alt = str(element.get("alt") or "").strip()
        if alt and len(alt) <= _ONE_EMOJI and not alt.isascii():
            self._said.append(alt)

    def _address(self, element: Any) -> None:
        """A link says where it leads, where its own words do not."""
        href = "".join(str(element.get("href") or "").split())
        parts = islice(element.itertext(), _LOOKED_AT)  # links may stand within links, each with all the rest
        said = "".join("".join(part[:_LONGEST_ADDRESS].split()) for part in parts)
        plain = re.sub(r"^(?:https?://|mailto:|tel:)", "", href).rstrip("/").lower()
        if not said or not href.lower().startswith(("http://", "https://", "mailto:", "tel:")):
            return
        if plain and plain not in said.lower() and len(href) <= _LONGEST_ADDRESS:
            self._said.append(f" ({href})")

    def _space(self) -> None:
        if self._lines and not self._lines[-1].blank:
            self._lines.append(Line("", self._depth, self._mark))

    def _end_line(self, *, always: bool = False) -> None:
        """Put away the line that is being written; `always` though nothing may stand in it."""
        text = "".join(self._said)
        if not self._pre:
            text = re.sub(" {3,}", "  ", text).strip(" ")
        if text.strip() or self._cids or always:
            self._lines.append(Line(f"{self._bullet}{text}", self._depth, self._mark, self._cids))
            self._bullet, self._cids = "", ()
        self._said = []


_SPACE = re.compile(r"[\s\u00a0]+")
_LONGEST_ADDRESS = 500
_LOOKED_AT = 20
"""So many pieces of a link's own words, to see whether they are its address."""


def _tag(element: Any) -> str:
    tag = element.tag
    return tag.lower() if isinstance(tag, str) else ""


def _names(element: Any) -> list[str]:
    return [*str(element.get("class") or "").split(), str(element.get("id") or "").strip()]


def _mark(element: Any) -> Mark:
    if not element.attrib:
        return Mark.NONE
    names = _names(element)
    if any(_AROUND.match(name) for name in names):
        return Mark.EARLIER
    if any(_REST.match(name) for name in names) or _RULED_OFF.search(str(element.get("style") or "")):
        return Mark.REST
    if any(_INTRODUCING.match(name) for name in names):
        return Mark.OTHERS
    if any(_SIGNING.match(name) for name in names):
        return Mark.SIGNATURE
    return Mark.NONE


def _is_cited(element: Any) -> bool:
    return (
        element.get("type") == "cite"
        or bool(element.get("cite"))
        or any(_CITED.search(name) for name in _names(element))
        or "border-left" in str(element.get("style") or "").lower()
    )


def _is_plain_paragraph(element: Any) -> bool:
    """A paragraph that a mail program shows without a gap around it."""
    return bool(element.attrib) and bool(
        _PLAIN_PARAGRAPH.search(f"{element.get('class') or ''} {element.get('style') or ''}")
    )
