"""The upright axis of a plot: numbers on a scale, or a row for each word that was seen or wanted."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Protocol

from hil.core.event import CheckDecided
from hil.core.signal import Sample, Validity, Value
from hil.report.alarm_scale import number, round_step

HEIGHT, ROW = 190, 30
MOST_ROWS = 10
ROOM = 0.08
LARGEST = 1e15
"""Numbers beyond this are not drawn: a pixel of such a scale says nothing."""

Limits = tuple[str, ...]


class Axis(Protocol):
    """Where values stand; `top` and `bottom` are the ends of the plot."""

    top: int
    bottom: int

    def at(self, value: Value | None) -> float | None:
        """Return the place of a value; None for one that has none."""

    def areas(self, limits: Limits) -> list[tuple[float, float]]:
        """Return where a condition is as (top, bottom), one for each of its parts."""

    def ticks(self) -> list[tuple[float, str]]:
        """Return the places that have a name."""


class NumberAxis:
    """Numbers from `low` to `high`, upwards."""

    def __init__(self, low: float, high: float, top: int) -> None:
        self.top, self.bottom = top, top + HEIGHT
        self._low, self._high = low, high

    def at(self, value: Value | None) -> float | None:
        return self._place(float(value)) if isinstance(value, Decimal) else None

    def areas(self, limits: Limits) -> list[tuple[float, float]]:
        bounds = [number(limit) for limit in limits[1:]]
        if limits[0].endswith("one of"):
            return [
                (self._place(one) - 2, self._place(one) + 2) for one in bounds if one is not None
            ]
        low, high = (*bounds, None, None)[:2]
        bottom = float(self.bottom) if low is None else self._place(low)
        top = float(self.top) if high is None else self._place(high)
        return [(top, max(bottom, top + 2))]

    def ticks(self) -> list[tuple[float, str]]:
        step = round_step(self._high - self._low)
        first, last = round(self._low / step + 0.499), round(self._high / step - 0.499)
        return [
            (self._place(turn * step), f"{turn * step:.10g}") for turn in range(first, last + 1)
        ]

    def _place(self, value: float) -> float:
        share = (value - self._low) / (self._high - self._low)
        return self.bottom - (self.bottom - self.top) * min(1.0, max(0.0, share))


class WordAxis:
    """A row for each word, the first one above."""

    def __init__(self, words: Sequence[str], top: int) -> None:
        self.top, self.bottom = top, top + ROW * len(words)
        self._rows = {word: top + ROW * at + ROW / 2 for at, word in enumerate(words)}

    def at(self, value: Value | None) -> float | None:
        return self._rows.get(value) if isinstance(value, str) else None

    def areas(self, limits: Limits) -> list[tuple[float, float]]:
        places = [self._rows[word] for word in limits[1:] if word in self._rows]
        return [(place - ROW / 2 + 3, place + ROW / 2 - 3) for place in places]

    def ticks(self) -> list[tuple[float, str]]:
        return [(place, word or "(empty text)") for word, place in self._rows.items()]


def axis_of(check: CheckDecided, samples: Sequence[Sample], top: int) -> Axis | None:
    """Return the axis on which a check and its samples can be drawn; None where there is none."""
    values = [sample.value for sample in samples if sample.validity is Validity.VALID]
    wanted = check.limits[1:]
    words = [value for value in values if isinstance(value, str)]
    if words:
        rows = list(dict.fromkeys([*wanted, *words]))[:MOST_ROWS]
        return WordAxis(rows, top)
    numbers = [float(value) for value in values if isinstance(value, Decimal)]
    numbers += [limit for text in wanted if (limit := number(text)) is not None]
    drawn = [one for one in numbers if abs(one) < LARGEST]
    if not drawn:
        return None
    low, high = min(drawn), max(drawn)
    room = ROOM * (high - low) or 0.05 * abs(high) or 1.0
    return NumberAxis(low - room, high + room, top)
