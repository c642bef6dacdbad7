r"""Words with named blanks in braces: `Your {pieces} will be ready {ready_date}.`

A blank is a name of small letters, digits and underscores. A brace that opens none is written `\{`. The
shop's emails and its quick answers have the same blanks."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from difflib import get_close_matches

_TOKEN = re.compile(r"\\[{}]|\{ *([a-z][a-z0-9_]*) *\}|[{}]", re.ASCII)


class BlankError(Exception):
    """The blanks of a text cannot be filled; the text of the error says why, for whoever wrote it."""


class Broken(BlankError):
    """A brace that opens no blank."""


class Unknown(BlankError):
    """`names` are no blanks that there are."""

    def __init__(self, names: Collection[str], known: Collection[str]) -> None:
        self.names = tuple(names)
        super().__init__(" ".join(_unknown(name, known) for name in self.names))


class Unfilled(BlankError):
    """Nothing is known for `names`."""

    def __init__(self, names: Collection[str]) -> None:
        self.names = tuple(names)
        super().__init__(f"There is nothing to put in for {said_together(names)}.")


@dataclass(frozen=True)
class Blank:
    name: str


def taken_apart(text: str) -> list[str | Blank]:
    r"""The text as words and blanks in turn; `\{` and `\}` are braces in the words. Raises `Broken`."""
    found: list[str | Blank] = []
    words, end = "", 0
    for token in _TOKEN.finditer(text):
        words += text[end : token.start()]
        end = token.end()
        if token[1]:
            found += [words, Blank(token[1])] if words else [Blank(token[1])]
            words = ""
        elif token[0] == "{":
            raise Broken(_broken(text, token.start()))
        else:
            words += token[0][-1]
    words += text[end:]
    return [*found, words] if words else found


def names_in(text: str) -> tuple[str, ...]:
    """The names of the blanks, in the order in which they stand, each once. Raises `Broken`."""
    return tuple(dict.fromkeys(one.name for one in taken_apart(text) if isinstance(one, Blank)))


def check(text: str, known: Collection[str]) -> tuple[str, ...]:
    """The names of the blanks. Raises `Broken`, or `Unknown` where one is not among the `known`."""
    names = names_in(text)
    if unknown := [name for name in names if name not in known]:
        raise Unknown(unknown, known)
    return names


def fill(text: str, values: Mapping[str, str]) -> str:
    """The text with every blank filled. Raises `Broken`, `Unknown` for a name that `values` has not got, and
    `Unfilled` where a value is empty."""
    names = check(text, values)
    if empty := [name for name in names if not values[name].strip()]:
        raise Unfilled(empty)
    return "".join(values[one.name] if isinstance(one, Blank) else one for one in taken_apart(text))


def nearest(name: str, known: Collection[str]) -> str:
    """The known name that was most likely meant; "" when none is near."""
    near = get_close_matches(name, list(known), 1, 0.6)
    if near:
        return near[0]
    parts = {part for part in name.split("_") if len(part) > 2}
    return next((one for one in known if parts & set(one.split("_"))), "")


def said_together(names: Collection[str]) -> str:
    """ "{pieces}, {total} and {page}" """
    said = [f"{{{name}}}" for name in names]
    return said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"


def _unknown(name: str, known: Collection[str]) -> str:
    near = nearest(name, known)
    return f"There is no field {{{name}}}." + (f" Did you mean {{{near}}}?" if near else "")


def _broken(text: str, at: int) -> str:
    line = text[at:].partition("\n")[0]
    shown = line if len(line) <= 24 else f"{line[:24].rstrip()}…"
    inside = line[1:].partition("}")
    if inside[1] and re.fullmatch(r"[\w .-]{1,40}", inside[0]):
        meant = re.sub(r"\W+", "_", inside[0].strip().lower())
        return f"“{{{inside[0]}}}” is no field: names are in small letters, like {{{meant}}}."
    return f"At “{shown}” a brace opens and no field follows. To show a brace itself, write \\{{."
