"""What all benchmarks share: a result with its floor, printed as one row."""

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One number: what was measured, against what, and what was wanted.

    `ratio` is value over floor; `limit` what it may be at most (or at least, with `at_least`).
    """

    what: str
    value: str
    floor: str
    ratio: float
    limit: float
    at_least: bool = False

    @property
    def met(self) -> bool:
        return self.ratio >= self.limit if self.at_least else self.ratio <= self.limit

    def row(self) -> str:
        sign = "≥" if self.at_least else "≤"
        word = "met" if self.met else "NOT met"
        return (
            f"{self.what:<58} {self.value:>14} {self.floor:>16} "
            f"{self.ratio:>9.2f} {sign} {self.limit:<7g} {word}"
        )


def header() -> str:
    return f"{'what':<58} {'measured':>14} {'floor':>16} {'ratio':>9}   wanted"


def best(run: Callable[[], object], times: int = 5) -> float:
    """Return the shortest of several runs in seconds: what the code needs when left alone."""
    return min(_timed(run) for _ in range(times))


def median_pair(
    one: Callable[[], object], other: Callable[[], object], rounds: int = 7
) -> tuple[float, float]:
    """Return the medians of two things run in turn, so that a slow minute hits both."""
    pairs = [(_timed(one), _timed(other)) for _ in range(rounds)]
    return statistics.median(p[0] for p in pairs), statistics.median(p[1] for p in pairs)


def _timed(run: Callable[[], object]) -> float:
    began = time.perf_counter()
    run()
    return time.perf_counter() - began


def show_time(seconds: float) -> str:
    for size, unit in ((1, "s"), (1e-3, "ms"), (1e-6, "µs")):
        if seconds >= size:
            return f"{seconds / size:.3g} {unit}"
    return f"{seconds * 1e9:.3g} ns"
