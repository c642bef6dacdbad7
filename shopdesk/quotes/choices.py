"""Options that belong together: of each choice exactly one way is taken."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol

from shopdesk.quotes.models import Option
from shopdesk.quotes.typed import choice_key


class Way(Protocol):
    """An option, as a row or as typed."""

    @property
    def text(self) -> str: ...
    @property
    def choice(self) -> str: ...
    @property
    def preselected(self) -> bool: ...
    @property
    def price(self) -> Decimal: ...


@dataclass(frozen=True)
class Choice:
    """A name, as its first way has it, and the keys of its ways: all, the one that is chosen to begin with,
    the cheapest and the dearest."""

    name: str
    ways: tuple[int, ...]
    begun: int | None
    lowest: int
    highest: int


def choices_of(options: Mapping[int, Way]) -> list[Choice]:
    """The choices among these options, in their order."""
    together: dict[str, list[int]] = {}
    for key, option in options.items():
        if name := choice_key(option.choice):
            together.setdefault(name, []).append(key)
    return [
        Choice(
            name=" ".join(options[ways[0]].choice.split()),
            ways=tuple(ways),
            begun=next((key for key in ways if options[key].preselected), None),
            lowest=min(ways, key=lambda key: options[key].price),
            highest=max(ways, key=lambda key: options[key].price),
        )
        for ways in together.values()
    ]


def by_id(options: Iterable[Option]) -> dict[int, Option]:
    """Options by their ids."""
    return {option.pk: option for option in options}


def settled(options: Mapping[int, Way], chosen: Collection[int]) -> tuple[set[int], list[str]]:
    """What a total is reckoned with: what was chosen, and the cheapest way of each choice that is open still;
    and the names of those choices."""
    open_still = [choice for choice in choices_of(options) if not set(choice.ways) & set(chosen)]
    return set(chosen) | {choice.lowest for choice in open_still}, [choice.name for choice in open_still]


def begun(options: Mapping[int, Way]) -> set[int]:
    """What is chosen before anybody has chosen."""
    return {choice.begun for choice in choices_of(options) if choice.begun is not None}


def amiss(options: Mapping[int, Way], chosen: Collection[int]) -> list[str]:
    """What keeps this from being an answer, a sentence each: a choice that is open, or made twice."""
    said = []
    for choice in choices_of(options):
        taken = len(set(choice.ways) & set(chosen))
        if taken == 0:
            said.append(f"Choose one: {choice.name}.")
        elif taken > 1:
            said.append(f"Choose only one: {choice.name}.")
    return said


def extremes(options: Mapping[int, Way]) -> list[set[int]]:
    """The answers that bring a quote lowest and highest, and everything dearest without what is cheaper."""
    choices = choices_of(options)
    alone = {key for key, option in options.items() if not choice_key(option.choice)}
    low = {choice.lowest for choice in choices}
    high = {choice.highest for choice in choices}
    cheaper = {key for key in alone if options[key].price < 0}
    answers = (low, low | cheaper, low | alone, high, high | alone)
    return [set(answer) for answer in dict.fromkeys(map(frozenset, answers))]
