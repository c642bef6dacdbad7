"""What people wrote, kept out of the way of templates and of Markdown.

Each value goes through them as a mark, a number between two private-use characters, and is put in
afterwards, so that nothing in it is ever markup, a link or a paragraph of ours. `if`, `for`, `length`, `==`
and the like see the real text; filters that change text see the mark and change nothing."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from html import escape
from typing import Any

from shopdesk.mail import links

OPEN, CLOSE = "\ue000", "\ue001"
MARK = re.compile(f"{OPEN}(\\d+){CLOSE}")
_TURNS = dict.fromkeys([*range(0x202A, 0x202F), *range(0x2066, 0x206A)])
"""Characters that turn the reading direction of what follows: in somebody's words they would turn ours."""
_NOT_SEEN = ("Cc", "Co", "Cs")


class Datum(str):
    """A real string to whoever asks it something, a mark to whoever prints it."""

    book: Book
    mark: str

    def __str__(self) -> str:
        return self.mark

    def __html__(self) -> str:
        return self.mark

    def __format__(self, spec: str) -> str:
        return self.mark

    def __add__(self, other: str) -> str:
        return self.mark + str(other)

    def __radd__(self, other: str) -> str:
        return str(other) + self.mark

    def __getitem__(self, part: Any) -> Datum:
        return self.book.entered(str.__getitem__(self, part))


@dataclass
class Book:
    """The values by the number in their mark. No value is longer than `length`."""

    length: int | None = None
    values: list[str] = field(default_factory=list)

    def entered(self, value: str) -> Datum:
        datum = Datum(value)
        datum.book, datum.mark = self, mark(len(self.values))
        self.values.append(value)
        return datum

    def hidden(self, value: Any, key: str = "") -> Any:
        """`value` with every string in it replaced by its datum. Only one under the key "page" may be a
        link."""
        if isinstance(value, str):
            value = cleaned(value).strip()
            if key != "page":
                value = without_links(value)
            if self.length is not None and len(value) > self.length:
                value = f"{value[: self.length].rstrip()} … (shortened here)"
            return self.entered(value)
        if isinstance(value, dict):
            return {self.hidden(name): self.hidden(one, name) for name, one in value.items()}
        if isinstance(value, list | tuple):
            return [self.hidden(one) for one in value]
        return value

    def shown(self, text: str) -> str:
        return MARK.sub(lambda found: self.values[int(found[1])], text)

    def shown_in_html(self, html: str) -> str:
        return MARK.sub(lambda found: escape(self.values[int(found[1])]).replace("\n", "<br>\n"), html)

    def in_order(self, text: str, first: int) -> tuple[str, list[str]]:
        """`text` with its marks numbered from `first` as they come, and the values of those: what is built
        alike reads alike, whoever it is about."""
        values: list[str] = []

        def numbered(found: re.Match[str]) -> str:
            values.append(self.values[int(found[1])])
            return mark(first + len(values) - 1)

        return MARK.sub(numbered, text), values


def mark(number: int) -> str:
    return f"{OPEN}{number}{CLOSE}"


def cleaned(value: str) -> str:
    """One kind of line end, and no character that turns the text, steers a machine or passes for a mark."""
    value = value.replace("\r\n", "\n").replace("\r", "\n")
    if value.replace("\n", "").isprintable():
        return value
    return "".join(
        char
        for char in value.translate(_TURNS)
        if char in "\n\t" or unicodedata.category(char) not in _NOT_SEEN
    )


def without_links(value: str) -> str:
    """What somebody wrote is no key, though it may look like one."""
    return value.replace(links.SCHEME, links.SCHEME.replace(":", " "))
