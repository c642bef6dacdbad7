"""Two things timed in turn, so that whatever else the machine does hits both; or one, by processor time."""

from __future__ import annotations

import gc
import time
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median


@dataclass(frozen=True)
class Ratio:
    """What the app takes and what the bare thing takes (seconds, the median of the rounds), and the goal for
    the one over the other."""

    what: str
    app: float
    bare: float
    goal: float

    @property
    def ratio(self) -> float:
        return self.app / self.bare

    @property
    def ok(self) -> bool:
        return self.ratio <= self.goal


@dataclass(frozen=True)
class Spent:
    """The processor time that something takes (seconds, the median of the rounds), and the goal for it."""

    what: str
    seconds: float
    goal: float

    @property
    def ok(self) -> bool:
        return self.seconds <= self.goal


def in_turn(
    what: str,
    app: Callable[[], object],
    bare: Callable[[], object],
    *,
    goal: float,
    rounds: int,
    between: Callable[[], object] | None = None,
) -> Ratio:
    """Run both `rounds` times, now the one first and now the other, after one unmeasured round that fills
    caches. `between` is run before each `app`, and not measured."""
    took: tuple[list[float], list[float]] = ([], [])
    gc.collect()
    for number in range(-1, rounds):
        for which in (0, 1) if number % 2 else (1, 0):
            if which == 0 and between is not None:
                between()
            seconds = _timed((app, bare)[which])
            if number >= 0:
                took[which].append(seconds)
    return Ratio(what, median(took[0]), median(took[1]), goal)


def spent(
    what: str,
    do: Callable[[], object],
    *,
    goal: float,
    rounds: int,
    between: Callable[[], object] | None = None,
) -> Spent:
    """Run it `rounds` times, after one unmeasured round that fills caches. `between` is run before each, and
    not measured. Only this process' own processor time counts, whoever else keeps the machine busy."""
    took: list[float] = []
    gc.collect()
    for _ in range(rounds + 1):
        if between is not None:
            between()
        began = time.process_time()
        do()
        took.append(time.process_time() - began)
    return Spent(what, median(took[1:]), goal)


def _timed(do: Callable[[], object]) -> float:
    began = time.perf_counter()
    do()
    return time.perf_counter() - began
