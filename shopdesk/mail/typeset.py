"""Markdown with a book's marks, set as HTML and as a tree for plain text. What is set once is kept: emails
that are built alike differ in their marks' values alone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

from markdown_it import MarkdownIt
from markdown_it.token import Token
from markdown_it.tree import SyntaxTreeNode

from shopdesk.mail import frame
from shopdesk.mail.book import MARK, mark


@dataclass(frozen=True)
class Body:
    html: str
    nodes: tuple[SyntaxTreeNode, ...]
    addresses: tuple[str, ...]
    """Addresses of links that are made of values or are missing: their marks follow those of the values."""


class _Markdown(MarkdownIt):
    """Addresses stay as they were written: they are judged once their values are known."""

    def validateLink(self, url: str) -> bool:
        return True

    def normalizeLink(self, url: str) -> str:
        return url


@cache
def _markdown() -> _Markdown:
    # What somebody types on a new line stands on a new line; what they indent is no code.
    markdown = _Markdown("commonmark", {"html": False, "breaks": True})
    markdown.disable(["image", "code"])
    return markdown


def tokens_of(markdown: str) -> list[Token]:
    return _markdown().parse(markdown)


def all_tokens(tokens: Sequence[Token]) -> Iterator[Token]:
    for token in tokens:
        yield token
        yield from all_tokens(token.children or [])


@lru_cache(256)
def body(markdown: str, marks: int) -> Body:
    """The Markdown, in which marks 0 to `marks` - 1 may stand, set."""
    tokens = tokens_of(markdown)
    frame.make_presses(tokens)
    addresses: list[str] = []
    for token in all_tokens(tokens):
        if token.type == "link_open":
            address = str(token.attrs["href"])
            if MARK.search(address) or not address:
                addresses.append(address)
                token.attrs["href"] = mark(marks + len(addresses) - 1)
    html: str = _markdown().renderer.render(tokens, _markdown().options, {})
    return Body(html, tuple(SyntaxTreeNode(tokens).children), tuple(addresses))
