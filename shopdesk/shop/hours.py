"""Opening hours as people write them: `9:00–12:00, 13:00–17:00`, `9-12 and 1pm-5pm`, or nothing for a day
that is closed."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import time
from itertools import pairwise

Span = tuple[time, time]
"""From when to when on the shop's wall clock; a closing time of 00:00 is the end of the day."""

_CLOSED = frozenset({"", "closed", "none", "-", "–", "—"})
_APART = re.compile(r"\s*(?:,|;|\band\b|&|\n)\s*")
_TIME = r"(\d{1,2})(?:[:.h](\d{2}))?\s*(am|pm)?"
_SPAN = re.compile(rf"{_TIME}\s*(?:-|–|—|−|\bto\b|\buntil\b)\s*{_TIME}")


def parse_hours(text: str) -> list[Span]:
    """The spans of one day, in order. Raises `ValueError` with a sentence for the person who wrote them."""
    plain = " ".join(text.lower().replace("a.m.", "am").replace("p.m.", "pm").split()).strip(" ,;")
    if plain in _CLOSED:
        return []
    spans = sorted(_span(part) for part in _APART.split(plain) if part)
    if len(spans) > 6:
        raise ValueError("Six spans a day are the most that fit.")
    for (_, closes), (opens, _) in pairwise(spans):
        if _closing(closes) > _minutes(opens):
            raise ValueError("Two of these hours overlap.")
    return spans


def show_hours(spans: Iterable[Span]) -> str:
    """`9:00–12:00, 13:00–17:00`, as `parse_hours` reads it; "" for a closed day."""
    return ", ".join(
        f"{opens.hour}:{opens:%M}–{closes.hour or (0 if closes.minute else 24)}:{closes:%M}"
        for opens, closes in spans
    )


def _span(part: str) -> Span:
    found = _SPAN.fullmatch(part)
    if found is None:
        shown = part if len(part) <= 30 else f"{part[:29]}…"
        raise ValueError(f"“{shown}” is not a span of time we can read; write it as 9:00–12:00.")
    opens = _time(*found.group(1, 2, 3))
    closes = _time(*found.group(4, 5, 6))
    if opens == 24 * 60 or opens >= (closes or 24 * 60):
        raise ValueError("A span ends after it begins: 13:00–17:00, or 1 pm–5 pm.")
    return _clock(opens), _clock(closes)


def _time(hour: str, minute: str | None, half: str | None) -> int:
    """Minutes since midnight; 24:00 is a time as well."""
    hours, minutes = int(hour), int(minute or 0)
    if half:
        if not 1 <= hours <= 12:
            raise ValueError("With am or pm an hour is between 1 and 12.")
        hours = hours % 12 + (12 if half == "pm" else 0)
    total = hours * 60 + minutes
    if minutes > 59 or total > 24 * 60:
        raise ValueError("A day has 24 hours of 60 minutes.")
    if minutes % 15:
        raise ValueError("Times stand on the quarter hour: 9:00, 9:15, 9:30 or 9:45.")
    return total


def _clock(minutes: int) -> time:
    return time(minutes // 60 % 24, minutes % 60)


def _minutes(clock: time) -> int:
    return clock.hour * 60 + clock.minute


def _closing(clock: time) -> int:
    return _minutes(clock) or 24 * 60
