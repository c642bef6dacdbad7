"""An email's text as lines that know how deep they are quoted: from plain text, and from format=flowed (RFC
3676)."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum


class Mark(StrEnum):
    """What a mail program said of a line, beside how deep it is quoted."""

    NONE = ""
    OTHERS = "others"
    """It introduces what somebody else wrote ("On … she wrote:")."""
    REST = "rest"
    """From here on to the end it is an earlier email."""
    EARLIER = "earlier"
    """It stands within an earlier email, whose end the program marked too."""
    SIGNATURE = "signature"


@dataclass(slots=True)
class Line:
    text: str
    depth: int = 0
    mark: Mark = Mark.NONE
    cids: tuple[str, ...] = ()
    """The pictures that stand in it (RFC 2392)."""

    @property
    def blank(self) -> bool:
        return not self.text.strip() and not self.cids

    @property
    def shown(self) -> str:
        return f"{'>' * self.depth} {self.text}".rstrip() if self.depth else self.text.rstrip()


MOST = 20_000
SIGNATURE_LINES = ("-- ", "--")


def lines_of(text: str, *, flowed: bool = False, delsp: bool = False) -> list[Line]:
    """The lines of a plain text, whose line ends are line feeds; the `MOST`th holds all of the rest."""
    lines = [_quoted(line, stuffed=flowed) for line in text.split("\n", MOST)]
    return list(_joined(lines, delsp)) if flowed else lines


_QUOTE_MARKS = re.compile(r" ?>(?:[ ]?>)*")


def _quoted(line: str, *, stuffed: bool) -> Line:
    if stuffed:  # RFC 3676, section 4.5: marks first, without spaces between, then one space for stuffing
        inner = line.lstrip(">")
        return Line(inner.removeprefix(" "), len(line) - len(inner))
    marks = _QUOTE_MARKS.match(line)
    if not marks:
        return Line(line)
    return Line(line[marks.end() :].removeprefix(" "), marks[0].count(">"))


def _joined(lines: Iterable[Line], delsp: bool) -> Iterator[Line]:
    """RFC 3676, section 4.2: a line that ends in a space goes on in the next one of the same depth; the mark
    of a signature never does (4.3)."""
    parts: list[str] = []
    depth = 0
    for line in lines:
        signature = line.text in SIGNATURE_LINES
        if parts and (line.depth != depth or signature):
            yield Line("".join(parts), depth)
            parts = []
        depth = line.depth
        if line.text.endswith(" ") and not signature:
            parts.append(line.text[:-1] if delsp else line.text)
        else:
            yield Line("".join([*parts, line.text]), depth)
            parts = []
    if parts:
        yield Line("".join(parts), depth)
