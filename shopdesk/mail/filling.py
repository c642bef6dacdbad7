"""Filling the fields of an email's words: from `Your {pieces}: {what_is_due}` to Markdown with marks.

A field is a value of the context, or a part: Markdown that the kind's file makes from several values with
Django's tags. A line that holds nothing but empty fields is left out, and a part of several lines stands by
itself wherever it was put."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from django.template import Context, Template, engines

from shopdesk.mail.blanks import Blank, taken_apart
from shopdesk.mail.book import Book

LINK_FIELD = "page"
"""The field that is a link: within `[…]({page})` its address, elsewhere a link that shows its address."""
_BEGINNING = re.compile(r"[ \t]*(?:>[ \t]?)*(?:[-*+][ \t]+|\d{1,9}[.)][ \t]+)?")
_BLOCK = re.compile(r"[-*+] |> |\d+\. |#")
_PUNCTUATION = re.compile(r"[.,;:!?)]")


@dataclass(frozen=True)
class _Line:
    beginning: str
    """Quotation marks, a bullet, and the blanks around them."""
    parts: tuple[str | Blank, ...]
    alone: bool
    """Whether no word stands in it beside its fields."""


class Fields:
    """What the fields of one email say; one that its context does not know says nothing."""

    def __init__(
        self,
        context: Mapping[str, Any],
        parts: Mapping[str, str],
        book: Book,
        made: Mapping[str, str] | None = None,
    ) -> None:
        """`made` is Markdown that is there already, by the field's name."""
        self._parts = parts
        self._values: dict[Any, Any] = {
            name: book.hidden(value, str(name)) for name, value in context.items()
        }
        self._made = dict(made or {})

    def __getitem__(self, name: str) -> str:
        """Markdown, with marks for the values; "" where there is nothing to say."""
        if name not in self._made:
            self._made[name] = self._make(name)
        return self._made[name]

    def _make(self, name: str) -> str:
        if name in self._parts:
            return _part(self._parts[name]).render(Context(self._values)).strip()
        return _as_words(self._values.get(name))


def _as_words(value: Any) -> str:
    if isinstance(value, list):
        return "\n\n".join(words for one in value if (words := _as_words(one)))
    if isinstance(value, str):
        return str(value) if len(value) else ""
    return "" if value is None or isinstance(value, bool | dict) else str(value)


@lru_cache(512)
def _part(source: str) -> Template:
    template: Template = engines["django"].from_string(source).template  # type: ignore[attr-defined]
    return template


def filled(words: str, fields: Fields) -> str:
    """The Markdown of an email's body. Raises `blanks.Broken`."""
    lines: list[str] = []
    for line in _lines(words):
        values = [fields[part.name] if isinstance(part, Blank) else part for part in line.parts]
        named = [value for value, part in zip(values, line.parts, strict=True) if isinstance(part, Blank)]
        if line.alone and named and not any(named):
            continue
        lines += _put_together(line, values)
    return "\n".join(lines)


def filled_line(words: str, fields: Fields) -> str:
    """A subject: one line, without what only Markdown needs."""
    line = _line(words)
    values = [fields[part.name] if isinstance(part, Blank) else part for part in line.parts]
    return " ".join(
        f"{line.beginning}{_joined(list(zip(line.parts, values, strict=True)), in_markdown=False)}".split()
    )


@lru_cache(256)
def _lines(words: str) -> tuple[_Line, ...]:
    return tuple(_line(line) for line in words.split("\n"))


@lru_cache(256)
def _line(line: str) -> _Line:
    beginning = _BEGINNING.match(line)
    assert beginning is not None, "it matches nothing at all as well"
    parts = tuple(taken_apart(line[beginning.end() :]))
    said = "".join(part for part in parts if isinstance(part, str))
    return _Line(beginning[0], parts, re.search(r"\w", said) is None)


def _put_together(line: _Line, values: list[str]) -> list[str]:
    """One line of words as lines of Markdown: a block gets a place of its own among the rest."""
    chunks = _chunks(line, values)
    if not any(is_block for is_block, _ in chunks):
        return [f"{line.beginning}{said}" for _, said in chunks]
    after = re.sub(r"[^>\s]", " ", line.beginning)
    lines = [] if line.beginning.strip(" >") else [after.rstrip()]
    beginning = line.beginning
    for _, said in chunks:
        for one in said.split("\n"):
            lines.append(f"{beginning}{one}".rstrip())
            beginning = after
        lines.append(after.rstrip())
    return lines


def _chunks(line: _Line, values: list[str]) -> list[tuple[bool, str]]:
    """The blocks of a line and what stands between them, and which is which."""
    chunks: list[tuple[bool, str]] = []
    begun: list[tuple[str | Blank, str]] = []
    for part, value in [*zip(line.parts, values, strict=True), (Blank(""), "\n")]:
        if not isinstance(part, Blank) or ("\n" not in value and not _BLOCK.match(value)):
            begun.append((part, value))
            continue
        if said := _joined(begun).strip():
            chunks.append((False, said))
        begun = []
        if part.name:
            chunks.append((True, value))
    return chunks or [(False, "")]


def _joined(parts: Sequence[tuple[str | Blank, str]], *, in_markdown: bool = True) -> str:
    """The words of a line. An empty field takes the blank beside it away."""
    said, skipped = "", False
    for part, value in parts:
        if isinstance(part, Blank):
            if in_markdown and part.name == LINK_FIELD and value and not said.endswith(("](", "<")):
                value = f"[{value}]({value})"
            skipped = skipped or not value
        if skipped and value:
            if said.endswith(" ") or not said:
                value = value.lstrip(" ")
            if _PUNCTUATION.match(value):
                said = said.rstrip(" ")
            skipped = False
        said += value
    return said.rstrip(" ") if skipped else said
