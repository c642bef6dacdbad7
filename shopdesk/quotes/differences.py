"""What a revision changes against the one that was sent before it, line by line, from what both say to the
client: frozen contents, in which nothing stands that is the owner's alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal


@dataclass(frozen=True)
class Difference:
    """`what` it is about; `before` and `now` in words, one of them empty where it was added or is gone."""

    kind: Literal["added", "gone", "changed"]
    what: str
    before: str
    now: str

    def said(self) -> str:
        """In a sentence, for an email."""
        if self.kind == "added":
            return f"New: {self.what}{_after(self.now)}"
        if self.kind == "gone":
            return f"No longer: {self.what}{_after(self.before)}"
        return f"{self.what}: {self.now or 'nothing'}, before {self.before or 'nothing'}"


_DATES = (
    ("starts_on", "Work can start"),
    ("ready_on", "Ready about"),
    ("good_until", "Price good until"),
)
_LISTS = (("included", "Included"), ("not_included", "Not included"), ("notes", "Terms"))


def differences(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[Difference]:
    """Pieces, their words and lines, options and choices, sums, dates, and what is included; in the order of
    the newer one. Empty where both say the same."""
    found: list[Difference] = []
    before, now = _by_name(old.get("pieces", [])), _by_name(new.get("pieces", []))
    for name in _both(before, now):
        was, is_ = before.get(name), now.get(name)
        found += _between(name, _price(was), _price(is_))
        if was is not None and is_ is not None:
            found += _lists(f"{name}, what we do", was["words"], is_["words"])
            both_open = bool(was["lines"] and is_["lines"])
            lines, others = (_rows(_lines(piece, all_=both_open)) for piece in (was, is_))
            for text in _both(lines, others):
                found += _between(f"{name}, {text}", lines.get(text), others.get(text))
    offered, offers = _options(old), _options(new)
    for text in _both(offered, offers):
        found += _between(text, offered.get(text), offers.get(text))
    sums, others = _sums(old), _sums(new)
    for label in _both(sums, others):
        found += _between(label, sums.get(label), others.get(label))
    for key, label in _DATES:
        found += _between(label, old.get(key) or None, new.get(key) or None)
    for key, label in _LISTS:
        found += _lists(label, old.get(key, []), new.get(key, []))
    return found


def _between(what: str, before: str | None, now: str | None) -> list[Difference]:
    if before == now:
        return []
    kind: Literal["added", "gone", "changed"] = (
        "added" if before is None else "gone" if now is None else "changed"
    )
    return [Difference(kind, what, before or "", now or "")]


def _lists(what: str, before: Sequence[str], now: Sequence[str]) -> list[Difference]:
    """Lines that came and went; one for one, as a change."""
    came = [line for line in now if line not in before]
    went = [line for line in before if line not in now]
    pairs = zip(went, came, strict=False) if len(came) == len(went) else ()
    changed = [Difference("changed", what, was, is_) for was, is_ in pairs]
    if changed:
        return changed
    return [
        *(Difference("gone", what, line, "") for line in went),
        *(Difference("added", what, "", line) for line in came),
    ]


def _both(before: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    return [*now, *(name for name in before if name not in now)]


def _by_name(pieces: Sequence[Mapping[str, Any]]) -> dict[str, Mapping[str, Any]]:
    """By their names; a second one of the same name is told apart by its place."""
    found: dict[str, Mapping[str, Any]] = {}
    for place, piece in enumerate(pieces, start=1):
        name = piece["name"]
        found[f"{name} ({place})" if name in found else name] = piece
    return found


def _price(piece: Mapping[str, Any] | None) -> str | None:
    return None if piece is None else str(piece["price"])


def _lines(piece: Mapping[str, Any], *, all_: bool) -> list[Mapping[str, Any]]:
    """Its lines; or only its allowances, which are shown in any case: that lines are shown at all, or not any
    more, is no change of what is offered."""
    lines: list[Mapping[str, Any]] = [*piece["lines"], *piece.get("allowances", [])]
    return [line for line in lines if all_ or line.get("allowance")]


def _rows(lines: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    found = {}
    for line in lines:
        many = f"{line['quantity']} {line['unit']}".strip()
        aside = ["an allowance"] if line.get("allowance") else []
        by_number = line.get("by_number", [])
        found[line["text"]] = ", ".join([*([many] if many else []), line["amount"], *aside, *by_number])
    return found


def _options(content: Mapping[str, Any]) -> dict[str, str]:
    named = [(f"If you like: {one['text']}", one) for one in content.get("options", [])]
    for choice in content.get("choices", []):
        named += [(f"{choice['name']}: {one['text']}", one) for one in choice["options"]]
    return {
        name: f"{one['price']}{', an allowance' if one.get('allowance') else ''}"
        f"{', chosen to begin with' if one.get('begun') else ''}"
        for name, one in named
    }


def _sums(content: Mapping[str, Any]) -> dict[str, str]:
    """What comes on top and off, the total and the deposit; not the rows between, which follow from those."""
    passing = ("Your pieces", "Together", "Due at", "What you", "What is")
    return {
        _without_base(row["label"]): row["amount"]
        for row in content.get("sums", [])
        if not row["label"].startswith(passing)
    }


def _without_base(label: str) -> str:
    """ "Sales tax, 6.25 % on 118.40" without what it is taken on, which changes with everything else."""
    name, on, _ = label.partition(" % on ")
    return f"{name} %" if on else label


def _after(words: str) -> str:
    return f", {words}" if words else ""
