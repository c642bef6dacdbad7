"""Words as people type them, made fit to keep: one line or many, without what nobody sees."""

from __future__ import annotations

import unicodedata

_UNSEEN = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")
_JOINERS = "\u200c\u200d"
"""They join and part letters in Persian and Indic writing, and the parts of an emoji: several lines of text
may hold them."""


def one_line(text: str) -> str:
    """For a name, an address, a number: a single line of composed characters (NFC). Control characters and
    line breaks become spaces; zero-width characters and marks that turn the reading direction go, since
    they make one name look like another."""
    spaced = "".join(" " if unicodedata.category(char) in ("Cc", "Zl", "Zp") else char for char in text)
    seen = "".join(char for char in spaced if unicodedata.category(char) not in _UNSEEN)
    return " ".join(unicodedata.normalize("NFC", seen).split())


def many_lines(text: str) -> str:
    """For a description: lines end in `\\n`, and control characters other than tabs go, as do marks that
    turn the reading direction."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").replace("\u2028", "\n").replace("\u2029", "\n")
    seen = "".join(
        char
        for char in lines
        if char in "\n\t" or char in _JOINERS or unicodedata.category(char) not in _UNSEEN
    )
    return unicodedata.normalize("NFC", seen).strip()


def storable(text: str) -> str:
    """What was typed, as it is, less the two things that no database takes: NUL, and halves of a
    character."""
    return "".join(char for char in text if char != "\0" and not "\ud800" <= char <= "\udfff")


def has_letter(text: str) -> bool:
    """Whether there is something in it that can be said aloud."""
    return any(unicodedata.category(char).startswith("L") for char in text)


def phone_digits(text: str) -> int | None:
    """How many digits a phone number has, or None when it is not one: digits, the signs that people put
    between them, `+` before and an extension behind."""
    plain = text.lower()
    for word in ("extension", "ext.", "ext", "x", "#"):
        plain = plain.partition(word)[0] if plain.partition(word)[2].strip().isdecimal() else plain
    plain = plain.strip()
    if plain.startswith("+"):
        plain = plain[1:]
    if not plain or any(
        not (char.isdecimal() or char in " ()-./\u2010\u2011\u2012\u2013\u00a0") for char in plain
    ):
        return None
    return sum(char.isdecimal() for char in plain)
