"""Markdown's tree as plain text: what the HTML says, for whoever reads without."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

from markdown_it.tree import SyntaxTreeNode

from shopdesk.mail.book import Book


def text_of(nodes: Sequence[SyntaxTreeNode], book: Book, *, tight: bool = False) -> list[str]:
    """The lines, with the book's values in them. Blocks have an empty line between them unless `tight`."""
    lines: list[str] = []
    for node in nodes:
        block = _block(node, book)
        if lines and block and not tight:
            lines.append("")
        lines += block
    return lines


def _block(node: SyntaxTreeNode, book: Book) -> list[str]:
    match node.type:
        case "paragraph" | "heading":
            return _inline(node.children[0], book).split("\n")
        case "blockquote":
            return [f"> {line}".rstrip() for line in text_of(node.children, book)]
        case "bullet_list" | "ordered_list":
            return _listed(node, book)
        case "hr":
            return ["* * *"]
        case _:  # code, as it stands
            return book.shown(node.content).rstrip("\n").split("\n")


def _listed(node: SyntaxTreeNode, book: Book) -> list[str]:
    tight = all(part.hidden for item in node.children for part in item.children if part.type == "paragraph")
    lines: list[str] = []
    for number, item in enumerate(node.children, int(cast(int, node.attrs.get("start", 1)))):
        bullet = "- " if node.type == "bullet_list" else f"{number}. "
        inside = text_of(item.children, book, tight=tight) or [""]
        if lines and not tight:
            lines.append("")
        lines.append(f"{bullet}{inside[0]}".rstrip())
        lines += [f"{' ' * len(bullet)}{line}".rstrip() for line in inside[1:]]
    return lines


def _inline(node: SyntaxTreeNode, book: Book) -> str:
    said = ""
    for part in node.children:
        match part.type:
            case "text" | "code_inline":
                said += book.shown(part.content)
            case "softbreak" | "hardbreak":
                said += "\n"
            case "link":
                said += _link(part, book, alone=len(node.children) == 1)
            case _:
                said += _inline(part, book)
    return said


def _link(node: SyntaxTreeNode, book: Book, *, alone: bool) -> str:
    said, address = _inline(node, book), book.shown(str(node.attrs["href"]))
    if said in (address, address.removeprefix("mailto:"), address.removeprefix("tel:")):
        return said
    # In a sentence it stands in brackets, so that a full stop after it does not become part of it.
    return f"{said}: {address}" if alone else f"{said} ({address})"
